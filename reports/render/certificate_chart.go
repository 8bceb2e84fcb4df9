package render

import "hopperbook/reports"

// sheet is what charts are drawn on: millimetres, y down from the upper left
// corner; grey from 0 (black) to 255.
type sheet interface {
	line(x1, y1, x2, y2, width float64, grey int, dashed bool)
	box(x, y, w, h float64, grey int)
	words(x, y float64, text string, at anchor)
}

// anchor says which part of a text stands at its place.
type anchor int

const (
	fromLeft anchor = iota
	aroundMiddle
	fromRight
)

// The frame's distances from the chart's edge, in mm: room for titles, ticks
// and names.
const (
	frameLeft, frameRight, frameTop, frameBottom = 13.0, 3.0, 12.0, 11.0
	frameText                                    = 2.6 // height of a chart's letters
)

// axes turns the data's units into millimetres.
type axes struct {
	chart            reports.Chart
	left, top, w, h  float64
	perXUnit, perOne float64
}

func (a axes) x(v float64) float64 { return a.left + (v-a.chart.XFrom)*a.perXUnit }
func (a axes) y(v float64) float64 { return a.top + a.h - v*a.perOne }

// drawChart draws a chart into a rectangle. Lines are told apart by dashes,
// bars by their tone, so that a black and white print says the same.
func drawChart(s sheet, c reports.Chart, x, y, w, h float64) {
	a := axes{chart: c, left: x + frameLeft, top: y + frameTop, w: w - frameLeft - frameRight, h: h - frameTop - frameBottom}
	a.perXUnit, a.perOne = a.w/(c.XTo-c.XFrom), a.h/c.YTo
	s.words(x, y+frameText, c.Title, fromLeft)
	s.words(a.left-frameText, a.top-2, c.YTitle, fromRight)
	s.words(a.left+a.w/2, y+h-1.5, c.XTitle, aroundMiddle)
	for _, t := range c.YTicks {
		s.line(a.left, a.y(t.At), a.left+a.w, a.y(t.At), 0.1, 215, false)
		s.words(a.left-1.2, a.y(t.At)+frameText/3, t.Text, fromRight)
	}
	for _, b := range c.Bars {
		s.box(a.x(b.From)+0.15, a.y(b.Height), a.x(b.To)-a.x(b.From)-0.3, b.Height*a.perOne, 205)
	}
	for _, t := range c.XTicks {
		s.line(a.x(t.At), a.top+a.h, a.x(t.At), a.top+a.h+1, 0.15, 0, false)
		s.words(a.x(t.At), a.top+a.h+1.4+frameText, t.Text, aroundMiddle)
	}
	for _, m := range c.Marks {
		a.mark(s, m)
	}
	for _, l := range c.Lines {
		for i := 1; i < len(l.Points); i++ {
			p, q, seen := below(c.YTo, l.Points[i-1], l.Points[i])
			if !seen {
				continue
			}
			s.line(a.x(p[0]), a.y(p[1]), a.x(q[0]), a.y(q[1]), 0.45, 0, l.Dashed)
		}
	}
	s.line(a.left, a.top, a.left, a.top+a.h, 0.25, 0, false)
	s.line(a.left, a.top+a.h, a.left+a.w, a.top+a.h, 0.25, 0, false)
	a.names(s)
}

// below is the part of a straight piece that is not over the chart's top.
func below(top float64, p, q [2]float64) (from, to [2]float64, seen bool) {
	cut := func() [2]float64 { return [2]float64{p[0] + (q[0]-p[0])*(top-p[1])/(q[1]-p[1]), top} }
	switch {
	case p[1] > top && q[1] > top:
		return p, q, false
	case p[1] > top:
		return cut(), q, true
	case q[1] > top:
		return p, cut(), true
	}
	return p, q, true
}

func (a axes) mark(s sheet, m reports.ChartMark) {
	if m.Level {
		s.line(a.left, a.y(m.At), a.left+a.w, a.y(m.At), 0.25, 90, true)
		s.words(a.left+a.w, a.y(m.At)-0.8, m.Text, fromRight)
		return
	}
	s.line(a.x(m.At), a.top, a.x(m.At), a.top+a.h, 0.25, 90, true)
	s.words(a.x(m.At), a.top-0.8, m.Text, aroundMiddle)
}

// names is the key: a sample of each and its name, under the title.
func (a axes) names(s sheet) {
	x, y := a.left, a.top-5.2
	const sample, gap = 6.0, 1.5
	if a.chart.BarsName != "" {
		s.box(x, y-frameText*0.7, sample, frameText*0.8, 205)
		s.words(x+sample+gap, y, a.chart.BarsName, fromLeft)
		x += sample + gap + 0.62*frameText*float64(len(a.chart.BarsName)) + 3
	}
	for _, l := range a.chart.Lines {
		s.line(x, y-frameText/3, x+sample, y-frameText/3, 0.45, 0, l.Dashed)
		s.words(x+sample+gap, y, l.Name, fromLeft)
		x += sample + gap + 0.62*frameText*float64(len(l.Name)) + 3
	}
}
