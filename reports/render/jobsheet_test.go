package render

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"hopperbook/reconcile"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// A job sheet of eight fields with long names and three maps is one page, on either paper; one
// of more fields goes on.
func TestAJobSheetIsOnePage(t *testing.T) {
	field := answer(t, -46.2, 169.3, 2, [4]float64{-40, -20, -15, 5})
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
			maps[i] = reports.Picture{Map: field, Caption: "lime on " + long + ", as it landed"}
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

// threeMaps are maps of a wide field, a tall one and one that is neither.
func threeMaps(t testing.TB) []reports.Picture {
	var all []reports.Picture
	for i, turn := range []func(*reports.MapAnswer){
		func(a *reports.MapAnswer) {},
		func(a *reports.MapAnswer) { a.Grid.Cols, a.Grid.Rows = a.Grid.Rows, a.Grid.Cols },
		func(a *reports.MapAnswer) { a.SetRateKgHa = 12000 },
	} {
		a := answer(t, -46.2, 169.3, 2, [4]float64{-40, -20, -15, 5})
		turn(&a)
		a.Field = schemas.FieldID(fmt.Sprint("F", i))
		all = append(all, reports.Picture{Map: a, Words: "Map", Caption: fmt.Sprintf("urea on F%d, as it landed", i)})
	}
	return all
}

// What a person reads on a map is as large on paper as it says: the legend is text, the
// picture is not made smaller, and one map alone is as wide as the text.
func TestMapsAreReadOnPaper(t *testing.T) {
	if points := paperText / paperPxPerMM / mmPerPoint; points < 6.5 || pictureText < 6.5 {
		t.Errorf("letters of %.1f and %.1f points", points, pictureText)
	}
	for _, paper := range []Paper{A4, Letter} {
		for many, wide := range map[int]float64{1: 170, 2: 80, 3: 50} {
			sheet := reports.JobSheetAnswer{Job: schemas.RegisterJob{Job: "J1"}, From: time.Unix(1.7e9, 0), To: time.Unix(1.7e9, 0)}.Sheet(threeMaps(t)[:many], nil)
			first := drawn(t, sheet, paper)
			for range many - 1 { // maps of one width come with the third
				if !bytes.Equal(drawn(t, sheet, paper), first) {
					t.Errorf("%d maps on %s: other bytes", many, paper)
				}
			}
			sheet.Appendix, sheet.Pictures = &reports.Appendix{Title: "More", Pictures: sheet.Pictures}, nil
			for place, raw := range map[string][]byte{"first page": first, "appendix": drawn(t, sheet, paper)} {
				widest := 0.0
				for _, picture := range images(t, raw) {
					if picture.ppi < 200 || picture.ppi > 206 { // 8 a mm, 203.2 an inch
						t.Errorf("%d maps on %s, %s: %.0f pixels an inch", many, paper, place, picture.ppi)
					}
					widest = max(widest, picture.px/paperPxPerMM)
				}
				if widest < wide && !(place == "first page" && many == 1 && widest > 110) { // there the height is shared with the cautions
					t.Errorf("%d maps on %s, %s: %.0f mm wide, want %.0f", many, paper, place, widest, wide)
				}
				text := textOf(t, raw)
				rates := map[bool]string{false: "60 to 80 %: 60.0 to 80.0", true: "60 to 80 %"}[many == 3]
				for _, want := range []string{"Share of the set rate", "Hatched: outside 80 to 120 %", rates, "not to be spread (exclusion area)", "Computed from passes and loads, not measured on the ground.", "Mean "} {
					if !strings.Contains(text, want) {
						t.Errorf("%d maps on %s, %s: no %q in\n%s", many, paper, place, want, text)
					}
				}
			}
		}
	}
}

// The heaviest rates that can be set still stand beside their samples.
func TestALegendHoldsHeavyRates(t *testing.T) {
	all := threeMaps(t)[:1]
	all[0].Map.SetRateKgHa = 50_000
	p, err := newPDF("A4", reports.Sheet{})
	if err != nil {
		t.Fatal(err)
	}
	p.SetFont(pdfFace, "", pictureText)
	for _, line := range reports.Legend(all).Lines {
		if wide := swatchWide + p.GetStringWidth(line.Words()) + p.GetCellMargin(); wide > p.width/legendAcross {
			t.Errorf("%s: %.1f mm of %.1f", line.Words(), wide, p.width/legendAcross)
		}
	}
}

type placed struct{ px, ppi float64 }

// images are the pictures of a PDF, by an independent reader.
func images(t *testing.T, raw []byte) (all []placed) {
	t.Helper()
	reader, err := exec.LookPath("pdfimages")
	if err != nil {
		t.Skip("pdfimages is not installed (Debian: poppler-utils)")
	}
	name := filepath.Join(t.TempDir(), "s.pdf")
	if err := os.WriteFile(name, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(reader, "-list", name).Output()
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(strings.TrimSpace(string(out)), "\n")[2:] {
		cells := strings.Fields(line)
		px, err := strconv.ParseFloat(cells[3], 64)
		ppi, err2 := strconv.ParseFloat(cells[12], 64)
		if err != nil || err2 != nil {
			t.Fatalf("%v, %v in %s", err, err2, line)
		}
		all = append(all, placed{px, ppi})
	}
	return all
}

// A map that the legend's rates are not those of has its set rate below it, and a caution of one map names it.
func TestMapsShareALegend(t *testing.T) {
	all := threeMaps(t)
	if l := reports.Legend(all[:2]); !l.OneRate() || len(l.Notes) != 1 || strings.Contains(all[0].Map.Short(l, true), "set ") {
		t.Errorf("%+v, %s", l, all[0].Map.Short(l, true))
	}
	all[1].Map.Open, all[1].Map.SetRateKgHa = true, 0
	l := reports.Legend(all)
	if l.OneRate() || len(l.Notes) != 2 || l.Notes[1] != "Öster, urea: Part of the mass is estimated: no reading of the residual closes the last load yet." || l.Scale != "Share of the set rate, of the mean rate where that is not known" {
		t.Errorf("%+v", l)
	}
	if got := all[2].Map.Short(l, true); !strings.HasPrefix(got, "Mean 100\u00a0kg/ha, set 12000\u00a0kg/ha, CV ") {
		t.Error(got)
	}
	var page bytes.Buffer
	if err := SheetHTML(&page, reports.Sheet{Pictures: all}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"60 to 80 %</li>", "Öster, urea: Part of the mass", "set 12000"} {
		if !strings.Contains(page.String(), want) {
			t.Errorf("no %q in the HTML", want)
		}
	}
	all[0].Map.Grid = nil
	for _, err := range []error{SheetPDF(&bytes.Buffer{}, reports.Sheet{Pictures: all}, A4), SheetHTML(&bytes.Buffer{}, reports.Sheet{Pictures: all})} {
		if fault.CodeOf(err) != fault.Input {
			t.Errorf("a map without cells: %v", err)
		}
	}
}
