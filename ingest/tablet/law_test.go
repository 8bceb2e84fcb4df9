package tablet

import (
	"bytes"
	"cmp"
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"hopperbook/schemas"
)

// dayNotes is what happened on a random day, for the oracle.
type dayNotes struct {
	refills []noted
	fixes   []schemas.Fix // all that were logged, with their rate and bout width
}

type noted struct {
	at       time.Time
	event    schemas.EventID
	loadedKg float64
	readKg   *float64
	undone   bool
	product  schemas.ProductID
}

// randomDays plays n steps of an operator in a hurry. between runs after every
// step.
func randomDays(b *bench, seed uint64, n int, between func(rng *rand.Rand)) *dayNotes {
	rng := rand.New(rand.NewPCG(seed, 6))
	notes := &dayNotes{}
	b.do(DoSetting, setLime)
	for range n {
		b.at = b.at.Add(time.Duration(rng.IntN(600)) * time.Second)
		switch rng.IntN(12) {
		case 0, 1, 2:
			notes.drive(b, rng)
		case 3, 4, 5:
			notes.refill(b, rng)
		case 6:
			notes.undo(b, rng)
		case 7:
			set := setLime
			set.SetRateKgHa, set.GateMm = 1000+float64(rng.IntN(2000)), num(60+float64(rng.IntN(2)))
			b.do(DoSetting, set)
		case 8:
			b.do(DoCheck, schemas.CheckMachine{Item: "guard", Unit: "-", Pass: rng.IntN(2) == 0})
		case 9:
			_, _ = b.try1(DoPick, Pick{Job: "j1"}) // a refusal is as good: the start before it stands
			_, _ = b.try1(DoStart, Start{})
		case 10:
			_, _ = b.try1(DoFinish, struct{}{})
		case 11:
			b.at = b.at.Add(time.Duration(rng.IntN(20)) * time.Hour)
		}
		between(rng)
	}
	return notes
}

func (d *dayNotes) drive(b *bench, rng *rand.Rand) {
	w := b.Driving()
	fixes := b.drive(float64(rng.IntN(900)), float64(rng.IntN(300)), 2+rng.IntN(90), rng.IntN(4) > 0, true)
	for _, f := range fixes {
		f.SetRateKgHa, f.BoutWidthM = w.SetRateKgHa, w.BoutWidthM
		d.fixes = append(d.fixes, f)
	}
}

func (d *dayNotes) refill(b *bench, rng *rand.Rand) {
	kg := float64(rng.IntN(4000))
	product := schemas.ProductID("lime")
	if rng.IntN(8) == 0 {
		product = "urea"
	}
	left := Residual{Method: schemas.ResidualUnknown}
	n := noted{loadedKg: kg, product: product}
	if rng.IntN(3) > 0 {
		n.readKg = num(float64(rng.IntN(2000)))
		left = Residual{Method: schemas.ResidualCells, Kg: n.readKg}
	}
	b.do(DoLoad, Load{Product: product, Method: "cells", NetKg: num(kg), Refill: true, Residual: &left, Confirm: true})
	e, _ := schemas.Read(b.disk.events[len(b.disk.events)-1].Raw)
	n.at, n.event = e.Time, e.ID
	d.refills = append(d.refills, n)
}

// undo takes the last entry back and, where it was a refill, notes it; a load
// left by that is taken back as well half the time.
func (d *dayNotes) undo(b *bench, rng *rand.Rand) {
	u := b.View().Undo
	if u == nil {
		return
	}
	b.do(DoUndo, Undo{Event: u.Event})
	for i := range d.refills {
		if d.refills[i].event == u.Event {
			d.refills[i].undone = true
		}
	}
	if u.Type == schemas.TypeHopperRefilled && rng.IntN(2) == 0 {
		d.undo(b, rng)
	}
}

// seen is the view as bytes.
func (b *bench) seen() string {
	b.t.Helper()
	v := b.View()
	v.GNSS, v.At, v.Work.InField, v.Work.Marked, v.Work.Spreading = GNSSView{}, time.Time{}, "", "", "" // the receiver's, not the disk's
	for i := range v.Jobs {
		v.Jobs[i].AwayM = nil
	}
	slices.SortFunc(v.Jobs, func(x, y JobView) int { return cmp.Compare(x.Field, y.Field) })
	for i := range v.Notices {
		v.Notices[i].New = false
	}
	raw, err := json.Marshal(v)
	if err != nil {
		b.t.Fatal(err)
	}
	return string(raw)
}

