package reconcile

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"

	"hopperbook/reconcile/balance"
	"hopperbook/reconcile/track"
	"hopperbook/schemas"
)

// machine is one machine's story: its refills in order, and what it spread
// between them.
type machine struct {
	id       schemas.MachineID
	refills  []At[schemas.HopperRefilled]
	settings []At[schemas.SettingChanged]
	catches  []At[schemas.TestCatch]
	periods  []period        // before the first refill, then after each one
	idle     []track.Segment // driven inside fields without spreading
	tracked  []track.Finding
	balance  balance.Result
	part     func(track.Segment, schemas.ProductID) string // of what is done in a field; nil: one
}

// partOf is the part of its field's work that a segment belongs to.
func (m *machine) partOf(s track.Segment, p schemas.ProductID) string {
	if m.part == nil || s.Field == "" {
		return ""
	}
	return m.part(s, p)
}

func (m *machine) groundOf(s track.Segment, p schemas.ProductID) ground {
	return ground{s.Field, m.partOf(s, p), p}
}

// period is what was spread between two refills.
type period struct {
	product  schemas.ProductID
	segments []track.Segment // spreading ones, cut at field boundaries
}

// machines lists every machine that refilled or logged passes, sorted.
func machines(in Input) []schemas.MachineID {
	seen := map[schemas.MachineID]bool{}
	for _, r := range in.Refills {
		seen[r.Machine] = true
	}
	for _, p := range in.Passes {
		seen[p.Machine] = true
	}
	return sortedKeys(seen)
}

// tell puts one machine's story together and balances it.
func tell(in Input, reg *registers, id schemas.MachineID, passes []Pass, found *findings) (*machine, error) {
	m := &machine{id: id, settings: sorted(of(in.Settings, id)), catches: sorted(of(in.Catches, id))}
	m.unknownTests(found)
	refills, again := first(of(in.Refills, id), func(d schemas.HopperRefilled) schemas.RefillID { return d.Refill })
	m.refills = refills
	for _, r := range again {
		found.add(Finding{Kind: "refill_twice", Machine: id, Event: r.ID, At: r.Time,
			Text: "refill " + string(r.Data.Refill) + " was entered twice under the same name; the first counts"})
	}
	if reg.parts != nil {
		m.part = reg.parts(id)
	}
	cleaned := track.Clean(m.fixes(reg, passes), track.Options{MaxGapS: in.Policy.MaxGapS, BoutWidthM: in.Policy.BoutWidthM})
	segments := reg.index.Split(cleaned.Segments)
	m.tracked = append(cleaned.Findings, track.OutsideFields(segments)...)
	if !found.apart {
		found.addTrack(id, m.tracked)
	}
	pickedWrong(reg, id, passes, segments, found)
	for _, s := range segments {
		if !s.Spreading && s.Field != "" {
			m.idle = append(m.idle, s)
		}
	}
	m.cut(slices.DeleteFunc(segments, func(s track.Segment) bool { return !s.Spreading }))
	if id == "" {
		found.add(Finding{Kind: "no_machine", Count: len(refills) + len(passes),
			Text: fmt.Sprintf("%d refills and pass logs name no machine and are taken for one machine's; put machine into their data", len(refills)+len(passes))})
	}
	result, err := balance.Run(m.balanceInput(reg, found), balance.Options{})
	if err != nil {
		return nil, err
	}
	m.balance = result
	if !found.apart {
		found.addBalance(id, result.Findings)
	}
	return m, nil
}

// fixes joins the pass logs and writes into each fix what the log left to the
// setting: bout width, and the set rate of the setting or else of the job.
func (m *machine) fixes(reg *registers, passes []Pass) []schemas.Fix {
	n := 0
	for _, p := range passes {
		n += len(p.Fixes)
	}
	all := make([]schemas.Fix, 0, n)
	for _, p := range passes {
		jobRate := math.NaN()
		if job, ok := reg.jobs[p.Job]; ok {
			jobRate = job.Data.SetRateKgHa
		}
		for _, f := range p.Fixes {
			if setting, ok := m.settingAt(f.UnixMilli); ok {
				f.BoutWidthM = or(f.BoutWidthM, setting.BoutWidthM)
				f.SetRateKgHa = or(f.SetRateKgHa, setting.SetRateKgHa)
			}
			if f.SetRateKgHa = or(f.SetRateKgHa, jobRate); f.SetRateKgHa < leastRateKgHa {
				f.SetRateKgHa = 0
			}
			all = append(all, f)
		}
	}
	return all
}

// leastRateKgHa is the smallest set rate taken for one; below it nothing was
// asked for. Common practice, no source: the finest seed is sown at kilograms.
const leastRateKgHa = 0.01

// name is a machine in words.
func name(id schemas.MachineID) string {
	return cmp.Or(string(id), "a machine without a name")
}

func or(v, otherwise float64) float64 {
	if math.IsNaN(v) {
		return otherwise
	}
	return v
}

func (m *machine) settingAt(milli int64) (schemas.SettingChanged, bool) {
	i := sort.Search(len(m.settings), func(i int) bool { return m.settings[i].Time.UnixMilli() > milli })
	if i == 0 {
		return schemas.SettingChanged{}, false
	}
	return m.settings[i-1].Data, true
}

