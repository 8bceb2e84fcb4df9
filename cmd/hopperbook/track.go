package main

import (
	"fmt"
	"io"
	"time"

	"github.com/urfave/cli/v2"

	"hopperbook/ingest/gnss"
	"hopperbook/reconcile"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func trackCommand() *cli.Command {
	return &cli.Command{
		Name:      "track",
		Usage:     "read a GNSS receiver's log (NMEA 0183): fixes, distance, swath and covered area",
		ArgsUsage: "FILE",
		Description: "A receiver does not say whether product was leaving: the whole drive counts, or with --infer what was driven at a\n" +
			"spreading speed (3 to 35 km/h). A log without any date (GGA alone) needs --day.\n\nExample:\n  hopperbook track day.nmea --bout-width 18 --json",
		Flags: []cli.Flag{
			&cli.Float64Flag{Name: "bout-width", Usage: "bout width in `METRES`"},
			&cli.BoolFlag{Name: "infer", Usage: "count only what was driven at a spreading speed"},
			&cli.StringFlag{Name: "day", Usage: "UTC `DAY` of the first fix, like 2026-03-01, for logs that bring no date"},
			&cli.BoolFlag{Name: "json", Usage: "print JSON, with every fix, instead of a table"},
			&cli.BoolFlag{Name: "csv", Usage: "print CSV instead of a table"},
		},
		Action: trackAction,
	}
}

func trackAction(c *cli.Context) error {
	name, err := oneArgument(c, "FILE")
	if err != nil {
		return err
	}
	width, err := boutWidth(c)
	if err != nil {
		return err
	}
	options, err := firstDay(c)
	if err != nil {
		return err
	}
	file, err := openFile("track", name)
	if err != nil {
		return err
	}
	defer file.Close()
	fixes, reading, err := readNMEA(file, name, options)
	if err != nil {
		return err
	}
	drive, err := reconcile.Measure([]reconcile.Log{{Fixes: fixes}}, reconcile.MeasureOptions{BoutWidthM: width, Infer: c.Bool("infer")})
	if err != nil {
		return err
	}
	answer := reports.TrackAnswer{Schema: reports.SchemaTrack, BoutWidthM: width, Reading: reading, Fixes: reports.TrackFixes(fixes), Drive: drive}
	return answerOrTable(c, answer, reports.Track)
}

// boutWidth is --bout-width, which must be one.
func boutWidth(c *cli.Context) (float64, error) {
	width := c.Float64("bout-width")
	if !(width >= 0.5 && width <= 80) {
		return 0, fault.Newf(c.Command.Name, fault.Usage, fmt.Sprintf("a bout width of %v m cannot be", width), "give --bout-width between 0.5 and 80 m")
	}
	return width, nil
}

// firstDay is --day.
func firstDay(c *cli.Context) (o gnss.Options, err error) {
	day := c.String("day")
	if day == "" {
		return o, nil
	}
	if o.FirstDay, err = time.Parse(time.DateOnly, day); err != nil {
		return o, fault.New(c.Command.Name, fault.Usage, err, "give --day like 2026-03-01")
	}
	return o, nil
}

// readNMEA reads a log that must hold a fix.
func readNMEA(file io.Reader, name string, o gnss.Options) ([]schemas.Fix, gnss.Report, error) {
	fixes, reading, err := gnss.Read(file, o)
	if err == nil && len(fixes) == 0 {
		err = fault.Newf("read "+name, fault.Input, fmt.Sprintf("no fix in %d sentences (%d epochs without a fix, %d without a date)", reading.Sentences, reading.NoFix, reading.Undated),
			"is it an NMEA 0183 log with GGA or RMC? a log without dates needs --day 2026-03-01")
	}
	return fixes, reading, err
}