// TestRestartAnywhere: key-off at any point changes nothing of what is seen,
// and neither does a snapshot that is lost.
func TestRestartAnywhere(t *testing.T) {
	for seed := range uint64(6) {
		b := readyBench(t, RoleSpreader)
		randomDays(b, seed, 50, func(rng *rand.Rand) {
			if rng.IntN(5) > 0 {
				return
			}
			before, h := b.seen(), b.state.Hand
			if b.fix.UnixMilli != 0 {
				b.at = b.at.Add(b.offset) // the device's clock stays with the receiver's
			}
			if rng.IntN(3) == 0 {
				b.disk.state = nil
			}
			b.restart()
			b.state.Hand = h // the operator's choice is in the snapshot alone
			b.reread()
			if after := b.seen(); after != before {
				t.Fatalf("seed %d, %d events: before\n%s\nafter\n%s", seed, len(b.disk.events), before, after)
			}
		})
	}
}

// TestCopiesInAnyOrder: the newest copies count, whatever order they come in
// and however often.
func TestCopiesInAnyOrder(t *testing.T) {
	copies := make([]schemas.CabPacket, 5)
	for i := range copies {
		copies[i] = packet("spreader-1", morning.Add(time.Duration(i)*time.Hour))
		copies[i].Drift = []schemas.CabDrift{{Product: "lime", State: "watch", FlowRatio: 1 + float64(i)/100}}
		copies[i].Loads = copies[i].Loads[:i%2]
	}
	var want string
	for seed := range uint64(20) {
		rng := rand.New(rand.NewPCG(seed, 3))
		b := newBench(t, RoleSpreader)
		b.do(DoSetting, setLime)
		order := append(rng.Perm(len(copies)), rng.Perm(len(copies))...)
		for _, i := range order {
			if err := b.TakePacket(copies[i]); err != nil {
				t.Fatal(err)
			}
			if rng.IntN(3) == 0 {
				b.restart()
			}
		}
		if got := b.seen(); want == "" {
			want = got
		} else if got != want {
			t.Fatalf("order %v: got\n%s\nwant\n%s", order, got, want)
		}
	}
}

func TestCopiesOfOthersAreRefused(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	before := b.seen()
	other, newer := packet("spreader-2", b.at), packet("spreader-1", b.at)
	newer.Schema = "hopperbook.cab/9"
	for _, p := range []schemas.CabPacket{other, newer} {
		if err := b.TakePacket(p); err == nil {
			t.Errorf("took %s for %s", p.Schema, p.Device)
		}
	}
	if b.seen() != before {
		t.Error("they changed the view")
	}
}

// TestDuplicateFixes: a fix that comes again, or late, changes nothing.
func TestDuplicateFixes(t *testing.T) {
	once, again := readyBench(t, RoleSpreader), readyBench(t, RoleSpreader)
	rng := rand.New(rand.NewPCG(1, 1))
	for _, b := range []*bench{once, again} {
		b.do(DoSetting, setLime)
		b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(4000), Refill: true, Residual: &Residual{Method: "empty"}})
	}
	fixes := once.drive(100, 0, 100, true, false)
	for i, f := range fixes {
		again.at = time.UnixMilli(f.UnixMilli).UTC()
		for range 1 + rng.IntN(3) {
			again.OnFix(f, "switch")
			again.OnFix(fixes[rng.IntN(i+1)], "switch")
		}
	}
	once.log(fixes)
	again.log(append(slices.Clone(fixes), fixes[99], fixes[99]))
	if a, b := once.View().Hopper, again.View().Hopper; *a.Kg != *b.Kg || *a.SpreadHa != *b.SpreadHa || *a.SpreadHa == 0 {
		t.Errorf("once %v kg %v ha, again %v kg %v ha", *a.Kg, *a.SpreadHa, *b.Kg, *b.SpreadHa)
	}
}

// chordM is the straight distance of two positions through the ellipsoid.
func chordM(a, b schemas.Fix) float64 {
	at := func(f schemas.Fix) [3]float64 {
		lat, lon := f.LatDeg*math.Pi/180, f.LonDeg*math.Pi/180
		e2 := wgsFlattening * (2 - wgsFlattening)
		n := wgsSemiMajorM / math.Sqrt(1-e2*math.Sin(lat)*math.Sin(lat))
		return [3]float64{n * math.Cos(lat) * math.Cos(lon), n * math.Cos(lat) * math.Sin(lon), n * (1 - e2) * math.Sin(lat)}
	}
	p, q := at(a), at(b)
	return math.Sqrt((p[0]-q[0])*(p[0]-q[0]) + (p[1]-q[1])*(p[1]-q[1]) + (p[2]-q[2])*(p[2]-q[2]))
}

