package render

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hopperbook/reconcile/calibration"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func given(v float64) *float64 { return &v }

// certificate is an invented machine's, with every part of one.
func certificate(t testing.TB, change func(*calibration.CertificateInput)) reports.CertificateAnswer {
	t.Helper()
	noon := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	catch := func(id string, gate float64, kg ...float64) calibration.Dated[schemas.TestCatch] {
		sum := 0.0
		for _, v := range kg {
			sum += v
		}
		return calibration.Dated[schemas.TestCatch]{At: noon, Data: schemas.TestCatch{CatchTest: schemas.TestID(id), Product: "urea-46", GateMm: gate, CollectedKg: sum / float64(len(kg)), Repeats: kg,
			BoutWidthM: 18, DistanceM: given(100), DiscSet: "granular", BeltGear: "2", PTORpm: given(540), CaughtAt: schemas.CaughtAtBelt}}
	}
	check := func(item, position, unit string, value float64, pass bool) calibration.Check {
		return calibration.Check{Machine: "spreader-1", At: noon.Add(-time.Hour), CheckMachine: schemas.CheckMachine{Item: item, Position: position, Value: value, Unit: unit, Pass: pass}}
	}
	in := calibration.CertificateInput{Machine: "spreader-1", Product: "urea-46", AsOf: noon.AddDate(0, 0, 3), RegisterKgM3: 770,
		Densities: []calibration.Dated[schemas.TestDensity]{{At: noon.Add(-2 * time.Hour), Data: schemas.TestDensity{Product: "urea-46", MassKg: 16.3, VolumeL: 20, TareKg: given(1.1), Repeats: []float64{16.28, 16.31, 16.33}}}},
		Catches:   []calibration.Dated[schemas.TestCatch]{catch("C-7", 45, 27.0, 27.2, 26.9), catch("C-8", 60, 36.0, 36.2, 36.1)},
		Trays: []calibration.Dated[schemas.TestTray]{{At: noon.Add(time.Hour), Data: schemas.TestTray{TrayTest: "T-3", Product: "urea-46", BoutWidthM: 18, TraySpacingM: 1, TrayWidthM: 0.5, TrayLengthM: 0.5, DiscSet: "granular",
			VanePosition: "B3", WindMS: given(1.2), MassesG: []float64{0, 0.1, 0.4, 0.9, 1.4, 2.0, 2.6, 3.2, 3.7, 4.2, 4.6, 5.0, 5.2, 5.1, 5.3, 5.2, 5.1, 5.0, 4.7, 4.2, 3.8, 3.2, 2.7, 2.1, 1.4, 0.9, 0.4, 0.1, 0}}}},
		Overlaps: []calibration.Dated[schemas.TestOverlap]{{At: noon.AddDate(0, 0, 1), Data: schemas.TestOverlap{OverlapTest: "O-2", AtDrivingLineG: []float64{5.3, 5.2, 5.4}, BetweenLinesG: []float64{5.1, 5.2, 5.0}}}},
		Checks: []calibration.Check{check("guard", "", "-", 1, true), check("pto_guard", "", "-", 1, true), check("hitch_chain", "", "-", 1, true), check("belt_sag", "left", "mm", 25, true), check("belt_sag", "right", "mm", 62, true),
			check("tyres", "rear left", "bar", 2.4, true), check("level", "", "-", 1, true)},
		Spread: []calibration.Spread{{At: noon.AddDate(0, 0, 1), Kg: 41_250}}}
	if change != nil {
		change(&in)
	}
	c, err := calibration.Certify(in)
	if err != nil {
		t.Fatal(err)
	}
	return reports.CertificateAnswer{MachineName: "Tussock spreader (invented)", ProductName: "Urea 46", Form: "granular", Certificate: c}
}

