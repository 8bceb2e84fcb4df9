package main

import (
	"context"
	"fmt"
	"os"
	"strings"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/office"
	"hopperbook/cmd/internal/paper"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func verifyCommand() *cli.Command {
	return &cli.Command{
		Name:      "verify",
		ArgsUsage: "NUMBER|FILE|DIR",
		Usage:     "hold an issued document, or a folder of season records, against the book: is it whole, is its evidence the same",
		Description: "Takes the number of a document; or a PDF, HTML or UBL file of it, which bears its number and digest (a CSV bears none; only that\n" +
			"mark is read from a file, not its words); or a folder that season --out wrote, whose files are held against their manifest.\n" +
			"Works the digest of the evidence out anew from the book. Exit status 6 (conflict) where the document or the evidence is another one.\n\n" +
			"Example:\n  hopperbook verify bills/2026-0004.pdf",
		Flags:  tableFlags(),
		Action: verifyAction,
	}
}

func verifyAction(c *cli.Context) error {
	arg, err := oneArgument(c, "NUMBER, FILE or DIR")
	if err != nil {
		return err
	}
	if isFolder(arg) {
		return verifyPack(c, arg)
	}
	number, printed, err := documentOf(arg)
	if err != nil {
		return err
	}
	return withAsker(c, func(ctx context.Context, asker office.Asker) error {
		a, doc, err := paper.Ask(ctx, asker, number, false)
		if err != nil {
			return err
		}
		if printed != "" && printed != doc.DocumentDigest {
			a.Whole = false
			a.Changes = append(a.Changes, fmt.Sprintf("%s bears the digest %s, the document in the book %s", arg, printed, doc.DocumentDigest))
		}
		if err := answerOrTable(c, a, reports.Verified); err != nil {
			return err
		}
		if !a.Whole || !a.Unchanged {
			return fault.Newf("verify "+string(number), fault.Conflict, "it does not agree with the book", "what differs stands above; hopperbook credit takes an invoice back")
		}
		return nil
	})
}

// documentOf is the document that an argument stands for: its number, or the mark
// in a file, with the digest that is printed there.
func documentOf(arg string) (schemas.InvoiceNo, string, error) {
	raw, err := os.ReadFile(arg)
	if err != nil {
		if strings.ContainsAny(arg, `/\`) || strings.Contains(arg, ".") {
			return "", "", fault.New("read the document", fault.NotFound, err, "check the file's name, or give the document's number")
		}
		return schemas.InvoiceNo(arg), "", nil
	}
	number, digest, ok := reports.FindMark(raw)
	if !ok {
		return "", "", fault.Newf("read "+arg, fault.Input, "it bears no mark of a document of ours", "the PDF, HTML and UBL files of a document bear one; else give the document's number")
	}
	return number, digest, nil
}
