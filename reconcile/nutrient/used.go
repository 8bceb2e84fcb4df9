package nutrient

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"hopperbook/schemas"
)

// Used is one version of an analysis and what it was used for.
type Used struct {
	Product          schemas.ProductID `json:"product"`
	Event            schemas.EventID   `json:"event,omitempty"`
	From             time.Time         `json:"from"`  // it holds from then on
	Later            bool              `json:"later"` // some of it was spread before, and nothing else held then
	Kind             string            `json:"kind"`
	Analysis         schemas.Analysis  `json:"analysis"` // as registered
	EffectiveLimePct float64           `json:"effective_lime_pct"`
	LimeKnown        bool              `json:"lime_known"`
	Applications     []string          `json:"applications"`
}

// used lists the analyses in force, by product and time. O(a log a).
func (b *book) used() []Used {
	at := map[string]int{}
	out := []Used{}
	for _, p := range b.own {
		if p.version == "" {
			continue
		}
		i, known := at[p.version]
		if !known {
			i = len(out)
			at[p.version] = i
			v := p.analysed
			out = append(out, Used{Product: v.Product.Product, Event: v.Event, From: v.from, Kind: p.content.Kind, Analysis: *v.Analysis, EffectiveLimePct: p.content.PerKg[Lime] * 100, LimeKnown: p.content.Known[Lime]})
		}
		out[i].Applications = append(out[i].Applications, p.ID)
		out[i].Later = out[i].Later || p.From.Before(out[i].From)
	}
	slices.SortFunc(out, func(x, y Used) int {
		return cmp.Or(strings.Compare(string(x.Product), string(y.Product)), x.From.Compare(y.From), strings.Compare(string(x.Event), string(y.Event)))
	})
	for i := range out {
		slices.Sort(out[i].Applications)
	}
	return out
}
