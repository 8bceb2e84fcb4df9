package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"

	"github.com/adrg/xdg"
	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/office"
	"hopperbook/reports"
	"hopperbook/reports/render"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func bookFlags() []cli.Flag {
	return []cli.Flag{
		&cli.StringFlag{Name: "book", Usage: "folder of the book `DIR`", EnvVars: []string{"HOPPERBOOK_BOOK"}, Value: filepath.Join(xdg.DataHome, "hopperbook"), DefaultText: "hopperbook in the XDG data folder"},
		&cli.StringFlag{Name: "nats", Usage: "`URL` of the NATS server to use; without it the book's own hub is found, or the book is opened", EnvVars: []string{"HOPPERBOOK_NATS"}},
		&cli.StringFlag{Name: "contractor", Usage: "contractor `TOKEN` in the subjects", EnvVars: []string{"HOPPERBOOK_CONTRACTOR"}, DefaultText: "the book's, own for a new one"},
	}
}

func tableFlags() []cli.Flag {
	return append(bookFlags(),
		&cli.BoolFlag{Name: "json", Usage: "print JSON instead of a table"},
		&cli.BoolFlag{Name: "csv", Usage: "print CSV instead of a table"},
	)
}

func officeConfig(c *cli.Context) (office.Config, error) {
	cfg := office.Config{BookDir: c.String("book"), NATS: c.String("nats"), Contractor: schemas.ContractorID(c.String("contractor")), Logf: logf}
	if cfg.Contractor != "" && !schemas.ValidToken(string(cfg.Contractor)) {
		return cfg, fault.Newf("", fault.Usage, fmt.Sprintf("contractor %q is not a token", cfg.Contractor), "use lower-case letters, digits, '-' and '_'")
	}
	return cfg, nil
}

func logf(format string, args ...any) { fmt.Fprintf(os.Stderr, format+"\n", args...) }

func noArguments(c *cli.Context) error {
	if c.Args().Present() {
		return fault.Newf("", fault.Usage, fmt.Sprintf("%s takes no argument, got %q", c.Command.Name, c.Args().First()), c.Command.HelpName+" --help lists its flags")
	}
	return nil
}

func oneArgument(c *cli.Context, what string) (string, error) {
	if c.Args().Len() != 1 {
		return "", fault.Newf("", fault.Usage, fmt.Sprintf("%s takes one %s, got %d arguments", c.Command.Name, what, c.Args().Len()), c.Command.HelpName+" --help shows an example")
	}
	return c.Args().First(), nil
}

// openFile opens a file that the command line names.
func openFile(op, name string) (*os.File, error) {
	file, err := os.Open(name)
	if err != nil {
		return nil, fault.New(op, fault.NotFound, err, "check the file's name, and that you may read it")
	}
	return file, nil
}

// withAsker opens the way to the book for one command.
func withAsker(c *cli.Context, do func(context.Context, office.Asker) error) error {
	cfg, err := officeConfig(c)
	if err != nil {
		return err
	}
	asker, err := office.Open(c.Context, cfg)
	if err != nil {
		return err
	}
	if err := do(c.Context, asker); err != nil {
		_ = asker.Close() // the first error is the one to tell
		return err
	}
	return asker.Close()
}

// askAndShow is the whole of a command that prints one table: the answer as
// it came with --json, else the table made of it.
func askAndShow[T any](c *cli.Context, question string, table func(T) reports.Table) error {
	if err := noArguments(c); err != nil {
		return err
	}
	if c.Bool("json") && c.Bool("csv") {
		return fault.Newf("", fault.Usage, "--json and --csv together", "choose one")
	}
	return withAsker(c, func(ctx context.Context, asker office.Asker) error {
		if c.Bool("json") {
			return asker.Ask(ctx, question, nil, c.App.Writer)
		}
		var answer T
		if err := office.AskJSON(ctx, asker, question, nil, &answer); err != nil {
			return err
		}
		return show(c, table(answer))
	})
}

// answerOrTable prints an answer that was worked out here: itself with --json,
// else the table made of it.
func answerOrTable[T any](c *cli.Context, answer T, table func(T) reports.Table) error {
	if c.Bool("json") && c.Bool("csv") {
		return fault.Newf("", fault.Usage, "--json and --csv together", "choose one")
	}
	if c.Bool("json") {
		return printJSON(c, answer)
	}
	return show(c, table(answer))
}

func printJSON(c *cli.Context, answer any) error {
	enc := json.NewEncoder(c.App.Writer)
	enc.SetIndent("", " ")
	return fault.Wrap("print", enc.Encode(answer))
}

func show(c *cli.Context, t reports.Table) error {
	if c.Bool("csv") {
		return fault.Wrap("print", render.CSV(c.App.Writer, t))
	}
	return fault.Wrap("print", render.Text(c.App.Writer, t))
}
