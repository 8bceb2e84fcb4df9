package reports

import (
	"math"
	"strings"

	"hopperbook/reconcile/calibration"
)

// Chart is a drawing of lines and bars on two straight axes, in the data's own
// units, ready to be drawn.
type Chart struct {
	Title          string
	Words          string // what it shows, for who cannot see it
	XTitle, YTitle string
	XFrom, XTo     float64
	YTo            float64 // the y axis begins at 0
	XTicks, YTicks []Tick
	BarsName       string
	Bars           []Bar
	Lines          []ChartLine
	Marks          []ChartMark
}

// Tick is a place on an axis.
type Tick struct {
	At   float64
	Text string
}

// Bar stands on the x axis.
type Bar struct{ From, To, Height float64 }

// ChartLine is a line through points; Dashed tells it from the others.
type ChartLine struct {
	Name   string
	Dashed bool
	Points [][2]float64
}

// ChartMark is a line across the chart at x, or at y where Level is set.
type ChartMark struct {
	At    float64
	Level bool
	Text  string
}

// ticks are about n round numbers from from to to.
func ticks(from, to float64, n int) (out []Tick) {
	step := roundUp((to - from) / float64(n))
	for k := math.Ceil(from/step - 1e-9); k*step <= to+1e-9*step; k++ {
		out = append(out, Tick{k*step + 0, plain(k*step + 0)}) // + 0: never "-0"
	}
	return out
}

// roundUp is the next 1, 2 or 5 times a power of ten.
func roundUp(v float64) float64 {
	base := math.Pow(10, math.Floor(math.Log10(v)))
	for _, f := range []float64{1, 2, 5} {
		if v <= f*base*(1+1e-9) {
			return f * base
		}
	}
	return 10 * base
}

// patternChart is the row of trays in one pass, and what lies on the ground
// when all passes are driven.
func (a CertificateAnswer) patternChart() Chart {
	r := a.Tray.Result
	half := r.PositionsM[1] - r.PositionsM[0]
	first, last := r.PositionsM[0]-half/2, r.PositionsM[len(r.PositionsM)-1]+half/2
	c := Chart{Title: "Pattern", XTitle: "m right of the driving line", YTitle: "kg/ha", XFrom: first, XTo: last, XTicks: ticks(first, last, 6), BarsName: "one pass"}
	for i, x := range r.PositionsM {
		c.Bars = append(c.Bars, Bar{x - half/2, x + half/2, r.RatesKgHa[i]})
		c.YTo = max(c.YTo, r.RatesKgHa[i])
	}
	words := []string{"Rate of each tray in one pass"}
	if r.MeanBoutWidthM != nil && *r.MeanBoutWidthM <= last-first { // wider, what lands between is not known
		bout := *r.MeanBoutWidthM
		line := ChartLine{Name: "all passes, to-and-fro at " + plain(bout) + " m"}
		for i, y := range r.OnTheGround(bout, calibration.ToAndFro) {
			line.Points = append(line.Points, [2]float64{r.PositionsM[i], y})
			c.YTo = max(c.YTo, y)
		}
		c.Lines = append(c.Lines, line)
		for _, m := range []ChartMark{{At: -bout / 2}, {At: bout / 2, Text: "half a bout"}} {
			if m.At >= first && m.At <= last {
				c.Marks = append(c.Marks, m)
			}
		}
		words = append(words, "and "+line.Name)
	}
	c.Words = strings.Join(words, " ")
	c.top()
	return c
}

// widthChart is the CV over the bout width.
func (a CertificateAnswer) widthChart() Chart {
	r := a.Tray.Result
	c := Chart{Title: "CV over the bout width", XTitle: "bout width m", YTitle: "CV %", Marks: []ChartMark{{At: r.CVLimitPct, Level: true, Text: "limit " + plain(r.CVLimitPct) + " %"}},
		Words: "Coefficient of variation over the bout width, to-and-fro and round-and-round, with the limit of " + plain(r.CVLimitPct) + " %"}
	there, round := ChartLine{Name: "to-and-fro"}, ChartLine{Name: "round-and-round", Dashed: true}
	for _, row := range r.Rows {
		there.Points = append(there.Points, [2]float64{row.BoutWidthM, row.ToAndFroCVPct})
		round.Points = append(round.Points, [2]float64{row.BoutWidthM, row.RoundAndRoundCVPct})
		c.YTo = max(c.YTo, row.ToAndFroCVPct, row.RoundAndRoundCVPct)
	}
	c.YTo = min(max(c.YTo, 1.2*r.CVLimitPct), 3*r.CVLimitPct) // far over the limit nothing is to be read
	c.Lines = []ChartLine{there, round}
	if n := len(r.Rows); n > 0 {
		c.XFrom, c.XTo = r.Rows[0].BoutWidthM, r.Rows[n-1].BoutWidthM
	}
	if c.XTo <= c.XFrom {
		c.XTo = c.XFrom + 1
	}
	if a.Tray.Test.BoutWidthM > c.XFrom && a.Tray.Test.BoutWidthM < c.XTo {
		c.Marks = append(c.Marks, ChartMark{At: a.Tray.Test.BoutWidthM, Text: "set"})
	}
	c.XTicks = ticks(c.XFrom, c.XTo, 6)
	c.top()
	return c
}

// top ends the y axis at a tick above everything.
func (c *Chart) top() {
	step := roundUp(c.YTo / 5)
	c.YTo = math.Ceil(c.YTo*1.02/step) * step
	c.YTicks = ticks(0, c.YTo, int(math.Round(c.YTo/step)))
}
