package outbox

import (
	"bytes"
	"math"
	"math/rand/v2"
	"testing"

	"hopperbook/schemas"
)

func packerFor(t testing.TB) *packer {
	t.Helper()
	p, err := newPacker()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestPackGivesBack(t *testing.T) {
	p := packerFor(t)
	for _, raw := range []string{``, `{}`, `{"type":"load.weighed"}`, `{"type":"pass.logged","data":[0,0,0,0,0,0,0,0,0,0,0,0,0,0,0,0,0,0,0,0,0,0,0,0]}`} {
		v := p.pack(start, []byte(raw))
		if u := p.unpack(v); u.damaged || string(u.raw) != raw || !u.at.Equal(start) {
			t.Errorf("%q came back as %+v", raw, u)
		}
		if len(v) > packHeader+len(raw) {
			t.Errorf("%q takes %d bytes", raw, len(v))
		}
	}
}

// Every bit of a stored event that is turned is found, and what is sent in its
// place is nothing that the hub would book.
func TestEveryTurnedBitIsFound(t *testing.T) {
	p := packerFor(t)
	raw, err := schemas.Write(schemas.Identity{Source: "/devices/spreader-1/k7", Sequence: 17}, "01JNB3Q2Q3W4E5R6T7Y8V9B00E", schemas.TypeLoadWeighed, start, load(1))
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range [][]byte{p.pack(start, raw), append(append(p.pack(start, raw)[:12:12], storedRaw), raw...)} {
		if u := p.unpack(v); u.damaged || !bytes.Equal(u.raw, raw) {
			t.Fatalf("untouched it reads as %+v", u)
		}
		for bit := range 8 * len(v) {
			turned := bytes.Clone(v)
			turned[bit/8] ^= 1 << (bit % 8)
			u := p.unpack(turned)
			if !u.damaged && bytes.Equal(u.raw, raw) && u.at.Equal(start) {
				continue // a bit without a meaning
			}
			if !u.damaged {
				t.Fatalf("bit %d of %d: read as %q", bit, 8*len(v), u.raw)
			}
			if _, bad := schemas.Read(u.raw); bad == nil {
				t.Fatalf("bit %d: what is sent instead would be booked", bit)
			}
		}
	}
}

func FuzzUnpack(f *testing.F) {
	p := packerFor(f)
	f.Add(p.pack(start, []byte(`{"type":"load.weighed"}`)))
	f.Add(p.pack(start, bytes.Repeat([]byte("1.0000001,"), 500)))
	f.Add([]byte("0123456789abr"))
	f.Fuzz(func(t *testing.T, v []byte) {
		u := p.unpack(v)
		switch {
		case u.damaged && !bytes.Equal(u.raw, append([]byte(damagedPrefix), v...)):
			t.Errorf("a damaged event is not kept whole: %q", u.raw)
		case !u.damaged && p.unpack(p.pack(u.at, u.raw)).typ != u.typ:
			t.Errorf("packed again, %q reads otherwise", u.raw)
		case len(u.raw) > schemas.MaxEventBytes && !u.damaged:
			t.Errorf("%d bytes unpack to %d", len(v), len(u.raw))
		}
	})
}

// What is counted of a day: literals.
func TestDay(t *testing.T) {
	var d day
	d.forward(1000)
	if d.perDay() != 0 {
		t.Errorf("nothing stored gives %v a day", d.perDay())
	}
	d.add(10)
	if d.perDay() != 240 {
		t.Errorf("10 bytes in the first hour are %v a day", d.perDay())
	}
	d.forward(1001)
	d.add(30)
	if d.perDay() != 480 {
		t.Errorf("40 bytes in two hours are %v a day", d.perDay())
	}
	d.forward(1023)
	if d.perDay() != 40 {
		t.Errorf("40 bytes in 24 hours are %v a day", d.perDay())
	}
	d.forward(1024)
	if d.perDay() != 30 {
		t.Errorf("the first hour is over, %v a day are left", d.perDay())
	}
	d.forward(1020) // the clock was set back a little
	d.add(5)
	if d.perDay() != 35 {
		t.Errorf("a clock set back counts %v a day", d.perDay())
	}
	d.forward(900) // it was far ahead
	if d.perDay() != 0 || d.hour != 900 {
		t.Errorf("a clock far ahead leaves %v a day", d.perDay())
	}
	d.forward(5000)
	d.add(7)
	var back day
	back.decode(d.encode())
	if back != d {
		t.Errorf("%+v came back as %+v", d, back)
	}
}

// The count of a day is that of a list of everything, whatever the pauses.
func TestDayAgainstAList(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 24))
	var d day
	stored := map[int64]int64{}
	hour := int64(1000)
	for range 2000 {
		hour += rng.Int64N(30) / 8 * rng.Int64N(3)
		n := rng.Int64N(9)
		d.forward(hour)
		d.add(n)
		stored[hour] += n
		var want int64
		for h := hour - 23; h <= hour; h++ {
			want += stored[h]
		}
		if got := d.perDay() * float64(min(hour-1000+1, 24)) / 24; math.Abs(got-float64(want)) > 1e-6 {
			t.Fatalf("at hour %d it counts %v, want %d", hour, got, want)
		}
	}
}
