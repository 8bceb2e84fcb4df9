package main

import (
	"context"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/cmd/internal/office"
	"hopperbook/cmd/internal/paper"
	"hopperbook/reports"
	"hopperbook/reports/render"
)

func stockCommand() *cli.Command {
	return &cli.Command{
		Name:        "stock",
		Usage:       "docketed, loaded, spread and surveyed of each stockpile: do they agree? if not: what is the likeliest cause",
		Description: "--pdf and --html write it as a stock statement.\n\nExample:\n  hopperbook stock --pdf stock.pdf",
		Flags:       append(tableFlags(), append(sheetFlags(), paperFlag())...),
		Action:      stockAction,
	}
}

func stockAction(c *cli.Context) error {
	if err := noArguments(c); err != nil {
		return err
	}
	return withAsker(c, func(ctx context.Context, asker office.Asker) error {
		var a reports.StockAnswer
		if err := office.AskJSON(ctx, asker, desk.Stock, nil, &a); err != nil {
			return err
		}
		if err := paper.Sheet(a.Sheet(), c.String("pdf"), c.String("html"), render.Paper(c.String("paper"))); err != nil {
			return err
		}
		return answerOrTable(c, a, reports.Stock)
	})
}
