package render

import "strconv"

// legend says what every shape means, and lists change points and catch tests.
func (c *chart) legend() {
	const signs = 44
	y := float64(flowTop + 8)
	line := func(sign func(x, y float64), words string) {
		if sign != nil {
			sign(chartLegend, y-6)
		}
		c.words(c.fonts.plain, chartLegend+signs+14, y, shorten(c.fonts.plain, words, chartWidth-chartLegend-signs-14-pageMargin))
		y += lineHeight + 3
	}
	head := func(words string) {
		c.words(c.fonts.bold, chartLegend, y, words)
		y += lineHeight + 3
	}
	line(func(x, y float64) {
		upright(c, before(), x+signs/2, y-11, y+11, 2)
		dot(c, before(), x+signs/2, y, 6)
	}, "a load, with 95 % bar; hollow: beyond the axis")
	if len(c.data.Changes) > 0 {
		line(func(x, y float64) {
			upright(c, after(), x+signs/2, y-11, y+11, 2)
			diamond(c, after(), x+signs/2, y, 8)
		}, "a load after the change point")
		line(func(x, y float64) {
			level(c, after(), x, x+signs, y, 4)
			dashes(c, after(), x, x+signs, y-9, 1.6, 3, 4)
			dashes(c, after(), x, x+signs, y+9, 1.6, 3, 4)
		}, "flow since the change, with 95 % interval")
		line(func(x, y float64) {
			bar(c, betweenInk(), x+8, y-11, x+signs-8, y+11)
			upright(c, after(), x+signs/2, y-11, y+11, 3)
		}, "change point, and the loads it may lie at")
	}
	line(func(x, y float64) {
		bar(c, bandGrey(), x, y-9, x+signs, y+9)
		dashes(c, ink(90), x, x+signs, y-9, 1.6, 10, 6)
		dashes(c, ink(90), x, x+signs, y+9, 1.6, 10, 6)
	}, "practical tolerance, "+strconv.FormatFloat(c.data.TolerancePct, 'f', -1, 64)+" % up and down")
	line(func(x, y float64) { dashes(c, ink(20), x, x+signs, y, 2, 12, 5) }, "evidence that calls")
	line(func(x, y float64) {
		bar(c, ink(20), x+12, y-12, x+32, y+12)
		bar(c, ink(255), x+14, y-10, x+30, y+10)
		c.words(c.fonts.bold, x+16, y+6, "A")
	}, "a calibration begins")
	y += 10
	if len(c.data.Changes) > 0 {
		head("Change points, size with 95 % interval")
		for _, change := range c.data.Changes {
			line(nil, change.Words)
		}
		y += 10
	}
	head("Calibrations")
	for _, r := range c.data.Resets {
		if y > evidenceEnd {
			line(nil, "...")
			return
		}
		line(func(x, y float64) { c.words(c.fonts.bold, x+16, y+6, r.Mark) }, r.Words)
	}
}
