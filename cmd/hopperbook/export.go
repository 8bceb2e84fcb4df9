package main

import (
	"bufio"
	"context"
	"fmt"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/commandline"
	"hopperbook/cmd/internal/desk"
	"hopperbook/cmd/internal/office"
	"hopperbook/schemas/fault"
)

func exportCommand() *cli.Command {
	return &cli.Command{
		Name:  "export",
		Usage: "give back what the book holds",
		Action: func(c *cli.Context) error {
			return fault.Newf("", fault.Usage, fmt.Sprintf("there is nothing called %q to export", c.Args().First()), "hopperbook export events prints every event")
		},
		Subcommands: []*cli.Command{{
			Name:         "events",
			Usage:        "print every event, byte for byte, one a line",
			Description:  "Publishing the output into an empty book makes the same book again; what was rejected is no event and stays (hopperbook rejects --json).\n\nExample:\n  hopperbook export events > events.jsonl",
			Flags:        bookFlags(),
			OnUsageError: commandline.UsageError,
			Action: func(c *cli.Context) error {
				if err := noArguments(c); err != nil {
					return err
				}
				return withAsker(c, func(ctx context.Context, asker office.Asker) error {
					out := bufio.NewWriterSize(c.App.Writer, 1<<20)
					if err := asker.Ask(ctx, desk.Export, nil, out); err != nil {
						return err
					}
					return fault.Wrap("print", out.Flush())
				})
			},
		}},
	}
}
