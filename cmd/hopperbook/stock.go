package main

import (
	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/reports"
)

func stockCommand() *cli.Command {
	return &cli.Command{
		Name:   "stock",
		Usage:  "docketed, loaded, spread and surveyed of each stockpile: do they agree? if not: what is the likeliest cause",
		Flags:  tableFlags(),
		Action: func(c *cli.Context) error { return askAndShow(c, desk.Stock, reports.Stock) },
	}
}
