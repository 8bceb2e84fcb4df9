package main

import (
	"context"
	"io"
	"os"
	"strings"
	"testing"

	"hopperbook/reconcile/rating"
	"hopperbook/reports/invoice"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Only a yes is one.
func TestAnsweringTheQuestion(t *testing.T) {
	for text, yes := range map[string]bool{"y\n": true, "Y\n": true, "yes\n": true, " Yes \r\n": true, "y": true, "n\n": false, "\n": false, "": false, "yess\n": false, "no\ny\n": false, "yes please\n": false} {
		err := agreed(context.Background(), strings.NewReader(text))
		if (err == nil) != yes || !yes && fault.CodeOf(err) != fault.Canceled {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// A key that stops the program ends the question as well: nobody is waited for.
func TestStoppingAtTheQuestion(t *testing.T) {
	in, never := io.Pipe()
	t.Cleanup(func() { _ = never.Close() })
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if err := agreed(ctx, in); fault.CodeOf(err) != fault.Canceled {
		t.Error(err)
	}
}

func TestAQuestionNamesWhatIsIssued(t *testing.T) {
	file, err := os.Open(os.DevNull)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	var said strings.Builder
	if err := confirm(context.Background(), file, &said, "?"); fault.CodeOf(err) != fault.Usage || said.Len() > 0 {
		t.Errorf("no terminal: %v, %q", err, said.String())
	}
	docs := []invoice.Document{{Number: "2026-0007", Buyer: schemas.BillParty{Name: "Gull farm"}, Bill: rating.Bill{Currency: "KWD"}}}
	if got := question(docs); got != "Invoice 2026-0007 to Gull farm, 0.000 KWD with tax: issue it? It cannot be changed afterwards." {
		t.Error(got)
	}
}
