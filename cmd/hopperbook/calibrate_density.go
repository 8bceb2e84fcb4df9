package main

import (
	"fmt"
	"time"

	"github.com/urfave/cli/v2"

	"hopperbook/reconcile/calibration"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func densityCommand() *cli.Command {
	return &cli.Command{
		Name:  "density",
		Usage: "bulk density from a container's mass and volume, and what a change of it does to the rate",
		Description: "Several masses (or several objects in the file) are repeats; of events, those within half a day of the newest are, and\n" +
			"the half day before them is the last test to compare with; of the book the product's register is another.\n\n" +
			"Example:\n  hopperbook calibrate density --mass-kg 16.0,16.1,16.2 --tare-kg 1.1 --volume-l 20 --register-kg-m3 780\n" +
			"  hopperbook calibrate density --machine spreader-1 --product urea-46\n" +
			`  echo '{"product":"urea-46","mass_kg":15.2,"volume_l":20}' | hopperbook calibrate density - --json`,
		Flags: []cli.Flag{
			&cli.StringFlag{Name: "mass-kg", Usage: "gross `KG` of each repeat, apart by commas"},
			number("volume-l", "volume of the container in `LITRES`"),
			number("tare-kg", "`KG` of the empty container"),
			number("register-kg-m3", "what the product's register says, `KG/M3`"),
			number("last-kg-m3", "what the last test said, `KG/M3`"),
			number("last-se-kg-m3", "its standard error, `KG/M3`"),
		},
		Action: densityAction,
	}
}

func densityAction(c *cli.Context) error {
	tests, err := testsFor[schemas.TestDensity](c, schemas.TypeTestDensity, "mass-kg")
	if err != nil {
		return err
	}
	for _, one := range tests {
		if one.data.Product != tests[0].data.Product {
			return fault.Newf(commandName(c), fault.Usage, fmt.Sprintf("tests of %s and %s in the file", tests[0].data.Product, one.data.Product), "choose one with --product")
		}
	}
	newest, before := lastHalfDay(tests)
	test := calibration.DensityTest{Register: calibration.DensityReference{KgM3: c.Float64("register-kg-m3")}}
	if fromBook(c, "mass-kg") && !c.IsSet("register-kg-m3") {
		booked, err := askTests(c)
		if err != nil {
			return err
		}
		test.Register.KgM3 = booked.DensityKgM3[tests[0].data.Product]
	}
	if test.Samples, err = densitySamples(c, newest); err != nil {
		return err
	}
	if test.Last, err = lastDensity(c, before); err != nil {
		return err
	}
	result, err := calibration.MeasureDensity(test)
	if err != nil {
		return err
	}
	head := reports.TestHead{Schema: reports.SchemaCalibrateDensity, Product: newest[0].data.Product, Machine: newest[0].data.Machine}
	return answerOrTable(c, reports.DensityAnswer{TestHead: head, Density: result}, reports.CalibrateDensity)
}

// densitySamples is the file's samples under the flags; masses by flag stand
// in the first one's container.
func densitySamples(c *cli.Context, tests []timed[schemas.TestDensity]) (samples []calibration.DensitySample, err error) {
	for _, one := range tests {
		for _, s := range calibration.Samples(one.data) {
			over(c, "volume-l", &s.VolumeL)
			over(c, "tare-kg", &s.TareKg)
			samples = append(samples, s)
		}
	}
	if !c.IsSet("mass-kg") {
		return samples, nil
	}
	masses, err := wholeList("mass-kg", c.String("mass-kg"))
	if err != nil {
		return nil, err
	}
	container := samples[0]
	samples = nil
	for _, kg := range masses {
		container.MassKg = kg
		samples = append(samples, container)
	}
	return samples, nil
}

// lastHalfDay parts tests into those within half a day of the newest and the
// ones before. Tests that came without a time are all one test.
func lastHalfDay(tests []timed[schemas.TestDensity]) (newest, before []timed[schemas.TestDensity]) {
	var latest time.Time
	for _, one := range tests {
		if one.at.After(latest) {
			latest = one.at
		}
	}
	for _, one := range tests {
		if latest.Sub(one.at) <= calibration.TestDay {
			newest = append(newest, one)
		} else {
			before = append(before, one)
		}
	}
	return newest, before
}

// lastDensity is what the test is compared with: as the flags say, else the
// last half day of tests before it.
func lastDensity(c *cli.Context, before []timed[schemas.TestDensity]) (ref calibration.DensityReference, err error) {
	if c.IsSet("last-kg-m3") || len(before) == 0 {
		return calibration.DensityReference{KgM3: c.Float64("last-kg-m3"), SEKgM3: c.Float64("last-se-kg-m3")}, nil
	}
	last, _ := lastHalfDay(before)
	var test calibration.DensityTest
	for _, one := range last {
		test.Samples = append(test.Samples, calibration.Samples(one.data)...)
	}
	result, err := calibration.MeasureDensity(test)
	return result.AsReference(), fault.Wrap("the last test", err)
}
