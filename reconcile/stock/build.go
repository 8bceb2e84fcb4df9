package stock

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"hopperbook/schemas"
)

// pile is a stockpile of one product.
type pile struct {
	stockpile schemas.StockpileID
	product   schemas.ProductID
}

func (p pile) compare(q pile) int {
	return cmp.Or(strings.Compare(string(p.stockpile), string(q.stockpile)), strings.Compare(string(p.product), string(q.product)))
}

// period is a pile between two surveys. Its flows are indexes into the problem.
type period struct {
	pile                                     pile
	from, to                                 *Survey // nil where there is none
	dockets                                  []Docket
	loads                                    []Load
	cells                                    []int // into builder.cells
	opening, docketed, loaded, spread, close int
	balance                                  int // index of its constraint
}

// cell is what went from one period of a pile over one scale into one run of
// a machine.
type cell struct {
	period, spread int // -1: none
	scale          schemas.ScaleID
	kg, variance   float64 // without the scale's bias
	loads          int
	flow           int
}

// origin is what a suspect of the problem is in the trade.
type origin struct {
	kind   string // one of the kinds of Suspect that it may be; "" never a suspect
	period int
	cell   int
	spread int
	scale  schemas.ScaleID
	survey *Survey
}

// builder turns an Input into a Problem.
type builder struct {
	in       Input
	choices  Choices
	p        Problem
	origins  []origin // of each flow
	scales   []schemas.ScaleID
	periods  []period
	cells    []cell
	runs     []int // flow of the mass each run spread
	residual []int // flow of each run's residual change
	gaps     []docketGap
	findings []Finding
}

func (b *builder) find(kind Kind, format string, args ...any) {
	b.findings = append(b.findings, Finding{kind, fmt.Sprintf(format, args...)})
}

func (b *builder) flow(f Flow, o origin) int {
	b.p.Flows = append(b.p.Flows, f)
	b.origins = append(b.origins, o)
	return len(b.p.Flows) - 1
}

func (b *builder) constrain(name string, terms []Term) int {
	b.p.Constraints = append(b.p.Constraints, Constraint{name, terms})
	return len(b.p.Constraints) - 1
}

func (b *builder) build() {
	b.tidy()
	b.cut()
	b.group()
	b.stocks()
	b.docketedFlows()
	b.cellFlows()
	b.runFlows()
	b.balances()
	b.scaleDirections()
}

// tidy sorts the facts, counts a docket once, and replaces an uncertainty
// stated as zero, which nothing weighed has.
func (b *builder) tidy() {
	in := &b.in
	in.Surveys, in.Dockets, in.Loads = slices.Clone(in.Surveys), slices.Clone(in.Dockets), slices.Clone(in.Loads)
	slices.SortFunc(in.Surveys, func(a, c Survey) int {
		return cmp.Or(a.Time.Compare(c.Time), pile{a.Stockpile, a.Product}.compare(pile{c.Stockpile, c.Product}), cmp.Compare(a.MassKg, c.MassKg), cmp.Compare(a.SdKg, c.SdKg))
	})
	slices.SortFunc(in.Dockets, func(a, c Docket) int {
		return cmp.Or(a.Time.Compare(c.Time), strings.Compare(string(a.ID), string(c.ID)), cmp.Compare(a.NetKg, c.NetKg))
	})
	slices.SortFunc(in.Loads, func(a, c Load) int {
		return cmp.Or(a.Time.Compare(c.Time), strings.Compare(string(a.ID), string(c.ID)))
	})
	type number struct {
		supplier string
		id       schemas.DocketID
	}
	seen := map[number]bool{}
	in.Dockets = slices.DeleteFunc(in.Dockets, func(d Docket) bool {
		again := seen[number{d.Supplier, d.ID}]
		if again {
			b.find(DocketTwice, "docket %s (%.0f kg) is in the book twice under the same number; the first counts", d.ID, d.NetKg)
		}
		seen[number{d.Supplier, d.ID}] = true
		return again
	})
	unstated := 0
	for i := range in.Surveys {
		if s := &in.Surveys[i]; s.SdKg == 0 {
			s.SdKg = max(200, 0.1*s.MassKg) // common practice, no source
			b.find(NoUncertainty, "the survey of %s on %s states no uncertainty; %.0f kg is used", s.Stockpile, s.Time.UTC().Format(time.DateOnly), s.SdKg)
		}
	}
	for i := range in.Dockets {
		unstated += replaceZero(&in.Dockets[i].SdKg, in.Dockets[i].SdUnstatedKg)
	}
	for i := range in.Loads {
		unstated += replaceZero(&in.Loads[i].SdKg, in.Loads[i].SdUnstatedKg)
	}
	if unstated > 0 {
		b.find(NoUncertainty, "%d dockets and loads state an uncertainty of zero; that of their weighing method is used", unstated)
	}
}

