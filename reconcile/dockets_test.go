package reconcile

import (
	"slices"
	"strings"
	"testing"

	"hopperbook/reconcile/rating"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// docketed is the season of two jobs with every load on docket D1: J1 and J2
// are 3 264 kg each.
func docketed(netKg float64) *world {
	w := billed()
	for i := range w.in.Loads {
		w.in.Loads[i].Data.Docket = "D1"
	}
	w.in.Dockets[0].Data.NetKg = netKg
	return w
}

var byDocket = agreed(schemas.AgreementLine{Kind: schemas.LinePerTonne, Basis: schemas.BasisDocket, Price: "100"})

// docketBill is what a job is billed by docket and what is said of the docket.
func docketBill(t *testing.T, in Input, job schemas.JobID) (tonnes, caution string) {
	t.Helper()
	b := planned(t, in, BillAsk{Job: job, Agreements: byDocket}).Bill
	for _, u := range b.Unsure {
		if u.Kind == rating.UnsureDocket {
			caution = u.Text
		}
	}
	return b.Lines[0].Quantity.String(), caution
}

// A docket of 6.6 t, of which J1 took 3.264 t and J2 as much. By hand, at 1.96
// standard uncertainties: docket 20 kg (0.26 % is less), eight loads of 10 kg, scale
// 0.5 % of 6 528 kg: 1.96 x sqrt(400 + 800 + 1065) = 93 kg, so 72 kg left are none.
func TestADocketIsDividedBetweenItsJobs(t *testing.T) {
	w := docketed(6600)
	for _, j := range []schemas.JobID{"J1", "J2"} {
		if got, said := docketBill(t, w.in, j); got != "3.3" || said != "" {
			t.Errorf("%s is billed %s t and told %q, want half of the docket", j, got, said)
		}
	}
	// Before J2's loads are there J1 is billed its own, and told what is left.
	early := w.in
	early.Loads = early.Loads[:4]
	if got, said := docketBill(t, early, "J1"); got != "3.264" || said != "docket D1: 6.600 t, its loads took 3.264 t so far; an invoice issued now is shown as changed when the rest is loaded" {
		t.Errorf("J1 is billed %s t and told %q", got, said)
	}
	// Loads that took more than the docket has share it, and that is said.
	if got, said := docketBill(t, docketed(6000).in, "J1"); got != "3" || !strings.Contains(said, "6.000 t, but its loads took 6.528 t") {
		t.Errorf("of 6 t J1 is billed %s t and told %q", got, said)
	}
	// A load weighed twice under one name counts once.
	twice := w.in
	twice.Loads = append(slices.Clone(twice.Loads), twice.Loads[7])
	if got, _ := docketBill(t, twice, "J1"); got != "3.3" {
		t.Errorf("with a load entered twice J1 is billed %s t", got)
	}
	// The neighbour's loads decide what J1 is billed once the docket is used up.
	for in, want := range map[*Input]int{&w.in: 9, &early: 1} {
		d, err := Divide(*in)
		if err != nil {
			t.Fatal(err)
		}
		work := d.Work([]schemas.JobID{"J1"})
		if len(work.DocketUses) != want || !slices.Contains(work.DocketUses, w.in.Dockets[0].ID) || slices.Contains(work.Uses, w.in.Dockets[0].ID) || slices.Contains(work.Uses, w.in.Loads[7].ID) {
			t.Errorf("docket and its loads %v, want %d; all else %v", work.DocketUses, want, work.Uses)
		}
	}
}

func TestADocketOfAnotherProductIsRefused(t *testing.T) {
	w := docketed(6600)
	w.in.Dockets[0].Data.Product = "urea"
	d, err := Divide(w.in)
	if err != nil {
		t.Fatal(err)
	}
	_, err = d.PlanBill(BillAsk{Job: "J1", Agreements: byDocket})
	if fault.CodeOf(err) != fault.Input || !strings.Contains(fault.Message(err), "load L1 of super names docket D1, which is of urea") || !strings.Contains(fault.HintOf(err), "amend") {
		t.Errorf("%v, hint %q", err, fault.HintOf(err))
	}
	if _, err = d.PlanBill(BillAsk{Job: "J1", Agreements: agreed(schemas.AgreementLine{Kind: schemas.LinePerTonne, Basis: schemas.BasisLoaded, Price: "100"})}); err != nil {
		t.Errorf("a bill that needs no docket: %v", err)
	}
}
