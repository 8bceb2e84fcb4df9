package main

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"hopperbook/reconcile/calibration"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// catchFlags are how a catch was made, for catch and gate.
func catchFlags() []cli.Flag {
	return []cli.Flag{
		number("tare-kg", "`KG` of the empty bucket or sheet"),
		number("distance", "`METRES` driven in each repeat"),
		number("time", "`SECONDS` of each repeat"),
		&cli.BoolFlag{Name: "ground-driven", Usage: "of a test by time: the belt follows the ground speed"},
	}
}

func catchCommand() *cli.Command {
	return &cli.Command{
		Name:  "catch",
		Usage: "calibrated flow from a catch test by distance or by time, and the rate it gives",
		Description: "In the data, repeats are all the catches and collected_kg is their mean; without repeats it is the one catch.\n" +
			"The masses are gross where tare_kg is given.\n\n" +
			"Example:\n  hopperbook calibrate catch --collected-kg 36.0,36.2,36.1 --distance 100 --bout-width 24\n" +
			"  hopperbook calibrate catch --collected-kg 49.1 --tare-kg 0.8 --time 30 --speed 12 --bout-width 12 --gate 62 --want 350\n" +
			`  echo '{"gate_mm":62.5,"collected_kg":54,"time_s":30,"speed_kmh":18,"bout_width_m":24}' | hopperbook calibrate catch - --json`,
		Flags: append(catchFlags(), testFlag(),
			&cli.StringFlag{Name: "collected-kg", Usage: "gross `KG` of each repeat, apart by commas"},
			number("speed", "`KM/H` worked at"),
			number("bout-width", "bout width in `METRES`"),
			number("revolutions", "`TURNS` of the metering shaft in each repeat"),
			number("gate", "gate opening in `MM`"),
			number("want", "rate wanted, `KG/HA`: a first gate to try, in proportion"),
			number("at-bout-width", "show the rate at another bout width in `METRES`"),
			number("at-speed", "show the rate at another speed in `KM/H`"),
		),
		Action: catchAction,
	}
}

func catchAction(c *cli.Context) error {
	data, err := oneTest[schemas.TestCatch](c, schemas.TypeTestCatch, "collected-kg")
	if err != nil {
		return err
	}
	test, note, err := catchTest(c, data)
	if err != nil {
		return err
	}
	over(c, "speed", &test.SpeedKmh)
	over(c, "bout-width", &test.BoutWidthM)
	over(c, "revolutions", &test.Revolutions)
	over(c, "gate", &data.GateMm)
	result, err := calibration.MeasureFlow(test)
	if err != nil {
		return err
	}
	result.Findings = append(result.Findings, note...)
	a := reports.CatchAnswer{TestHead: reports.TestHead{Schema: reports.SchemaCalibrateCatch, Test: data.CatchTest, Product: data.Product, Machine: data.Machine},
		Flow: result, GateMm: data.GateMm, BoutWidthM: test.BoutWidthM}
	if err := elsewhere(c, test, &a); err != nil {
		return err
	}
	return answerOrTable(c, a, reports.CalibrateCatch)
}

// elsewhere adds what was asked for beyond the test itself.
func elsewhere(c *cli.Context, test calibration.CatchTest, a *reports.CatchAnswer) error {
	if c.IsSet("at-bout-width") || c.IsSet("at-speed") {
		at := reports.CatchAt{BoutWidthM: test.BoutWidthM, SpeedKmh: test.SpeedKmh}
		over(c, "at-bout-width", &at.BoutWidthM)
		over(c, "at-speed", &at.SpeedKmh)
		rate, err := a.RateAt(at.BoutWidthM, at.SpeedKmh)
		if err != nil {
			return err
		}
		at.RateKgHa = rate
		a.At = &at
	}
	if c.IsSet("want") {
		if a.RateKgHa == nil || !(a.GateMm > 0) || !(c.Float64("want") > 0) {
			return fault.Newf(commandName(c), fault.Usage, "no gate to try without a rate wanted, the gate and the rate of the test", "give --want and --gate above zero, and --bout-width (by time also --speed)")
		}
		a.FirstTry = &reports.FirstTry{WantedKgHa: c.Float64("want"), GateMm: calibration.LinearSetting(a.GateMm, *a.RateKgHa, c.Float64("want"))}
	}
	return nil
}

