package gnss

import (
	"math"

	"hopperbook/schemas"
)

// maxHeld bounds the fixes that wait for the first date: 13 min at 10 Hz.
const maxHeld = 8192

// epoch gathers the sentences of one instant. A kind that has not come is
// silent and without values.
type epoch struct {
	clockMs       int64
	gga, rmc, vtg reading
	hasVTG        bool
	day           int64
}

// assembler makes epochs into dated fixes. The zero value is ready to use.
type assembler struct {
	open    bool
	epoch   epoch
	nextVTG reading // came before the epoch it belongs to
	hasNext bool

	startDay int64 // the day of the first epoch where no sentence says; 0: not known
	dated    bool
	lastMs   int64 // instant last dated
	givenMs  int64 // instant of the fix last given

	held  []schemas.Fix // wait for a date; UnixMilli is their clock
	ready []schemas.Fix
	given int // of ready, how many are taken

	counts *Report
}

// add takes the next sentence.
func (a *assembler) add(r reading) {
	switch {
	case r.kind == vtg && (!a.open || a.epoch.hasVTG):
		a.nextVTG, a.hasNext = r, true
	case r.kind == vtg:
		a.epoch.vtg, a.epoch.hasVTG = r, true
	case r.clockMs == noClock:
		a.untimed(r)
	default:
		if a.open && a.epoch.clockMs != r.clockMs {
			a.close()
		}
		a.begin(r.clockMs)
		a.epoch.merge(r)
	}
}

// untimed takes a sentence without clock, which has no fix either: an epoch
// of its own.
func (a *assembler) untimed(r reading) {
	if r.state == silent {
		return
	}
	a.close()
	a.counts.Epochs++
	a.counts.NoFix++
}

func (a *assembler) begin(clockMs int64) {
	if a.open {
		return
	}
	a.open = true
	a.epoch = epoch{clockMs: clockMs, vtg: a.nextVTG, hasVTG: a.hasNext, day: noDay}
	a.hasNext = false
}

func (e *epoch) merge(r reading) {
	switch {
	case r.kind == gga && (r.state == fixed || e.gga.state != fixed):
		e.gga = r
	case r.kind == rmc && (r.state == fixed || e.rmc.state != fixed):
		e.rmc = r
	}
	if r.day != noDay {
		e.day = r.day
	}
}

// close ends the open epoch, if there is one.
func (a *assembler) close() {
	if !a.open {
		return
	}
	a.open = false
	e := &a.epoch
	if e.gga.state == silent && e.rmc.state == silent {
		a.date(e.clockMs, e.day) // ZDA alone
		return
	}
	a.counts.Epochs++
	if e.gga.state == void || e.rmc.state == void {
		a.counts.NoFix++
		return
	}
	fix := e.fix()
	if fix.UnixMilli, a.dated = a.date(e.clockMs, e.day); a.dated {
		a.give(fix)
		return
	}
	fix.UnixMilli = e.clockMs
	a.hold(fix)
}

// fix is the epoch's, still without its instant.
func (e *epoch) fix() schemas.Fix {
	at := e.gga
	if at.state != fixed {
		at = e.rmc
	}
	f := schemas.Fix{LatDeg: at.latDeg, LonDeg: at.lonDeg, Quality: at.quality,
		SpeedKmh: math.NaN(), HeadingDeg: math.NaN(), SetRateKgHa: math.NaN(), BoutWidthM: math.NaN()}
	if e.hasVTG {
		f.SpeedKmh, f.HeadingDeg = e.vtg.speedKmh, e.vtg.headingDeg
	}
	if e.rmc.state == fixed && !math.IsNaN(e.rmc.speedKmh) {
		f.SpeedKmh = e.rmc.speedKmh
	}
	if e.rmc.state == fixed && !math.IsNaN(e.rmc.headingDeg) {
		f.HeadingDeg = e.rmc.headingDeg
	}
	return f
}

// date gives an epoch its instant, and with the first date also the fixes
// that wait for it. It is false as long as no date is known.
func (a *assembler) date(clockMs, day int64) (unixMs int64, known bool) {
	switch {
	case day != noDay:
		unixMs = day*dayMs + clockMs
	case a.dated:
		unixMs = following(a.lastMs, clockMs)
	case a.startDay != 0:
		unixMs = a.startDay*dayMs + clockMs
	default:
		return 0, false
	}
	a.release(unixMs)
	a.dated, a.lastMs = true, unixMs
	return unixMs, true
}

// release dates the held fixes backwards from the first instant known.
func (a *assembler) release(unixMs int64) {
	for i := len(a.held) - 1; i >= 0; i-- {
		unixMs = preceding(unixMs, a.held[i].UnixMilli)
		a.held[i].UnixMilli = unixMs
	}
	for _, fix := range a.held {
		a.give(fix)
	}
	a.held = nil
}

// hold keeps an undated fix; when there are too many the oldest go.
func (a *assembler) hold(fix schemas.Fix) {
	if len(a.held) == maxHeld {
		a.counts.Undated += maxHeld / 2
		a.held = append(a.held[:0], a.held[maxHeld/2:]...)
	}
	a.held = append(a.held, fix)
}

func (a *assembler) give(fix schemas.Fix) {
	if a.counts.Fixes++; a.counts.Fixes > 1 && fix.UnixMilli < a.givenMs {
		a.counts.Backwards++
	}
	a.givenMs = fix.UnixMilli
	a.ready = append(a.ready, fix)
}

// pop takes the next dated fix.
func (a *assembler) pop() (schemas.Fix, bool) {
	if a.given == len(a.ready) {
		a.ready, a.given = a.ready[:0], 0
		return schemas.Fix{}, false
	}
	a.given++
	return a.ready[a.given-1], true
}

// end closes the last epoch; fixes that still have no date are lost.
func (a *assembler) end() {
	a.close()
	a.counts.Undated += int64(len(a.held))
	a.held = nil
}
