package main

import (
	"cmp"
	"context"
	"encoding/json"
	"io"
	"slices"
	"time"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/cmd/internal/office"
	"hopperbook/cmd/internal/paper"
	"hopperbook/reconcile/calibration"
	"hopperbook/reports"
	"hopperbook/reports/render"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func certificateCommand() *cli.Command {
	return &cli.Command{
		Name:      "certificate",
		ArgsUsage: "MACHINE",
		Usage:     "a machine's calibration certificate from the tests in the book, as PDF and HTML",
		Description: "The certificate takes the newest tests of the machine with the product and disc set, its machine checks, and what it has\n" +
			"spread since. It holds until a date, an amount spread or a change of product, whichever comes first; a failed safety check,\n" +
			"a void or failed tray test or a missing test stands against it. The same book gives the same bytes.\n\n" +
			"Example:\n  hopperbook calibrate certificate spreader-1 --product urea-46 --pdf spreader-1.pdf --html spreader-1.html",
		Flags: []cli.Flag{
			&cli.StringFlag{Name: "product", Usage: "`PRODUCT` to certify, where several were tested"},
			&cli.StringFlag{Name: "disc-set", Usage: "disc `SET` (granular, powder)", DefaultText: "that of the newest test"},
			&cli.StringFlag{Name: "as-of", Usage: "as it stood at the end of this `DAY`, like 2026-03-01 (UTC)", DefaultText: "the machine's last event"},
			&cli.Float64Flag{Name: "limit", Usage: "CV limit in `PERCENT`", DefaultText: "15; 25 for a product with a neutralising value and no nitrogen"},
			&cli.IntFlag{Name: "valid-days", Usage: "`DAYS` it holds", Value: calibration.DefaultValidDays},
			&cli.Float64Flag{Name: "valid-tonnes", Usage: "`TONNES` spread it holds for", Value: calibration.DefaultValidKg / 1000},
			&cli.StringFlag{Name: "pdf", Usage: "write it as PDF into `FILE`"},
			&cli.StringFlag{Name: "html", Usage: "write it as one HTML page into `FILE`"},
			&cli.StringFlag{Name: "paper", Usage: "`SIZE` of the PDF: a4 or letter", Value: string(render.A4)},
		},
		Action: certificateAction,
	}
}

func certificateAction(c *cli.Context) error {
	machine, err := oneArgument(c, "MACHINE")
	if err != nil {
		return err
	}
	if err := aboveZero(c); err != nil {
		return err
	}
	if c.Int("valid-days") < 1 {
		return fault.Newf("--valid-days", fault.Usage, "it must be above zero", "give whole days")
	}
	ask := desk.CertifyParams{Machine: schemas.MachineID(machine), Product: schemas.ProductID(c.String("product")), DiscSet: c.String("disc-set"), AsOf: c.String("as-of"),
		CVLimitPct: c.Float64("limit"), ValidDays: c.Int("valid-days"), ValidT: c.Float64("valid-tonnes")}
	var answer reports.CertificateAnswer
	err = withAsker(c, func(ctx context.Context, asker office.Asker) error {
		return office.AskJSON(ctx, asker, desk.Certify, ask, &answer)
	})
	if err != nil {
		return err
	}
	sheet := answer.Sheet()
	for _, f := range []struct {
		flag   string
		render func(io.Writer) error
	}{
		{"pdf", func(w io.Writer) error { return render.SheetPDF(w, sheet, render.Paper(c.String("paper"))) }},
		{"html", func(w io.Writer) error { return render.SheetHTML(w, sheet) }},
	} {
		if name := c.String(f.flag); name != "" {
			if err := paper.Write(name, f.render); err != nil {
				return err
			}
		}
	}
	return answerOrTable(c, answer, reports.Certificate)
}

func checksCommand() *cli.Command {
	return &cli.Command{
		Name:      "checks",
		ArgsUsage: " ",
		Usage:     "how each machine's checks stand, and which stand against starting a job",
		Description: "Each item stands by its last check in the book. A failed safety check keeps jobs from being started until it is checked again.\n\n" +
			"Example:\n  hopperbook calibrate checks --machine spreader-1",
		Flags:  []cli.Flag{&cli.StringFlag{Name: "machine", Usage: "checks of `MACHINE` only"}},
		Action: checksAction,
	}
}

func checksAction(c *cli.Context) error {
	if err := noArguments(c); err != nil {
		return err
	}
	all, err := bookedTests(c, schemas.TypeCheckMachine)
	if err != nil {
		return err
	}
	var checks []calibration.Check
	var last time.Time
	for _, one := range all {
		check := calibration.Check{At: one.at}
		if err := json.Unmarshal([]byte(one.data), &check.CheckMachine); err != nil {
			return fault.New("read the book's machine checks", fault.Internal, err, "")
		}
		check.Machine = check.CheckMachine.Machine
		checks = append(checks, check)
		if one.at.After(last) {
			last = one.at
		}
	}
	a := reports.ChecksAnswer{Schema: reports.SchemaChecks, Machines: []reports.MachineChecks{}}
	slices.SortFunc(checks, func(x, y calibration.Check) int { return cmp.Compare(x.Machine, y.Machine) })
	for i, check := range checks {
		if i == 0 || check.Machine != checks[i-1].Machine {
			a.Machines = append(a.Machines, reports.MachineChecks{Machine: check.Machine, Checks: calibration.CheckStates(checks, check.Machine, last, calibration.DefaultCheckLimits()),
				Blocked: calibration.PlanStart(checks, check.Machine, last, nil, calibration.DefaultCheckLimits()).Refusal() != nil})
		}
	}
	return answerOrTable(c, a, reports.Checks)
}