// spread is swath and nominal mass over logged fixes whose first is in [from, to).
func (d *dayNotes) spread(from, to time.Time) (m2, kg float64) {
	for i := 1; i < len(d.fixes); i++ {
		a, b := d.fixes[i-1], d.fixes[i]
		in := a.UnixMilli >= from.UnixMilli() && (to.IsZero() || a.UnixMilli < to.UnixMilli())
		dtMs := b.UnixMilli - a.UnixMilli
		joined := dtMs <= 5000 && chordM(a, b) <= 60/3.6*float64(dtMs)/1000+1
		if !in || !joined || a.Spreading != schemas.SpreadingOn {
			continue
		}
		m2 += chordM(a, b) * a.BoutWidthM
		kg += chordM(a, b) * a.BoutWidthM * a.SetRateKgHa / 1e4
	}
	return m2, kg
}

// closed lists every run between two readings, by looking at all pairs.
func (d *dayNotes) closed() (runs []run) {
	var r []noted
	for _, n := range d.refills {
		if !n.undone {
			r = append(r, n)
		}
	}
	for i := range r {
		for j := i + 1; j < len(r) && r[i].readKg != nil; j++ {
			if r[j].readKg == nil {
				continue
			}
			out := run{product: r[i].product, massKg: *r[i].readKg - *r[j].readKg}
			pure := true
			for k := i; k < j; k++ {
				out.massKg += r[k].loadedKg
				pure = pure && r[k].product == r[i].product
			}
			out.swathM2, out.nominalKg = d.spread(r[i].at, r[j].at)
			if pure && out.swathM2 >= 1000 && out.massKg >= out.nominalKg/3 && out.massKg <= out.nominalKg*3 {
				runs = append(runs, out)
			}
			break
		}
	}
	return runs
}

// left is the estimate at a flow ratio, from the last reading on.
func (d *dayNotes) left(ratio float64) (kg float64, known bool) {
	var r []noted
	for _, n := range d.refills {
		if !n.undone {
			r = append(r, n)
		}
	}
	for i, n := range r {
		if n.readKg != nil {
			kg, known = *n.readKg, true
		}
		var end time.Time
		if i+1 < len(r) {
			end = r[i+1].at
		}
		_, nominal := d.spread(n.at, end)
		kg = max(0, kg+n.loadedKg-ratio*nominal)
	}
	return kg, known
}

// TestFoldAgainstAnOracle: hopper and rates on random days are what a slow look
// at all that happened gives.
func TestFoldAgainstAnOracle(t *testing.T) {
	runs, hoppers := 0, 0
	for seed := range uint64(12) {
		b := readyBench(t, RoleSpreader)
		d := randomDays(b, 100+seed, 50, func(*rand.Rand) {})
		want := d.closed()
		h := b.book.balance(b.live.By)
		if len(h.runs) != len(want) {
			t.Fatalf("seed %d: runs %+v, want %+v", seed, h.runs, want)
		}
		for i, got := range h.runs {
			runs++
			if w := want[i]; got.product != w.product || math.Abs(got.massKg-w.massKg) > 1e-6 || !close1(got.swathM2, w.swathM2) || !close1(got.nominalKg, w.nominalKg) {
				t.Errorf("seed %d run %d: %+v, want %+v", seed, i, got, w)
			}
		}
		ratio, _ := b.book.flow(&h, "lime")
		kg, known := d.left(ratio)
		if got := h.leftKg(ratio); known != (got != nil) || known && math.Abs(*got-kg) > 0.01 {
			t.Errorf("seed %d: hopper %v, want %v %v", seed, got, kg, known)
		} else if known && kg > 0 {
			hoppers++
		}
	}
	if runs < 8 || hoppers < 6 {
		t.Errorf("only %d runs and %d hoppers were compared", runs, hoppers)
	}
}

func close1(a, b float64) bool { return math.Abs(a-b) <= 1e-6*(1+math.Abs(b)) }

// TestSnapshotIsOneFormOnly: the same events give the same snapshot bytes.
func TestSnapshotIsOneFormOnly(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	randomDays(b, 7, 60, func(*rand.Rand) {})
	kept := bytes.Clone(b.disk.state)
	s := newState()
	if err := s.applyAll(b.disk.events); err != nil {
		t.Fatal(err)
	}
	s.Hand = b.state.Hand
	anew, err := new(packer).snapshot(&s)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(anew, kept) {
		t.Errorf("folded anew\n%+v\nkept\n%+v", s, restore(kept))
	}
}
