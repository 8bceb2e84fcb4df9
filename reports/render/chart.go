package render

import (
	"image"
	"image/color"
	"io"
	"math"
	"strconv"

	"hopperbook/reports"
)

// The page of a control chart, in pixels.
const (
	chartWidth    = 1480
	chartLeft     = 92 // of both plots
	chartRight    = 1020
	flowTop       = 144
	flowBottom    = 540
	evidenceTop   = 598
	evidenceEnd   = 778
	chartLegend   = 1052
	chartFoot     = 864
	leastFlowPct  = 50 // what is beyond is drawn at the edge
	mostFlowPct   = 150
	surePct       = 10 // the axis is made for loads known this well; a load known badly would flatten them
	evidenceLimit = 1.0
	evidenceMost  = 3.0 // bars are cut there
)

// Inks of a chart: dark enough for sun and a grey print; blue and orange, which
// people with any common colour blindness tell apart, and shapes say the same.
func before() color.RGBA     { return color.RGBA{16, 78, 150, 255} }
func after() color.RGBA      { return color.RGBA{190, 92, 6, 255} }
func bandGrey() color.RGBA   { return ink(228) }
func betweenInk() color.RGBA { return color.RGBA{250, 222, 186, 255} }

// chart is a control chart under way.
type chart struct {
	pen
	fonts    *canvas
	data     reports.DriftChart
	low, top float64 // of the flow axis, percent
	step     float64 // between its ticks
}

// ChartPNG draws a control chart: flow of each load with its 95 % bar, the
// tolerance, the change point and the flow since; below, the evidence of drift
// and what calls; catch tests marked.
func ChartPNG(w io.Writer, d reports.DriftChart) error {
	fonts, err := newCanvas(canvasText)
	if err != nil {
		return err
	}
	c := newChart(d, fonts)
	fonts.paper(chartWidth, c.height())
	p := paper{fonts}
	c.pen = p
	c.draw()
	return p.finish(w)
}

// ChartSVG draws the same as SVG 1.1.
func ChartSVG(w io.Writer, d reports.DriftChart) error {
	fonts, err := newCanvas(canvasText)
	if err != nil {
		return err
	}
	c := newChart(d, fonts)
	p := &vectors{canvas: fonts, page: image.Rect(0, 0, chartWidth, c.height())}
	c.pen = p
	bar(p, ink(255), 0, 0, chartWidth, float64(c.height()))
	c.draw()
	return p.finish(w)
}

func newChart(d reports.DriftChart, fonts *canvas) *chart {
	c := &chart{fonts: fonts, data: d}
	low, high := 100-1.4*d.TolerancePct, 100+1.4*d.TolerancePct
	for _, p := range d.Points {
		if p.HighPct-p.LowPct <= 2*surePct {
			low, high = min(low, p.LowPct), max(high, p.HighPct)
		}
	}
	low, high = max(low, leastFlowPct), min(high, mostFlowPct)
	c.step = roundLengthM((high - low) / 4)
	c.low, c.top = c.step*math.Floor(low/c.step), c.step*math.Ceil(high/c.step)
	return c
}

func (c *chart) foot() []string {
	return wrap(c.fonts.plain, c.data.State, chartWidth-2*pageMargin)
}

func (c *chart) height() int {
	lines := max(len(c.foot()), 1)
	return chartFoot + lineHeight*lines + 12
}

// x is where a point stands; there is room of one point at both ends.
func (c *chart) x(i float64) float64 {
	return chartLeft + (chartRight-chartLeft)*(i+1)/float64(len(c.data.Points)+1)
}

// between is the middle between a point and the one before it.
func (c *chart) between(i int) float64 { return c.x(float64(i) - 0.5) }

func (c *chart) flowY(pct float64) float64 {
	return flowBottom - (flowBottom-flowTop)*(min(c.top, max(c.low, pct))-c.low)/(c.top-c.low)
}

func evidenceY(v float64) float64 {
	const middle, half = (evidenceTop + evidenceEnd) / 2.0, (evidenceEnd - evidenceTop) / 2.0
	return middle - half*min(evidenceMost, max(-evidenceMost, v))/evidenceMost
}

func (c *chart) draw() {
	c.words(c.fonts.title, pageMargin, 48, shorten(c.fonts.title, c.data.Title, chartWidth-2*pageMargin))
	c.flowPlot()
	c.evidencePlot()
	c.resets()
	c.loads()
	c.legend()
	for i, line := range c.foot() {
		c.words(c.fonts.plain, pageMargin, float64(chartFoot+lineHeight*i), line)
	}
}

