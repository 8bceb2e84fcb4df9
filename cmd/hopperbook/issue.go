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

// issuing is a document on its way, or two that share a bill: what they would be,
// then what they are.
type issuing struct {
	ask       func(ctx context.Context, a office.Asker, really bool) error // plans, or really issues
	show      func() error
	documents func() ([]invoice.Document, error)
}

// issue shows the plan, asks, issues and draws. As JSON or CSV only what was
// issued is printed. While a person thinks, the book is not held.
func issue(c *cli.Context, i issuing) error {
	table := !c.Bool("json") && !c.Bool("csv")
	dry, yes := c.Bool("dry-run"), c.Bool("yes")
	if !table && !dry && !yes {
		return fault.Newf("", fault.Usage, "as JSON or CSV nobody is asked, nothing was issued", "add --yes to issue, or --dry-run to look")
	}
	if dir := c.String("out"); dir != "" && !dry {
		if err := paper.Ready(dir, render.Paper(c.String("paper"))); err != nil {
			return err
		}
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
	docs, err := i.documents()
	if err != nil {
		return err
	}
	if err := confirm(c.Context, os.Stdin, os.Stderr, question(docs)); err != nil {
		return err
	}
	return withAsker(c, func(ctx context.Context, asker office.Asker) error { return i.really(ctx, c, asker, table) })
}

func (i *issuing) really(ctx context.Context, c *cli.Context, asker office.Asker, table bool) error {
	if err := i.ask(ctx, asker, true); err != nil {
		return err
	}
	docs, err := i.documents()
	if err != nil {
		return err
	}
	if dir := c.String("out"); dir != "" {
		for _, doc := range docs {
			if _, err := paper.Document(ctx, asker, doc.Number, dir, render.Paper(c.String("paper")), logf); err != nil {
				return fault.Wrap(fmt.Sprintf("%s is issued, but not drawn (hopperbook documents %s --out DIR draws it)", doc.Number, doc.Number), err)
			}
		}
	}
	if !table {
		return i.show()
	}
	fmt.Fprintln(c.App.Writer)
	for _, doc := range docs {
		if _, err = fmt.Fprintf(c.App.Writer, "Issued on %s: %s\n", doc.IssuedOn, doc.Title()); err != nil {
			return fault.Wrap("print", err)
		}
	}
	return nil
}

// question names what is about to be issued. A number is the next one: another
// may take it first.
func question(docs []invoice.Document) string {
	each, it := make([]string, len(docs)), "it"
	for i := range docs {
		d := &docs[i]
		each[i] = fmt.Sprintf("%s to %s, %s %s with tax", d.Title(), d.Buyer.Name, d.Bill.Currency.Text(d.Bill.Totals.Gross), d.Bill.Currency)
	}
	if len(docs) > 1 {
		it = "both"
	}
	return fmt.Sprintf("%s: issue %s? It cannot be changed afterwards.", strings.Join(each, "; "), it)
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
