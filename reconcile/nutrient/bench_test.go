package nutrient

import (
	"fmt"
	"testing"
	"time"

	"hopperbook/schemas"
)

// A season: 2 000 fields, 10 000 applications that share loads and scales,
// under all shipped rules.
func BenchmarkSeason(b *testing.B) {
	shipped, err := Shipped()
	if err != nil {
		b.Fatal(err)
	}
	base := randomInput(7)
	in := Input{Rules: shipped, Products: base.Products}
	for i := range 2000 {
		f := base.Fields[i%len(base.Fields)]
		f.ID, f.Holding, f.AreaM2 = schemas.FieldID(fmt.Sprintf("F%04d", i)), schemas.HoldingID(fmt.Sprintf("H%03d", i/20)), 100_000
		in.Fields = append(in.Fields, f)
	}
	for i := range 10000 {
		a := base.Applications[i%len(base.Applications)]
		a.ID, a.Field, a.From = fmt.Sprint("a", i), in.Fields[i%2000].ID, day0.Add(time.Duration(i)*time.Minute)
		for k := range 6 {
			a.Shared = append(a.Shared, Term{fmt.Sprint("load", (i+k)/4), 10})
		}
		in.Applications = append(in.Applications, a)
	}
	for b.Loop() {
		if _, err := Run(in); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)*10000/b.Elapsed().Seconds(), "applications/s")
}
