package demo

import (
	"slices"
	"testing"

	"hopperbook/ingest/season"
	"hopperbook/reconcile"
	"hopperbook/reconcile/cause"
	"hopperbook/reconcile/drift"
	"hopperbook/schemas"
)

// paced is a week on fields worked at different speeds.
func paced(seed uint64, faults ...season.Fault) season.Config {
	return season.Config{Seed: seed, Noise: season.Noise{PaceSdShare: 0.12}, Faults: append([]season.Fault{}, faults...)}
}

// likeliest lists the causes of a machine's first drift that is called.
func likeliest(res reconcile.Result, m schemas.MachineID) []reconcile.Cause {
	for _, d := range res.Drifts {
		if d.Machine == m && d.State != string(drift.Holding) {
			return d.Causes
		}
	}
	return nil
}

// newBatchLoad is a load of spreader-1, in the middle of the week, before which
// lime was delivered.
func newBatchLoad(t *testing.T, seed uint64) int {
	t.Helper()
	week, in := inputOf(t, paced(seed))
	n := 0
	var last schemas.LoadID
	var at []int
	for _, l := range week.Truth.Loads {
		if l.Spreader != "spreader-1" {
			continue
		}
		if n++; last != "" {
			for _, d := range in.Dockets {
				if d.Data.Product == l.Product && d.Time.Before(l.Time) && d.Time.After(week.Truth.Loads[slices.IndexFunc(week.Truth.Loads, func(b season.LoadTruth) bool { return b.Load == last })].Time) {
					at = append(at, n)
					break
				}
			}
		}
		last = l.Load
	}
	if len(at) < 3 {
		t.Fatalf("seed %d: lime came before loads %v", seed, at)
	}
	return at[len(at)/2]
}

// Whole seasons, from the events on: the fault that was played is the likeliest
// cause.
func TestCausesOfSeasons(t *testing.T) {
	slow(t)
	for i, c := range []struct {
		f    season.Fault
		want cause.Kind
	}{
		{season.Fault{Kind: season.SpeedSlip, Machine: "spreader-2", From: 8, Size: -0.7}, cause.Speed},
		{season.Fault{Kind: season.Wear, Machine: "spreader-1", From: 5, Size: -0.04}, cause.Trend},
		{season.Fault{Kind: season.Bridging, Machine: "spreader-2", From: 10, Size: -0.45}, cause.Level},
		{season.Fault{Kind: season.GateOff, Machine: "spreader-1", From: 20, Size: -0.1}, cause.Setting},
		{season.Fault{Kind: season.WidthOff, Machine: "spreader-2", From: 15, Size: 0.12}, cause.Width},
		{season.Fault{Kind: season.SwitchStuck, Machine: "spreader-2", From: 15}, cause.Switch},
		{season.Fault{Kind: season.WetBatch, Machine: "spreader-1", Size: -0.1}, cause.Batch},
		{season.Fault{Kind: season.ScaleOff, Machine: "loader-1", From: 40, Size: 0.1}, cause.Scale},
		{season.Fault{Kind: season.Slip, Machine: "spreader-1", From: 22, Size: -0.1}, cause.Step},
	} {
		seed, f, m := uint64(i), c.f, c.f.Machine
		switch f.Kind {
		case season.WetBatch:
			f.From = newBatchLoad(t, seed)
		case season.ScaleOff:
			m = "spreader-1"
		}
		_, res := played(t, paced(seed, f))
		causes := likeliest(res, m)
		if len(causes) == 0 || causes[0].Kind != string(c.want) {
			t.Errorf("seed %d, %+v: causes %+v; drifts %+v", seed, f, causes, res.Drifts)
			continue
		}
		t.Logf("weight %.2f %s: %s", causes[0].Weight, causes[0].Kind, causes[0].Seen)
	}
}

// Without a fault no cause is claimed.
func TestQuietSeasonsHaveNoCauses(t *testing.T) {
	slow(t)
	series := 0
	for seed := range uint64(4) {
		_, res := played(t, paced(100+seed))
		for _, d := range res.Drifts {
			series++
			if len(d.Causes) > 0 {
				t.Errorf("seed %d: %s %s has causes %+v; nothing was wrong", 100+seed, d.Machine, d.Product, d.Causes)
			}
		}
	}
	if series < 15 {
		t.Errorf("only %d series", series)
	}
}
