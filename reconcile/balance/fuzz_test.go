package balance

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// FuzzSeason makes a small season of the bytes, within what the contract lets
// through: it is balanced, mass is conserved to the gram, and every number is one.
func FuzzSeason(f *testing.F) {
	f.Add([]byte{1, 40, 0, 2, 30, 1, 2, 50, 1, 1, 30, 7})
	f.Add([]byte{0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0})
	f.Add([]byte{255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255})
	f.Fuzz(func(t *testing.T, raw []byte) {
		m := seasonOf(raw)
		r, err := Run(m, Options{})
		if err != nil {
			t.Fatalf("%s: %v", fault.CodeOf(err), err)
		}
		if _, err := json.Marshal(r); err != nil {
			t.Fatal(err)
		}
		for _, f := range r.Fields {
			if f.SdKg < 0 || f.NominalKg < 0 {
				t.Fatalf("%+v", f)
			}
		}
	})
}

// seasonOf takes six bytes a refill, at most 40.
func seasonOf(raw []byte) Machine {
	m := Machine{ID: "m"}
	if len(raw) > 0 && raw[0]%4 == 3 {
		m.Before, m.HopperKg = []Piece{on("a", amount(raw[0]), 10)}, amount(raw[0]/2)
	}
	methods := []string{"", schemas.ResidualEmpty, schemas.ResidualCells, schemas.ResidualLevel, schemas.ResidualUnknown}
	for i := 0; i+6 <= len(raw) && i < 240; i += 6 {
		b := raw[i : i+6]
		r := Refill{ID: schemas.RefillID(fmt.Sprint(i)), Time: at(0).Add(time.Duration(b[0]) * time.Minute), Product: schemas.ProductID([]string{"p", "q"}[b[0]/128])}
		r.Released = b[0]%8 == 7
		r.Residual = Residual{Kg: amount(b[1]), SdKg: amount(b[1]) / 50, Method: methods[b[2]%5]}
		if b[2]%3 > 0 {
			r.Loads = []Load{{ID: schemas.LoadID(fmt.Sprint("l", i)), NetKg: amount(b[3]), Method: schemas.MethodBucket, Scale: schemas.ScaleID([]string{"", "s"}[b[2]/128])}}
		}
		for k, x := range b[4:] {
			if x%5 > 0 {
				r.Spread = append(r.Spread, on(schemas.FieldID([]string{"", "a", "b", "c"}[x%4]), amount(x)*float64(k), amount(b[3])))
			}
		}
		m.Refills = append(m.Refills, r)
	}
	return m
}

// amount covers nothing, grams, and the contract's 200 t.
func amount(b byte) float64 {
	switch {
	case b < 8:
		return 0
	case b < 16:
		return 0.001 * float64(b)
	case b > 250:
		return 200_000
	}
	return 30 * float64(b)
}
