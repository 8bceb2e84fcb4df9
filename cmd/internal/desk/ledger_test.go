package desk

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"hopperbook/ingest"
	"hopperbook/reports"
	"hopperbook/schemas"
)

// Whatever comes between two questions, a desk that keeps its ledger answers as
// one that has just opened the book.
func TestAKeptLedgerIsNeverOlderThanTheBook(t *testing.T) {
	for _, most := range []int{defaultKeptFixes, 0} {
		f := billable(t)
		f.desk.keptFixes = most
		f.sameAsFresh("at first")
		chance := rand.New(rand.NewPCG(7, uint64(most)))
		var load schemas.EventID
		must(t, f.book.Events(context.Background(), []schemas.EventType{schemas.TypeLoadWeighed}, func(e *schemas.Event) error { load = e.ID; return nil }))
		amend := func(kg int) {
			replacement, err := json.Marshal(schemas.LoadWeighed{Load: "L1", Product: "super", NetKg: float64(kg), Method: schemas.MethodBucket})
			must(t, err)
			f.add("office", schemas.TypeEventAmended, kg%50, schemas.EventAmended{Amends: load, Action: schemas.AmendReplace, Reason: fmt.Sprint(kg), Replacement: replacement})
		}
		var last reports.BillAnswer
		steps := []int{5, 0, 1, 2, 3, 4, 5, 5, 3, 0}
		chance.Shuffle(len(steps)-1, func(a, b int) { steps[a+1], steps[b+1] = steps[b+1], steps[a+1] })
		for i, step := range steps {
			switch step {
			case 0:
				amend(150 + i)
			case 1:
				f.add("office", schemas.TypeRegisterCustomer, 0, schemas.RegisterCustomer{Customer: "C1", Name: fmt.Sprint("Alder ", i)})
			case 2:
				f.add("office", schemas.TypeRegisterContractor, 0, schemas.RegisterContractor{Name: fmt.Sprint("Tarn ", i), Address: "invented", TaxCategory: "S", TaxPct: fmt.Sprint(i)})
			case 3:
				f.add("office", schemas.TypeRegisterAgreement, 0, schemas.RegisterAgreement{Agreement: "A1", Customer: "C1", Currency: "NZD", Lines: []schemas.AgreementLine{{Kind: schemas.LinePerTonne, Basis: schemas.BasisLoaded, Price: fmt.Sprint(i + 1)}}})
			case 4:
				f.reject(fmt.Sprint("broken ", i))
			case 5:
				if f.try(Bill, BillParams{Job: "J1", Issue: true, AcceptGaps: true, Day: "2026-03-05"}, &last) != nil {
					var credit reports.DocumentAnswer
					must(t, f.try(Credit, CreditParams{Number: last.Invoice.Number, Reason: "x", Issue: true, Day: "2026-03-06"}, &credit))
				}
			}
			f.sameAsFresh(fmt.Sprintf("most %d, step %d of kind %d", most, i, step))
		}
		if got, want := findings(f), findings(&filing{t: t, book: f.book, desk: New(f.book)}); got != want {
			t.Errorf("findings %s, want %s", got, want)
		}
		if len(ask[reports.DocumentsAnswer](f, Documents).Documents) < 3 {
			t.Error("the walk issued nothing to speak of")
		}
	}
}

func (f *filing) reject(text string) {
	f.t.Helper()
	r := ingest.Reject{Subject: "book.own.ld1.load.weighed", Raw: []byte(text), At: time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC), Reason: schemas.Violation{Rule: "json", Detail: text}}
	_, err := f.book.Commit(context.Background(), ingest.Batch{Rejects: []ingest.Reject{r}})
	must(f.t, err)
}

// sameAsFresh asks this desk and a new one the same.
func (f *filing) sameAsFresh(when string) {
	f.t.Helper()
	one := func(d *Desk, question, params string) string {
		var out bytes.Buffer
		if err := d.Answer(context.Background(), question, []byte(params), &out); err != nil {
			return err.Error()
		}
		return out.String()
	}
	fresh := New(f.book)
	for _, q := range [][2]string{{Bill, `{"job":"J1","day":"2026-03-05"}`}, {Documents, "null"}, {Document, `{"number":"2026-0001","draw":true}`}, {JobSheet, `{"job":"J1"}`}} {
		if got, want := one(f.desk, q[0], q[1]), one(fresh, q[0], q[1]); got != want {
			f.t.Errorf("%s: %s\n%s\nwant\n%s", when, q[0], got, want)
		}
	}
}
