package book

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"hopperbook/schemas"
)

func sameFixes(a, b []schemas.Fix) bool { return fmt.Sprintf("%v", a) == fmt.Sprintf("%v", b) }

// The packed form is stored; it may not change without a new version.
func TestPackedFormIsFixed(t *testing.T) {
	nan := math.NaN()
	fixes := []schemas.Fix{
		{UnixMilli: 1000, LatDeg: 1.5, LonDeg: -2, SpeedKmh: 12.5, HeadingDeg: nan, SetRateKgHa: 180, BoutWidthM: 24, Quality: 1, Spreading: 2},
		{UnixMilli: 1200, LatDeg: 1.500000001, LonDeg: -2, SpeedKmh: 12.4, HeadingDeg: 90, SetRateKgHa: 180, BoutWidthM: 24, Quality: 1, Spreading: 1},
		{UnixMilli: 1400, LatDeg: 1.500000002, LonDeg: -2, SpeedKmh: 12.4, HeadingDeg: nan, SetRateKgHa: 180, BoutWidthM: 24, Quality: 1, Spreading: 1},
	}
	packed, err := packFixes(nil, fixes)
	if err != nil {
		t.Fatal(err)
	}
	want := "0103" + "d00f" + "9003" + "00" + // 3 fixes: 1000 ms, +200, and again
		"0200" + "80bcc1960b" + "02" + "00" + // latitude, every fix: 1.5e9, +1, and again
		"01" + "ffcfacf30e" + // longitude, constant: -2e9
		"0202" + "fa01" + "01" + "00" + // speed in 0.1 km/h: 125, -1, 0
		"0302" + "03" + "12" + // heading, only fix 1, in 10 degrees: 9
		"01c0fc15" + "0180f702" + // rate 180 and width 24, constant
		"0201" + "0102" + "0103" // spreading on once, off twice; quality 1 three times
	if got := hex.EncodeToString(packed); got != want {
		t.Errorf("packed\n got %s\nwant %s", got, want)
	}
	if got, err := unpackFixes(packed, nil); err != nil || !sameFixes(got, fixes) {
		t.Errorf("unpacked %v, %v", got, err)
	}
}

func randomFix(r *rand.Rand) schemas.Fix {
	maybe := func(v float64) float64 {
		if r.IntN(4) == 0 {
			return math.NaN()
		}
		return v
	}
	return schemas.Fix{UnixMilli: r.Int64N(1<<62) - 1<<61, LatDeg: maybe(math.Round((r.Float64()*180-90)*1e9) / 1e9), LonDeg: maybe(math.Round((r.Float64()*360-180)*1e9) / 1e9),
		SpeedKmh: maybe(float64(r.IntN(300000)) / 1000), HeadingDeg: maybe(float64(r.IntN(36000)) / 100), SetRateKgHa: maybe(float64(r.IntN(50000))),
		BoutWidthM: maybe(24), Quality: schemas.Quality(r.IntN(256)), Spreading: schemas.Spreading(r.IntN(256))}
}

// What is on the grid comes back to the last bit, in any mixture with NaN.
func TestPackIsLossless(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 9))
	for range 500 {
		fixes := make([]schemas.Fix, r.IntN(30))
		for i := range fixes {
			fixes[i] = randomFix(r)
		}
		packed, err := packFixes([]byte("before"), fixes)
		if err != nil {
			t.Fatal(err)
		}
		keep := []schemas.Fix{{UnixMilli: 7}}
		got, err := unpackFixes(packed[len("before"):], keep)
		if err != nil || !sameFixes(got[1:], fixes) || got[0] != keep[0] {
			t.Fatalf("got %v %v\nwant %v", got, err, fixes)
		}
	}
}

// What is off the grid is at most half a step away, and packing again changes
// nothing more.
func TestPackRounds(t *testing.T) {
	fixes := drive(rand.New(rand.NewPCG(2, 9)), 200)
	packed, err := packFixes(nil, fixes)
	if err != nil {
		t.Fatal(err)
	}
	got, err := unpackFixes(packed, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i := range fixes {
		for _, c := range numberColumns() {
			if off := math.Abs(*c.at(&got[i]) - *c.at(&fixes[i])); off > 0.5001/c.perUnit {
				t.Fatalf("fix %d is %v off at %v steps a unit", i, off, c.perUnit)
			}
		}
	}
	if again, err := packFixes(nil, got); err != nil || !bytes.Equal(again, packed) {
		t.Errorf("packing again differs (%v)", err)
	}
	if perFix := float64(len(packed)) / float64(len(fixes)); perFix > 10 {
		t.Errorf("%.1f bytes a fix, want at most 10 (14 as floats)", perFix)
	}
}

func TestPackRefuses(t *testing.T) {
	for _, f := range []schemas.Fix{{LatDeg: math.Inf(1)}, {SpeedKmh: math.Inf(-1)}, {LonDeg: 1e8}} {
		if _, err := packFixes(nil, []schemas.Fix{f}); err == nil {
			t.Errorf("%v was packed", f)
		}
	}
	if _, err := packFixes(nil, make([]schemas.Fix, maxPackFixes+1)); err == nil {
		t.Error("too many fixes were packed")
	}
}

// Every cut and every flipped bit is an error or other fixes, never a panic.
func TestUnpackDamaged(t *testing.T) {
	packed, err := packFixes(nil, drive(rand.New(rand.NewPCG(3, 9)), 20))
	if err != nil {
		t.Fatal(err)
	}
	for n := range packed {
		if _, err := unpackFixes(packed[:n], nil); err == nil {
			t.Errorf("cut to %d of %d bytes: no error", n, len(packed))
		}
	}
	for _, bad := range [][]byte{append(bytes.Clone(packed), 0), {9, 0}, {1, 0xff, 0xff, 0xff, 0xff, 0x0f}} {
		if _, err := unpackFixes(bad, nil); err == nil {
			t.Errorf("%x: no error", bad[:2])
		}
	}
}

func FuzzUnpack(f *testing.F) {
	packed, err := packFixes(nil, drive(rand.New(rand.NewPCG(3, 9)), 5))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(packed)
	f.Add([]byte{1, 0})
	f.Fuzz(func(t *testing.T, data []byte) {
		fixes, err := unpackFixes(data, nil)
		if err != nil {
			return
		}
		if len(fixes) > maxPackFixes {
			t.Fatalf("%d fixes", len(fixes))
		}
		again, err := packFixes(nil, fixes)
		if err != nil {
			return // damage can decode to values that a log never holds
		}
		if got, err := unpackFixes(again, nil); err != nil || !sameFixes(got, fixes) {
			t.Fatalf("%v: %v became %v", err, fixes, got)
		}
	})
}