func drawn(t testing.TB, s reports.Sheet, paper Paper) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := SheetPDF(&b, s, paper); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// textOf is what a PDF says, by an independent reader; words are apart by one
// space, because how much room a reader gives them is its own affair.
func textOf(t *testing.T, raw []byte) string {
	t.Helper()
	reader, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Skip("pdftotext is not installed (Debian: poppler-utils)")
	}
	name := filepath.Join(t.TempDir(), "c.pdf")
	if err := os.WriteFile(name, raw, 0o644); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(reader, "-layout", "-enc", "UTF-8", name, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	var text strings.Builder
	for line := range strings.Lines(string(out)) {
		if words := strings.Join(strings.Fields(line), " "); words != "" {
			text.WriteString(words + "\n")
		}
	}
	return text.String()
}

func TestTheCertificateSaysItAll(t *testing.T) {
	got := textOf(t, drawn(t, certificate(t, nil).Sheet(), A4))
	const golden = "testdata/certificate.txt"
	if *update {
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("the certificate's text is not %s (-update writes it anew):\n%s", golden, got)
	}
}

// What must stand on a certificate stands in both forms, on both papers.
func TestACertificateHasItsCautions(t *testing.T) {
	sheet := certificate(t, nil).Sheet()
	var page bytes.Buffer
	if err := SheetHTML(&page, sheet); err != nil {
		t.Fatal(err)
	}
	forms := map[string]string{"html": page.String()}
	for _, paper := range []Paper{A4, Letter} {
		forms[string(paper)] = textOf(t, drawn(t, sheet, paper))
	}
	for form, text := range forms {
		text = strings.Join(strings.Fields(text), " ")
		for _, want := range []string{"PTO: enclose", "Spinning discs fling", "Dust, of lime", "Ammonium nitrate feeds a fire", "a scale that is certified for it", "Wind and slopes", "Local codes, the machine",
			"licensed practice go before", "sample standard deviation (divisor n-1)", "VALID", "Urea 46", "vanes B3", "2027-03-02, or 500 t spread, or the next change of product", "Tested by (name, date)", "For the contractor"} {
			if !strings.Contains(text, want) {
				t.Errorf("%s lacks %q", form, want)
			}
		}
	}
}

