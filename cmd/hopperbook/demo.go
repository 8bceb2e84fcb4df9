package main

import (
	"fmt"
	"os"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/demo"
	"hopperbook/cmd/internal/office"
	"hopperbook/ingest/book"
	"hopperbook/reports"
	"hopperbook/reports/render"
	"hopperbook/schemas/fault"
)

func demoCommand() *cli.Command {
	return &cli.Command{
		Name:  "demo",
		Usage: "play a simulated week of an invented crew through the whole pipeline",
		Description: "Three spreaders and a loader of the invented contractor Tussock & Tarn Spreading work for a week; something goes wrong.\n" +
			"Their events go over NATS into a book, are reconciled, and the result stands beside the truth that only a simulation knows.\n" +
			"The book is left in --dir; look around in it with: hopperbook fields --book DIR\n\nExample:\n  hopperbook demo --dir ./demo-book --seed 7",
		Flags: []cli.Flag{
			&cli.StringFlag{Name: "dir", Usage: "folder `DIR` for the demo's book", DefaultText: "a new folder in the temporary folder"},
			&cli.Uint64Flag{Name: "seed", Usage: "another `SEED` is another week", Value: 1},
			&cli.BoolFlag{Name: "no-faults", Usage: "let nothing go wrong"},
			&cli.BoolFlag{Name: "json", Usage: "print JSON instead of tables"},
		},
		Action: demoAction,
	}
}

func demoAction(c *cli.Context) error {
	if err := noArguments(c); err != nil {
		return err
	}
	dir := c.String("dir")
	if dir == "" {
		made, err := os.MkdirTemp("", "hopperbook-demo-")
		if err != nil {
			return fault.New("make a folder for the demo", fault.Full, err, "name one with --dir DIR")
		}
		dir = made
	} else if book.Exists(dir) {
		return fault.Newf("play the demo", fault.Conflict, dir+" already holds a book", "name another folder with --dir DIR; the demo does not mix with what is there")
	}
	bar := newBar("tablets publish")
	cfg := demo.Config{Office: office.Config{BookDir: dir, Logf: logf}, Seed: c.Uint64("seed"), Faults: !c.Bool("no-faults")}
	report, err := demo.Run(c.Context, cfg, bar.of)
	bar.done()
	if err != nil {
		return err
	}
	if c.Bool("json") {
		return printJSON(c, report)
	}
	return showDemo(c, report)
}

func showDemo(c *cli.Context, report reports.Demo) error {
	fmt.Fprintf(c.App.Writer, "A week of Tussock & Tarn Spreading, seed %d. Everything in it is invented.\n\n", report.Seed)
	for _, t := range reports.DemoTables(report) {
		if err := render.Text(c.App.Writer, t); err != nil {
			return fault.Wrap("print", err)
		}
		fmt.Fprintln(c.App.Writer)
	}
	fmt.Fprintln(c.App.Writer, "Two invoices, one of them billed again after a credit note, and a stock statement are written:")
	for _, f := range report.Files {
		fmt.Fprintln(c.App.Writer, "  "+f)
	}
	fmt.Fprintf(c.App.Writer, "\nThe book is in %s. Look around in it:\n  hopperbook fields --book %[1]s\n  hopperbook calibrate certificate spreader-1 --book %[1]s --pdf spreader-1.pdf\n", report.Dir)
	return nil
}