// catchTest is the data of a catch test under the flags both catch and gate
// have.
func catchTest(c *cli.Context, data schemas.TestCatch) (test calibration.CatchTest, note []calibration.Finding, err error) {
	test = calibration.CatchOf(data)
	test.GroundDriven = test.GroundDriven || c.Bool("ground-driven")
	if c.IsSet("collected-kg") {
		if test.CollectedKg, err = wholeList("collected-kg", c.String("collected-kg")); err != nil {
			return test, nil, err
		}
	} else {
		note = calibration.StatedMean(data.CollectedKg, data.Repeats)
	}
	over(c, "tare-kg", &test.TareKg)
	over(c, "distance", &test.DistanceM)
	over(c, "time", &test.TimeS)
	return test, note, nil
}

func gateCommand() *cli.Command {
	return &cli.Command{
		Name:  "gate",
		Usage: "the gate scale's curve over several catch tests, and which gate to set for a rate",
		Description: "Products, disc sets, belt gears and PTO speeds are curves of their own. Without --rate the curves are shown. A gate beyond\n" +
			"the tested openings is named only when it is near, and said to be beyond.\n\n" +
			"Example:\n  hopperbook calibrate gate --catch 40:20.1 --catch 60:30.3 --catch 60:30.0 --catch 80:40.2 --distance 100 --rate 125 --bout-width 24\n" +
			"  hopperbook calibrate gate tests.jsonl --rate 2500 --speed 8 --bout-width 12",
		Flags: append(catchFlags(), testFlag(),
			&cli.StringSliceFlag{Name: "catch", Usage: "a catch as `MM:KG`, gate opening and gross mass; give it once a catch"},
			number("test-speed", "`KM/H` the catches were made at, for a ground-driven belt timed"),
			&cli.StringFlag{Name: "disc-set", Usage: "of the tests, those of this disc `SET` (granular, powder) only"},
			&cli.StringFlag{Name: "since", Usage: "of events, those from this `DAY` on, like 2026-03-01 (UTC)"},
			number("rate", "rate wanted, `KG/HA`"),
			number("speed", "`KM/H` to work at"),
			number("bout-width", "bout width to work at in `METRES`"),
		),
		Action: gateAction,
	}
}

func gateAction(c *cli.Context) error {
	tests, err := gateTests(c)
	if err != nil {
		return err
	}
	curves, err := calibration.Curves(tests)
	if err != nil {
		return err
	}
	a := reports.GateAnswer{Schema: reports.SchemaCalibrateGate, Curves: curves, Gates: []calibration.GateAdvice{}}
	if c.IsSet("rate") {
		for _, curve := range curves {
			gate, err := curve.Gate(calibration.GateWanted{RateKgHa: c.Float64("rate"), SpeedKmh: c.Float64("speed"), BoutWidthM: c.Float64("bout-width")})
			if err != nil {
				return err
			}
			a.Gates = append(a.Gates, gate)
		}
	}
	return answerOrTable(c, a, reports.CalibrateGate)
}

// gateTests are the file's catch tests, or the catches given by flags.
func gateTests(c *cli.Context) (tests []calibration.GateTest, err error) {
	file, err := testsFor[schemas.TestCatch](c, schemas.TypeTestCatch, "catch")
	if err != nil {
		return nil, err
	}
	if !c.Args().Present() && !fromBook(c, "catch") {
		if file, err = catchesByFlag(c.StringSlice("catch"), c.String("disc-set"), c.String("product")); err != nil {
			return nil, err
		}
	}
	for _, one := range file {
		if c.IsSet("disc-set") && one.data.DiscSet != c.String("disc-set") || c.IsSet("since") && one.at.UTC().Format(time.DateOnly) < c.String("since") {
			continue
		}
		test, _, err := catchTest(c, one.data)
		if err != nil {
			return nil, err
		}
		over(c, "test-speed", &test.SpeedKmh)
		gate := calibration.GateTestOf(one.data)
		gate.CatchTest = test
		tests = append(tests, gate)
	}
	return tests, nil
}

func catchesByFlag(catches []string, discSet, product string) (tests []timed[schemas.TestCatch], err error) {
	for _, text := range catches {
		gate, mass, _ := strings.Cut(text, ":")
		gateMm, err1 := strconv.ParseFloat(strings.TrimSpace(gate), 64)
		massKg, err2 := strconv.ParseFloat(strings.TrimSpace(mass), 64)
		if err1 != nil || err2 != nil {
			return nil, fault.Newf("--catch", fault.Usage, fmt.Sprintf("%q is not a gate opening and a mass", text), "write it like 60:30.3")
		}
		one := timed[schemas.TestCatch]{}
		one.data.GateMm, one.data.CollectedKg = gateMm, massKg
		one.data.DiscSet, one.data.Product = discSet, schemas.ProductID(product)
		tests = append(tests, one)
	}
	return tests, nil
}
