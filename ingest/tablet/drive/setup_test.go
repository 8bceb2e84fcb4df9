package drive

import (
	"bytes"
	"errors"
	"maps"
	"math"
	"slices"
	"testing"
	"time"

	"hopperbook/ingest"
	"hopperbook/ingest/tablet"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// cab is an agent and its disk: what is in logs and drafts outlives a driver.
type cab struct {
	driving tablet.Driving
	told    []schemas.Fix
	marks   []string
	gnss    []string

	logs   []schemas.PassLogged
	drafts map[string][]byte
	fails  func() error // before anything is stored; nil: never
	lies   bool         // what fails is stored all the same
}

func newCab() *cab {
	return &cab{drafts: map[string][]byte{}, driving: tablet.Driving{SetRateKgHa: 120, BoutWidthM: 24, InField: "F-1", Working: true, Job: "J-1", Field: "F-1"}}
}

func (c *cab) OnFix(f schemas.Fix, by string) {
	c.told, c.marks = append(c.told, f), append(c.marks, by)
}
func (c *cab) Driving() tablet.Driving { return c.driving }
func (c *cab) SetGNSS(s string)        { c.gnss = append(c.gnss, s) }

func (c *cab) failing() error {
	if c.fails == nil {
		return nil
	}
	return c.fails()
}

func (c *cab) LogPass(p schemas.PassLogged, draft string) (ingest.Outgoing, error) {
	err := c.failing()
	if err != nil && !c.lies {
		return ingest.Outgoing{}, err
	}
	raw, writeErr := schemas.Write(schemas.Identity{Source: "/devices/s1/a", Sequence: int64(len(c.logs) + 1)}, "01ARZ3NDEKTSV4RRFFQ69G5FAV", schemas.TypePassLogged, time.Unix(1_770_000_000, 0), p)
	if writeErr != nil {
		return ingest.Outgoing{}, writeErr
	}
	if _, bad := schemas.Read(raw); bad != nil {
		return ingest.Outgoing{}, fault.New("", fault.Input, bad, "")
	}
	if draft != "" {
		if _, there := c.drafts[draft]; !there {
			return ingest.Outgoing{}, fault.Newf("", fault.Conflict, "the draft is gone", "")
		}
		delete(c.drafts, draft)
	}
	c.logs = append(c.logs, p)
	return ingest.Outgoing{}, err
}

func (c *cab) Put(key string, data []byte) error {
	err := c.failing()
	if err == nil || c.lies {
		c.drafts[key] = bytes.Clone(data)
	}
	return err
}

func (c *cab) All() ([]Draft, error) {
	var all []Draft
	for _, key := range slices.Sorted(maps.Keys(c.drafts)) {
		all = append(all, Draft{key, bytes.Clone(c.drafts[key])})
	}
	return all, nil
}

// logged is every fix in a pass log, in the order they were logged.
func (c *cab) logged(t *testing.T) []schemas.Fix {
	t.Helper()
	var all []schemas.Fix
	for _, p := range c.logs {
		all = append(all, fixesOf(t, p)...)
	}
	return all
}

func fixesOf(t *testing.T, p schemas.PassLogged) []schemas.Fix {
	t.Helper()
	raw, err := schemas.Write(schemas.Identity{Source: "/devices/s1/a", Sequence: 1}, "01ARZ3NDEKTSV4RRFFQ69G5FAV", schemas.TypePassLogged, time.Unix(1_770_000_000, 0), p)
	if err != nil {
		t.Fatal(err)
	}
	e, bad := schemas.Read(raw)
	if bad != nil {
		t.Fatal(bad)
	}
	fixes, _, err := schemas.PassFixes(e.Data, nil)
	if err != nil {
		t.Fatal(err)
	}
	return fixes
}

// clock is a device's clock that the test moves.
type clock struct{ at time.Time }

func (c *clock) now() time.Time { return c.at }

const startMs = 1_770_000_000_000

// fixAt is a fix on a straight line at 12 km/h.
func fixAt(ms int64) schemas.Fix {
	return schemas.Fix{UnixMilli: startMs + ms, LatDeg: 50 + float64(ms)*3e-8, LonDeg: 8, SpeedKmh: 12, HeadingDeg: 0, SetRateKgHa: math.NaN(), BoutWidthM: math.NaN(),
		Quality: schemas.QualityRTKFixed}
}

// rig is a driver with its cab and clock.
type rig struct {
	*Driver
	*cab
	*clock
	cfg   Config
	empty bool
}

func newRig(t *testing.T, cfg Config) *rig {
	r := &rig{cab: newCab(), clock: &clock{time.Unix(2_000_000, 0)}, cfg: cfg}
	r.cfg.Now = r.now
	r.cfg.HopperEmpty = func() bool { return r.empty }
	r.restart(t)
	return r
}

// restart is a power cut: what the driver holds is gone.
func (r *rig) restart(t *testing.T) {
	t.Helper()
	var err error
	if r.Driver, err = New(r.cfg, r.cab, r.cab); err != nil {
		t.Fatal(err)
	}
}

// drive hands over fixes at 5 Hz from a time on, with the agent looking after
// drafts as Run does.
func (r *rig) drive(from, n int64) {
	for i := range n {
		r.at = r.at.Add(200 * time.Millisecond)
		r.Driver.Fix(fixAt(from + 200*i))
		r.Tick()
	}
}

// adds up: every fix is somewhere.
func (r *rig) addsUp(t *testing.T) {
	t.Helper()
	c := r.Counts()
	if sum := c.Logged + c.Held + c.Coarse + c.Impossible + c.Repeated + c.Thinned + c.Lost + c.Refused + c.Positions; sum != c.In {
		t.Errorf("%d fixes came, %d are accounted for: %+v", c.In, sum, c)
	}
}

var errFull = fault.New("store", fault.Full, errors.New("no room"), "")
