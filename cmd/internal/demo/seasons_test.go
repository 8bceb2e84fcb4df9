package demo

import (
	"fmt"
	"testing"

	"hopperbook/cmd/internal/desk"
	"hopperbook/ingest/season"
	"hopperbook/reconcile"
	"hopperbook/schemas"
)

// played reconciles a season straight from its events, without bus and book,
// which TestDemo walks; many seasons are affordable that way.
func played(t *testing.T, cfg season.Config) (*season.Season, reconcile.Result) {
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
	res, err := reconcile.Run(in)
	if err != nil {
		t.Fatal(err)
	}
	return week, res
}

func TestProbe(t *testing.T) {
	inside, all, named := 0, 0, 0
	var sumz, sumz2 float64
	for seed := range uint64(20) {
		week, res := played(t, season.Config{Seed: seed})
		in := 0
		for _, f := range res.Fields {
			d := demoField(f, week.Truth)
			if d.Inside {
				in++
			}
			z := (f.FieldRateKgHa - d.TrueRateKgHa) / (f.FieldRateHigh - f.FieldRateLow) * 2 * 1.96
			sumz += z
			sumz2 += z * z
		}
		inside += in
		all += len(res.Fields)
		_, ok := faults(week.Truth, res.Drifts)
		if ok {
			named++
		} else {
			fmt.Printf("seed %d: not named %+v\n", seed, res.Drifts)
			for _, f := range week.Truth.Faults {
				fmt.Println(words(f))
			}
		}
		_, res = played(t, season.Config{Seed: seed}.NoFaults())
		for _, d := range res.Drifts {
			if d.State != "holding" {
				fmt.Printf("seed %d no faults: %s %s %s\n", seed, d.Machine, d.State, d.Product)
			}
		}
		fmt.Printf("seed %d: %d of %d\n", seed, in, len(res.Fields))
	}
	fmt.Println(inside, all, named, "mean z", sumz/float64(all), "rms z", sumz2/float64(all))
}
