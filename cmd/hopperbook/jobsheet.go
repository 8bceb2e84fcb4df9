package main

import (
	"context"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/cmd/internal/office"
	"hopperbook/cmd/internal/paper"
	"hopperbook/reports"
	"hopperbook/reports/render"
	"hopperbook/schemas"
)

func jobsheetCommand() *cli.Command {
	return &cli.Command{
		Name:      "jobsheet",
		ArgsUsage: "JOB",
		Usage:     "a page for the farmer: what a job put where, how much was asked and given, maps, cautions",
		Description: "Prints the figures; --pdf and --html write the page, with a map of each field; of more than eight fields the PDF has\n" +
			"more pages. The same work as on the bill, without prices.\n\n" +
			"Example:\n  hopperbook jobsheet J17 --pdf J17.pdf --html J17.html",
		Flags:  append(tableFlags(), append(sheetFlags(), paperFlag())...),
		Action: jobsheetAction,
	}
}

func sheetFlags() []cli.Flag {
	return []cli.Flag{
		&cli.StringFlag{Name: "pdf", Usage: "write it as PDF into `FILE`"},
		&cli.StringFlag{Name: "html", Usage: "write it as one HTML page into `FILE`"},
	}
}

func jobsheetAction(c *cli.Context) error {
	job, err := oneArgument(c, "JOB")
	if err != nil {
		return err
	}
	return withAsker(c, func(ctx context.Context, asker office.Asker) error {
		var a reports.JobSheetAnswer
		if err := office.AskJSON(ctx, asker, desk.JobSheet, desk.JobSheetParams{Job: schemas.JobID(job)}, &a); err != nil {
			return err
		}
		if c.String("pdf") != "" || c.String("html") != "" {
			maps, lacking := paper.Maps(ctx, asker, a.Done, nil)
			if err := paper.Sheet(a.Sheet(maps, lacking), c.String("pdf"), c.String("html"), render.Paper(c.String("paper"))); err != nil {
				return err
			}
		}
		return answerOrTable(c, a, reports.JobSheet)
	})
}
