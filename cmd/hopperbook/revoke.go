package main

import (
	"fmt"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/office"
	"hopperbook/ingest/hub"
	"hopperbook/schemas"
)

func revokeCommand() *cli.Command {
	return &cli.Command{
		Name:      "revoke",
		Usage:     "cut a tablet off: lost, stolen, or sold with the machine",
		ArgsUsage: "DEVICE",
		Description: "Its connection ends at once, its key is never admitted again and a code not used yet is void; the others do not notice. What it\n" +
			"has published stays in the book; what it has not sent yet stays on it. Let it in again with hopperbook enrol.",
		Flags: append(bookFlags(), &cli.BoolFlag{Name: "json", Usage: "print JSON instead"}),
		Action: func(c *cli.Context) error {
			device, err := oneArgument(c, "device")
			if err != nil {
				return err
			}
			cfg, err := officeConfig(c)
			if err != nil {
				return err
			}
			var gone hub.Device
			if err := office.AskHub(c.Context, cfg, office.Revoke, office.RevokeParams{Device: schemas.DeviceID(device)}, &gone); err != nil {
				return err
			}
			if c.Bool("json") {
				return printJSON(c, gone)
			}
			fmt.Fprintf(c.App.Writer, "%s is revoked.\n", gone.Device)
			return nil
		},
	}
}