// cut shares the spreading segments between the refills: one period before
// the first refill and one after each.
func (m *machine) cut(segments []track.Segment) {
	m.periods = make([]period, len(m.refills)+1)
	for i := range m.periods {
		from, to := int64(math.MinInt64), int64(math.MaxInt64)
		if i > 0 {
			from = m.refills[i-1].Time.UnixMilli()
			m.periods[i].product = m.productAfter(i - 1)
		}
		if i < len(m.refills) {
			to = m.refills[i].Time.UnixMilli()
		}
		// Segments are in order of time and do not overlap, so those that can
		// touch the period stand together.
		lo := sort.Search(len(segments), func(k int) bool { return segments[k].ToMilli >= from })
		hi := lo + sort.Search(len(segments)-lo, func(k int) bool { return segments[lo+k].FromMilli >= to })
		m.periods[i].segments = track.Within(segments[lo:hi], from, to)
	}
	if len(m.refills) > 0 {
		m.periods[0].product = m.productAfter(0)
	}
}

// productAfter is what is spread after refill i, by the rule of balance: a
// residual reading alone changes nothing.
func (m *machine) productAfter(i int) schemas.ProductID {
	for ; i > 0 && len(m.refills[i].Data.Loads) == 0; i-- {
	}
	return m.refills[i].Data.Product
}

// pieces sums nominal mass and swath over what was driven in one field without
// leaving it, in the order it was driven.
func (m *machine) pieces(p *period) []balance.Piece {
	var out []balance.Piece
	for _, s := range p.segments {
		part := m.partOf(s, p.product)
		if n := len(out); n == 0 || out[n-1].Field != s.Field || out[n-1].Part != part {
			out = append(out, balance.Piece{Field: s.Field, Part: part})
		}
		last := &out[len(out)-1]
		last.NominalKg += s.NominalKg()
		last.SwathM2 += s.SwathM2()
	}
	return out
}

func (m *machine) balanceInput(reg *registers, found *findings) balance.Machine {
	in := balance.Machine{ID: m.id, Before: m.pieces(&m.periods[0]), HopperKg: m.hopperKg(reg)}
	for i, r := range m.refills {
		refill := balance.Refill{ID: r.Data.Refill, Time: r.Time, Product: r.Data.Product, Residual: residual(r.Data), Spread: m.pieces(&m.periods[i+1]), Released: m.released(i)}
		for _, id := range r.Data.Loads {
			// Two refills of one machine are told apart by balance.
			if first := reg.hoppers[id]; first.machine != m.id {
				found.add(Finding{Kind: "duplicate_load", Machine: m.id, Event: r.ID, At: r.Time,
					Text: fmt.Sprintf("refill %s: load %s was already put into %s by refill %s; it counts there", r.Data.Refill, id, name(first.machine), first.refill)})
				continue
			}
			refill.Loads = append(refill.Loads, m.load(reg, id, r, refill.Spread, found))
		}
		in.Refills = append(in.Refills, refill)
	}
	return in
}

// unknownLoadSd is the relative standard uncertainty given to a load that was
// put in but whose weight is not in the book: so wide that it can neither
// call drift nor narrow a field's interval. Common practice, no source.
const unknownLoadSd = 0.3

// load is a load of a refill. One whose weight is not in the book (its tablet
// has not come back yet) is taken as what the setting should have delivered,
// very uncertain, and said.
func (m *machine) load(reg *registers, id schemas.LoadID, r At[schemas.HopperRefilled], spread []balance.Piece, found *findings) balance.Load {
	if l, ok := reg.loads[id]; ok {
		load := balance.Load{ID: id, NetKg: l.Data.NetKg, Method: l.Data.Method, Scale: l.Data.Scale}
		if l.Data.SdKg != nil {
			load.SdKg = *l.Data.SdKg
		}
		if l.Data.Product != r.Data.Product {
			found.add(Finding{Kind: "load_product", Machine: m.id, Event: r.ID, At: r.Time, Amount: l.Data.NetKg, Unit: "kg",
				Text: fmt.Sprintf("refill %s of %s takes load %s, which was weighed as %s; the refill counts", r.Data.Refill, r.Data.Product, id, l.Data.Product)})
		}
		return load
	}
	guess := 0.0
	for _, p := range spread {
		guess += p.NominalKg
	}
	guess /= float64(len(r.Data.Loads))
	found.add(Finding{Kind: "load_missing", Machine: m.id, Event: r.ID, At: r.Time, Amount: guess, Unit: "kg",
		Text: fmt.Sprintf("load %s of refill %s has no weight in the book (it has not arrived, or was voided); taken as %.0f kg, very uncertain", id, r.Data.Refill, guess)})
	return balance.Load{ID: id, NetKg: guess, SdKg: max(unknownLoadSd*guess, 1), Scale: schemas.ScaleID("unknown-" + string(id))}
}

func residual(d schemas.HopperRefilled) balance.Residual {
	r := balance.Residual{Method: d.ResidualMethod}
	switch {
	case d.ResidualKg != nil:
		r.Kg = *d.ResidualKg
	case d.ResidualMethod != schemas.ResidualEmpty:
		r.Method = schemas.ResidualUnknown // a method without a number tells nothing
	}
	if d.ResidualKg != nil && r.Method == "" {
		r.Method = schemas.ResidualLevel // a number without a method: the least certain one
	}
	if d.ResidualSdKg != nil {
		r.SdKg = *d.ResidualSdKg
	}
	return r
}

// loadNumber is how many refills of the machine had brought loads when this
// one was made, itself included.
func (m *machine) loadNumber(id schemas.RefillID) int {
	n := 0
	for _, r := range m.refills {
		if len(r.Data.Loads) > 0 {
			n++
		}
		if r.Data.Refill == id {
			return n
		}
	}
	return 0
}
