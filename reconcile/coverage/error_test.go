package coverage

import (
	"math"
	"testing"
)

// A large field with many turns, beside the same with a tolerance a thousand times as fine:
// no area differs by more than the errors they state.
func TestTheErrorHoldsOverManyTurns(t *testing.T) {
	work, boundary := fieldWork(150, 18, 12/3.6/5, rtk)
	of := func(finer float64) Result {
		var c Cover
		if err := c.Reset(boundary, nil, Options{}); err != nil {
			t.Fatal(err)
		}
		if err := c.Add(work); err != nil {
			t.Fatal(err)
		}
		c.tolM2 /= finer
		return c.Result()
	}
	got, fine := of(1), of(1000)
	for name, off := range map[string]float64{"covered": got.CoveredM2 - fine.CoveredM2, "twice": got.Overlap2M2 - fine.Overlap2M2,
		"more": got.Overlap3M2 - fine.Overlap3M2, "missed": got.MissedM2 - fine.MissedM2, "outside": got.OutsideM2 - fine.OutsideM2} {
		t.Logf("%s: %.2f m2", name, off)
		if math.Abs(off) > got.ErrorM2 {
			t.Errorf("%s is %.1f m2 off, the error stated is %.1f", name, off, got.ErrorM2)
		}
	}
	t.Logf("errors stated: %.1f and %.1f m2", got.ErrorM2, fine.ErrorM2)
}
