package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/adrg/xdg"
	"github.com/urfave/cli/v2"

	"hopperbook/schemas/fault"
)

const defaultListen = "127.0.0.1:8480"

func dirFlag() cli.Flag {
	return &cli.StringFlag{Name: "dir", Usage: "folder of the tablet's entries `DIR`", EnvVars: []string{"HOPPERBOOK_TABLET_DIR"},
		Value: filepath.Join(xdg.DataHome, "hopperbook-tablet"), DefaultText: "hopperbook-tablet in the XDG data folder"}
}

func listenFlag() cli.Flag {
	return &cli.StringFlag{Name: "listen", Usage: "`HOST:PORT` of the operator's page", EnvVars: []string{"HOPPERBOOK_TABLET_LISTEN"}, Value: defaultListen}
}

func logf(format string, args ...any) { fmt.Fprintf(os.Stderr, format+"\n", args...) }

func noArguments(c *cli.Context) error {
	if c.Args().Present() {
		return fault.Newf("", fault.Usage, fmt.Sprintf("%s takes no argument, got %q", c.Command.Name, c.Args().First()), c.Command.HelpName+" --help lists its flags")
	}
	return nil
}
