package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/urfave/cli/v2"
	"golang.org/x/term"

	"hopperbook/cmd/internal/office"
	"hopperbook/cmd/internal/paper"
	"hopperbook/reports/invoice"
	"hopperbook/reports/render"
	"hopperbook/schemas/fault"
)

// issuing is a document on its way: what it would be, then what it is.
type issuing struct {
	ask      func(ctx context.Context, a office.Asker, really bool) error // plans it, or really issues it
	show     func() error
	document func() (invoice.Document, error)
}

// issue shows the plan, asks, issues and draws. As JSON or CSV only what was
// issued is printed. While a person thinks, the book is not held.
func issue(c *cli.Context, i issuing) error {
	table := !c.Bool("json") && !c.Bool("csv")
	dry, yes := c.Bool("dry-run"), c.Bool("yes")
	if !table && !dry && !yes {
		return fault.Newf("", fault.Usage, "as JSON or CSV nobody is asked, nothing was issued", "add --yes to issue, or --dry-run to look")
	}
	err := withAsker(c, func(ctx context.Context, asker office.Asker) error {
		if err := i.ask(ctx, asker, false); err != nil {
			return err
		}
		if dry || table {
			if err := i.show(); err != nil {
				return err
			}
		}
		if dry || !yes {
			return nil
		}
		return i.really(ctx, c, asker, table)
	})
	if err != nil || dry || yes {
		return err
	}
	doc, err := i.document()
	if err != nil {
		return err
	}
	if err := confirm(c.Context, os.Stdin, os.Stderr, question(&doc)); err != nil {
		return err
	}
	return withAsker(c, func(ctx context.Context, asker office.Asker) error { return i.really(ctx, c, asker, table) })
}

func (i *issuing) really(ctx context.Context, c *cli.Context, asker office.Asker, table bool) error {
	if err := i.ask(ctx, asker, true); err != nil {
		return err
	}
	doc, err := i.document()
	if err != nil {
		return err
	}
	if dir := c.String("out"); dir != "" {
		if _, err := paper.Document(ctx, asker, doc.Number, dir, render.Paper(c.String("paper")), logf); err != nil {
			return fault.Wrap(fmt.Sprintf("%s is issued, but not drawn (hopperbook documents %s --out DIR draws it)", doc.Number, doc.Number), err)
		}
	}
	if !table {
		return i.show()
	}
	_, err = fmt.Fprintf(c.App.Writer, "\nIssued on %s: %s\n", doc.IssuedOn, doc.Title())
	return fault.Wrap("print", err)
}

// question names what is about to be issued. The number is the next one: another
// may take it first.
func question(d *invoice.Document) string {
	b := &d.Bill
	return fmt.Sprintf("%s to %s, %s %s with tax: issue it? It cannot be changed afterwards.", d.Title(), d.Buyer.Name, b.Currency.Text(b.Totals.Gross), b.Currency)
}

// confirm asks at a terminal until there is an answer or ctx ends; elsewhere
// nothing is issued without --yes.
func confirm(ctx context.Context, in *os.File, out io.Writer, question string) error {
	if !term.IsTerminal(int(in.Fd())) {
		return fault.Newf("", fault.Usage, "nobody can be asked here, nothing was issued", "add --yes to issue, or --dry-run to look")
	}
	fmt.Fprintf(out, "%s [y/N] ", question)
	return agreed(ctx, in)
}

// agreed reads a line and reports anything but a yes as a refusal. A read that
// ctx overtakes stays behind: the program ends.
func agreed(ctx context.Context, in io.Reader) error {
	line := make(chan string, 1)
	go func() {
		text, _ := bufio.NewReader(in).ReadString('\n') // an end of the input is no yes
		line <- text
	}()
	no := fault.Newf("", fault.Canceled, "nothing was issued", "")
	select {
	case <-ctx.Done():
		return no
	case text := <-line:
		switch strings.ToLower(strings.TrimSpace(text)) {
		case "y", "yes":
			return nil
		}
		return no
	}
}
