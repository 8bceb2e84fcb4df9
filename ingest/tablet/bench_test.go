package tablet

import (
	"fmt"
	"math"
	"testing"
	"time"

	"hopperbook/schemas"
)

// manyFields is a season's register: 2 000 fields of 60 corners, a job for
// every tenth.
func manyFields(b testing.TB) *bench {
	p := packet("spreader-1", morning)
	p.Fields, p.Jobs = nil, nil
	for i := range 2000 {
		ring := make([]schemas.Position, 0, 61)
		for k := range 61 {
			sin, cos := math.Sincos(2 * math.Pi * float64(k%60) / 60)
			ring = append(ring, schemas.Position{20 + float64(i%50)*0.01 + 0.004*cos, -35 + float64(i/50)*0.01 + 0.004*sin})
		}
		f := schemas.RegisterField{Field: schemas.FieldID(fmt.Sprintf("f%d", i)), Customer: "c1", Name: "Field", Boundary: schemas.Boundary{{ring}}}
		p.Fields = append(p.Fields, f)
		if i%10 == 0 {
			p.Jobs = append(p.Jobs, schemas.CabJob{RegisterJob: schemas.RegisterJob{Job: schemas.JobID("j-" + f.Field), Customer: "c1", Fields: []schemas.FieldID{f.Field}, Product: "lime"}})
		}
	}
	t := newBench(b, RoleSpreader)
	if err := t.TakePacket(p); err != nil {
		b.Fatal(err)
	}
	return t
}

func BenchmarkView(b *testing.B) {
	t := manyFields(b)
	t.OnFix(fixAt(t.at, 0, 0, true), "switch")
	b.ReportAllocs()
	for b.Loop() {
		t.View()
	}
}

func BenchmarkViewWhileDriving(b *testing.B) {
	t := manyFields(b)
	for i := 0; b.Loop(); i++ {
		t.at = t.at.Add(time.Second)
		t.OnFix(fixAt(t.at, 0, 20*float64(i), true), "switch")
		t.View()
	}
}

func BenchmarkFix(b *testing.B) {
	t := manyFields(b)
	for i := 0; b.Loop(); i++ {
		t.OnFix(fixAt(t.at.Add(time.Duration(i)*100*time.Millisecond), 0, 0.5*float64(i), true), "switch")
	}
}

func BenchmarkCommand(b *testing.B) {
	t := manyFields(b)
	for b.Loop() {
		t.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(10)})
	}
}
