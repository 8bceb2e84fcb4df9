package reconcile

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"hopperbook/reconcile/drift"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// The kinds of notices to a crew.
const (
	NoticeRecalibrate = "recalibrate"
	NoticeCheck       = "check"
	NoticeSync        = "sync"
)

// NoticeInput is what notices are planned from.
type NoticeInput struct {
	Now           time.Time
	Drifts        []Drift
	Findings      []Finding
	Raised        []schemas.NoticeRaised // ever, acknowledged or not
	Gaps          []NoticeGap
	Contradicting []schemas.Identity // kept, because other bytes had the identity before
}

// NoticeGap is a run of events that a source has made and the book does not
// hold.
type NoticeGap struct {
	Source   schemas.Source
	From, To int64     // inclusive
	Since    time.Time // when the first event after it was received; zero: not known
}

// NoticeEvidence is what a notice stands on; it also tells whether the next
// one would say the same.
type NoticeEvidence struct {
	Series        []NoticeSeries  `json:"series,omitempty"` // of a recalibrate: those called
	Event         schemas.EventID `json:"event,omitempty"`
	Source        schemas.Source  `json:"source,omitempty"`
	Missing       [][2]int64      `json:"missing,omitempty"`       // sequences, both ends included
	Contradicting []int64         `json:"contradicting,omitempty"` // sequences
}

// NoticeSeries is the verdict on one series of loads, as Drift has it.
type NoticeSeries struct {
	Product      schemas.ProductID `json:"product"`
	CatchTest    schemas.TestID    `json:"catch_test"`
	ChangeLoad   int               `json:"change_load"`
	ChangeLow    int               `json:"change_load_low"`
	ChangeHigh   int               `json:"change_load_high"`
	ChangeRefill schemas.RefillID  `json:"change_refill"`
	AlarmLoad    int               `json:"alarm_load"`
	Loads        int               `json:"loads"`
	SizePct      float64           `json:"size_pct"`
	SizeLowPct   float64           `json:"size_low_pct"`
	SizeHighPct  float64           `json:"size_high_pct"`
	FlowFactor   float64           `json:"flow_factor"`
	GateTryMm    float64           `json:"gate_try_mm,omitempty"`
}

const (
	// gapPatience is how long events may be on their way before the crew is
	// asked; common practice, no source.
	gapPatience = 24 * time.Hour
	// checkPatience: an unsafe start of long ago, met in an old book, is no news
	// to a crew; common practice, no source.
	checkPatience = 7 * 24 * time.Hour
	// maxListed bounds what a text or its evidence lists one by one.
	maxListed = 50
)

// PlanNotices says which notices are to be raised now, sorted by machine, kind
// and identifier. Recalibrate: once a machine, product, catch test and change,
// one notice for all that are called at one time; another of the same calibration
// only where its change lies after the load at which the first was called. Check: once a start against a failed safety check.
// Sync: once a run of events missing for longer than a day, and once a sequence
// under which two different events came. The identifier follows from what the
// notice is about and how many were raised of it before, so that planning again
// before it is in the book gives the same notice, and after it none. Cost
// O(n m) in what there is and what was raised.
func PlanNotices(in NoticeInput) ([]schemas.NoticeRaised, error) {
	p := planner{in: in}
	for _, n := range in.Raised {
		var e NoticeEvidence
		if len(n.Evidence) > 0 && json.Unmarshal(n.Evidence, &e) != nil {
			e = NoticeEvidence{} // of another program; it is about nothing of ours
		}
		p.raised = append(p.raised, pastNotice{n, e})
	}
	p.recalibrate()
	for _, f := range in.Findings {
		p.check(f)
	}
	p.missing()
	p.contradicting()
	if p.err != nil {
		return nil, fault.New("plan the notices", fault.Internal, p.err, "")
	}
	slices.SortFunc(p.out, func(a, b schemas.NoticeRaised) int {
		return cmp.Or(cmp.Compare(a.Machine, b.Machine), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Notice, b.Notice))
	})
	return p.out, nil
}

type pastNotice struct {
	schemas.NoticeRaised
	e NoticeEvidence
}

