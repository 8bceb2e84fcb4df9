package render

import (
	"bytes"
	"image"
	"image/png"
	"strings"
	"testing"
	"time"

	"hopperbook/reconcile"
	"hopperbook/reports"
	"hopperbook/schemas"
)

// A job sheet of eight fields with long names and three maps is one page, on either paper; one
// of more fields goes on.
func TestAJobSheetIsOnePage(t *testing.T) {
	var picture bytes.Buffer
	if err := png.Encode(&picture, image.NewGray(image.Rect(0, 0, 60, 45))); err != nil {
		t.Fatal(err)
	}
	long := strings.Repeat("behind the old woolshed ", 3) + "by the creek"
	for fields, pages := range map[int]int{1: 1, 8: 1, 9: 2} {
		a := reports.JobSheetAnswer{Job: schemas.RegisterJob{Job: "J1", SetRateKgHa: 2000, Note: strings.Repeat("mind the wet corner ", 60)}, Customer: schemas.BillParty{Name: long},
			Contractor: &schemas.BillParty{Name: long, Phone: "0", Email: "office@example.invalid"}, From: time.Unix(1.7e9, 0), To: time.Unix(1.7e9, 0).Add(time.Hour),
			Operators: []schemas.Operator{"op-1", "op-2"}, Machines: []schemas.MachineID{"m1", "m2"}}
		for range fields {
			a.Done = append(a.Done, reconcile.Application{Field: reconcile.Field{Name: long, CoveredM2: 98370, MassKg: 23760, FieldRateKgHa: 2416, FieldRateLow: 2389, FieldRateHigh: 2442, SetRateKgHa: 2000}})
		}
		maps := make([]reports.Picture, min(fields, 3))
		for i := range maps {
			maps[i] = reports.Picture{PNG: picture.Bytes(), Caption: "lime on " + long + ", as it landed"}
		}
		for _, paper := range []Paper{A4, Letter} {
			var b bytes.Buffer
			if err := SheetPDF(&b, a.Sheet(maps, nil), paper); err != nil {
				t.Fatal(err)
			}
			if got := bytes.Count(b.Bytes(), []byte("/Type /Page\n")); got != pages {
				t.Errorf("%d fields on %s: %d pages, want %d", fields, paper, got, pages)
			}
		}
	}
}
