package main

import (
	"math"

	"github.com/urfave/cli/v2"

	"hopperbook/reconcile/calibration"
	"hopperbook/reports"
	"hopperbook/schemas"
)

func trayCommand() *cli.Command {
	return &cli.Command{
		Name:  "tray",
		Usage: "evenness from a row of trays: CV over every bout width, the widest bout width, what the shape asks for",
		Description: "The row is laid symmetrically about the driving line unless --positions-m says where the trays stand. CV is given for\n" +
			"to-and-fro and round-and-round driving. In the data null is a missing tray. Between multiples of the tray spacing the pattern is taken straight from tray to tray.\n\n" +
			"Example:\n  hopperbook calibrate tray --masses-g 0,1,3,6,9,11,12,12,12,11,9,6,3,1,0 --spacing 1 --wind 1.2 --bout-width 9\n" +
			`  echo '{"tray_spacing_m":0.5,"tray_width_m":0.5,"tray_length_m":0.5,"masses_g":[0,1.5,3.2,1.6,0],"wind_m_s":1}' | hopperbook calibrate tray - --json`,
		Flags: []cli.Flag{
			&cli.StringFlag{Name: "masses-g", Usage: "`GRAMS` of each tray from left to right seen in the driving direction, apart by commas; - for a missing one"},
			&cli.StringFlag{Name: "positions-m", Usage: "`METRES` of each tray's centre right of the driving line, apart by commas"},
			number("spacing", "`METRES` from tray centre to tray centre"),
			&cli.Float64Flag{Name: "tray-width", Usage: "`METRES` across the driving line", DefaultText: "0.5 where the file does not say"},
			&cli.Float64Flag{Name: "tray-length", Usage: "`METRES` along the driving line", DefaultText: "0.5 where the file does not say"},
			&cli.Int64Flag{Name: "passes", Usage: "`TIMES` the row was driven over", DefaultText: "1"},
			number("bout-width", "the set bout width in `METRES`"),
			number("wind", "wind during the test in `M/S`"),
			number("catch-rate", "rate by the catch test at the set bout width, `KG/HA`"),
			&cli.BoolFlag{Name: "low-analysis", Usage: "CV limit 25 % (lime, low-analysis fertilisers) instead of 15 % (nitrogenous)"},
			&cli.Float64Flag{Name: "limit", Usage: "CV limit in `PERCENT`", DefaultText: "15, or 25 with --low-analysis"},
			&cli.Float64Flag{Name: "wind-limit", Usage: "wind that voids the test, `M/S`", DefaultText: "2.2: 5 mph"},
			&cli.StringFlag{Name: "divisor", Usage: "`KIND` of standard deviation: sample (n-1) or population (n)", Value: string(calibration.Sample)},
			&cli.Float64Flag{Name: "from", Usage: "first bout width of the table in `METRES`", DefaultText: "4, or two spacings for a short row"},
			&cli.Float64Flag{Name: "step", Usage: "step of the table in `METRES`", DefaultText: "one spacing"},
			&cli.StringFlag{Name: "at", Usage: "further bout widths in `METRES`, apart by commas"},
			testFlag(),
		},
		Action: trayAction,
	}
}

func trayAction(c *cli.Context) error {
	data, err := oneTest[schemas.TestTray](c, schemas.TypeTestTray, "masses-g")
	if err != nil {
		return err
	}
	test, err := trayTest(c, data)
	if err != nil {
		return err
	}
	options := calibration.TrayOptions{CVLimitPct: c.Float64("limit"), Divisor: calibration.Divisor(c.String("divisor")), WindLimitMS: c.Float64("wind-limit"),
		FromM: c.Float64("from"), StepM: c.Float64("step")}
	if options.CVLimitPct == 0 && c.Bool("low-analysis") {
		options.CVLimitPct = calibration.LowAnalysisLimitPct
	}
	if c.IsSet("at") {
		if options.WidthsM, err = wholeList("at", c.String("at")); err != nil {
			return err
		}
	}
	result, err := calibration.MeasureTrays(test, options)
	if err != nil {
		return err
	}
	return answerOrTable(c, reports.TrayAnswer{TestHead: reports.TestHead{Schema: reports.SchemaCalibrateTray, Test: data.TrayTest, Product: data.Product, Machine: data.Machine},
		DiscSet: data.DiscSet, VanePosition: data.VanePosition, WindMS: test.WindMS, Tray: result}, reports.CalibrateTray)
}

// trayTest is the data of a tray test under the flags.
func trayTest(c *cli.Context, data schemas.TestTray) (test calibration.TrayTest, err error) {
	if c.IsSet("masses-g") {
		masses, err := numberList("masses-g", c.String("masses-g"))
		if err != nil {
			return test, err
		}
		data.MassesG = make(schemas.MassesG, len(masses))
		for i, m := range masses {
			data.MassesG[i] = math.NaN()
			if m != nil {
				data.MassesG[i] = *m
			}
		}
	}
	if c.IsSet("positions-m") {
		if data.PositionsM, err = wholeList("positions-m", c.String("positions-m")); err != nil {
			return test, err
		}
	}
	over(c, "spacing", &data.TraySpacingM)
	over(c, "tray-width", &data.TrayWidthM)
	over(c, "tray-length", &data.TrayLengthM)
	over(c, "bout-width", &data.BoutWidthM)
	overOptional(c, "catch-rate", &data.CatchRateKgHa)
	overOptional(c, "wind", &data.WindMS)
	if c.IsSet("passes") {
		data.Passes = c.Int64("passes")
	}
	return calibration.TraysOf(data), nil
}

func overlapCommand() *cli.Command {
	return &cli.Command{
		Name:  "overlap",
		Usage: "do the passes meet? trays between the driving lines against trays on them",
		Description: "Lay trays on two or more driving lines and half-way between them, work the field past them as usual, weigh.\n\n" +
			"Example:\n  hopperbook calibrate overlap --at-line-g 10.1,9.8,10.3 --between-g 8.9,9.2,9.0\n" +
			`  echo '{"at_driving_line_g":[3.1,3.2],"between_lines_g":[2.9,3.0]}' | hopperbook calibrate overlap - --json`,
		Flags: []cli.Flag{
			&cli.StringFlag{Name: "at-line-g", Usage: "`GRAMS` of each tray on a driving line, apart by commas"},
			&cli.StringFlag{Name: "between-g", Usage: "`GRAMS` of each tray half-way between, apart by commas"},
			&cli.Float64Flag{Name: "tolerance", Usage: "how far the two may differ, `PERCENT`", Value: calibration.DefaultOverlapTolerancePct},
			testFlag(),
		},
		Action: overlapAction,
	}
}

func overlapAction(c *cli.Context) error {
	data, err := oneTest[schemas.TestOverlap](c, schemas.TypeTestOverlap, "at-line-g")
	if err != nil {
		return err
	}
	if c.IsSet("at-line-g") {
		if data.AtDrivingLineG, err = wholeList("at-line-g", c.String("at-line-g")); err != nil {
			return err
		}
	}
	if c.IsSet("between-g") {
		if data.BetweenLinesG, err = wholeList("between-g", c.String("between-g")); err != nil {
			return err
		}
	}
	test := calibration.OverlapOf(data)
	test.TolerancePct = c.Float64("tolerance")
	result, err := calibration.MeasureOverlap(test)
	if err != nil {
		return err
	}
	return answerOrTable(c, reports.OverlapAnswer{TestHead: reports.TestHead{Schema: reports.SchemaCalibrateOverlap, Test: data.OverlapTest, Product: data.Product, Machine: data.Machine}, Overlap: result}, reports.CalibrateOverlap)
}
