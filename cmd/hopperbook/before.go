package main

import (
	"context"
	"time"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/cmd/internal/office"
	"hopperbook/reports"
	"hopperbook/schemas"
)

func beforeCommand() *cli.Command {
	return &cli.Command{
		Name:      "before",
		ArgsUsage: "JOB",
		Usage:     "what rules say against a job before it is spread: limits, closed periods, distances to keep, soil, rain, slope",
		Description: "Takes what the job still has to spread on top of all that is in the book, and the weather noted nearest to the time. What it warns of\n" +
			"is what hopperbook season would record afterwards. A field that has changed hands since is judged too, and told of. No legal advice: the local authority and a licensed adviser decide.\n\n" +
			"Example:\n  hopperbook rules before j-1-01 --rules us-oh-905-326",
		Flags: append(tableFlags(), rulesFlag(true),
			&cli.TimestampFlag{Name: "at", Layout: time.RFC3339, Usage: "`TIME` it is to be spread, RFC 3339", DefaultText: "now"},
			&cli.StringFlag{Name: "zone", Usage: "IANA time `ZONE` whose days count", DefaultText: "the contractor's, else the machines', else UTC"}),
		Action: beforeAction,
	}
}

func beforeAction(c *cli.Context) error {
	job, err := oneArgument(c, "JOB")
	if err != nil {
		return err
	}
	p := desk.BeforeParams{Job: schemas.JobID(job), At: time.Now().UTC(), Zone: c.String("zone")}
	if at := c.Timestamp("at"); at != nil {
		p.At = at.UTC()
	}
	if p.Rules, p.Files, err = ruleFiles(c); err != nil {
		return err
	}
	var a reports.BeforeAnswer
	err = withAsker(c, func(ctx context.Context, asker office.Asker) error {
		return office.AskJSON(ctx, asker, desk.Before, p, &a)
	})
	if err != nil {
		return err
	}
	return answerOrTable(c, a, reports.BeforeTable)
}
