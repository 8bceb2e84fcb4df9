package main

import (
	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/office"
	"hopperbook/reports"
	"hopperbook/schemas/fault"
)

func devicesCommand() *cli.Command {
	return &cli.Command{
		Name:  "devices",
		Usage: "which tablets are enrolled, connected or revoked, and what was refused",
		Flags: append(tableFlags(), &cli.BoolFlag{Name: "refused", Usage: "what the hub refused: wrong and used codes, revoked and unknown keys, subjects of others"}),
		Action: func(c *cli.Context) error {
			if err := noArguments(c); err != nil {
				return err
			}
			if c.Bool("json") && c.Bool("csv") {
				return fault.Newf("", fault.Usage, "--json and --csv together", "choose one")
			}
			cfg, err := officeConfig(c)
			if err != nil {
				return err
			}
			var answer reports.DevicesAnswer
			if err := office.AskHub(c.Context, cfg, office.Devices, nil, &answer); err != nil {
				return err
			}
			if c.Bool("refused") {
				return answerOrTable(c, answer, reports.Refused)
			}
			return answerOrTable(c, answer, reports.Devices)
		},
	}
}
