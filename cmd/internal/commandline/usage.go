package commandline

import (
	"fmt"
	"strings"

	"github.com/urfave/cli/v2"

	"hopperbook/schemas/fault"
)

// UsageError says where the flags are listed.
func UsageError(c *cli.Context, err error, _ bool) error {
	hint := c.App.Name + " --help lists the commands"
	if c.Command != nil && c.Command.Name != "" {
		hint = c.Command.HelpName + " --help lists its flags"
	}
	return fault.New("", fault.Usage, err, hint)
}

// NoSuchCommand refuses the first argument and names the command most like it.
func NoSuchCommand(c *cli.Context) error {
	hint := c.App.Name + " --help lists the commands"
	if like := cli.SuggestCommand(c.App.Commands, c.Args().First()); like != "" {
		hint = like + " " + hint
	}
	return fault.Newf("", fault.Usage, fmt.Sprintf("there is no command %q", c.Args().First()), hint)
}

// ExitStatuses is their table for the help.
func ExitStatuses() string {
	rows := []string{"0 done"}
	for _, c := range fault.Codes() {
		rows = append(rows, fmt.Sprintf("%d %s", c.Exit(), c))
	}
	return strings.Join(rows, ", ")
}
