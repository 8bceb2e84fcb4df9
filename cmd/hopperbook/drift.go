package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/cmd/internal/office"
	"hopperbook/cmd/internal/paper"
	"hopperbook/reports"
	"hopperbook/reports/render"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func driftCommand() *cli.Command {
	return &cli.Command{
		Name:  "drift",
		Usage: "is each machine still on its calibration? if not: since which load, how far off, what may be the cause and what to try",
		Description: "Each series of loads of one machine and product under one catch test is judged by two two-sided CUSUMs. --chart draws\n" +
			"the control chart of one machine and product; where several match, each gets a file of its own with machine and\n" +
			"product in its name: drift.png becomes drift-spreader-3-lime.png. A gate or flow factor to try is a first try: confirm\n" +
			"it by a catch test.\n\n" +
			"Under a machine that is called stand the likely causes, ranked by the evidence of the same loads, each with what was\n" +
			"seen and the check to make. None is a verdict. A scale's fault shows only where several machines are loaded with it.\n\n" +
			"Examples:\n  hopperbook drift\n  hopperbook drift --machine spreader-3 --product lime --chart lime.png\n  hopperbook drift --chart charts/drift.svg --json",
		Flags: append(tableFlags(),
			&cli.StringFlag{Name: "machine", Usage: "only this `MACHINE`"},
			&cli.StringFlag{Name: "product", Usage: "only this `PRODUCT`"},
			&cli.StringFlag{Name: "chart", Usage: "draw the control chart into `FILE`, by its ending .png or .svg"},
			&cli.BoolFlag{Name: "points", Usage: "with --json: also the flow ratio and the evidence of every load"},
		),
		Action: driftAction,
	}
}

func driftAction(c *cli.Context) error {
	if err := noArguments(c); err != nil {
		return err
	}
	if c.Bool("json") && c.Bool("csv") {
		return fault.Newf("", fault.Usage, "--json and --csv together", "choose one")
	}
	if c.Bool("points") && !c.Bool("json") {
		return fault.Newf("", fault.Usage, "--points without --json", "add --json, or --chart FILE to see the points")
	}
	file := c.String("chart")
	draw, err := chartForm(file)
	if err != nil {
		return err
	}
	ask := desk.DriftParams{Machine: schemas.MachineID(c.String("machine")), Product: schemas.ProductID(c.String("product")), Points: file != "" || c.Bool("points")}
	var answer reports.DriftAnswer
	err = withAsker(c, func(ctx context.Context, asker office.Asker) error {
		return office.AskJSON(ctx, asker, desk.Drift, ask, &answer)
	})
	if err != nil {
		return err
	}
	if file != "" {
		if err := writeCharts(file, reports.DriftCharts(answer), draw); err != nil {
			return err
		}
	}
	if !c.Bool("points") {
		for i := range answer.Drifts {
			answer.Drifts[i].Points = nil
		}
	}
	return answerOrTable(c, answer, reports.Drift)
}

// chartForm is how a chart is drawn into a file of that name.
func chartForm(file string) (func(io.Writer, reports.DriftChart) error, error) {
	switch strings.ToLower(filepath.Ext(file)) {
	case ".png":
		return render.ChartPNG, nil
	case ".svg":
		return render.ChartSVG, nil
	}
	if file == "" {
		return nil, nil
	}
	return nil, fault.Newf("draw "+file, fault.Usage, "a chart is a PNG or an SVG", "let the file's name end in .png or .svg")
}

func writeCharts(file string, charts []reports.DriftChart, draw func(io.Writer, reports.DriftChart) error) error {
	if len(charts) == 0 {
		return fault.Newf("draw "+file, fault.NotFound, "there is nothing to draw", "refills with a residual reading make balance intervals, and those a chart")
	}
	for i, name := range chartFiles(file, charts) {
		if err := paper.Write(name, func(w io.Writer) error { return draw(w, charts[i]) }); err != nil {
			return err
		}
		logf("drew %s", name)
	}
	return nil
}

// chartFiles are the charts' files: the one named, or with several charts one
// each, with machine and product before the ending.
func chartFiles(file string, charts []reports.DriftChart) []string {
	if len(charts) == 1 {
		return []string{file}
	}
	names, taken := make([]string, len(charts)), map[string]bool{}
	ext := filepath.Ext(file)
	for i, c := range charts {
		stem := strings.TrimSuffix(file, ext) + "-" + fileWord(string(c.Machine)) + "-" + fileWord(string(c.Product))
		names[i] = stem + ext
		for n := 2; taken[names[i]]; n++ {
			names[i] = fmt.Sprintf("%s-%d%s", stem, n, ext)
		}
		taken[names[i]] = true
	}
	return names
}

// fileWord keeps what any file system takes in a name; a name from outside
// cannot leave the folder.
func fileWord(name string) string {
	if name == "" {
		return "unnamed"
	}
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_' {
			return r
		}
		return '_'
	}, name)
}
