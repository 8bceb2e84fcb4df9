package demo

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"hopperbook/cmd/internal/desk"
	"hopperbook/cmd/internal/office"
	"hopperbook/ingest"
	"hopperbook/ingest/hub"
	"hopperbook/ingest/season"
	"hopperbook/reconcile"
	"hopperbook/reconcile/drift"
	"hopperbook/reports"
	"hopperbook/schemas"
)

// Config says what to play and where the book is left.
type Config struct {
	Office office.Config
	Seed   uint64
	Faults bool // false: nothing goes wrong
}

// patience is how long the book may be silent before a tablet gives up.
const patience = time.Minute

// Run plays the week into a book and reports. sent hears how far the tablets
// are: events sent, confirmed, and how many there are.
func Run(ctx context.Context, cfg Config, sent func(sent, confirmed, total int)) (reports.Demo, error) {
	play := season.Config{Seed: cfg.Seed}
	if !cfg.Faults {
		play = play.NoFaults()
	}
	week, err := season.Play(play)
	if err != nil {
		return reports.Demo{}, err
	}
	cfg.Office.Contractor = week.Config.Contractor
	cfg.Office.Listen = "127.0.0.1:0"
	var report reports.Demo
	err = office.WithOwnHub(ctx, cfg.Office, func(ctx context.Context, bus *hub.Hub) error {
		published, err := publish(ctx, bus, week, sent)
		if err != nil {
			return err
		}
		asker, err := office.Open(ctx, office.Config{BookDir: cfg.Office.BookDir})
		if err != nil {
			return err
		}
		defer asker.Close()
		if report, err = compare(ctx, asker, week); err != nil {
			return err
		}
		report.Published = published
		return billed(ctx, bus, asker, week, &report, cfg.Office.BookDir)
	})
	report.Seed, report.Dir = cfg.Seed, cfg.Office.BookDir
	return report, err
}

// publish lets every tablet publish over its own connection: what arrives in
// time first, what a late tablet brings afterwards.
func publish(ctx context.Context, bus *hub.Hub, week *season.Season, sent func(sent, confirmed, total int)) (int, error) {
	inTime, late := map[schemas.DeviceID][]ingest.Outgoing{}, map[schemas.DeviceID][]ingest.Outgoing{}
	total := 0
	for _, a := range week.ByTime() {
		out := ingest.Outgoing{Identity: a.Event.Identity, Type: a.Event.Type, Raw: a.Event.Raw}
		if a.At.After(a.Event.Time) {
			late[a.Device] = append(late[a.Device], out)
		} else {
			inTime[a.Device] = append(inTime[a.Device], out)
		}
		total++
	}
	tally := &tally{by: map[schemas.DeviceID][2]int{}, total: total, report: sent}
	for _, phase := range []map[schemas.DeviceID][]ingest.Outgoing{inTime, late} {
		tablets, ctx := errgroup.WithContext(ctx)
		for device, events := range phase {
			tablets.Go(func() error { return tablet(ctx, bus, device, events, tally) })
		}
		if err := tablets.Wait(); err != nil {
			return 0, err
		}
		tally.next()
	}
	return total, nil
}

func tablet(ctx context.Context, bus *hub.Hub, device schemas.DeviceID, events []ingest.Outgoing, t *tally) error {
	client, err := bus.Dial("tablet " + string(device))
	if err != nil {
		return err
	}
	defer client.Close()
	_, err = client.Publish(ctx, ingest.Each(events), patience, func(sent, confirmed int) { t.note(device, sent, confirmed) })
	return err
}

// tally adds up what the tablets have sent.
type tally struct {
	mu     sync.Mutex
	by     map[schemas.DeviceID][2]int
	before [2]int // of the phases done
	total  int
	report func(sent, confirmed, total int)
}

func (t *tally) note(device schemas.DeviceID, sent, confirmed int) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.by[device] = [2]int{sent, confirmed}
	sum := t.sum()
	t.report(sum[0], sum[1], t.total)
}

func (t *tally) sum() [2]int {
	sum := t.before
	for _, n := range t.by {
		sum[0], sum[1] = sum[0]+n[0], sum[1]+n[1]
	}
	return sum
}

func (t *tally) next() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.before = t.sum()
	clear(t.by)
}

// compare asks the desk and holds its answers against the truth.
func compare(ctx context.Context, asker office.Asker, week *season.Season) (reports.Demo, error) {
	report := reports.Demo{Schema: reports.SchemaDemo}
	var res reconcile.Result
	if err := office.AskJSON(ctx, asker, desk.Reconcile, nil, &res); err != nil {
		return report, err
	}
	for _, f := range res.Fields {
		report.Fields = append(report.Fields, demoField(f, week.Truth))
	}
	slices.SortFunc(report.Fields, func(a, b reports.DemoField) int {
		return cmp.Or(cmp.Compare(a.Field.Field, b.Field.Field), cmp.Compare(a.Field.Product, b.Field.Product))
	})
	for _, f := range report.Fields {
		if f.Inside {
			report.FieldsInside++
		}
	}
	report.Drifts, report.Totals, report.Findings = res.Drifts, res.Totals, res.Findings
	report.Faults, report.Named = faults(week.Truth, res.Drifts)
	return report, nil
}

