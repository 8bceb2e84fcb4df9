package main

import (
	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/reports"
)

func driftCommand() *cli.Command {
	return &cli.Command{
		Name:  "drift",
		Usage: "is each machine still on its calibration? if not: since which load, how far off, and what may be the cause",
		Description: "Under a machine that is called stand the likely causes, ranked by the evidence of the same loads, each with what was\n" +
			"seen and the check to make. None is a verdict. A scale's fault shows only where several machines are loaded with it.",
		Flags:  tableFlags(),
		Action: func(c *cli.Context) error { return askAndShow(c, desk.Drift, reports.Drift) },
	}
}
