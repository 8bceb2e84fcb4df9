package main

import (
	"fmt"
	"math"

	"github.com/urfave/cli/v2"

	"hopperbook/schemas/fault"
)

// calibrateCommand is the group of the field tests; calibrate_*.go hold the
// tests themselves.
func calibrateCommand() *cli.Command {
	group := &cli.Command{
		Name:  "calibrate",
		Usage: "work out the field tests of a calibration: density, catch, gate scale, trays, overlap; machine checks; the certificate",
		Description: "Each takes flags, or a FILE (- for standard input) with the data of the matching event as JSON: one object, a list, or\n" +
			"events one a line as hopperbook export events writes them. Without a file and without measured numbers the tests are those\n" +
			"of the book that --machine, --product and --test name: the last one, where one alone is worked out. Flags go before what\n" +
			"file or book say. Nothing is booked: publish the event for that.\n\n" +
			"Stop the engine, take the key and wait until everything stands still before you reach in; keep people out of the throw.\n\n" +
			"Example:\n  hopperbook calibrate catch --collected-kg 36.0,36.2,36.1 --distance 100 --bout-width 24\n" +
			"  hopperbook calibrate gate --machine spreader-1 --product urea-46 --rate 150 --bout-width 24\n" +
			"  hopperbook calibrate tray --machine spreader-1\n  hopperbook calibrate certificate spreader-1 --pdf spreader-1.pdf",
		Subcommands: []*cli.Command{densityCommand(), catchCommand(), gateCommand(), trayCommand(), overlapCommand(), certificateCommand(), checksCommand()},
		Action: func(c *cli.Context) error {
			if !c.Args().Present() {
				return cli.ShowSubcommandHelp(c)
			}
			return fault.Newf("calibrate", fault.Usage, fmt.Sprintf("there is no test %q", c.Args().First()), "hopperbook calibrate --help lists the tests")
		},
	}
	for _, command := range group.Subcommands {
		command.OnUsageError = func(c *cli.Context, err error, _ bool) error {
			return fault.New("", fault.Usage, err, "hopperbook "+commandName(c)+" --help lists its flags")
		}
		command.Flags = append(command.Flags, tableFlags()...)
		if command.ArgsUsage != "" {
			continue // asks the book alone
		}
		command.ArgsUsage = "[FILE|-]"
		command.Flags = append(command.Flags,
			&cli.StringFlag{Name: "machine", Usage: "tests of `MACHINE` only; without a file those of the book"},
			&cli.StringFlag{Name: "product", Usage: "tests of `PRODUCT` only"})
	}
	return group
}

// commandName is how a test is called; the library knows the last word only.
func commandName(c *cli.Context) string { return "calibrate " + c.Command.Name }

func testFlag() cli.Flag {
	return &cli.StringFlag{Name: "test", Usage: "the test with this `ID`"}
}

func number(name, usage string) cli.Flag {
	return &cli.Float64Flag{Name: name, Usage: usage, DefaultText: "not given"}
}

// aboveZero refuses a measure that cannot be zero or less; tare and wind can.
func aboveZero(c *cli.Context) error {
	for _, f := range c.Command.Flags {
		name := f.Names()[0]
		if _, measure := f.(*cli.Float64Flag); !measure || !c.IsSet(name) || name == "tare-kg" || name == "wind" {
			continue
		}
		if v := c.Float64(name); !(v > 0) || math.IsInf(v, 0) {
			return fault.Newf("--"+name, fault.Usage, fmt.Sprintf("%v: must be above zero", v), "correct it, or leave it out where it is not known")
		}
	}
	return nil
}

// over puts a flag that was given before what the file says.
func over(c *cli.Context, flag string, value *float64) {
	if c.IsSet(flag) {
		*value = c.Float64(flag)
	}
}

// overOptional is over for a value that may be missing.
func overOptional(c *cli.Context, flag string, value **float64) {
	if c.IsSet(flag) {
		v := c.Float64(flag)
		*value = &v
	}
}