func demoField(f reconcile.Field, truth season.Truth) reports.DemoField {
	d := reports.DemoField{Field: f}
	for _, t := range truth.Fields {
		if t.Field == f.Field && t.Product == f.Product {
			d.TrueRateKgHa = math.Round(t.RateKgHa*1e4) / 1e4
			d.Inside = t.RateKgHa >= f.FieldRateLow && t.RateKgHa <= f.FieldRateHigh
		}
	}
	return d
}

// Limits within which a drift counts as named rightly.
const (
	loadsNear = 6
	pctNear   = 2.0
)

// faults tells what was made to go wrong, and whether the drift, if there is
// one, was named: that machine and no other, first called within a few loads
// of its start, and within two points of how far off its calibration the
// machine truly was from then on (the fault on top of the error that its
// catch test had).
func faults(truth season.Truth, drifts []reconcile.Drift) (all []reports.DemoFault, named bool) {
	called := slices.DeleteFunc(slices.Clone(drifts), func(d reconcile.Drift) bool { return d.State != string(drift.Recalibrate) })
	named = len(called) == 0
	only := func(m schemas.MachineID) bool {
		return !slices.ContainsFunc(called, func(d reconcile.Drift) bool { return d.Machine != m })
	}
	for _, f := range truth.Faults {
		d := reports.DemoFault{Kind: string(f.Kind), Machine: f.Machine, Load: f.Load, SizePct: 100 * f.Size, Text: words(f)}
		if f.Kind == season.Slip {
			d.OffCalibrationPct = offCalibrationPct(truth, f)
			d.Text += fmt.Sprintf("; with the error of its catch test it is then truly %+.1f %% off its calibration", d.OffCalibrationPct)
			named = len(called) > 0 && only(f.Machine) && abs(called[0].ChangeLoad-f.Load) <= loadsNear &&
				abs(called[0].AlarmLoad-f.Load) <= loadsNear && math.Abs(called[0].SizePct-d.OffCalibrationPct) <= pctNear
		}
		all = append(all, d)
	}
	return all, named
}

// offCalibrationPct is how far the machine truly was off its calibration from
// the fault on, until its next catch test.
func offCalibrationPct(truth season.Truth, f season.FaultTruth) float64 {
	var mass, nominal float64
	var catch schemas.TestID
	for _, i := range truth.Intervals {
		if i.Machine != f.Machine || i.Load < f.Load || (catch != "" && i.CatchTest != catch) {
			continue
		}
		catch = i.CatchTest
		mass += i.MassKg
		nominal += i.NominalKg
	}
	if nominal == 0 {
		return 0
	}
	return math.Round(1e4*(mass/nominal-1)) / 100
}

func abs(n int) int { return max(n, -n) }

func words(f season.FaultTruth) string {
	switch f.Kind {
	case season.Slip:
		return fmt.Sprintf("from load %d on, the flow of %s changes by %+.1f %%", f.Load, f.Machine, 100*f.Size)
	case season.WetBatch:
		return fmt.Sprintf("from load %d on, %s is wet: density and flow change by %+.1f %%", f.Load, f.Product, 100*f.Size)
	case season.SpeedSlip:
		return fmt.Sprintf("from load %d on, the flow of %s changes by %+.1f %% for each 10 %% it drives faster than usual", f.Load, f.Machine, 10*f.Size)
	case season.Wear:
		return fmt.Sprintf("from load %d on, the flow of %s changes by %+.1f %% with every 100 t", f.Load, f.Machine, 100*f.Size)
	case season.Bridging:
		return fmt.Sprintf("from load %d on, the flow of %s changes by %+.1f %% in the last quarter of the hopper", f.Load, f.Machine, 100*f.Size)
	case season.GateOff:
		return fmt.Sprintf("at load %d %s is set to another gate opening, at which its flow is off by %+.1f %%", f.Load, f.Machine, 100*f.Size)
	case season.WidthOff:
		return fmt.Sprintf("from load %d on, the bout width noted on %s is off by %+.1f %%", f.Load, f.Machine, 100*f.Size)
	case season.SwitchStuck:
		return fmt.Sprintf("from load %d on, %s logs spreading wherever it drives", f.Load, f.Machine)
	case season.ScaleOff:
		return fmt.Sprintf("from load %d on, the scale of %s reads %+.1f %%", f.Load, f.Machine, 100*f.Size)
	case season.MissingDocket:
		return fmt.Sprintf("docket %s never reaches the office", f.Docket)
	case season.ForgetJobChange:
		return fmt.Sprintf("the operator of %s does not change to job %s", f.Machine, f.Job)
	case season.LateTablet:
		return fmt.Sprintf("the tablet of %s has no link for a day; its events come last", f.Machine)
	}
	return string(f.Kind)
}