type planner struct {
	in     NoticeInput
	raised []pastNotice
	out    []schemas.NoticeRaised
	err    error
}

// before are the notices raised about the same thing.
func (p *planner) before(kind string, machine schemas.MachineID, same func(NoticeEvidence) bool) (out []NoticeEvidence) {
	for _, n := range p.raised {
		if n.Kind == kind && n.Machine == machine && same(n.e) {
			out = append(out, n.e)
		}
	}
	return out
}

func (p *planner) raise(kind string, machine schemas.MachineID, about string, nth int, text string, e NoticeEvidence) {
	if !schemas.ValidToken(string(machine)) {
		return // nobody to tell
	}
	raw, err := json.Marshal(e)
	p.err = cmp.Or(p.err, err)
	sum := sha256.Sum256(fmt.Appendf(nil, "%s\n%s\n%s\n%d", kind, machine, about, nth))
	id := schemas.NoticeID(kind + "-" + hex.EncodeToString(sum[:12]))
	p.out = append(p.out, schemas.NoticeRaised{Notice: id, Machine: machine, Kind: kind, Text: text, Evidence: raw})
}

// recalibrate tells a crew once of all series that are called at one time: what
// fails on a machine shows with every product.
func (p *planner) recalibrate() {
	of := map[schemas.MachineID][]Drift{}
	for _, d := range p.in.Drifts {
		if d.State == string(drift.Recalibrate) && !d.Superseded && !p.told(d) {
			of[d.Machine] = append(of[d.Machine], d)
		}
	}
	for machine, called := range of {
		slices.SortFunc(called, func(a, b Drift) int {
			return cmp.Or(cmp.Compare(a.ChangeLoad, b.ChangeLoad), cmp.Compare(a.Product, b.Product), cmp.Compare(a.CatchTest, b.CatchTest))
		})
		var e NoticeEvidence
		var about []string
		text := "Recalibrate."
		for _, d := range called {
			e.Series = append(e.Series, seriesOf(d))
			about = append(about, string(d.Product), string(d.CatchTest))
			text += " " + calledText(d)
		}
		earlier := p.before(NoticeRecalibrate, machine, func(NoticeEvidence) bool { return true })
		p.raise(NoticeRecalibrate, machine, strings.Join(about, "\n"), len(earlier), clip(text+" Confirm it by a catch test."), e)
	}
}

// told reports whether a notice was about this change: of the same calibration,
// called no earlier than the change can lie.
func (p *planner) told(d Drift) bool {
	return len(p.before(NoticeRecalibrate, d.Machine, func(e NoticeEvidence) bool {
		return slices.ContainsFunc(e.Series, func(s NoticeSeries) bool {
			return s.Product == d.Product && s.CatchTest == d.CatchTest && d.ChangeLoadLow <= s.AlarmLoad
		})
	})) > 0
}

func seriesOf(d Drift) NoticeSeries {
	s := NoticeSeries{Product: d.Product, CatchTest: d.CatchTest, ChangeLoad: d.ChangeLoad, ChangeLow: d.ChangeLoadLow, ChangeHigh: d.ChangeLoadHigh, ChangeRefill: d.ChangeRefill,
		AlarmLoad: d.AlarmLoad, Loads: d.Loads, SizePct: d.SizePct, SizeLowPct: d.SizeLowPct, SizeHighPct: d.SizeHighPct, FlowFactor: d.FlowFactor}
	if d.GateTry != nil {
		s.GateTryMm = d.GateTry.TryMm
	}
	return s
}

func calledText(d Drift) string {
	way := "more"
	if d.SizePct < 0 {
		way = "less"
	}
	low, high := min(math.Abs(d.SizeLowPct), math.Abs(d.SizeHighPct)), max(math.Abs(d.SizeLowPct), math.Abs(d.SizeHighPct))
	text := fmt.Sprintf("With %s since load %d about %.0f %% %s flows than the calibration says (%.1f to %.1f %%).", d.Product, d.ChangeLoad, math.Abs(d.SizePct), way, low, high)
	if d.GateTry != nil {
		text += fmt.Sprintf(" First try: gate %.0f mm in place of %.0f mm.", d.GateTry.TryMm, d.GateTry.NowMm)
	}
	return text
}

