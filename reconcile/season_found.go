package reconcile

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"hopperbook/reconcile/balance"
	"hopperbook/reconcile/nutrient"
	"hopperbook/reconcile/track"
	"hopperbook/schemas"
)

// seasonFound is what was met on the way to a season's figures, apart, so that
// each season is told its own.
type seasonFound struct {
	reading  []Finding // met while reading the events
	single   []Finding
	machines []machineFound
}

// machineFound is what a machine's tracks and balance say.
type machineFound struct {
	id      schemas.MachineID
	tracked []track.Finding
	balance []balance.Finding
	nowhere []balance.FieldMass // outside every field
	from    map[schemas.RefillID]time.Time
	to      map[schemas.RefillID]time.Time // of the balance interval that it began; zero: open
}

// aboutMass are the track findings that bear on what is said of kilograms and
// hectares.
var aboutMass = []track.Kind{track.Outside, track.NoBoutWidth, track.NoSetRate, track.SpreadingInferred}

func (g *gathered) foundOf(in Input, found *findings) seasonFound {
	idleLoads(in, &g.reg, found)
	out := seasonFound{reading: in.Findings, single: found.sorted()}
	for _, m := range g.told {
		f := machineFound{id: m.id, balance: m.balance.Findings, from: map[schemas.RefillID]time.Time{}, to: map[schemas.RefillID]time.Time{}}
		for _, t := range m.tracked {
			if slices.Contains(aboutMass, t.Kind) {
				f.tracked = append(f.tracked, t)
			}
		}
		for _, mass := range m.balance.Fields {
			if mass.Field == "" {
				f.nowhere = append(f.nowhere, mass)
			}
		}
		for _, r := range m.refills {
			f.from[r.Data.Refill], f.to[r.Data.Refill] = r.Time, r.Time
		}
		for _, iv := range m.balance.Intervals {
			f.from[iv.From], f.to[iv.From] = iv.Start, iv.End
		}
		out.machines = append(out.machines, f)
	}
	return out
}

// FoundIn is what a reconciliation finds that bears on the applications of a
// span: of their machines and fields and of its time, and what was met while
// reading events from its beginning on. A finding of no time bears on every span.
func (s *Season) FoundIn(span nutrient.Span) []Finding {
	machines, fields := map[schemas.MachineID]bool{}, map[schemas.FieldID]bool{}
	for i := range s.Input.Applications {
		a := &s.Input.Applications[i]
		if !a.From.Before(span.From) && a.From.Before(span.To) && s.Input.Own(a) {
			machines[a.Machine], fields[a.Field] = true, true
		}
	}
	spreaders := map[schemas.MachineID]bool{}
	found := &findings{}
	for _, m := range s.found.machines {
		if spreaders[m.id] = true; machines[m.id] {
			m.in(span, found)
		}
	}
	for _, f := range s.found.single {
		timely := f.At.IsZero() || !f.At.Before(span.From) && f.At.Before(span.To)
		if f.Field != "" && f.Machine == "" {
			timely = true // of its registration
		}
		mine := f.Machine == "" || machines[f.Machine] || !spreaders[f.Machine]
		if timely && mine && (f.Field == "" || fields[f.Field]) {
			found.add(f)
		}
	}
	changedFields(&s.Input, span, found)
	for _, f := range s.found.reading {
		if f.At.IsZero() || !f.At.Before(span.From) {
			found.add(f)
		}
	}
	return found.sorted()
}

// in adds what lies in a span.
func (m *machineFound) in(span nutrient.Span, found *findings) {
	var tracked []track.Finding
	for _, t := range m.tracked {
		if t.FromMilli < span.To.UnixMilli() && t.ToMilli >= span.From.UnixMilli() {
			tracked = append(tracked, t)
		}
	}
	found.addTrack(m.id, tracked)
	var said []balance.Finding
	for _, f := range m.balance {
		if m.meets(f.Refill, span) {
			said = append(said, f)
		}
	}
	found.addBalance(m.id, said)
	for _, mass := range m.nowhere {
		kg, refills := 0.0, []string{}
		for _, c := range mass.Contributions {
			if m.meets(c.From, span) {
				kg += c.MassKg
				if c.MassKg >= worthSayingKg {
					refills = append(refills, string(c.From))
				}
			}
		}
		if kg >= worthSayingKg && len(refills) > 0 {
			found.add(Finding{Kind: "not_on_a_field", Machine: m.id, Amount: kg, Unit: "kg", Count: len(refills),
				Text: fmt.Sprintf("%.0f kg of %s went out outside every field, or without a pass log, set rate or bout width: where it landed is not known (after %s)",
					kg, cmp.Or(string(mass.Product), "an unnamed product"), refillWords(refills))})
		}
	}
}

// meets tells whether the balance interval that a refill began meets a span.
func (m *machineFound) meets(refill schemas.RefillID, span nutrient.Span) bool {
	from, to := m.from[refill], m.to[refill]
	return from.Before(span.To) && (to.IsZero() || !to.Before(span.From))
}

// refillWords names the first refills.
func refillWords(refills []string) string {
	const shown = 3
	if n := len(refills); n > shown {
		return fmt.Sprintf("refills %s and %d more", strings.Join(refills[:shown], ", "), n-shown)
	}
	return "refill " + strings.Join(refills, ", ")
}

// hitExclusion says what an application put on exclusion areas of its field.
func hitExclusion(a *nutrient.Application, excludedM2, errorM2, kg float64, found *findings) {
	if excludedM2 > errorM2 && excludedM2 >= leastExcludedM2 {
		found.add(Finding{Kind: "exclusion_hit", Machine: a.Machine, Field: a.Field, At: a.From, Amount: excludedM2, Unit: "m2",
			Text: fmt.Sprintf("%s: %.0f m2 of exclusion areas were spread on, with about %.0f kg of %s", a.ID, excludedM2, kg, a.Product)})
	}
}
