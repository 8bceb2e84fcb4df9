package main

import (
	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/reports"
)

func rejectsCommand() *cli.Command {
	return &cli.Command{
		Name:   "rejects",
		Usage:  "events that break the contract, contradict another, or have an odd clock; all kept",
		Flags:  tableFlags(),
		Action: func(c *cli.Context) error { return askAndShow(c, desk.Rejects, reports.Rejects) },
	}
}
