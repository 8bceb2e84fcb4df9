package main

import (
	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/reports"
)

func driftCommand() *cli.Command {
	return &cli.Command{
		Name:   "drift",
		Usage:  "is each machine still on its calibration? if not: since which load, and how far off",
		Flags:  tableFlags(),
		Action: func(c *cli.Context) error { return askAndShow(c, desk.Drift, reports.Drift) },
	}
}
