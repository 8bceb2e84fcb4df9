package main

import (
	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/reports"
)

func gapsCommand() *cli.Command {
	return &cli.Command{
		Name:   "gaps",
		Usage:  "events known to be missing",
		Flags:  tableFlags(),
		Action: func(c *cli.Context) error { return askAndShow(c, desk.Gaps, reports.Gaps) },
	}
}
