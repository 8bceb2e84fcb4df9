package reports

import (
	"cmp"
	"slices"
	"strings"

	"hopperbook/reconcile/applied"
)

// MapLegend is what the maps of a document share.
type MapLegend struct {
	Scale     string                      // what the classes are shares of
	Lines     [applied.Classes]LegendLine // without areas; without rates where the maps have several
	Band      string                      // what hatching means
	Exclusion string                      // what exclusion areas are drawn as; "" where no field has one
	Notes     []string                    // what a reader must know, of which maps
}

// Words are a class's share and rate.
func (l LegendLine) Words() string {
	if l.Rate == "" {
		return l.Share
	}
	return l.Share + ": " + l.Rate
}

// OneRate reports whether the classes are the same rates in every map.
func (l MapLegend) OneRate() bool { return l.Lines[applied.Low].Rate != "" }

// Legend is the legend of maps that stand together.
func Legend(pictures []Picture) (l MapLegend) {
	var notes []string
	having := map[string][]string{}
	for i, p := range pictures {
		s := p.Map.Sheet()
		for c := range s.Legend {
			s.Legend[c].Area = ""
		}
		if i == 0 {
			l.Lines, l.Scale, l.Band = s.Legend, s.Scale, s.Band
		}
		if l.Lines != s.Legend {
			for c := range l.Lines {
				l.Lines[c].Rate = ""
			}
		}
		if l.Scale != s.Scale {
			l.Scale = "Share of the set rate, of the mean rate where that is not known"
		}
		l.Exclusion = cmp.Or(l.Exclusion, s.Exclusion)
		for _, words := range s.Caution {
			if having[words] == nil {
				notes = append(notes, words)
			}
			having[words] = append(having[words], p.Map.where())
		}
	}
	for _, words := range notes {
		if names := having[words]; len(names) < len(pictures) {
			words = strings.Join(slices.Compact(names), "; ") + ": " + words
		}
		l.Notes = append(l.Notes, words)
	}
	if l.OneRate() {
		l.Scale += ": kg/ha"
	}
	return l
}

func (a MapAnswer) where() string {
	return cmp.Or(a.Name, string(a.Field)) + ", " + cmp.Or(a.ProductName, string(a.Product))
}

// Short is a map's figures in a line, for under the map; whole: with what landed elsewhere. The set rate
// stands there unless the legend has it.
func (a MapAnswer) Short(l MapLegend, whole bool) string {
	pct := func(v float64) string { return number(v, 1) + "\u00a0%" }
	words := "Mean " + a.rate(a.MeanKgHa) + "\u00a0kg/ha"
	if !l.OneRate() && a.SetRateKgHa > 0 {
		words += ", set " + a.rate(a.SetRateKgHa) + "\u00a0kg/ha"
	}
	words += ", CV " + pct(a.CVPct) + ". Of the area " + pct(a.NotHitPct) + " not hit, " + pct(a.BelowPct) + " under 80\u00a0%, " + pct(a.AbovePct) + " over 120\u00a0%."
	if whole {
		words += " Over the boundary " + number(a.OutsideKg, 0) + "\u00a0kg"
		if a.ExcludedM2 > 0 {
			words += ", in exclusion areas " + number(a.ExcludedKg, 0) + "\u00a0kg"
		}
		words += "."
	}
	return words
}
