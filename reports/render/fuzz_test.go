package render

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"hopperbook/reconcile/calibration"
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

// Whatever names come from outside, a certificate is drawn, twice the same.
func FuzzCertificateNames(f *testing.F) {
	for _, seed := range []string{"Spreader 1", "", "\x00\r\n\t", "\u202Eabc\U0001F69C\uFFFD\uFEFF", "\xff\xfe(\\)", "{n}{{.}}</svg><script>", strings.Repeat("W", 500)} {
		f.Add(seed, seed)
	}
	base := certificate(f, nil)
	f.Fuzz(func(t *testing.T, machine, product string) {
		a := base
		a.MachineName, a.ProductName, a.DiscSet = machine, product, machine+product
		a.Findings = append(a.Findings, calibration.Finding{Text: product})
		sheet := a.Sheet()
		if !bytes.Equal(drawn(t, sheet, A4), drawn(t, sheet, A4)) {
			t.Error("two drawings differ")
		}
		var page bytes.Buffer
		if err := SheetHTML(&page, sheet); err != nil {
			t.Fatal(err)
		}
		if n := strings.Count(page.String(), "<script"); n != 0 {
			t.Errorf("%d scripts in the page", n)
		}
	})
}
