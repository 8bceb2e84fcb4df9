package render

import (
	"bytes"
	"encoding/xml"
	"flag"
	"fmt"
	"image/color"
	"image/png"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hopperbook/reports"
)

var update = flag.Bool("update", false, "write the golden files anew")

// slipped is an invented chart: 8 loads on calibration, then 12 % less; two
// catch tests.
func slipped() reports.DriftChart {
	d := reports.DriftChart{Machine: "spreader-9", Product: "lime <ground>", Title: "spreader-9 with lime <ground>: flow", State: "RECALIBRATE spreader-9: since load 9.", TolerancePct: 5,
		Resets:  []reports.ChartReset{{Index: 0, Mark: "A", Words: "catch test c-1"}, {Index: 16, Mark: "B", Words: "catch test c-2"}},
		Changes: []reports.ChartChange{{Index: 8, IndexLow: 7, IndexHigh: 9, End: 16, FlowPct: 88, LowPct: 86.5, HighPct: 89.5, Words: "Load 9 (8 to 10): -12.0 % (-13.5 to -10.5)"}}}
	for i := range 20 {
		p := reports.ChartPoint{Load: fmt.Sprint(i + 1), FlowPct: 100 + float64(i%3-1), EvidenceHigh: 0.1 * float64(i%4)}
		if i >= 8 && i < 16 {
			p.FlowPct, p.EvidenceHigh, p.EvidenceLow, p.Changed = 88+float64(i%3-1), 0, 0.7*float64(i-7), true
		}
		p.LowPct, p.HighPct = p.FlowPct-3, p.FlowPct+3
		d.Points = append(d.Points, p)
	}
	return d
}

func chartSVG(t testing.TB, d reports.DriftChart) []byte {
	t.Helper()
	return rendered(t, func(b *bytes.Buffer) error { return ChartSVG(b, d) })
}

// element is a shape or words of an SVG.
type element struct {
	XMLName xml.Name
	Fill    string `xml:"fill,attr"`
	D       string `xml:"d,attr"`
	Words   string `xml:",chardata"`
}

func elements(t testing.TB, svg []byte) []element {
	t.Helper()
	var doc struct {
		Elements []element `xml:",any"`
	}
	if err := xml.Unmarshal(svg, &doc); err != nil {
		t.Fatal(err)
	}
	return doc.Elements
}

// corners reads a path of straight lines.
func (e element) corners(t testing.TB) (out [][2]float64) {
	t.Helper()
	for _, p := range strings.FieldsFunc(strings.TrimSuffix(e.D, "Z"), func(r rune) bool { return r == 'M' || r == 'L' }) {
		var c [2]float64
		if _, err := fmt.Sscan(p, &c[0], &c[1]); err != nil {
			t.Fatalf("%q: %v", e.D, err)
		}
		out = append(out, c)
	}
	return out
}

func TestGoldenChart(t *testing.T) {
	got := chartSVG(t, slipped())
	file := filepath.Join("testdata", "chart.golden.svg")
	if *update {
		if err := os.WriteFile(file, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Error("the chart changed; look at it, then run with -update")
	}
}

// TestChartByHand: 20 loads on 928 pixels, the axis from 80 to 110 % on 396.
func TestChartByHand(t *testing.T) {
	fonts, err := newCanvas(canvasText)
	if err != nil {
		t.Fatal(err)
	}
	c := newChart(slipped(), fonts)
	for what, pair := range map[string][2]float64{
		"lowest":        {c.low, 80},
		"highest":       {c.top, 110},
		"step":          {c.step, 5},
		"x of load 1":   {c.x(0), 92 + 928.0/21},
		"x of load 20":  {c.x(19), 92 + 928.0*20/21},
		"before load 9": {c.between(8), 92 + 928*8.5/21},
		"100 %":         {c.flowY(100), 144 + 396.0/3},
		"80 %":          {c.flowY(80), 540},
		"beyond":        {c.flowY(500), 144},
		"no evidence":   {evidenceY(0), 688},
		"a call":        {evidenceY(1), 658},
		"cut":           {evidenceY(-77), 778},
	} {
		if math.Abs(pair[0]-pair[1]) > 1e-9 {
			t.Errorf("%s: %v, want %v", what, pair[0], pair[1])
		}
	}
}

// TestChartShowsItsLoads reads the loads back from the picture: every disc and
// diamond stands where its load and flow say, before and after the change.
func TestChartShowsItsLoads(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 31))
	for range 6 {
		d := slipped()
		for i := range d.Points {
			p := &d.Points[i]
			p.FlowPct += 4 * (rng.Float64() - 0.5)
			p.LowPct, p.HighPct = p.FlowPct-rng.Float64()*8, p.FlowPct+rng.Float64()*8
		}
		fonts, err := newCanvas(canvasText)
		if err != nil {
			t.Fatal(err)
		}
		c := newChart(d, fonts)
		i := 0
		for _, e := range elements(t, chartSVG(t, d)) {
			shape := e.corners(t)
			if len(shape) != 16 && !(len(shape) == 4 && shape[0][0] == shape[2][0]) {
				continue // neither a disc nor a diamond
			}
			var x, y float64
			for _, p := range shape {
				x, y = x+p[0]/float64(len(shape)), y+p[1]/float64(len(shape))
			}
			if x > chartRight {
				continue // of the legend
			}
			flow := c.low + (flowBottom-y)/(flowBottom-flowTop)*(c.top-c.low)
			if p := d.Points[i]; math.Abs(flow-p.FlowPct) > 0.01 || math.Abs(x-c.x(float64(i))) > 0.01 || (len(shape) == 4) != p.Changed || e.Fill != hex(map[bool]color.RGBA{true: after(), false: before()}[p.Changed]) {
				t.Fatalf("load %d is drawn at %v, flow %v, %s; it is %+v", i, x, flow, e.Fill, p)
			}
			i++
		}
		if i != len(d.Points) {
			t.Errorf("%d loads are drawn, want %d", i, len(d.Points))
		}
	}
}

