package outbox

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"hopperbook/ingest"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

var start = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

func config(t testing.TB) Config {
	return Config{Path: filepath.Join(t.TempDir(), "outbox.db"), Device: "spreader-1"}
}

// open opens an outbox. In tests it does not wait for the disk: what a sync is
// for, TestPowerCut shows on outboxes that do.
func open(t testing.TB, cfg Config) *Outbox {
	t.Helper()
	o, err := Open(cfg)
	if err != nil {
		t.Fatal(err)
	}
	_, bench := t.(*testing.B)
	o.db.NoSync = !bench
	t.Cleanup(func() { _ = o.Close() }) // a test that closed it itself is as good
	return o
}

func load(n int) schemas.LoadWeighed {
	return schemas.LoadWeighed{Load: schemas.LoadID(fmt.Sprintf("L%d", n)), Product: "lime", NetKg: 4000, Method: schemas.MethodBucket}
}

func weigh(t testing.TB, o *Outbox, n int) ingest.Outgoing {
	t.Helper()
	out, err := o.Append(start.Add(time.Duration(n)*time.Minute), schemas.TypeLoadWeighed, load(n), nil)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// pass is a pass log of n fixes at 5 Hz as a receiver on a rough field gives
// them.
func pass(t testing.TB, rng *rand.Rand, at time.Time, n int) schemas.PassLogged {
	t.Helper()
	fixes := make([]schemas.Fix, n)
	lat, lon, heading := 52.1, 0.3, 180+rng.Float64()
	for i := range fixes {
		speed := 14 + rng.NormFloat64()/4
		heading += rng.NormFloat64() / 3
		lat += speed/3.6/5/111_000 + rng.NormFloat64()*1e-8
		lon += rng.NormFloat64() * 3e-8
		fixes[i] = schemas.Fix{UnixMilli: at.UnixMilli() + int64(200*i), LatDeg: lat, LonDeg: lon, SpeedKmh: speed, HeadingDeg: heading,
			Spreading: schemas.SpreadingOn, SetRateKgHa: 2500, BoutWidthM: 12, Quality: schemas.QualityGNSS}
	}
	data, err := schemas.PassData(fixes, schemas.PassHeader{Job: "J1", Field: "F1"})
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// model is an outbox that forgets nothing and is obviously right.
type model struct {
	all    []ingest.Outgoing
	mark   schemas.Mark
	state  []byte
	drafts map[string]string
}

func (m *model) after(seq int64, n, size int) (want []ingest.Outgoing) {
	for _, o := range m.all {
		if o.Sequence <= seq || m.mark.Holds(o.Sequence) {
			continue
		}
		if size -= len(o.Raw); size < 0 && len(want) > 0 {
			break
		}
		if want = append(want, o); len(want) == n {
			break
		}
	}
	return want
}

func (m *model) recent(n int) (want []schemas.Identity) {
	for _, o := range slices.Backward(m.all) {
		if o.Type != schemas.TypePassLogged && len(want) < min(n, keepEntries) {
			want = append(want, o.Identity)
		}
	}
	return want
}

func sameEvents(a, b []ingest.Outgoing) bool {
	return slices.EqualFunc(a, b, func(a, b ingest.Outgoing) bool {
		return a.Identity == b.Identity && a.Type == b.Type && bytes.Equal(a.Raw, b.Raw)
	})
}

// Random entries, drafts, marks (late and stale ones too) and restarts: the
// file says what the model says.
func TestAgainstAModel(t *testing.T) {
	for seed := range uint64(4) {
		cfg := config(t)
		o := open(t, cfg)
		rng := rand.New(rand.NewPCG(seed, 6))
		m := &model{mark: schemas.Mark{Source: o.Source()}, drafts: map[string]string{}}
		for step := range 300 {
			o = m.step(t, o, cfg, rng, step)
			m.compare(t, o, rng)
			if t.Failed() {
				t.Fatalf("seed %d, step %d", seed, step)
			}
		}
	}
}

func (m *model) step(t *testing.T, o *Outbox, cfg Config, rng *rand.Rand, step int) *Outbox {
	t.Helper()
	at := start.Add(time.Duration(step) * time.Second)
	switch rng.IntN(10) {
	case 0:
		if err := o.Close(); err != nil {
			t.Fatal(err)
		}
		m.mark.Above = nil // not kept: the hub says it again
		return open(t, cfg)
	case 1:
		m.mark = m.newMark(rng, m.mark)
		if err := o.Trim(m.mark); err != nil {
			t.Fatal(err)
		}
		stale := schemas.Mark{Source: o.Source(), UpTo: m.mark.UpTo - 1}
		if err := o.Trim(stale); err != nil {
			t.Fatal(err)
		}
	case 2:
		key, data := fmt.Sprint(rng.IntN(3)), fmt.Sprint(step)
		m.drafts[key] = data
		if err := o.Draft(key, []byte(data)); err != nil {
			t.Fatal(err)
		}
	case 3:
		for key := range m.drafts { // any one
			made, err := o.AppendAll([]Entry{{At: at, Type: schemas.TypePassLogged, Data: pass(t, rng, at, 5), Draft: key}, {At: at, Type: schemas.TypeLoadWeighed, Data: load(step)}}, nil)
			if err != nil {
				t.Fatal(err)
			}
			m.all = append(m.all, made...)
			delete(m.drafts, key)
			if _, err := o.AppendAll([]Entry{{At: at, Type: schemas.TypePassLogged, Data: pass(t, rng, at, 5), Draft: key}}, nil); fault.CodeOf(err) != fault.Conflict {
				t.Fatalf("a draft that is an event already: %v", err)
			}
			break
		}
	case 4:
		if _, err := o.Append(at, schemas.TypeLoadWeighed, schemas.LoadWeighed{NetKg: -1}, []byte("never")); fault.CodeOf(err) != fault.Input {
			t.Fatalf("an event that breaks the contract: %v", err)
		}
	default:
		m.state = fmt.Append(nil, "state ", step)
		out, err := o.Append(at, schemas.TypeLoadWeighed, load(step), m.state)
		if err != nil {
			t.Fatal(err)
		}
		m.all = append(m.all, out)
	}
	return o
}

// newMark is a later mark of the book, with a range above it where there is
// room for one.
func (m *model) newMark(rng *rand.Rand, old schemas.Mark) schemas.Mark {
	left := int64(len(m.all)) - old.UpTo
	mark := schemas.Mark{Source: old.Source, UpTo: old.UpTo + rng.Int64N(left+1)}
	if low := mark.UpTo + 2 + rng.Int64N(3); low <= int64(len(m.all)) {
		mark.Above = [][2]int64{{low, low + rng.Int64N(int64(len(m.all))-low+1)}}
	}
	return mark
}

func (m *model) compare(t *testing.T, o *Outbox, rng *rand.Rand) {
	t.Helper()
	for i, out := range m.all {
		if out.Sequence != int64(i+1) {
			t.Errorf("event %d has sequence %d", i+1, out.Sequence)
		}
	}
	seq, n, size := rng.Int64N(int64(len(m.all)+2)), rng.IntN(20), 1+rng.IntN(20_000)
	if got, err := o.After(seq, n, size); err != nil || !sameEvents(got, m.after(seq, n, size)) {
		t.Errorf("After(%d, %d, %d) has %d events (%v), want %d", seq, n, size, len(got), err, len(m.after(seq, n, size)))
	}
	if got, err := o.Since(m.mark.UpTo); err != nil || !sameEvents(got, m.all[m.mark.UpTo:]) {
		t.Errorf("Since(%d) has %d events (%v)", m.mark.UpTo, len(got), err)
	}
	var recent []schemas.Identity
	made, err := o.Recent(5)
	for _, e := range made {
		recent = append(recent, e.Identity)
		if e.Sent != m.mark.Holds(e.Sequence) {
			t.Errorf("%s: sent %v", e.Identity, e.Sent)
		}
	}
	if err != nil || !slices.Equal(recent, m.recent(5)) {
		t.Errorf("Recent is %v (%v), want %v", recent, err, m.recent(5))
	}
	if state, err := o.State(); err != nil || !bytes.Equal(state, m.state) {
		t.Errorf("the snapshot is %q (%v), want %q", state, err, m.state)
	}
	drafts, err := o.Drafts()
	if err != nil || len(drafts) != len(m.drafts) {
		t.Errorf("%d drafts (%v), want %d", len(drafts), err, len(m.drafts))
	}
	for _, d := range drafts {
		if m.drafts[d.Key] != string(d.Data) {
			t.Errorf("draft %s is %q, want %q", d.Key, d.Data, m.drafts[d.Key])
		}
	}
	s, err := o.Status()
	if want := len(m.after(0, -1, 1<<30)); err != nil || s.Waiting != want || s.Confirmed != m.mark.UpTo {
		t.Errorf("status %+v (%v), want %d waiting", s, err, want)
	}
}
