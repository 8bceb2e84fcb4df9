package main

import (
	"fmt"
	"os"
	"strings"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/cab"
	"hopperbook/ingest/link"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func enrolCommand() *cli.Command {
	return &cli.Command{
		Name:      "enrol",
		Usage:     "hand in the one-time code that `hopperbook enrol DEVICE` printed in the office",
		ArgsUsage: "CODE",
		Description: "Makes the tablet's own key, pins the hub's certificate and keeps both in the folder. A running tablet connects within\n" +
			"seconds. Blanks, hyphens and letter case in the code do not count.\n\n" +
			"Example:\n  hopperbook-tablet enrol HB1/office.example:4222/own/spreader-1/...",
		Flags: []cli.Flag{dirFlag()},
		Action: func(c *cli.Context) error {
			if !c.Args().Present() {
				return fault.Newf("", fault.Usage, "enrol takes the code that the office printed", "hopperbook-tablet enrol --help shows an example")
			}
			line := strings.Join(c.Args().Slice(), "")
			code, err := schemas.ParseEnrolCode(line)
			if err != nil {
				return err
			}
			dir := c.String("dir")
			if err := os.MkdirAll(dir, 0o700); err != nil {
				return fault.New("make the tablet's folder", fault.Usage, err, "name a folder that can be written to with --dir")
			}
			if err := cab.MayEnrol(dir, code.Device); err != nil {
				return err
			}
			creds, err := link.Enrol(c.Context, line, dir)
			if err != nil {
				return err
			}
			fmt.Fprintf(c.App.Writer, "enrolled: device %s of contractor %s at hub %s\n", creds.Device, creds.Contractor, creds.Hub)
			return nil
		},
	}
}

// readable finds out that a file can be read, before anything starts.
func readable(name string) error {
	f, err := os.Open(name)
	if err != nil {
		return fault.New("open the recorded log", fault.NotFound, err, "check the file's name, and that you may read it")
	}
	return fault.Wrap("open the recorded log", f.Close())
}
