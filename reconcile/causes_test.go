package reconcile

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"hopperbook/reconcile/cause"
	"hopperbook/schemas"
)

// stepped is a season whose flow falls by 10 % with load 17.
func stepped() *world {
	return season(8, func(load int) float64 {
		if load >= 17 {
			return 0.9
		}
		return 1
	})
}

// refilledAt is when a load, counted from 1, went into the hopper.
func (w *world) refilledAt(load int) time.Time { return w.in.Refills[load-1].Time }

func likeliestCause(t *testing.T, in Input) Cause {
	t.Helper()
	res := run(t, in)
	if len(res.Drifts) == 0 || len(res.Drifts[0].Causes) == 0 {
		t.Fatalf("no causes: %+v", res.Drifts)
	}
	return res.Drifts[0].Causes[0]
}

// Each step goes with what happened at its load: by the load's docket, by the
// delivery to its stockpile, by the setting, by the scale of two machines.
func TestAStepGoesWithWhatHappenedAtItsLoad(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*world)
		want   cause.Kind
		seen   string
	}{
		{"nothing", func(*world) {}, cause.Step, "since load 17"},
		{"docket", func(w *world) {
			for i := range w.in.Loads {
				w.in.Loads[i].Data.Docket = schemas.DocketID(fmt.Sprintf("D%d", i/4+1))
			}
		}, cause.Batch, "batch D5"},
		{"delivery", func(w *world) {
			for i := range w.in.Loads {
				w.in.Loads[i].Data.Stockpile = "pile"
			}
			for _, load := range []int{1, 6, 11, 17, 24} {
				d := meta(w, "office", schemas.DocketReceived{Docket: schemas.DocketID(fmt.Sprintf("D%d", load)), Product: "super", Stockpile: "pile", NetKg: 26000})
				d.Time = w.refilledAt(load).Add(-2 * time.Minute)
				w.in.Dockets = append(w.in.Dockets, d)
			}
		}, cause.Batch, "batch D17"},
		{"gate", func(w *world) {
			for _, load := range []int{1, 9, 17} {
				s := w.in.Settings[0]
				s.Time, s.Sequence = w.refilledAt(load), int64(90000+load)
				s.Data.GateMm = kg(100 + float64(load))
				w.in.Settings = append(w.in.Settings, s)
			}
		}, cause.Setting, "gate 117 mm"},
		{"two machines", func(w *world) { w.in = withTwin(w.in) }, cause.Scale, "all that S1 weighed moves together since load 17"},
	} {
		w := stepped()
		c.change(w)
		if got := likeliestCause(t, w.in); got.Kind != string(c.want) || got.Load != 17 || !strings.Contains(got.Seen, c.seen) {
			t.Errorf("%s: %+v", c.name, got)
		} else {
			near(t, c.name+" size %", got.SizePct, -10, 1)
		}
	}
}

// withTwin adds a machine that does the same as sp1 at the same time.
func withTwin(in Input) Input {
	twin := func(name string) string { return name + "b" }
	for _, l := range in.Loads {
		l.ID, l.Data.Load = schemas.EventID(twin(string(l.ID))), schemas.LoadID(twin(string(l.Data.Load)))
		in.Loads = append(in.Loads, l)
	}
	for _, r := range in.Refills {
		r.Machine, r.Data.Refill = "sp2", schemas.RefillID(twin(string(r.Data.Refill)))
		r.Data.Loads = slices.Clone(r.Data.Loads)
		for i, l := range r.Data.Loads {
			r.Data.Loads[i] = schemas.LoadID(twin(string(l)))
		}
		in.Refills = append(in.Refills, r)
	}
	for _, s := range in.Settings {
		s.Machine = "sp2"
		in.Settings = append(in.Settings, s)
	}
	for _, p := range in.Passes {
		p.Machine = "sp2"
		in.Passes = append(in.Passes, p)
	}
	return in
}

// The bout width noted from load 17 on is 25 m; the lines lie 20 m apart.
func TestDrivingLinesTellAWrongBoutWidth(t *testing.T) {
	w := season(8, func(int) float64 { return 1 })
	s := w.in.Settings[0]
	s.Time, s.Sequence, s.Data.BoutWidthM = w.refilledAt(17), 90000, 25
	w.in.Settings = append(w.in.Settings, s)
	c := likeliestCause(t, w.in)
	if c.Kind != string(cause.Width) || !strings.Contains(c.Seen, "20.0 % closer than the bout width") {
		t.Errorf("%+v", c)
	}
	near(t, "size %", c.SizePct, -20, 1)
}

// From load 17 on every load drives one of its lines again with spreading
// logged, and nothing comes out: five lines of mass on six of nominal mass.
func TestGroundSpreadTwiceTellsAStuckSwitch(t *testing.T) {
	w := newWorld(8)
	const lines = int(lineM / boutM)
	for load := range 8 * lines / 5 {
		w.refill(5 * lineKg)
		for k := range 5 {
			n := load*5 + k
			w.line(n/lines, n%lines)
		}
		if n := load * 5; load+1 >= 17 {
			w.line(n/lines, n%lines)
		}
	}
	w.refill()
	c := likeliestCause(t, w.in)
	if c.Kind != string(cause.Switch) || !strings.Contains(c.Seen, "on ground already spread") {
		t.Errorf("%+v", c)
	}
	near(t, "size %", c.SizePct, 100*(5./6-1), 1)
}

// From load 17 on one line of five is spread without being logged.
func TestBareGroundTellsASwitchLeftOff(t *testing.T) {
	w := season(8, func(int) float64 { return 1 })
	from := w.refilledAt(17)
	k := 0
	for i, p := range w.in.Passes {
		if p.start().Before(from) {
			continue
		}
		if k++; k%5 == 3 {
			for f := range p.Fixes {
				w.in.Passes[i].Fixes[f].Spreading = schemas.SpreadingOff
			}
		}
	}
	c := likeliestCause(t, w.in)
	if c.Kind != string(cause.Switch) || !strings.Contains(c.Seen, "not logged on ground that was driven") {
		t.Errorf("%+v", c)
	}
	near(t, "size %", c.SizePct, 25, 1.5)
}

// Causes do not depend on the order in which events came.
func TestCausesDoNotDependOnOrder(t *testing.T) {
	w := stepped()
	for i := range w.in.Loads {
		w.in.Loads[i].Data.Docket = schemas.DocketID(fmt.Sprintf("D%d", i/4+1))
	}
	in := withTwin(w.in)
	want := run(t, in)
	rng := rand.New(rand.NewPCG(3, 4))
	for range 3 {
		mixed := in
		mixed.Loads, mixed.Refills, mixed.Settings, mixed.Passes = shuffled(rng, in.Loads), shuffled(rng, in.Refills), shuffled(rng, in.Settings), shuffled(rng, in.Passes)
		same(t, run(t, mixed), want)
	}
}
