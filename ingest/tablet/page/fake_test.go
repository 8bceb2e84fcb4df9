package page_test

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"sync"
	"time"

	"hopperbook/ingest/tablet"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// fake is a tablet that keeps its day in memory, for the page's own tests.
type fake struct {
	mu      sync.Mutex
	v       tablet.View
	changed chan struct{}
	done    []done
	n       int
	broken  error // what the next Do answers
}

type done struct {
	name string
	body json.RawMessage
}

func at(v float64) *float64 { return &v }

// newFake is a spreader in the morning: nothing picked, a failed guard.
func newFake(role string) *fake {
	noon := time.Date(2026, 3, 14, 9, 30, 0, 0, time.UTC)
	v := tablet.View{At: noon, Device: "spreader-1", Machine: "Spreader one", Role: role, TimeZone: "UTC",
		GNSS: tablet.GNSSView{State: "good", Quality: 4, Lat: at(47.1), Lon: at(8.2), SpeedKmh: at(0)},
		Work: tablet.WorkView{State: "idle", Spreading: "off", Marked: "speed_and_field", Unsafe: []tablet.CheckView{}},
		Link: tablet.LinkView{State: "down", Since: noon}, Outbox: tablet.OutboxView{State: "ok", LimitBytes: 2 << 30},
		Jobs: []tablet.JobView{
			{Job: "J1", Field: "F1", FieldName: "North Four", Customer: "Alder Farm", Product: "lime", SetRate: 2500, AwayM: at(0), AreaHa: 12.4, State: "ordered"},
			{Job: "J2", Field: "F2", FieldName: "Long Meadow", Customer: "Birch Farm", Product: "urea", SetRate: 180, AwayM: at(1840), AreaHa: 7.1, State: "ordered"}},
		Products: []tablet.ProductView{{Product: "lime", Name: "Ground lime", Form: "powder", BulkDensityKgM3: at(1250)},
			{Product: "urea", Name: "Urea 46", Form: "granular", BulkDensityKgM3: at(760)}},
		Piles:   []tablet.PileView{{Stockpile: "yard-lime", Product: "lime"}, {Stockpile: "gate-lime", Product: "lime"}},
		Setting: &tablet.SettingView{SettingChanged: schemas.SettingChanged{Product: "lime", BoutWidthM: 12, SetRateKgHa: 2500, GateMm: at(140), BeltGear: "2", PTORpm: at(540), DiscSet: "powder"}, At: noon},
		Notices: []tablet.NoticeView{}, Waiting: []tablet.LoadView{}, Last: []tablet.EntryView{},
	}
	if role == "loader" {
		v.Device, v.Machine, v.Setting = "loader-1", "Loader one", nil
		v.Spreader = []tablet.MachineView{{Machine: "spreader-1", Name: "Spreader one"}, {Machine: "spreader-2", Name: "Spreader two"}}
	}
	for _, item := range []string{"guard", "pto_guard", "lump_breaker_cover", "hitch_chain", "tyres", "belt_sag", "vanes", "chains", "screen", "hydraulics", "level"} {
		c := tablet.CheckView{Item: item, State: "unknown", Safety: len(v.Checks) < 5}
		if item == "belt_sag" {
			c.Unit, c.Limit = "mm", at(50)
		}
		v.Checks = append(v.Checks, c)
	}
	return &fake{v: v, changed: make(chan struct{})}
}

func (f *fake) View() tablet.View {
	f.mu.Lock()
	defer f.mu.Unlock()
	v := f.v
	v.Checks, v.Last, v.Waiting = slices.Clone(v.Checks), slices.Clone(v.Last), slices.Clone(v.Waiting)
	v.Notices, v.Rate.Series, v.Work.Unsafe = slices.Clone(v.Notices), slices.Clone(v.Rate.Series), slices.Clone(v.Work.Unsafe)
	return v
}

func (f *fake) Changed() <-chan struct{} {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.changed
}

// change is a change of the view from outside the page.
func (f *fake) change(how func(*tablet.View)) {
	f.mu.Lock()
	defer f.mu.Unlock()
	how(&f.v)
	f.tell()
}

func (f *fake) tell() {
	close(f.changed)
	f.changed = make(chan struct{})
}

func (f *fake) fail(err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.broken = err
}

// booked are the bodies of a command, oldest first.
func (f *fake) booked(name string) (bodies []string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, d := range f.done {
		if d.name == name {
			bodies = append(bodies, string(d.body))
		}
	}
	return bodies
}

func (f *fake) Do(_ context.Context, name string, body json.RawMessage) (tablet.Done, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if err := f.broken; err != nil {
		f.broken = nil
		return tablet.Done{}, err
	}
	act, known := acts()[name]
	if !known {
		return tablet.Done{}, fault.New("", fault.Usage, &tablet.Refusal{Key: tablet.KeyBody, Text: "no such command"}, "reload the page")
	}
	d, err := act(f, body)
	if err != nil {
		return tablet.Done{}, err
	}
	f.done = append(f.done, done{name, slices.Clone(body)})
	f.tell()
	return d, nil
}

