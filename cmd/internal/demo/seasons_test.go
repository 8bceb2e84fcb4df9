package demo

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"slices"
	"testing"
	"time"

	"hopperbook/cmd/internal/desk"
	"hopperbook/cmd/internal/office"
	"hopperbook/ingest/season"
	"hopperbook/reconcile"
	"hopperbook/reconcile/drift"
)

// played reconciles a season straight from its events, without bus and book,
// which TestDemo walks; many seasons are affordable that way.
func played(t *testing.T, cfg season.Config) (*season.Season, reconcile.Result) {
	t.Helper()
	week, in := inputOf(t, cfg)
	res, err := reconcile.Run(in)
	if err != nil {
		t.Fatal(err)
	}
	return week, res
}

// slow leaves many seasons to the run without the race detector, which makes
// each ten times slower: pure computations have no goroutines to race.
func slow(t *testing.T) {
	t.Helper()
	if raceEnabled {
		t.Skip("the simulated seasons are played by go test ./cmd/internal/demo without -race, as ./test does")
	}
}

// A season without a fault names no machine.
func TestQuietSeasonsNameNone(t *testing.T) {
	slow(t)
	inside, all := 0, 0
	for seed := range uint64(20) {
		week, res := played(t, season.Config{Seed: seed}.NoFaults())
		for _, d := range res.Drifts {
			if d.State == string(drift.Recalibrate) {
				t.Errorf("seed %d: %s is called since load %d, %.1f %%; nothing was wrong", seed, d.Machine, d.ChangeLoad, d.SizePct)
			}
		}
		n, of := insideOf(res, week.Truth)
		inside, all = inside+n, all+of
	}
	if all < 30 || inside*100 < all*90 {
		t.Errorf("the truth lies inside the interval of %d of %d fields; at least 90 %% are wanted", inside, all)
	}
}

// A slip is named: the machine and no other, near its load, with its size.
func TestSlipsAreNamed(t *testing.T) {
	slow(t)
	inside, all := 0, 0
	for seed := range uint64(10) {
		week, res := played(t, season.Config{Seed: seed})
		faults, named := faults(week.Truth, res.Drifts)
		if !named {
			t.Errorf("seed %d: not named: %+v; faults %+v", seed, res.Drifts, faults)
		}
		n, of := insideOf(res, week.Truth)
		inside, all = inside+n, all+of
	}
	if all < 30 || inside*100 < all*90 {
		t.Errorf("the truth lies inside the interval of %d of %d fields; at least 90 %% are wanted", inside, all)
	}
}

func insideOf(res reconcile.Result, truth season.Truth) (inside, all int) {
	for _, f := range res.Fields {
		if demoField(f, truth).Inside {
			inside++
		}
	}
	return inside, len(res.Fields)
}

// The other faults leave what is measured rightly alone: a forgotten job
// change is a finding, and mass goes where the boundary says.
func TestAForgottenJobChangeIsFound(t *testing.T) {
	week, res := played(t, season.Config{Seed: 1})
	i := slices.IndexFunc(week.Truth.Faults, func(f season.FaultTruth) bool { return f.Kind == season.ForgetJobChange })
	if i < 0 {
		t.Fatal("the demo's faults have no forgotten job change")
	}
	if !slices.ContainsFunc(res.Findings, func(f reconcile.Finding) bool {
		return f.Kind == "wrong_field_picked" && f.Machine == week.Truth.Faults[i].Machine
	}) {
		t.Errorf("findings %+v", res.Findings)
	}
}

// The demo walks the bus and the book; what comes back must be, byte for
// byte, what the events alone give.
func TestDemo(t *testing.T) {
	dir := t.TempDir()
	ctx, stop := context.WithTimeout(context.Background(), 5*time.Minute)
	defer stop()
	last := [3]int{}
	report, err := Run(ctx, Config{Office: office.Config{BookDir: dir, Logf: t.Logf}, Seed: 1, Faults: true}, func(sent, confirmed, total int) { last = [3]int{sent, confirmed, total} })
	if err != nil {
		t.Fatal(err)
	}
	byTablets := report.Published - 1 // beside the tablets' events the office publishes an agreement again, and issues documents
	if byTablets <= 0 || report.Issued != 4 || len(report.Files) != 4*4+2 || report.Booked != int64(report.Published+report.Issued) || report.Kept != 0 || last != [3]int{byTablets, byTablets, byTablets} {
		t.Errorf("published %d, booked %d, kept %d, progress %v", report.Published, report.Booked, report.Kept, last)
	}
	if len(report.Fields) < 12 || report.FieldsInside*100 < len(report.Fields)*90 {
		t.Errorf("the truth lies inside the interval of %d of %d fields", report.FieldsInside, len(report.Fields))
	}
	if !report.Named {
		t.Errorf("not named: %+v; faults %+v", report.Drifts, report.Faults)
	}
	for _, f := range report.Faults {
		if f.Kind == string(season.Slip) {
			i := slices.IndexFunc(report.Drifts, func(d reconcile.Drift) bool { return d.State == string(drift.Recalibrate) })
			if i < 0 || math.Abs(report.Drifts[i].SizePct-f.SizePct) > 2 || abs(report.Drifts[i].ChangeLoad-f.Load) > 6 {
				t.Errorf("drifts %+v, injected %+v", report.Drifts, f)
			}
		}
	}

	asker, err := office.Open(ctx, office.Config{BookDir: dir})
	if err != nil {
		t.Fatal(err)
	}
	defer asker.Close()
	var got, want bytes.Buffer
	if err := asker.Ask(ctx, desk.Reconcile, nil, &got); err != nil {
		t.Fatal(err)
	}
	_, direct := played(t, season.Config{Seed: 1})
	enc := json.NewEncoder(&want)
	enc.SetIndent("", " ")
	if err := enc.Encode(direct); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got.Bytes(), want.Bytes()) {
		t.Errorf("%d bytes through bus and book, %d without; they differ", got.Len(), want.Len())
	}
}
