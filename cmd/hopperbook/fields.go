package main

import (
	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/reports"
)

func fieldsCommand() *cli.Command {
	return &cli.Command{
		Name:   "fields",
		Usage:  "the real kg/ha of each field with its 95 % interval, beside the set rate",
		Flags:  tableFlags(),
		Action: func(c *cli.Context) error { return askAndShow(c, desk.Fields, reports.Fields) },
	}
}
