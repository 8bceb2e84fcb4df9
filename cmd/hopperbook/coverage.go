package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/ingest/exchange"
	"hopperbook/reconcile"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func coverageCommand() *cli.Command {
	return &cli.Command{
		Name:      "coverage",
		Usage:     "areas of a log: swath, covered, overlapped, missed, outside",
		ArgsUsage: "FILE",
		Description: "FILE is a receiver's log (NMEA 0183), a GPX track or events (one JSON object a line), told by its content. Of events\n" +
			"all pass logs count, each machine by itself, with the bout width of the log or the machine's setting.\n" +
			"Where a log does not say whether product was leaving, the whole drive counts, or with --infer what was driven at a\n" +
			"spreading speed (3 to 35 km/h). Without --boundary the union of all swaths is measured.\n\n" +
			"Example:\n  hopperbook coverage day.gpx --boundary field.geojson --bout-width 18 --json",
		Flags: []cli.Flag{
			&cli.StringFlag{Name: "boundary", Usage: "GeoJSON `FILE` of the boundary: Polygon, MultiPolygon, Feature or FeatureCollection (the union)"},
			&cli.StringFlag{Name: "exclusion", Usage: "GeoJSON `FILE` of areas not to be spread, in the same forms; they may reach over the boundary"},
			&cli.Float64Flag{Name: "bout-width", Usage: "bout width in `METRES`, where the log names none"},
			&cli.BoolFlag{Name: "infer", Usage: "count only what was driven at a spreading speed"},
			&cli.StringFlag{Name: "day", Usage: "UTC `DAY` of the first fix, like 2026-03-01, for NMEA logs that bring no date"},
			&cli.BoolFlag{Name: "json", Usage: "print JSON instead of a table"},
			&cli.BoolFlag{Name: "csv", Usage: "print CSV instead of a table"},
		},
		Action: coverageAction,
	}
}

func coverageAction(c *cli.Context) error {
	name, err := oneArgument(c, "FILE")
	if err != nil {
		return err
	}
	options := reconcile.MeasureOptions{Infer: c.Bool("infer")}
	if c.IsSet("bout-width") {
		if options.BoutWidthM, err = boutWidth(c); err != nil {
			return err
		}
	}
	if options.Boundary, err = readArea(c, "boundary"); err != nil {
		return err
	}
	if options.Exclusion, err = readArea(c, "exclusion"); err != nil {
		return err
	}
	answer := reports.CoverageAnswer{Schema: reports.SchemaCoverage, BoutWidthM: options.BoutWidthM}
	logs, err := readLogs(c, name, &answer)
	if err != nil {
		return err
	}
	if answer.Drive, err = reconcile.Measure(logs, options); err != nil {
		return err
	}
	return answerOrTable(c, answer, reports.Coverage)
}

// readArea reads the GeoJSON file that a flag names; nil where it names none.
func readArea(c *cli.Context, flag string) (schemas.Boundary, error) {
	name := c.String(flag)
	if name == "" {
		return nil, nil
	}
	file, err := openFile("--"+flag, name)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	b, err := exchange.Boundary(file)
	return b, fault.Wrap("--"+flag+" "+name, err)
}

// readLogs reads a log of any format and notes in the answer what was read.
func readLogs(c *cli.Context, name string, answer *reports.CoverageAnswer) ([]reconcile.Log, error) {
	file, err := openFile("coverage", name)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	head := make([]byte, exchange.SniffBytes)
	n, err := io.ReadFull(file, head)
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) && !errors.Is(err, io.EOF) {
		return nil, fault.New("read "+name, fault.Input, err, "is it a readable file?")
	}
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return nil, fault.New("read "+name, fault.Input, err, "give a file")
	}
	format := exchange.Sniff(head[:n])
	answer.Format = string(format)
	if format == exchange.FormatEvents {
		return readEventLogs(file, name, answer)
	}
	if _, err := boutWidth(c); err != nil {
		return nil, err // a receiver's log names none
	}
	var fixes []schemas.Fix
	switch format {
	case exchange.FormatGPX:
		fixes, err = exchange.GPX(file)
		answer.Reading = map[string]int{"track_points": len(fixes)}
	case exchange.FormatNMEA:
		options, bad := firstDay(c)
		if bad != nil {
			return nil, bad
		}
		fixes, answer.Reading, err = readNMEA(file, name, options)
	default:
		what := "it is neither NMEA 0183 nor GPX nor events"
		if n == 0 {
			what = "it is empty"
		}
		return nil, fault.Newf("read "+name, fault.Input, what, "give a receiver's log, a GPX track or events as JSON lines")
	}
	return []reconcile.Log{{Fixes: fixes}}, fault.Wrap(name, err)
}

func readEventLogs(file *os.File, name string, answer *reports.CoverageAnswer) ([]reconcile.Log, error) {
	read, err := exchange.ReadEvents(file)
	if err != nil {
		return nil, err
	}
	in, err := desk.InputOf(read.Events)
	if err != nil {
		return nil, err
	}
	answer.Reading = map[string]any{"events": len(read.Events), "pass_logs": len(in.Passes), "refused": read.Refused, "first_refusal": read.Why}
	refused := ""
	if read.Refused > 0 {
		refused = fmt.Sprintf("; %d lines break the contract, the first: %s", read.Refused, read.Why)
	}
	if len(in.Passes) == 0 {
		what := fmt.Sprintf("there is no pass log in %d events", len(read.Events)) + refused
		return nil, fault.Newf("read "+name, fault.Input, what, "events stand one a line; pass.logged are counted")
	}
	if refused != "" {
		logf("%s: %d events%s", name, len(read.Events), refused)
	}
	return reconcile.Logs(in), nil
}