// TestChartMirrored: with more and less exchanged the evidence is the same
// picture upside down.
func TestChartMirrored(t *testing.T) {
	d := slipped()
	mirrored := slipped()
	for i := range mirrored.Points {
		p := &mirrored.Points[i]
		p.EvidenceHigh, p.EvidenceLow = p.EvidenceLow, p.EvidenceHigh
	}
	bars := func(d reports.DriftChart) map[string]int {
		out := map[string]int{}
		for _, e := range elements(t, chartSVG(t, d)) {
			shape := e.corners(t)
			// Bars end at zero evidence.
			if len(shape) == 4 && shape[2][1] == 688 && shape[0][0] < chartRight && shape[1][0]-shape[0][0] > 4 {
				out[fmt.Sprintf("%s %v %v", e.Fill, shape[0][0], math.Round(100*math.Abs(shape[0][1]-688)))]++
			}
		}
		return out
	}
	a, b := bars(d), bars(mirrored)
	if len(a) < 20 || fmt.Sprint(a) != fmt.Sprint(b) {
		t.Errorf("bars %v, mirrored %v", a, b)
	}
}

// Both pictures have the same words; the PNG has ink where the SVG says.
func TestPicturesAgree(t *testing.T) {
	d := slipped()
	img, err := png.Decode(bytes.NewReader(rendered(t, func(b *bytes.Buffer) error { return ChartPNG(b, d) })))
	if err != nil {
		t.Fatal(err)
	}
	words := ""
	for _, e := range elements(t, chartSVG(t, d)) {
		words += e.Words + "\n"
	}
	for _, want := range []string{"spreader-9 with lime <ground>: flow", "Flow, % of the calibrated flow", "Number of the load", "practical tolerance, 5 % up and down",
		"Load 9 (8 to 10): -12.0 % (-13.5 to -10.5)", "catch test c-2", "RECALIBRATE spreader-9: since load 9.", "\nB\n"} {
		if !strings.Contains(words, want) {
			t.Errorf("%q is missing in %s", want, words)
		}
	}
	fonts, err := newCanvas(canvasText)
	if err != nil {
		t.Fatal(err)
	}
	c := newChart(d, fonts)
	if got := img.Bounds().Dy(); got != c.height() || img.Bounds().Dx() != chartWidth {
		t.Errorf("%v, want %d by %d", img.Bounds(), chartWidth, c.height())
	}
	for i, p := range d.Points {
		want := before()
		if p.Changed {
			want = after()
		}
		if got := img.At(int(c.x(float64(i))), int(c.flowY(p.FlowPct))); got != want {
			t.Errorf("load %d: %v, want %v", i+1, got, want)
		}
	}
}

// Odd charts are drawn too: no load, one load, flows and evidence beyond every
// axis, hundreds of loads, forty catch tests, names without end.
func TestOddCharts(t *testing.T) {
	many := slipped()
	for i := range 300 {
		p := many.Points[i%20]
		p.Load = fmt.Sprint(i)
		many.Points = append(many.Points, p)
		if i%8 == 0 {
			many.Resets = append(many.Resets, reports.ChartReset{Index: i, Mark: fmt.Sprint(i), Words: strings.Repeat("a long name ", 20)})
		}
	}
	many.Title, many.State = strings.Repeat("a long name ", 50), strings.Repeat("a long sentence ", 100)
	wild := slipped()
	for i, v := range []float64{0, 1e300, -1e300, 149, 40} {
		wild.Points[i].FlowPct, wild.Points[i].LowPct, wild.Points[i].HighPct = v, v-1, v+1
		wild.Points[i].EvidenceHigh, wild.Points[i].EvidenceLow = 1e300, 1e9
	}
	for name, d := range map[string]reports.DriftChart{
		"nothing": {TolerancePct: 5}, "one load": {TolerancePct: 5, Points: []reports.ChartPoint{{Load: "1", FlowPct: 100, LowPct: 99, HighPct: 101}}}, "many": many, "wild": wild,
	} {
		svg := chartSVG(t, d)
		elements(t, svg)
		if bytes.Contains(svg, []byte("NaN")) || bytes.Contains(svg, []byte("Inf")) {
			t.Errorf("%s: a coordinate is no number", name)
		}
		if err := ChartPNG(io.Discard, d); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}
