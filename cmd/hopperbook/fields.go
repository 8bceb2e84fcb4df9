package main

import (
	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/reports"
)

func fieldsCommand() *cli.Command {
	return &cli.Command{
		Name:   "fields",
		Usage:  "what went on each field",
		Flags:  tableFlags(),
		Action: func(c *cli.Context) error { return askAndShow(c, desk.Fields, reports.Fields) },
	}
}