func (p *planner) check(f Finding) {
	if f.Kind != "unsafe_start" || p.in.Now.Sub(f.At) > checkPatience {
		return
	}
	if len(p.before(NoticeCheck, f.Machine, func(e NoticeEvidence) bool { return e.Event == f.Event })) > 0 {
		return
	}
	text := clip("Stop the engine before you go near: " + f.Text + " Put it right and book the check again.")
	p.raise(NoticeCheck, f.Machine, string(f.Event), 0, text, NoticeEvidence{Event: f.Event})
}

// clip keeps a text within the contract.
func clip(text string) string {
	const most = 2000
	if len(text) <= most {
		return text
	}
	return strings.ToValidUTF8(text[:most-3], "") + "..."
}

// bySource groups what is about a device's sources; the machine bears the
// device's name.
func bySource[T any](list []T, source func(T) schemas.Source) (order []schemas.Source, of map[schemas.Source][]T) {
	of = map[schemas.Source][]T{}
	for _, x := range list {
		s := source(x)
		if _, device := s.Device(); !device {
			continue
		}
		if of[s] == nil {
			order = append(order, s)
		}
		of[s] = append(of[s], x)
	}
	slices.Sort(order)
	return order, of
}

func (p *planner) missing() {
	order, of := bySource(p.in.Gaps, func(g NoticeGap) schemas.Source { return g.Source })
	for _, source := range order {
		device, _ := source.Device()
		machine := schemas.MachineID(device)
		earlier := p.before(NoticeSync, machine, func(e NoticeEvidence) bool { return e.Source == source && len(e.Missing) > 0 })
		e, events := NoticeEvidence{Source: source}, int64(0)
		for _, g := range of[source] {
			if g.Since.IsZero() || p.in.Now.Sub(g.Since) < gapPatience || len(e.Missing) >= maxListed || said(earlier, g) {
				continue
			}
			e.Missing = append(e.Missing, [2]int64{g.From, g.To})
			events += g.To - g.From + 1
		}
		if len(e.Missing) > 0 {
			slices.SortFunc(e.Missing, func(a, b [2]int64) int { return cmp.Compare(a[0], b[0]) })
			text := fmt.Sprintf("For more than a day the office has missed %d of this tablet's entries (number %d and later), though later ones came. Leave the tablet on where it has a link; if it says that nothing waits, tell the office.", events, e.Missing[0][0])
			p.raise(NoticeSync, machine, string(source)+"\nmissing", len(earlier), text, e)
		}
	}
}

func said(earlier []NoticeEvidence, g NoticeGap) bool {
	for _, e := range earlier {
		for _, m := range e.Missing {
			if m[0] <= g.To && g.From <= m[1] {
				return true
			}
		}
	}
	return false
}

func (p *planner) contradicting() {
	order, of := bySource(p.in.Contradicting, func(i schemas.Identity) schemas.Source { return i.Source })
	for _, source := range order {
		device, _ := source.Device()
		machine := schemas.MachineID(device)
		earlier := p.before(NoticeSync, machine, func(e NoticeEvidence) bool { return e.Source == source && len(e.Contradicting) > 0 })
		e := NoticeEvidence{Source: source}
		for _, i := range of[source] {
			known := slices.ContainsFunc(earlier, func(x NoticeEvidence) bool { return slices.Contains(x.Contradicting, i.Sequence) })
			if !known && !slices.Contains(e.Contradicting, i.Sequence) && len(e.Contradicting) < maxListed {
				e.Contradicting = append(e.Contradicting, i.Sequence)
			}
		}
		if len(e.Contradicting) > 0 {
			slices.Sort(e.Contradicting)
			text := fmt.Sprintf("Two different entries came under one number (%d, %d such numbers): two tablets may bear the name %s, or one was set back from a copy. The first counts, the other is kept. Tell the office before you go on.", e.Contradicting[0], len(e.Contradicting), device)
			p.raise(NoticeSync, machine, string(source)+"\ncontradicting", len(earlier), text, e)
		}
	}
}
