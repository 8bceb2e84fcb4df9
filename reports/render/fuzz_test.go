package render

import (
	"bytes"
	"encoding/json"
	"testing"

	"hopperbook/reports"
)

// An answer of any hub: refused, or files, the GeoJSON being JSON. PNG is left out: a page takes
// too long for a fuzzer and reads nothing that the others do not.
func FuzzMapFiles(f *testing.F) {
	for _, cell := range []float64{5, 10} {
		raw, err := json.Marshal(answer(f, -46.2, 179.9999, cell))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(raw)
	}
	f.Add([]byte(`{"cell_m":1,"grid":{"cols":1,"rows":1,"kg_ha_float32":"AADIQg=="}}`))
	f.Fuzz(func(t *testing.T, raw []byte) {
		var a reports.MapAnswer
		if json.Unmarshal(raw, &a) != nil {
			return
		}
		var b bytes.Buffer
		if _, err := a.Rates(); err != nil {
			return
		}
		if err := GeoTIFF(&b, a); err != nil {
			t.Fatal(err)
		}
		b.Reset()
		if err := GeoJSON(&b, a); err == nil && !json.Valid(b.Bytes()) {
			t.Fatal("no JSON")
		}
	})
}
