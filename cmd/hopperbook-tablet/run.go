package main

import (
	"fmt"
	"strings"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/cab"
	"hopperbook/ingest/gnss/feed"
	"hopperbook/ingest/tablet"
	"hopperbook/ingest/tablet/drive"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func runCommand() *cli.Command {
	env := func(name string) []string { return []string{"HOPPERBOOK_TABLET_" + name} }
	return &cli.Command{
		Name:  "run",
		Usage: "serve the operator's page, log passes, forward to the hub (the default command)",
		Description: "Runs until it is stopped (Ctrl-C, SIGTERM); the last pass log is on the disk then. Every flag can stand in the environment.\n\n" +
			"A receiver:  serial:///dev/ttyUSB0?baud=115200 (serial://COM3 on Windows), tcp://HOST:PORT, udp://:10110,\n" +
			"             file:PATH?speed=10&times=shifted (a recorded log; speed=max as fast as possible)\n" +
			"A switch:    line:cts (a modem line of the receiver's port: cts, dsr, dcd, ri), serial:///dev/ttyUSB1?line=dsr,\n" +
			"             tcp://HOST:PORT, udp://:10111 or stdin: (lines of 1 and 0, at each change and every 5 s); ?invert=yes turns it around\n\n" +
			"Example:\n  hopperbook-tablet run --gnss serial:///dev/ttyUSB0?baud=115200 --switch line:cts",
		Flags: []cli.Flag{
			dirFlag(), listenFlag(),
			&cli.StringFlag{Name: "gnss", Usage: "`ADDRESS` of the receiver", EnvVars: env("GNSS")},
			&cli.StringFlag{Name: "replay", Usage: "a recorded `FILE` in the place of a receiver, in real time: short for --gnss file:FILE", EnvVars: env("REPLAY")},
			&cli.StringFlag{Name: "switch", Usage: "`ADDRESS` of the spreading switch; without one, speed and field decide", EnvVars: env("SWITCH")},
			&cli.StringFlag{Name: "coarsest", Usage: "least good `QUALITY` that is logged: gnss, dgnss, float or rtk", EnvVars: env("COARSEST"), Value: "gnss"},
			&cli.Float64Flag{Name: "min-speed", Usage: "without a switch: spreads from this `KM/H` on", EnvVars: env("MIN_SPEED"), Value: 3},
			&cli.Float64Flag{Name: "max-speed", Usage: "without a switch: spreads up to this `KM/H`", EnvVars: env("MAX_SPEED"), Value: 30},
			&cli.StringFlag{Name: "role", Usage: "`ROLE` of the machine: spreader or loader", EnvVars: env("ROLE"), Value: tablet.RoleSpreader},
			&cli.StringFlag{Name: "device", Usage: "`NAME` of the device; an enrolled tablet knows its own", EnvVars: env("DEVICE"), DefaultText: "the computer's name"},
			&cli.StringFlag{Name: "machine", Usage: "`NAME` of the machine, where it is not the device's", EnvVars: env("MACHINE")},
			&cli.StringFlag{Name: "time-zone", Usage: "IANA `NAME`, until the register says another", EnvVars: env("TIME_ZONE"), DefaultText: "UTC"},
			&cli.StringSliceFlag{Name: "host", Usage: "a `NAME` by which other machines may ask for the page; it asks nobody who they are", EnvVars: env("HOST")},
			&cli.Int64Flag{Name: "limit-mb", Usage: "`MB` of entries that are kept without a link", EnvVars: env("LIMIT_MB"), Value: 2048},
			&cli.IntFlag{Name: "cap-kb-s", Usage: "at most `KB` a second to the hub; 0: no cap", EnvVars: env("CAP_KB_S")},
		},
		Action: runAction,
	}
}

func runAction(c *cli.Context) error {
	if err := noArguments(c); err != nil {
		return err
	}
	cfg, err := runConfig(c)
	if err != nil {
		return err
	}
	return cab.Run(c.Context, cfg, func(r cab.Ready) {
		fmt.Fprintf(c.App.Writer, "tablet ready: %s, device %s, entries in %s\n", r.URL, r.Device, cfg.Dir)
		for _, m := range r.Missing {
			logf("%s", m)
		}
	})
}

func runConfig(c *cli.Context) (cab.Config, error) {
	cfg := cab.Config{Dir: c.String("dir"), Device: schemas.DeviceID(c.String("device")), Machine: schemas.MachineID(c.String("machine")), Role: c.String("role"),
		TimeZone: c.String("time-zone"), Listen: c.String("listen"), Hosts: c.StringSlice("host"), LimitBytes: c.Int64("limit-mb") << 20,
		BytesPerSecond: c.Int("cap-kb-s") << 10, Log: logf, Drive: drive.Config{MinKmh: c.Float64("min-speed"), MaxKmh: c.Float64("max-speed")}}
	usage := func(format string, args ...any) error {
		return fault.Newf("", fault.Usage, fmt.Sprintf(format, args...), "hopperbook-tablet run --help lists the flags")
	}
	var known bool
	cfg.Drive.Coarsest, known = map[string]schemas.Quality{"gnss": schemas.QualityGNSS, "dgnss": schemas.QualityDGNSS,
		"float": schemas.QualityRTKFloat, "rtk": schemas.QualityRTKFixed}[c.String("coarsest")]
	switch {
	case !known:
		return cfg, usage("--coarsest %q is no quality", c.String("coarsest"))
	case cfg.Role != tablet.RoleSpreader && cfg.Role != tablet.RoleLoader:
		return cfg, usage("--role %q is neither spreader nor loader", cfg.Role)
	case c.Int64("limit-mb") < 1 || c.Int64("limit-mb") > 1<<20 || c.Int("cap-kb-s") < 0 || c.Int("cap-kb-s") > 1<<20:
		return cfg, usage("--limit-mb or --cap-kb-s is off")
	case !(cfg.Drive.MinKmh > 0) || !(cfg.Drive.MaxKmh > cfg.Drive.MinKmh):
		return cfg, usage("--min-speed must be above 0 and below --max-speed")
	case c.IsSet("gnss") && c.IsSet("replay"):
		return cfg, usage("--gnss and --replay together")
	case cfg.Machine != "" && !schemas.ValidToken(string(cfg.Machine)):
		return cfg, usage("--machine %q is no name: lower-case letters, digits, '-' and '_'", cfg.Machine)
	}
	return cfg, addresses(c, &cfg)
}

// addresses reads receiver and switch. What is wrong with them is told at
// once, not by an empty page.
func addresses(c *cli.Context, cfg *cab.Config) (err error) {
	receiver := c.String("gnss")
	if file := c.String("replay"); file != "" {
		receiver = "file:" + strings.TrimPrefix(file, "file:")
	}
	if receiver != "" {
		if cfg.GNSS, err = feed.ParseReceiver(receiver); err != nil {
			return err
		}
	}
	if s := c.String("switch"); s != "" {
		if cfg.Switch, err = feed.ParseSwitch(s); err != nil {
			return err
		}
	}
	if cfg.Switch.Kind == feed.Own && cfg.GNSS.Kind != feed.Serial {
		return fault.Newf("", fault.Usage, "--switch line:... is a line of the receiver's serial port, and --gnss names none", "name a serial receiver, or another switch")
	}
	if cfg.GNSS.Kind == feed.File {
		return readable(cfg.GNSS.Place)
	}
	return nil
}
