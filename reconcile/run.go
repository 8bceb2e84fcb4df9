package reconcile

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"hopperbook/reconcile/balance"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// worthSayingKg is the least mass outside every field that is a finding: the
// ends of lines on a boundary leave less.
const worthSayingKg = 1

// Run reconciles. It fails only on a fault of its own (mass not conserved) or
// on numbers that the contract would have refused; whatever is odd in the
// events is a finding. Cost: O(n log n) in fixes, plus the coverage of each
// field; memory: the fixes of one machine at a time, and the swaths of all.
func Run(in Input) (Result, error) {
	found := &findings{list: slices.Clone(in.Findings)}
	reg := readRegisters(in, found)
	told, err := tellAll(in, &reg, found, func([]Pass) bool { return true })
	if err != nil {
		return Result{}, err
	}
	res := Result{Schema: SchemaResult}
	if res.Fields, err = fields(&reg, told, found); err != nil {
		return Result{}, err
	}
	res.Totals = totals(in, told, res.Fields)
	for _, m := range told {
		res.Intervals = append(res.Intervals, m.intervals()...)
		res.Hoppers = append(res.Hoppers, m.hopper())
		drifts, err := m.driftsOf(in.Policy)
		if err != nil {
			return Result{}, fault.Wrap("drift of machine "+string(m.id), err)
		}
		res.Drifts = append(res.Drifts, drifts...)
	}
	if err := causes(in, &reg, told, res.Drifts); err != nil {
		return Result{}, err
	}
	if res.Stock, err = stocks(in, &reg, told); err != nil {
		return Result{}, err
	}
	idleLoads(in, &reg, found)
	safety(in, found)
	densityTests(in, &reg, found)
	catchTests(in, found)
	trayTests(in, found)
	res.Findings = found.sorted()
	return res, nil
}

// tellAll tells the story of every machine whose passes are wanted.
func tellAll(in Input, reg *registers, found *findings, wanted func([]Pass) bool) (told []*machine, err error) {
	passes := passesByMachine(in.Passes)
	for _, id := range machines(in) {
		if !wanted(passes[id]) {
			continue
		}
		m, err := tell(in, reg, id, passes[id], found)
		if err != nil {
			return nil, fault.Wrap("reconcile machine "+string(id), err)
		}
		told = append(told, m)
	}
	return told, nil
}

func passesByMachine(all []Pass) map[schemas.MachineID][]Pass {
	out := map[schemas.MachineID][]Pass{}
	for _, p := range all {
		out[p.Machine] = append(out[p.Machine], p)
	}
	for _, passes := range out {
		slices.SortFunc(passes, func(a, b Pass) int { return compareAt(a.start(), b.start(), a.Identity, b.Identity) })
	}
	return out
}

// intervals shows a machine's balance intervals.
func (m *machine) intervals() []Interval {
	var out []Interval
	for _, iv := range m.balance.Intervals {
		if iv.Open && iv.Loads == 0 && iv.NominalKg == 0 {
			continue // after the last reading nothing has happened yet
		}
		shown := Interval{
			Machine: m.id, Load: m.loadNumber(iv.From), Refill: iv.From, Product: iv.Product, From: iv.Start, To: iv.End,
			LoadedKg: rounded(iv.LoadedKg, 3), MassKg: rounded(iv.MassKg, 3), MassSdKg: rounded(iv.SdKg, 3), NominalKg: rounded(iv.NominalKg, 3),
			FlowRatio: rounded(iv.FlowRatio, 6), FlowRatioSd: rounded(iv.FlowRatioSd, 6), Merged: iv.Merged, Open: iv.Open,
			ToRefill: iv.To, Smoothed: rounded(iv.Level, 6), SmoothedSd: rounded(iv.LevelSd, 6), Innovation: rounded(iv.Innovation, 4), Parts: shownParts(m, iv), SwathM2: rounded(iv.SwathM2(), 3),
		}
		shown.MassLowKg, shown.MassHighKg = interval(iv.MassKg, iv.SdKg, 3)
		shown.FlowRatioLow, shown.FlowRatioHigh = interval(iv.FlowRatio, iv.FlowRatioSd, 6)
		out = append(out, shown)
	}
	return out
}

// totals closes the book over all machines. What landed on fields is theirs;
// the rest of what was spread is elsewhere.
func totals(in Input, told []*machine, fields []Field) Totals {
	t := Totals{PassLogs: len(in.Passes)}
	for _, p := range in.Passes {
		t.Fixes += len(p.Fixes)
	}
	for _, m := range told {
		t.LoadedKg += m.balance.LoadedKg
		t.ResidualChangeKg += m.balance.FinalKg - m.balance.InitialKg
		for _, r := range m.refills {
			t.Loads += len(r.Data.Loads)
		}
	}
	for _, f := range fields {
		t.OnFieldsKg += f.MassKg
	}
	t.LoadedKg, t.ResidualChangeKg, t.OnFieldsKg = rounded(t.LoadedKg, 3), rounded(t.ResidualChangeKg, 3), rounded(t.OnFieldsKg, 3)
	t.ElsewhereKg = rounded(t.LoadedKg-t.ResidualChangeKg-t.OnFieldsKg, 3)
	return t
}

// idleLoads names loads that were weighed and are in no refill: product that
// is nowhere.
func idleLoads(in Input, reg *registers, found *findings) {
	used := map[schemas.LoadID]bool{}
	for _, r := range in.Refills {
		for _, l := range r.Data.Loads {
			used[l] = true
		}
	}
	for _, id := range sortedKeys(reg.loads) {
		if l := reg.loads[id]; !used[id] {
			found.add(Finding{Kind: "load_not_refilled", Machine: l.Machine, Event: l.ID, At: l.Time, Amount: l.Data.NetKg, Unit: "kg",
				Text: fmt.Sprintf("load %s was weighed and is in no refill", id)})
		}
	}
}

// rounded keeps a number's decimals in the result; -0 becomes 0.
func rounded(v float64, decimals int) float64 {
	p := math.Pow10(decimals)
	if r := math.Round(v*p) / p; r != 0 && !math.IsNaN(r) && !math.IsInf(r, 0) {
		return r
	}
	return 0
}

// fieldMasses adds up all machines' masses by field and product, in that order;
// what lies outside every field is a finding, not a field.
func fieldMasses(told []*machine, found *findings) []balance.FieldMass {
	results := make([]balance.Result, len(told))
	for i, m := range told {
		results[i] = m.balance
	}
	masses := balance.Combine(results...)
	inside := slices.IndexFunc(masses, func(f balance.FieldMass) bool { return f.Field != "" })
	if inside < 0 {
		inside = len(masses)
	}
	for _, f := range masses[:inside] {
		if f.MassKg >= worthSayingKg {
			found.add(Finding{Kind: "not_on_a_field", Amount: f.MassKg, Unit: "kg",
				Text: fmt.Sprintf("%.0f kg of %s went out outside every field, or without a pass log, set rate or bout width", f.MassKg, cmp.Or(string(f.Product), "an unnamed product"))})
		}
	}
	return masses[inside:]
}