// entry keeps an event in the log of the view.
func (f *fake) entry(kind schemas.EventType, kg *float64, words string) tablet.Done {
	f.n++
	id := schemas.EventID(fmt.Sprintf("01JPAGE%019d", f.n))
	f.v.At = f.v.At.Add(4 * time.Minute)
	f.v.Last = slices.Insert(f.v.Last, 0, tablet.EntryView{Event: id, Type: kind, At: f.v.At, Kg: kg, Words: words})
	f.v.Undo = &tablet.UndoView{Event: id, Type: kind, At: f.v.At, Kg: kg, Words: words}
	f.v.Outbox.Waiting++
	return tablet.Done{Event: id, Type: kind}
}

type act = func(*fake, json.RawMessage) (tablet.Done, error)

func acts() map[string]act {
	return map[string]act{
		tablet.DoWho: with(func(f *fake, b tablet.Who) (tablet.Done, error) { f.v.Operator = b.Operator; return tablet.Done{}, nil }),
		tablet.DoPick: with(func(f *fake, b tablet.Pick) (tablet.Done, error) {
			for _, j := range f.v.Jobs {
				if j.Job == b.Job {
					f.v.Work.State, f.v.Work.Job, f.v.Work.Field, f.v.Work.FieldName = "picked", j.Job, j.Field, j.FieldName
					f.v.Work.Customer, f.v.Work.Product, f.v.Work.SetRate = j.Customer, j.Product, at(j.SetRate)
					f.v.Rate.SetKgHa = at(j.SetRate)
				}
			}
			return tablet.Done{}, nil
		}),
		tablet.DoStart: with(start),
		tablet.DoFinish: with(func(f *fake, _ struct{}) (tablet.Done, error) {
			f.v.Work.State = "idle"
			return f.entry(schemas.TypeJobFinished, nil, string(f.v.Work.Job)), nil
		}),
		tablet.DoSpread: with(func(f *fake, b tablet.Spread) (tablet.Done, error) { return tablet.Done{}, f.spread(b) }),
		tablet.DoSetting: with(func(f *fake, b schemas.SettingChanged) (tablet.Done, error) {
			f.v.Setting = &tablet.SettingView{SettingChanged: b, At: f.v.At}
			return f.entry(schemas.TypeSettingChanged, nil, string(b.Product)), nil
		}),
		tablet.DoLoad:   with(load),
		tablet.DoRefill: with(func(f *fake, b tablet.Refill) (tablet.Done, error) { return f.fill(b.Loads), nil }),
		tablet.DoCheck:  with(checked),
		tablet.DoWeather: with(func(f *fake, b schemas.WeatherNoted) (tablet.Done, error) {
			return f.entry(schemas.TypeWeatherNoted, nil, b.Soil), nil
		}),
		tablet.DoUndo: with(undo),
		tablet.DoNotice: with(func(f *fake, b tablet.Ack) (tablet.Done, error) {
			f.v.Notices = slices.DeleteFunc(f.v.Notices, func(n tablet.NoticeView) bool { return n.Notice == b.Notice })
			return f.entry(schemas.TypeNoticeAcknowledged, nil, ""), nil
		}),
		tablet.DoCatch: with(func(f *fake, b schemas.TestCatch) (tablet.Done, error) {
			return f.entry(schemas.TypeTestCatch, nil, string(b.Product)), nil
		}),
		tablet.DoDensity: with(func(f *fake, b schemas.TestDensity) (tablet.Done, error) {
			return f.entry(schemas.TypeTestDensity, nil, string(b.Product)), nil
		}),
		tablet.DoTray: with(func(f *fake, b schemas.TestTray) (tablet.Done, error) {
			return f.entry(schemas.TypeTestTray, nil, string(b.Product)), nil
		}),
		tablet.DoTry: with(func(_ *fake, b tablet.Try) (tablet.Done, error) { return tablet.Done{Result: results()[b.Test]}, nil }),
	}
}

func with[T any](do func(*fake, T) (tablet.Done, error)) act {
	return func(f *fake, body json.RawMessage) (tablet.Done, error) {
		var b T
		if err := json.Unmarshal(body, &b); err != nil {
			return tablet.Done{}, fault.New("", fault.Usage, &tablet.Refusal{Key: tablet.KeyBody, Text: err.Error()}, "reload the page")
		}
		return do(f, b)
	}
}

func results() map[string]any {
	return map[string]any{
		"catch":   tablet.CatchResult{RateKgHa: at(2687), U95Pct: at(2.4), SetKgHa: at(2500), OffPct: at(7.5), GateTryMm: at(130)},
		"density": tablet.DensityResult{DensityKgM3: 1242, U95KgM3: 18, RateChangePct: at(-0.6)},
		"tray": tablet.TrayResult{RateKgHa: at(2510), CVPct: at(14.2), CVLimitPct: 20, WidestM: at(13.5), OffSidePct: at(-3.1),
			MeanLeftKgHa: at(2470), MeanRightKgHa: at(2550), BoutWidthM: 12, DrivingOfWorst: "round_and_round", Findings: []string{"wind was not noted"}},
	}
}

