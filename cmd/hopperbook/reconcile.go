package main

import (
	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/reports"
)

func reconcileCommand() *cli.Command {
	return &cli.Command{
		Name:  "reconcile",
		Usage: "work everything out anew from the events and keep the result in the book",
		Description: "fields and drift show the kept result and reconcile by themselves when events have come since.\n" +
			"With --json the whole result is printed: fields, balance intervals, drift, totals and findings.",
		Flags:  tableFlags(),
		Action: func(c *cli.Context) error { return askAndShow(c, desk.Reconcile, reports.Summary) },
	}
}
