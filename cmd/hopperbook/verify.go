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
	"hopperbook/reports/invoice"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func verifyCommand() *cli.Command {
	return &cli.Command{
		Name:      "verify",
		ArgsUsage: "NUMBER|FILE|DIR",
		Usage:     "hold an issued document, or a folder of season records, against the book: is it whole, is its evidence the same",
		Description: "Takes the number of a document; or a PDF, HTML or UBL file of it, which bears its number and digest and is held byte for byte against\n" +
			"what is drawn from the events that the book held when it was issued; or a ledger as CSV, of one document or many, whose rows are held\n" +
			"against the book's, cell by cell; or a folder that season --out wrote, which is drawn again from what the book held then, with the\n" +
			"rule files in it, and held byte for byte: altered, missing and other files are named. Of either, the digest of its evidence is worked\n" +
			"out anew from the book. Exit status 6 (conflict) where anything is another.\n\n" +
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
	file, err := fileOf(arg)
	if err != nil {
		return err
	}
	if records, is := ledgerRecords(file); is {
		return verifyLedger(c, arg, records)
	}
	number, err := documentOf(arg, file)
	if err != nil {
		return err
	}
	return withAsker(c, func(ctx context.Context, asker office.Asker) error {
		a, doc, err := paper.Ask(ctx, asker, number, file != nil)
		if err != nil {
			return err
		}
		if file != nil {
			if err := holdFile(ctx, asker, &a, &doc, arg, file); err != nil {
				return err
			}
		}
		if err := answerOrTable(c, a, reports.Verified); err != nil {
			return err
		}
		if !a.Agrees() {
			return fault.Newf("verify "+string(number), fault.Conflict, "it does not agree with the book", "what differs stands above; hopperbook credit takes an invoice back")
		}
		return nil
	})
}

// holdFile holds a file against what is drawn of its document.
func holdFile(ctx context.Context, asker office.Asker, a *reports.DocumentAnswer, doc *invoice.Document, name string, file []byte) error {
	if _, printed, _ := reports.FindMark(file); printed != doc.DocumentDigest {
		a.File = reports.FileDiffers
		a.Changes = append(a.Changes, fmt.Sprintf("%s bears the digest %s, the document in the book %s", name, printed, doc.DocumentDigest))
		return nil
	}
	same, err := paper.Same(ctx, asker, a, doc, file)
	switch {
	case err != nil:
		return err
	case same:
		a.File = reports.FileSame
	case len(a.AsOf()) == 0 || !a.AsIssued:
		a.File = reports.FileUnknown
		a.Changes = append(a.Changes, "what the book held when it was issued is not known whole, so its words cannot be held against the book; its number and digest are right")
	default:
		a.File = reports.FileDiffers
		a.Changes = append(a.Changes, fmt.Sprintf("%s bears the right number and digest, but is not what is drawn of them: it was altered, or drawn by another version of this program; hopperbook documents %s --out DIR draws it again", name, doc.Number))
	}
	return nil
}

// fileOf reads the argument as a file; nil: it is a document's number.
func fileOf(arg string) ([]byte, error) {
	raw, err := os.ReadFile(arg)
	if err == nil {
		return raw, nil
	}
	if strings.ContainsAny(arg, `/\`) || strings.Contains(arg, ".") {
		return nil, fault.New("read the document", fault.NotFound, err, "check the file's name, or give the document's number")
	}
	return nil, nil
}

// documentOf is the document that an argument stands for: its number, or the
// number in the mark of its file.
func documentOf(arg string, file []byte) (schemas.InvoiceNo, error) {
	if file == nil {
		return schemas.InvoiceNo(arg), nil
	}
	number, _, ok := reports.FindMark(file)
	if !ok {
		return "", fault.Newf("read "+arg, fault.Input, "it bears no mark of a document of ours and is no ledger", "the PDF, HTML and UBL files of a document bear one, a ledger is a CSV with the columns in README; else give the document's number; season records are verified with their folder")
	}
	return number, nil
}
