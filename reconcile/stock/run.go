package stock

import (
	"fmt"
	"math"
	"time"

	"hopperbook/schemas/fault"
)

// gramKg is how exactly the reconciled masses of a stockpile close.
const gramKg = 0.001

// Run reconciles the stockpiles. It fails (fault.Input) on what is no mass;
// whatever is odd is a Finding or a Suspect. Cost: O(n log n) in surveys,
// dockets and loads, and Reconcile of a network of a few flows a period, scale
// and machine.
func Run(in Input) (Result, error) {
	if err := in.check(); err != nil {
		return Result{}, err
	}
	b := builder{in: in, choices: in.Choices.withDefaults()}
	b.build()
	b.gaps = docketGaps(b.in.Dockets)
	sol, err := Reconcile(b.p, Options{Level: b.choices.Level, Choose: b.choose})
	if err != nil {
		return Result{}, err
	}
	res := Result{Test: testOf(sol.First), After: testOf(sol.Last)}
	for i := range b.periods {
		row, err := b.row(&b.periods[i], sol)
		if err != nil {
			return Result{}, err
		}
		res.Rows = append(res.Rows, row)
	}
	for _, g := range sol.Gross {
		res.Suspects = append(res.Suspects, b.suspect(g))
	}
	for _, g := range b.gaps {
		b.find(DocketGap, "docket %s is not in the book, the numbers around it are", g.id)
	}
	res.Findings = append(b.findings, sol.Findings...)
	return res, nil
}

func (b *builder) row(p *period, sol Solution) (Row, error) {
	at := func(flow int) Estimate { return sol.Last.Estimates[flow] }
	measured := func(flow int) Amount {
		f := b.p.Flows[flow]
		return amount(!f.Unmeasured, f.Value, f.Sd, at(flow))
	}
	loaded := 0.0
	for _, k := range p.cells {
		loaded += b.cells[k].kg
	}
	spreadKg, spreadSd, spreadKnown := b.spread(*p)
	row := Row{
		Stockpile: p.pile.stockpile, Product: p.pile.product, Dockets: len(p.dockets), Loads: len(p.loads),
		Opening: measured(p.opening), Docketed: measured(p.docketed), Closing: measured(p.close),
		Loaded: amount(true, loaded, b.measuredSd(p.cells), at(p.loaded)),
		Spread: amount(spreadKnown, spreadKg, spreadSd, at(p.spread)),
		Passes: true,
	}
	row.From, row.To = timeOf(p.from), timeOf(p.to)
	if node := sol.Nodes[p.balance]; node.Tested {
		row.Checked, row.ImbalanceKg, row.ImbalanceSd = true, grams(node.Imbalance), grams(node.Sd)
		row.ChiSquare, row.Passes = rounded(node.Z*node.Z, 4), node.Z <= Sidak(b.choices.Level, 1)
	}
	if e := at(p.close); e.Known && e.Value+normal95*e.Sd < 0 {
		b.find(NegativeStock, "by dockets and loads stockpile %s of %s would hold %.0f kg", p.pile.stockpile, p.pile.product, e.Value)
	}
	return row, b.closes(p, at)
}

func timeOf(s *Survey) time.Time {
	if s == nil {
		return time.Time{}
	}
	return s.Time.UTC()
}

// spread is the mass that what left a period should have come to by the
// machines' calibrations: known only where every load went to a calibrated run.
func (b *builder) spread(p period) (kg, sd float64, known bool) {
	variance := 0.0
	for run, share := range b.shares(p) {
		if share == 0 {
			continue
		}
		if !b.measuredRun(run) {
			return 0, 0, false
		}
		kg += share * b.in.Spreads[run].NominalKg
		s := share * b.spreadSd(run)
		variance += s * s
		known = true
	}
	return kg, math.Sqrt(variance), known
}

// closes asserts that the reconciled masses of a period close.
func (b *builder) closes(p *period, at func(int) Estimate) error {
	opening, docketed, loaded, closing := at(p.opening), at(p.docketed), at(p.loaded), at(p.close)
	if !opening.Known || !docketed.Known || !loaded.Known || !closing.Known {
		return nil
	}
	left := opening.Value + docketed.Value - loaded.Value - closing.Value
	if all := opening.Value + docketed.Value; !(math.Abs(left) <= gramKg+1e-9*math.Abs(all)) {
		return fault.Newf("reconcile stock", fault.Internal, fmt.Sprintf("stockpile %s does not close: %.4f kg left over", p.pile.stockpile, left),
			"this is a fault of the program, please report it with the events of this stockpile")
	}
	return nil
}