func replaceZero(sd *float64, unstated float64) int {
	if *sd != 0 {
		return 0
	}
	*sd = unstated
	return 1
}

// cut lays out the periods of every pile, sorted by pile, then time.
func (b *builder) cut() {
	surveys, dockets, loads := map[pile][]Survey{}, map[pile][]Docket{}, map[pile][]Load{}
	var piles []pile
	note := func(p pile) {
		if i, ok := slices.BinarySearchFunc(piles, p, pile.compare); !ok {
			piles = slices.Insert(piles, i, p)
		}
	}
	for _, s := range b.in.Surveys {
		p := pile{s.Stockpile, s.Product}
		surveys[p] = append(surveys[p], s)
		note(p)
	}
	for _, d := range b.in.Dockets {
		p := pile{d.Stockpile, d.Product}
		dockets[p] = append(dockets[p], d)
		note(p)
	}
	for _, l := range b.in.Loads {
		if l.Stockpile != "" {
			note(pile{l.Stockpile, l.Product})
		}
	}
	lost, lostKg := 0, 0.0
	for i := range b.in.Loads {
		l := &b.in.Loads[i]
		if l.Stockpile == "" {
			l.Stockpile = only(piles, l.Product)
		}
		if l.Stockpile == "" {
			lost, lostKg = lost+1, lostKg+l.NetKg
			continue
		}
		p := pile{l.Stockpile, l.Product}
		loads[p] = append(loads[p], *l)
	}
	if lost > 0 {
		b.find(NoStockpile, "%d loads (%.0f kg) name no stockpile, and their product has none or several: they are taken from none", lost, lostKg)
	}
	for _, p := range piles {
		if n := len(surveys[p]); n < 2 {
			b.find(NoSurvey, "stockpile %s of %s was surveyed %d times; only between two surveys can dockets and loads be checked", p.stockpile, p.product, n)
		}
		b.cutPile(p, surveys[p], dockets[p], loads[p])
	}
}

// only is the one stockpile of a product, or "".
func only(piles []pile, product schemas.ProductID) (found schemas.StockpileID) {
	for _, p := range piles {
		if p.product == product {
			if found != "" {
				return ""
			}
			found = p.stockpile
		}
	}
	return found
}

func (b *builder) cutPile(p pile, surveys []Survey, dockets []Docket, loads []Load) {
	for k := range len(surveys) + 1 {
		out := period{pile: p}
		if k > 0 {
			out.from = &surveys[k-1]
		}
		if k < len(surveys) {
			out.to = &surveys[k]
		}
		for _, d := range dockets {
			if out.holds(d.Time) {
				out.dockets = append(out.dockets, d)
			}
		}
		for _, l := range loads {
			if out.holds(l.Time) {
				out.loads = append(out.loads, l)
			}
		}
		if out.from != nil && out.to != nil || len(out.dockets)+len(out.loads) > 0 {
			b.periods = append(b.periods, out)
		}
	}
}

func (p *period) holds(t time.Time) bool {
	return (p.from == nil || !t.Before(p.from.Time)) && (p.to == nil || t.Before(p.to.Time))
}

// group sums loads by period, scale and run.
func (b *builder) group() {
	type key struct {
		period, spread int
		scale          schemas.ScaleID
	}
	at := map[key]int{}
	add := func(period int, l Load) {
		k := key{period, l.Spread, l.Scale}
		i, ok := at[k]
		if !ok {
			i = len(b.cells)
			at[k] = i
			b.cells = append(b.cells, cell{period: period, spread: l.Spread, scale: l.Scale})
			if period >= 0 {
				b.periods[period].cells = append(b.periods[period].cells, i)
			}
		}
		c := &b.cells[i]
		c.kg += l.NetKg
		c.variance += l.SdKg * l.SdKg
		c.loads++
	}
	for i := range b.periods {
		for _, l := range b.periods[i].loads {
			add(i, l)
		}
	}
	for _, l := range b.in.Loads {
		if l.Stockpile == "" && l.Spread >= 0 {
			add(-1, l)
		}
	}
}

// runKg is what the loads of a run weigh.
func (b *builder) runKg(spread int) (kg float64) {
	for _, c := range b.cells {
		if c.spread == spread {
			kg += c.kg
		}
	}
	return kg
}

// measuredSd is the standard uncertainty of what some cells weigh together.
func (b *builder) measuredSd(cells []int) float64 {
	variance, byScale := 0.0, map[schemas.ScaleID]float64{}
	for _, i := range cells {
		variance += b.cells[i].variance
		byScale[b.cells[i].scale] += b.cells[i].kg
	}
	for _, scale := range b.scales {
		bias := b.choices.ScaleBiasShare * byScale[scale]
		variance += bias * bias
	}
	return math.Sqrt(variance)
}
