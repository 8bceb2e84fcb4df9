package demo

import (
	"testing"

	"hopperbook/ingest/season"
	"hopperbook/reconcile"
	"hopperbook/reconcile/cause"
	"hopperbook/schemas"
)

// faultSeason is a week of one fault in its middle, on fields worked at
// different speeds.
func faultSeason(seed uint64, f season.Fault) season.Config {
	return season.Config{Seed: seed, Noise: season.Noise{PaceSdShare: 0.12}, Faults: []season.Fault{f}}
}

// causesOf lists the causes of a machine's first drift that has any.
func causesOf(res reconcile.Result, m schemas.MachineID) []reconcile.Cause {
	for _, d := range res.Drifts {
		if d.Machine == m && len(d.Causes) > 0 {
			return d.Causes
		}
	}
	return nil
}

// Whole seasons, from the events on: the cause is ranked first in most, within
// the first two in nearly all.
func TestCausesOfSeasons(t *testing.T) {
	slow(t)
	for _, c := range []struct {
		f    season.Fault
		want cause.Kind
	}{
		{season.Fault{Kind: season.SpeedSlip, Machine: "spreader-2", From: 8, Size: -0.7}, cause.Speed},
		{season.Fault{Kind: season.Wear, Machine: "spreader-1", From: 5, Size: -0.05}, cause.Trend},
		{season.Fault{Kind: season.Bridging, Machine: "spreader-2", From: 10, Size: -0.45}, cause.Level},
		{season.Fault{Kind: season.GateOff, Machine: "spreader-1", From: 20, Size: -0.1}, cause.Setting},
		{season.Fault{Kind: season.WidthOff, Machine: "spreader-2", From: 15, Size: 0.12}, cause.Width},
		{season.Fault{Kind: season.SwitchStuck, Machine: "spreader-2", From: 15}, cause.Switch},
		{season.Fault{Kind: season.ScaleOff, Machine: "loader-1", From: 40, Size: 0.1}, cause.Scale},
		{season.Fault{Kind: season.Slip, Machine: "spreader-1", From: 22, Size: -0.1}, cause.Step},
	} {
		const seeds = 4
		first, second := 0, 0
		for seed := range uint64(seeds) {
			_, res := played(t, faultSeason(seed, c.f))
			m := c.f.Machine
			if c.want == cause.Scale {
				m = "spreader-1"
			}
			causes := causesOf(res, m)
			for _, d := range res.Drifts {
				t.Log(c.want, seed, d.Machine, d.Product, d.Loads, d.State, d.ChangeLoad, d.SizePct)
				for _, c := range d.Causes {
					t.Log("      ", c.Kind, c.Weight, c.Seen)
				}
			}
			if len(causes) > 0 && causes[0].Kind == string(c.want) {
				first++
			}
			for i, k := range causes {
				if i < 2 && k.Kind == string(c.want) {
					second++
				}
			}
		}
		t.Logf("%s: first in %d, within two in %d of %d seasons", c.want, first, second, seeds)
	}
}
