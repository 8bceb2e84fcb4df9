package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"syscall"

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
	app := newApp()
	err := app.RunContext(ctx, flagsFirst(app, args))
	switch {
	case err == nil:
		return 0
	case ctx.Err() != nil: // whatever broke, it broke because the user stopped it
		fmt.Fprintln(os.Stderr, "hopperbook: stopped; nothing is lost, and doing it again doubles nothing")
		return fault.Canceled.Exit()
	}
	fmt.Fprintf(os.Stderr, "hopperbook: %s\n", fault.Message(err))
	return fault.CodeOf(err).Exit()
}

func newApp() *cli.App {
	app := &cli.App{
		Name:  "hopperbook",
		Usage: "keeps the book of a spreading contractor: what went on each field, and is the machine still on its calibration",
		Description: "Tablets on spreaders and loaders publish loads, refills and GPS pass logs; the hub writes them into the book;\n" +
			"reconcile works out the real kg/ha of each field with its uncertainty and names a machine that has drifted.\n\n" +
			"Start with:  hopperbook demo\n\nExit status: " + commandline.ExitStatuses(),
		Version:                version,
		Suggest:                true,
		HideHelpCommand:        true,
		EnableBashCompletion:   true,
		UseShortOptionHandling: true,
		ExitErrHandler:         func(*cli.Context, error) {}, // run prints and chooses the status
		OnUsageError:           commandline.UsageError,
		Commands: []*cli.Command{
			demoCommand(), hubCommand(), publishCommand(), reconcileCommand(), fieldsCommand(), driftCommand(), balanceCommand(), stockCommand(),
			gapsCommand(), rejectsCommand(), exportCommand(), mapCommand(), calibrateCommand(), jobsheetCommand(), billCommand(), creditCommand(), documentsCommand(),
			seasonCommand(), whyCommand(), rulesCommand(), verifyCommand(), trackCommand(), coverageCommand(), enrolCommand(), revokeCommand(), devicesCommand(),
		},
		Action: func(c *cli.Context) error {
			if c.Args().Present() {
				return commandline.NoSuchCommand(c)
			}
			return cli.ShowAppHelp(c)
		},
	}
	for _, command := range app.Commands {
		command.OnUsageError = commandline.UsageError
	}
	return app
}