// One that does not hold says so and why.
func TestACertificateThatDoesNotHold(t *testing.T) {
	text := textOf(t, drawn(t, certificate(t, func(in *calibration.CertificateInput) {
		in.ValidKg = 40_000
		in.Trays[0].Data.WindMS = given(5)
		in.Checks[1].Pass = false
	}).Sheet(), A4))
	for _, want := range []string{"NOT VALID", "Why it does not hold", "a safety check has failed: PTO shaft guard: noted as failed", "the tray test is void", "41.2 t have been spread since the test; it holds for 40.0 t", "Widest bout width to-and-fro: none"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	population := certificate(t, func(in *calibration.CertificateInput) { in.TrayOptions.Divisor = calibration.Population }).Sheet()
	if !strings.Contains(population.Foot, "population standard deviation (divisor n)") {
		t.Errorf("foot %q", population.Foot)
	}
}

func TestACertificateIsTheSameBytes(t *testing.T) {
	sheet := certificate(t, nil).Sheet()
	for _, paper := range []Paper{A4, Letter} {
		if !bytes.Equal(drawn(t, sheet, paper), drawn(t, sheet, paper)) {
			t.Errorf("%s: two drawings differ", paper)
		}
	}
	if bytes.Equal(drawn(t, sheet, A4), drawn(t, sheet, Letter)) {
		t.Error("both papers are one")
	}
	if !bytes.Equal(drawn(t, sheet, ""), drawn(t, sheet, A4)) {
		t.Error("A4 is what is drawn unless another is asked for")
	}
	if err := SheetPDF(&bytes.Buffer{}, sheet, "a5"); fault.CodeOf(err) != fault.Usage {
		t.Errorf("a5: %v", err)
	}
}

// Names from outside in any letters: those the font has are text in the PDF,
// others a box and a word about it; nothing is markup in the HTML.
func TestACertificateTakesAnyName(t *testing.T) {
	a := certificate(t, nil)
	a.MachineName, a.ProductName = "Łąka Поле Αγρός Դաշտ ველი Đồng", "<b>Urée & \"Süß\"</b>"
	var page bytes.Buffer
	if err := SheetHTML(&page, a.Sheet()); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(page.String(), "<b>") || !strings.Contains(page.String(), "Łąka Поле Αγρός Դաշտ ველი Đồng") {
		t.Error("names in the HTML")
	}
	text := textOf(t, drawn(t, a.Sheet(), A4))
	if !strings.Contains(text, "Łąka Поле Αγρός Դաշտ ველი Đồng (spreader-1)") || !strings.Contains(text, `<b>Urée & "Süß"</b>`) || strings.Contains(text, "A box stands") {
		t.Errorf("names in the PDF:\n%s", text)
	}
	a.MachineName = "畑の機械 \U0001F69C\x00\u202E\n" + strings.Repeat("very long ", 40)
	text = textOf(t, drawn(t, a.Sheet(), Letter))
	if !strings.Contains(text, "A box stands for a letter") || !strings.Contains(text, "very long very long") {
		t.Errorf("letters the font lacks:\n%s", text)
	}
}

// What is written from right to left is boxes in the PDF, beside text that is drawn, and
// whole in the HTML.
func TestRightToLeftIsBoxes(t *testing.T) {
	for name, want := range map[string]string{"مزرعة": "□□□□□", "שדה": "□□□", "Field שדה North": "Field □□□ North", "مزرعة 12 / Nord (٣)": "□□□□□ 12 / Nord (٣)",
		"ܐܬܘܪ ߒ ދ": "□□□□ □ □", "ﺍשׁ": "□□", "a\u202Eb\u200Fc": "abc"} {
		a := certificate(t, nil)
		a.MachineName = name
		text := textOf(t, drawn(t, a.Sheet(), A4))
		if !strings.Contains(text, want+" (spreader-1)") || strings.Contains(text, "A box stands for a letter") != strings.Contains(want, "□") {
			t.Errorf("%q: no %q, or no word about it, in\n%.300s", name, want, text)
		}
		var page bytes.Buffer
		if err := SheetHTML(&page, a.Sheet()); err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(page.String(), name) {
			t.Errorf("%q is not whole in the HTML", name)
		}
	}
}

// A chart stays on its sheet, whatever the rates are.
func TestAChartStaysInItsFrame(t *testing.T) {
	for name, change := range map[string]func(*calibration.CertificateInput){
		"as it is":    nil,
		"a short row": func(in *calibration.CertificateInput) { in.Trays[0].Data.MassesG = schemas.MassesG{1, 5, 1} },
		"tiny masses": func(in *calibration.CertificateInput) { in.Trays[0].Data.MassesG = schemas.MassesG{0, 1e-9, 0} },
		"a comb": func(in *calibration.CertificateInput) {
			in.Trays[0].Data.MassesG = schemas.MassesG{0, 900, 0, 900, 0, 900, 0, 900, 0}
		},
		"beside it":    func(in *calibration.CertificateInput) { in.Trays[0].Data.PositionsM = spaced(29, 3) },
		"beyond trays": func(in *calibration.CertificateInput) { in.Trays[0].Data.BoutWidthM = 60 },
	} {
		for _, c := range certificate(t, change).Sheet().Charts {
			s := &bounds{t: t, what: name + " " + c.Title}
			drawChart(s, c, 10, 20, 86, 62)
			if s.lines < 10 {
				t.Errorf("%s: only %d lines", s.what, s.lines)
			}
		}
	}
}

func spaced(n int, first float64) (at []float64) {
	for i := range n {
		at = append(at, first+float64(i))
	}
	return at
}

// bounds is a sheet that refuses what lies outside a chart's rectangle.
type bounds struct {
	t     *testing.T
	what  string
	lines int
}

func (b *bounds) at(x, y float64) {
	if !(x >= 9.99 && x <= 96.01 && y >= 19.99 && y <= 82.01) {
		b.t.Errorf("%s: drawn at %.2f, %.2f", b.what, x, y)
	}
}

func (b *bounds) line(x1, y1, x2, y2, _ float64, _ int, _ bool) {
	b.lines++
	b.at(x1, y1)
	b.at(x2, y2)
}

func (b *bounds) box(x, y, w, h float64, _ int) {
	b.at(x, y)
	b.at(x+w, y+h)
}

func (b *bounds) words(x, y float64, _ string, _ anchor) { b.at(x, y) }
