package reconcile

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"hopperbook/reconcile/balance"
	"hopperbook/reconcile/track"
	"hopperbook/schemas"
)

// findings gathers what a person should know.
type findings struct {
	list  []Finding
	apart bool // those of tracks and balances are summed elsewhere: machines keep them
}

func (f *findings) add(x Finding) {
	x.Count = max(x.Count, 1)
	x.Amount = rounded(x.Amount, 3)
	f.list = append(f.list, x)
}

// AddFindings joins what was found outside a reconciliation to its findings.
func (r *Result) AddFindings(more []Finding) {
	f := &findings{list: r.Findings}
	for _, x := range more {
		f.add(x)
	}
	r.Findings = f.sorted()
}

// sorted orders findings by kind, machine, field, time, event and text.
func (f *findings) sorted() []Finding {
	out := slices.Clone(f.list)
	slices.SortFunc(out, func(a, b Finding) int {
		return cmp.Or(strings.Compare(a.Kind, b.Kind), strings.Compare(string(a.Machine), string(b.Machine)),
			strings.Compare(string(a.Field), string(b.Field)), a.At.Compare(b.At),
			strings.Compare(string(a.Event), string(b.Event)), strings.Compare(a.Text, b.Text))
	})
	return out
}

// trackWords says what a kind of track finding means: words after the count,
// and what its amount is.
type trackWords struct{ words, amount, unit string }

func wordsOf(kind track.Kind) trackWords {
	switch kind {
	case track.NullPosition:
		return trackWords{words: "stretches of fixes at latitude 0, longitude 0, not used: the receiver had no position"}
	case track.NoFix:
		return trackWords{words: "stretches without a GNSS fix, not used"}
	case track.BadPosition:
		return trackWords{words: "stretches of positions off the globe, not used"}
	case track.OutOfOrder:
		return trackWords{"stretches that came late, put in their place", "the latest by", "s"}
	case track.Duplicate:
		return trackWords{"stretches logged twice, counted once", "apart at most", "m"}
	case track.Gap:
		return trackWords{"times without fixes, not joined", "longest way missed", "m"}
	case track.Jump:
		return trackWords{"steps too fast to be true, not joined", "fastest", "km/h"}
	case track.Outlier:
		return trackWords{"single fixes off a track that goes on without them, not used", "farthest", "m"}
	case track.TightTurn:
		return trackWords{"turns driven while spreading on a radius below half the bout width, or backing up", "longest", "m"}
	case track.Stationary:
		return trackWords{"times of spreading while standing still", "longest", "s"}
	case track.SpreadingInferred:
		return trackWords{words: "stretches whose log does not say whether product was leaving: inferred from the speed"}
	case track.NoBoutWidth:
		return trackWords{"stretches spread with no bout width known, no area counted", "longest", "m"}
	case track.NoSetRate:
		return trackWords{"stretches spread with no set rate known, no nominal mass counted", "longest", "m"}
	}
	return trackWords{words: string(kind)}
}

// addBalance joins a machine's balance findings, one a kind: how many, and the
// first of them in words.
func (f *findings) addBalance(machine schemas.MachineID, found []balance.Finding) {
	byKind := map[balance.FindingCode][]balance.Finding{}
	for _, x := range found {
		byKind[x.Code] = append(byKind[x.Code], x)
	}
	for _, kind := range sortedKeys(byKind) {
		list := byKind[kind]
		text := list[0].Text
		if list[0].Refill != "" {
			text = fmt.Sprintf("refill %s: %s", list[0].Refill, text)
		}
		if more := len(list) - 1; more > 0 {
			text += fmt.Sprintf(" (and %d more)", more)
		}
		f.add(Finding{Kind: string(kind), Machine: machine, Count: len(list), Text: text})
	}
}

// addTrack sums the track findings of a machine, one a kind.
func (f *findings) addTrack(machine schemas.MachineID, found []track.Finding) {
	type sum struct {
		count  int
		amount float64
	}
	sums := map[track.Kind]sum{}
	var outside []track.Finding
	for _, x := range found {
		if x.Kind == track.Outside {
			outside = append(outside, x)
			continue
		}
		s := sums[x.Kind]
		sums[x.Kind] = sum{s.count + 1, max(s.amount, x.Detail)}
	}
	for _, kind := range sortedKeys(sums) {
		s, w := sums[kind], wordsOf(kind)
		text := fmt.Sprintf("%d %s", s.count, w.words)
		if w.unit != "" {
			text += fmt.Sprintf(" (%s %.1f %s)", w.amount, s.amount, w.unit)
		}
		f.add(Finding{Kind: string(kind), Machine: machine, Count: s.count, Amount: s.amount, Unit: w.unit, Text: text})
	}
	if len(outside) > 0 {
		f.addOutside(machine, outside)
	}
}

// addOutside says how much a machine spread outside every field, and where
// to look first.
func (f *findings) addOutside(machine schemas.MachineID, stretches []track.Finding) {
	longest, lengthM, kg := stretches[0], 0.0, 0.0
	for _, x := range stretches {
		lengthM, kg = lengthM+x.Detail, kg+x.NominalKg
		if x.Detail > longest.Detail {
			longest = x
		}
	}
	at := time.UnixMilli(longest.FromMilli).UTC()
	f.add(Finding{Kind: string(track.Outside), Machine: machine, At: at, Count: len(stretches), Amount: kg, Unit: "kg",
		Text: fmt.Sprintf("%d stretches of spreading outside every field, %.0f m and %.0f kg nominal in all; the longest, %.0f m, from %s",
			len(stretches), lengthM, kg, longest.Detail, at.Format("2006-01-02 15:04:05"))})
}