func (c *chart) flowPlot() {
	high, low := c.flowY(100+c.data.TolerancePct), c.flowY(100-c.data.TolerancePct)
	bar(c, bandGrey(), chartLeft, high, chartRight, low)
	for _, change := range c.data.Changes {
		bar(c, betweenInk(), c.between(change.IndexLow), flowTop, c.between(change.IndexHigh+1), flowBottom)
	}
	for tick := c.low; tick <= c.top+c.step/2; tick += c.step {
		level(c, ink(205), chartLeft, chartRight, c.flowY(tick), 1)
		c.right(chartLeft-10, c.flowY(tick)+6, strconv.FormatFloat(tick, 'f', -1, 64))
	}
	dashes(c, ink(90), chartLeft, chartRight, high, 1.6, 10, 6)
	dashes(c, ink(90), chartLeft, chartRight, low, 1.6, 10, 6)
	level(c, ink(60), chartLeft, chartRight, c.flowY(100), 1.6)
	c.words(c.fonts.bold, chartLeft-60, flowTop-48, "Flow, % of the calibrated flow")
	for _, change := range c.data.Changes {
		left, right := c.between(change.Index), c.between(change.End)
		level(c, after(), left, right, c.flowY(change.FlowPct), 4)
		dashes(c, after(), left, right, c.flowY(change.LowPct), 1.6, 3, 4)
		dashes(c, after(), left, right, c.flowY(change.HighPct), 1.6, 3, 4)
		upright(c, after(), left, flowTop, flowBottom, 3)
	}
	for i, p := range c.data.Points {
		c.point(c.x(float64(i)), p)
	}
	c.frame(flowTop, flowBottom)
}

// point is a load: a disc before the change, a diamond after it; one beyond the
// axis is hollow at its edge.
func (c *chart) point(x float64, p reports.ChartPoint) {
	r := min(6, max(2, 300/float64(len(c.data.Points)+1)))
	paint, shape := before(), dot
	if p.Changed {
		paint, shape = after(), diamond
		r *= 1.35
	}
	upright(c, paint, x, c.flowY(p.HighPct), c.flowY(p.LowPct), max(1, r/3))
	for _, end := range []float64{p.HighPct, p.LowPct} {
		if end > c.low && end < c.top {
			level(c, paint, x-0.7*r, x+0.7*r, c.flowY(end), max(1, r/3))
		}
	}
	y := c.flowY(p.FlowPct)
	shape(c, paint, x, y, r)
	if p.FlowPct < c.low || p.FlowPct > c.top {
		shape(c, ink(255), x, y, 0.6*r)
	}
}

func (c *chart) evidencePlot() {
	for _, v := range []float64{-2, 2} {
		level(c, ink(205), chartLeft, chartRight, evidenceY(v), 1)
	}
	half := min(8, 0.38*(chartRight-chartLeft)/float64(len(c.data.Points)+1))
	for i, p := range c.data.Points {
		x := c.x(float64(i))
		for _, v := range []float64{p.EvidenceHigh, -p.EvidenceLow} {
			paint := before()
			if math.Abs(v) > evidenceLimit {
				paint = after()
			}
			bar(c, paint, x-half, evidenceY(v), x+half, evidenceY(0))
		}
	}
	for _, change := range c.data.Changes {
		upright(c, after(), c.between(change.Index), evidenceTop, evidenceEnd, 3)
	}
	dashes(c, ink(20), chartLeft, chartRight, evidenceY(evidenceLimit), 2, 12, 5)
	dashes(c, ink(20), chartLeft, chartRight, evidenceY(-evidenceLimit), 2, 12, 5)
	level(c, ink(60), chartLeft, chartRight, evidenceY(0), 1.6)
	for _, v := range []float64{-3, -2, -1, 0, 1, 2, 3} {
		c.right(chartLeft-10, evidenceY(v)+6, strconv.Itoa(int(math.Abs(v))))
	}
	c.words(c.fonts.bold, chartLeft-60, evidenceTop-14, "Evidence of drift, as a share of what calls (upward: too much, downward: too little; cut at 3)")
	c.frame(evidenceTop, evidenceEnd)
}

// resets are lines where a series begins, with a flag above.
func (c *chart) resets() {
	for _, r := range c.data.Resets {
		x := c.between(r.Index)
		for y := float64(flowTop - 8); y < evidenceEnd; y += 7 {
			if y < flowBottom || y > evidenceTop {
				upright(c, ink(20), x, y, y+3, 1.6)
			}
		}
		bar(c, ink(20), x, flowTop-32, x+20, flowTop-8)
		bar(c, ink(255), x+2, flowTop-30, x+18, flowTop-10)
		c.words(c.fonts.bold, x+10-float64(width(c.fonts.bold, r.Mark))/2, flowTop-14, r.Mark)
	}
}

// loads numbers the points, as many as there is room for.
func (c *chart) loads() {
	n := len(c.data.Points)
	every := int(math.Ceil(roundLengthM(max(1, float64(n)/12))))
	for i := 0; i < n; i += every {
		x := c.x(float64(i))
		upright(c, ink(60), x, evidenceEnd, evidenceEnd+6, 1.4)
		label := c.data.Points[i].Load
		c.words(c.fonts.plain, x-float64(width(c.fonts.plain, label))/2, evidenceEnd+24, label)
	}
	c.words(c.fonts.bold, (chartLeft+chartRight)/2-90, evidenceEnd+48, "Number of the load")
}

func (c *chart) frame(top, bottom float64) {
	const thick = 1.4
	level(c, ink(60), chartLeft, chartRight, top, thick)
	level(c, ink(60), chartLeft, chartRight, bottom, thick)
	upright(c, ink(60), chartLeft, top, bottom, thick)
	upright(c, ink(60), chartRight, top, bottom, thick)
}

// right writes words that end at x.
func (c *chart) right(x, y float64, words string) {
	c.words(c.fonts.plain, x-float64(width(c.fonts.plain, words)), y, words)
}