func (f *fake) spread(b tablet.Spread) error {
	f.v.Work.Marked = "hand"
	if b.Auto {
		f.v.Work.Marked = "speed_and_field"
		return nil
	}
	f.v.Work.Spreading = "off"
	if b.On {
		f.v.Work.Spreading = "on"
	}
	return nil
}

func start(f *fake, b tablet.Start) (tablet.Done, error) {
	if len(f.v.Work.Unsafe) > 0 && b.OverrideReason == "" {
		return tablet.Done{}, fault.New("", fault.Conflict, &tablet.Refusal{Key: tablet.KeySafety, Text: "a safety check has failed"}, "put it right")
	}
	f.v.Work.State = "working"
	return f.entry(schemas.TypeJobStarted, nil, string(f.v.Work.Job)), nil
}

func load(f *fake, b tablet.Load) (tablet.Done, error) {
	kg := 0.0
	for _, l := range b.LiftsKg {
		kg += l
		if b.TareKg != nil {
			kg -= *b.TareKg
		}
	}
	if b.NetKg != nil {
		kg = *b.NetKg
	}
	if kg > 12000 && !b.Confirm {
		return tablet.Done{}, fault.New("", fault.Conflict, &tablet.Refusal{Key: tablet.KeyLoadTooBig, Confirm: true, Text: "more than the hopper holds", Values: map[string]float64{"kg": kg, "limit_kg": 12000}}, "weigh again")
	}
	id := schemas.LoadID(fmt.Sprintf("L%d", f.n+1))
	d := f.entry(schemas.TypeLoadWeighed, at(kg), string(b.Product))
	f.v.Waiting = append(f.v.Waiting, tablet.LoadView{Load: id, Product: b.Product, NetKg: kg, At: f.v.At, For: b.For})
	if b.Refill {
		f.fill([]schemas.LoadID{id})
	}
	return d, nil
}

func (f *fake) fill(loads []schemas.LoadID) tablet.Done {
	kg := 0.0
	f.v.Waiting = slices.DeleteFunc(f.v.Waiting, func(l tablet.LoadView) bool {
		in := slices.Contains(loads, l.Load)
		if in {
			kg += l.NetKg
		}
		return in
	})
	f.v.Hopper = tablet.HopperView{Kg: at(kg), LoadedKg: at(kg), HaLeft: at(kg / 2500), SpreadHa: at(0), LastKnown: "empty"}
	return f.entry(schemas.TypeHopperRefilled, at(kg), "")
}

func checked(f *fake, b schemas.CheckMachine) (tablet.Done, error) {
	if b.Unit == "" {
		return tablet.Done{}, fault.New("", fault.Input, &tablet.Refusal{Key: tablet.KeyContract, Text: "/data/unit: must not be empty"}, "correct the entry")
	}
	f.v.Work.Unsafe = slices.DeleteFunc(f.v.Work.Unsafe, func(c tablet.CheckView) bool { return c.Item == b.Item })
	for i := range f.v.Checks {
		if c := &f.v.Checks[i]; c.Item == b.Item {
			c.State, c.At = "passed", f.v.At
			if !b.Pass {
				c.State = "failed"
				if c.Safety {
					f.v.Work.Unsafe = append(f.v.Work.Unsafe, *c)
				}
			}
		}
	}
	return f.entry(schemas.TypeCheckMachine, nil, b.Item), nil
}

func undo(f *fake, b tablet.Undo) (tablet.Done, error) {
	for i := range f.v.Last {
		if f.v.Last[i].Event == b.Event {
			f.v.Last[i].Undone = true
		}
	}
	d := f.entry(schemas.TypeEventAmended, nil, "")
	f.v.Undo = nil
	return d, nil
}

// drive is an hour of work: the hopper falls, rates come in, the office speaks.
func (f *fake) drive() {
	f.change(func(v *tablet.View) {
		v.GNSS.SpeedKmh, v.Work.Spreading = at(11.8), "on"
		v.Hopper.Kg, v.Hopper.HaLeft, v.Hopper.SpreadHa, v.Hopper.Share = at(3260), at(1.2), at(2.4), at(0.34)
		v.Rate = tablet.RateView{SetKgHa: at(2500), LastKgHa: at(2672), LastOffPc: at(6.9), LastTold: "tablet", NowKgHa: at(2655)}
		for i, off := range []float64{0.8, -1.2, 1.9, 0.4, 2.2, 1.1, 5.4, 6.9} {
			v.Rate.Series = append(v.Rate.Series, tablet.Point{Load: schemas.RefillID(fmt.Sprintf("R%d", i)), KgHa: 2500 * (1 + off/100), OffPct: off})
		}
		v.Drift = &schemas.CabDrift{Product: "lime", State: "recalibrate", FlowRatio: 1.068, SizePct: 6.8, ChangeLoad: 7, Loads: 8}
		v.Notices = []tablet.NoticeView{{NoticeRaised: schemas.NoticeRaised{Notice: "N1", Machine: "spreader-1", Kind: "recalibrate",
			Text: "Ground lime runs 6.8 % high since load 7. Make a catch test before the next load."}, New: true}}
	})
}
