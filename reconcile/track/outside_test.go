package track

import (
	"math"
	"math/rand/v2"
	"testing"

	"hopperbook/schemas"
)

// A drive north through a field of 100 m, 5 m/s, bout 20 m at 250 kg/ha: 0.5 kg a metre.
func TestOutsideByHand(t *testing.T) {
	field := fieldOf(t, "A", -46.1, 168.3, box(-50, 31, 50, 131))
	fixes := straight(51) // 0 to 250 m
	for i := 36; i < 42; i++ {
		fixes[i].Spreading = schemas.SpreadingOff // 180 to 210 m
	}
	got := OutsideFields(NewGround([]Field{field}).Split(Clean(fixes, Options{}).Segments))
	want := []Finding{{Outside, 0, 6200, 7, 31, 15.5}, {Outside, 26200, 36000, 10, 49, 24.5}, {Outside, 42000, 50000, 8, 40, 20}}
	if len(got) != len(want) {
		t.Fatalf("%+v, want %+v", got, want)
	}
	for i, f := range got {
		if math.Abs(f.Detail-want[i].Detail) > 1e-3 || math.Abs(f.NominalKg-want[i].NominalKg) > 1e-3 {
			t.Errorf("%+v, want %+v", f, want[i])
		}
		if f.Detail, f.NominalKg = want[i].Detail, want[i].NominalKg; f != want[i] {
			t.Errorf("%+v, want %+v", f, want[i])
		}
	}
	// Nine metres over the end of the field are no finding, eleven are.
	for _, c := range []struct {
		endM float64
		want int
	}{{241, 0}, {239, 1}} {
		field := fieldOf(t, "A", -46.1, 168.3, box(-50, -1, 50, c.endM))
		if got := OutsideFields(NewGround([]Field{field}).Split(Clean(straight(51), Options{}).Segments)); len(got) != c.want {
			t.Errorf("field to %v m: %+v", c.endM, got)
		}
	}
}

// Oracle and law: with every stretch counted, metres and kg are those of all
// spreading pieces without a field; stretches never touch.
func TestOutsideSums(t *testing.T) {
	for seed := range uint64(10) {
		rng := rand.New(rand.NewPCG(seed, 6))
		fields := farm(t, rng, -46.1, 168.3, 0.4, 6)
		pieces := NewGround(fields).Split(Clean(wander(seed, 1500), Options{}).Segments)
		var all, long Totals
		from, runM, open := 0, 0.0, false
		close := func(to int) {
			if open && runM >= 10 {
				x := Total(pieces[from:to])
				long.LengthM, long.NominalKg, long.SpreadS = long.LengthM+x.LengthM, long.NominalKg+x.NominalKg, long.SpreadS+1
			}
			open, runM = false, 0
		}
		for i, p := range pieces {
			out := p.Spreading && p.Field == ""
			if !out || i > 0 && pieces[i-1].Line != p.Line {
				close(i)
			}
			if out {
				if !open {
					open, from = true, i
				}
				runM += p.LengthM
				all.LengthM += p.LengthM
			}
		}
		close(len(pieces))
		var m, kg float64
		found := OutsideFields(pieces)
		for _, f := range found {
			m, kg = m+f.Detail, kg+f.NominalKg
		}
		if len(found) != int(long.SpreadS) || math.Abs(m-long.LengthM) > 1e-9 || math.Abs(kg-long.NominalKg) > 1e-9 || m > all.LengthM {
			t.Errorf("seed %d: %d stretches of %v m, %v kg; want %+v", seed, len(found), m, kg, long)
		}
	}
	if got := OutsideFields(nil); got != nil {
		t.Errorf("%+v", got)
	}
}
