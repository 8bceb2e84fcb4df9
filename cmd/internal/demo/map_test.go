package demo

import (
	"math"
	"strings"
	"testing"
	"time"

	"hopperbook/cmd/internal/desk"
	"hopperbook/ingest/season"
	"hopperbook/reconcile"
	"hopperbook/schemas"
)

// inputOf is a season's events as the desk reads them.
func inputOf(t *testing.T, cfg season.Config) (*season.Season, reconcile.Input) {
	t.Helper()
	week, err := season.Play(cfg)
	if err != nil {
		t.Fatal(err)
	}
	var events []schemas.Event
	for _, d := range week.Devices {
		for _, e := range d.Events {
			event, bad := schemas.Read(e.Raw)
			if bad != nil {
				t.Fatal(bad)
			}
			events = append(events, event)
		}
	}
	in, err := desk.InputOf(events)
	if err != nil {
		t.Fatal(err)
	}
	return week, in
}

// The maps of the demo's fields agree with what the balance and the
// coverage say of them: what was spread, what stayed on the field, and what was
// missed; they are not all one rate, and mostly within the band.
func TestMapsAgreeWithTheFields(t *testing.T) {
	_, in := inputOf(t, season.Config{Seed: 1})
	in.Trays = nil // coverage takes the pattern as even, and so must the maps that are held against it
	res, err := reconcile.Run(in)
	if err != nil {
		t.Fatal(err)
	}
	every := 3 // some fields of all products
	if raceEnabled {
		every = 15
	}
	for i, f := range res.Fields {
		if i%every != 0 {
			continue
		}
		m, err := reconcile.Applied(in, f.Field, f.Product, 2)
		if err != nil {
			t.Fatal(err)
		}
		name := string(f.Field) + " " + string(f.Product)
		if math.Abs(m.Map.SpreadKg-f.MassKg-f.ThrownOutsideKg-f.ExcludedKg) > 0.01 {
			t.Errorf("%s: %v kg spread, the balance says %v", name, m.Map.SpreadKg, f.MassKg+f.ThrownOutsideKg+f.ExcludedKg)
		}
		if math.Abs(m.Map.InFieldKg-f.MassKg) > 0.005*f.MassKg {
			t.Errorf("%s: %v kg in the field, by coverage %v", name, m.Map.InFieldKg, f.MassKg)
		}
		if a := m.Figures; math.Abs(a.AreaM2-f.BoundaryM2) > 0.002*f.BoundaryM2 || math.Abs(a.MeanKgHa*a.AreaM2/10000-m.Map.InFieldKg) > 1e-6*f.MassKg {
			t.Errorf("%s: %v m2 of cells, %v kg/ha, %v kg; boundary %v m2", name, a.AreaM2, a.MeanKgHa, m.Map.InFieldKg, f.BoundaryM2)
		}
		// A cell counts as not hit when all of it was missed: less than was missed, of which most lies in
		// strips narrower than a cell.
		if missed := f.MissedM2 / f.BoundaryM2; m.Figures.NotHitShare() > missed {
			t.Errorf("%s: %.4f not hit, %.4f missed", name, m.Figures.NotHitShare(), missed)
		}
		overlapped := (f.Overlap2M2 + f.Overlap3M2) / f.BoundaryM2
		if m.Figures.AboveShare() > 2*overlapped+0.02 || m.Figures.AboveShare() < overlapped/4 {
			t.Errorf("%s: %.4f above the band, %.4f overlapped", name, m.Figures.AboveShare(), overlapped)
		}
		if cv := m.Figures.CVPct; cv < 10 || cv > 50 || m.Figures.BelowShare() > 0.1 {
			t.Errorf("%s: CV %.1f %%, below the band %.3f", name, cv, m.Figures.BelowShare())
		}
	}
}

// With its tray tests the demo's maps are laid with them: the same mass, and as
// even along the field as the trays say.
func TestMapsFollowTheDemosTrayTests(t *testing.T) {
	_, in := inputOf(t, season.Config{Seed: 1}.NoFaults())
	res, err := reconcile.Run(in)
	if err != nil {
		t.Fatal(err)
	}
	f := res.Fields[0]
	m, err := reconcile.Applied(in, f.Field, f.Product, 2)
	if err != nil {
		t.Fatal(err)
	}
	if len(m.Patterns) != 1 || m.Patterns[0].TrayTest == "" || math.Abs(m.Map.SpreadKg-f.MassKg-f.ThrownOutsideKg) > 0.01 {
		t.Errorf("%+v, %v kg spread, the balance says %v", m.Patterns, m.Map.SpreadKg, f.MassKg+f.ThrownOutsideKg)
	}
	if math.Abs(m.Map.InFieldKg-f.MassKg) > 0.03*f.MassKg || m.Figures.CVPct > 30 {
		t.Errorf("%v kg in the field, by coverage %v; CV %v", m.Map.InFieldKg, f.MassKg, m.Figures.CVPct)
	}
}

// Every machine of a quiet demo can be given a certificate for the product it
// spreads last.
func TestTheDemosMachinesAreCertified(t *testing.T) {
	_, in := inputOf(t, season.Config{Seed: 1}.NoFaults())
	for _, machine := range []schemas.MachineID{"spreader-1", "spreader-2", "spreader-3"} {
		var last reconcile.At[schemas.TestCatch]
		for _, c := range in.Catches {
			if c.Machine == machine && c.Time.After(last.Time) {
				last = c
			}
		}
		c, err := reconcile.Certify(in, reconcile.CertificateAsk{Machine: machine, Product: last.Data.Product})
		if err != nil {
			t.Fatal(err)
		}
		if !c.Validity.Valid || c.Density == nil || c.Tray == nil || c.Overlap == nil || len(c.Checks) < 9 || c.Validity.SpreadKg < 1000 {
			t.Errorf("%s: %+v %+v", machine, c.Validity, c.Findings)
		}
		for _, f := range c.Findings {
			if f.Kind == "not_tested" || f.Kind == "bout_too_wide" || f.Kind == "overlap_unsure" {
				t.Errorf("%s: %+v", machine, f)
			}
		}
	}
}

// A machine that has drifted from its calibration has no valid certificate, as
// of the day before it did it had.
func TestADriftedMachineIsNotCertified(t *testing.T) {
	_, in := inputOf(t, season.Config{Seed: 1})
	ask := reconcile.CertificateAsk{Machine: "spreader-3", Product: "super-9p"}
	c, err := reconcile.Certify(in, ask)
	if err != nil {
		t.Fatal(err)
	}
	if c.Validity.Valid || !strings.Contains(strings.Join(c.Validity.Reasons, "\n"), "since load 9: recalibrate") {
		t.Errorf("%q", c.Validity.Reasons)
	}
	ask.AsOf = c.TestedAt.Add(4 * time.Hour)
	if c, err = reconcile.Certify(in, ask); err != nil || !c.Validity.Valid || c.Validity.SpreadKg == 0 {
		t.Errorf("hours after the test: %+v %v", c.Validity, err)
	}
}
