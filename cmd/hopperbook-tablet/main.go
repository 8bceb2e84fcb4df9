package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // Windows and Android have no time zones where Go looks

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/commandline"
	"hopperbook/schemas/fault"
)

// version is set by the release build with -ldflags "-X main.version=...".
var version = "development"

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args)
	stop()
	os.Exit(code)
}

func run(ctx context.Context, args []string) int {
	err := newApp().RunContext(ctx, args)
	if err == nil {
		return 0
	}
	fmt.Fprintf(os.Stderr, "hopperbook-tablet: %s\n", fault.Message(err))
	return fault.CodeOf(err).Exit()
}

func newApp() *cli.App {
	start := runCommand()
	app := &cli.App{
		Name:  "hopperbook-tablet",
		Usage: "the cab's part of hopperbook: loads, refills and GPS passes, kept until the office has them",
		Description: "Without a command it runs: it serves the operator's page on this machine, reads the GNSS receiver, keeps every entry on\n" +
			"its disk and forwards it to the hub whenever there is a link. It starts without a receiver and without an enrolment.\n\n" +
			"Start with:  hopperbook-tablet run --gnss serial:///dev/ttyUSB0?baud=115200\n\nExit status: " + commandline.ExitStatuses(),
		Version:                version,
		Suggest:                true,
		HideHelpCommand:        true,
		EnableBashCompletion:   true,
		UseShortOptionHandling: true,
		ExitErrHandler:         func(*cli.Context, error) {}, // run prints and chooses the status
		OnUsageError:           commandline.UsageError,
		Flags:                  start.Flags,
		Before:                 flagsBehind,
		Commands:               []*cli.Command{start, enrolCommand(), statusCommand()},
		Action: func(c *cli.Context) error {
			if c.Args().Present() {
				return commandline.NoSuchCommand(c)
			}
			return start.Action(c)
		},
	}
	for _, command := range app.Commands {
		command.OnUsageError = commandline.UsageError
	}
	return app
}

// flagsBehind refuses flags that stand before a command: the command has the
// same ones, and would not see them.
func flagsBehind(c *cli.Context) error {
	if c.NumFlags() > 0 && c.Args().Present() {
		return fault.Newf("", fault.Usage, "flags stand before the command "+c.Args().First(), "write hopperbook-tablet "+c.Args().First()+" first, then its flags")
	}
	return nil
}
