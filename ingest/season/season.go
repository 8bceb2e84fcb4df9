package season

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Season is what was played. Events are not to be changed.
type Season struct {
	Config  Config   // with every default and fault filled in
	Devices []Device // spreaders, loaders, then the office
	Truth   Truth
}

// Device is one source of events. ID is the device token its events are
// published under.
type Device struct {
	ID     schemas.DeviceID
	Source schemas.Source
	Events []Event // by sequence, 1, 2, ...
}

// Play plays a season. It fails (fault.Usage) on a Config that can't be, and on
// faults that would never begin. Time and memory grow with the days of all
// spreaders: about 14 000 fixes, 0.8 MB of events and 60 ms a machine and day.
func Play(cfg Config) (*Season, error) {
	cfg = cfg.withDefaults()
	if err := cfg.check(); err != nil {
		return nil, err
	}
	p, err := newPlan(cfg)
	if err != nil {
		return nil, fault.Wrap("play a season", err)
	}
	demo := cfg.Faults == nil
	if demo {
		cfg.Faults = p.demoFaults()
	}
	if err := p.checkFaults(cfg.Faults); err != nil {
		return nil, err
	}
	s := &Season{Config: cfg}
	s.Truth.Faults = make([]FaultTruth, len(cfg.Faults))
	recorders := s.playMachines(p)
	o := newOffice(p, &s.Truth)
	o.play(cfg.Faults)
	for _, r := range append(recorders, o.rec) {
		if r.err != nil {
			return nil, fault.Wrap("play a season", r.err)
		}
		s.Devices = append(s.Devices, Device{schemas.PublishDevice(r.source), r.source, r.events})
	}
	slices.SortFunc(s.Truth.Fields, func(a, b FieldTruth) int {
		return cmp.Or(strings.Compare(string(a.Field), string(b.Field)), strings.Compare(string(a.Product), string(b.Product)))
	})
	if demo {
		s.dropIdle()
	}
	return s, s.check()
}

// dropIdle leaves out faults that never began.
func (s *Season) dropIdle() {
	s.Truth.Faults = slices.DeleteFunc(s.Truth.Faults, func(f FaultTruth) bool { return f.Kind == "" })
	s.Config.Faults = []Fault{}
	for _, f := range s.Truth.Faults {
		s.Config.Faults = append(s.Config.Faults, f.Fault)
	}
}

// playMachines plays all spreaders, then their loaders.
func (s *Season) playMachines(p *plan) []*recorder {
	var recorders []*recorder
	t := &s.Truth
	for i := range p.spreaders {
		c := newCrew(p, i, s.Config.Faults)
		c.play()
		recorders = append(recorders, c.rec)
		t.Fields = append(t.Fields, c.truth.Fields...)
		t.Intervals = append(t.Intervals, c.truth.Intervals...)
		t.Loads = append(t.Loads, c.truth.Loads...)
		t.Catches = append(t.Catches, c.truth.Catches...)
		t.SpreadKg += c.hopper.totalKg
		t.LeftKg += c.hopper.kg
		t.Fixes += c.fixes
		for k, f := range c.began {
			if first := &t.Faults[k]; first.Kind == "" || f.At.Before(first.At) {
				*first = f
			}
		}
	}
	loads := inTime(t.Loads)
	for i := range p.cfg.Loaders {
		recorders = append(recorders, weigh(p, i, s.Config.Faults, loads, t))
	}
	for i, f := range s.Config.Faults {
		if f.Kind == LateTablet {
			t.Faults[i] = FaultTruth{Fault: f, At: s.lateFrom(f)}
		}
	}
	return recorders
}

// gramKg is how exactly mass must be conserved.
const gramKg = 0.001

// check asserts conservation of mass and that every fault began.
func (s *Season) check() error {
	t := &s.Truth
	var onFields, intervals float64
	for _, l := range t.Loads {
		t.LoadedKg += l.MassKg
	}
	for _, f := range t.Fields {
		t.OutsideKg += f.OutsideKg
		onFields += f.MassKg + f.OutsideKg
	}
	for _, i := range t.Intervals {
		intervals += i.MassKg
	}
	for _, sum := range []float64{onFields, intervals, t.LoadedKg - t.LeftKg} {
		if !(math.Abs(sum-t.SpreadKg) <= gramKg) {
			return fault.Newf("play a season", fault.Internal,
				fmt.Sprintf("mass not conserved: spread %.4f kg, on fields %.4f, by intervals %.4f, loaded less left %.4f", t.SpreadKg, onFields, intervals, t.LoadedKg-t.LeftKg),
				"this is a fault of the program, please report it with the configuration")
		}
	}
	for i, f := range t.Faults {
		if f.Kind == "" {
			return usage("fault %+v never begins: the season is too short for it", s.Config.Faults[i])
		}
	}
	return nil
}

// Arrival is one event reaching the office.
type Arrival struct {
	Device schemas.DeviceID
	At     time.Time
	Event  *Event
}

// lateHold is how long a late tablet keeps its events, from the beginning of
// its day: until noon of the next.
const lateHold = 36 * time.Hour

func (s *Season) lateFrom(f Fault) time.Time {
	return s.Config.Start.Add(time.Duration(f.From-1) * 24 * time.Hour)
}

// ByTime is all events in the order the office would get them: when they
// happened, those of a late tablet when it has a link again. Each device's
// events keep their order.
func (s *Season) ByTime() []Arrival {
	var out []Arrival
	for d := range s.Devices {
		dev := &s.Devices[d]
		for i := range dev.Events {
			e := &dev.Events[i]
			out = append(out, Arrival{dev.ID, s.arrival(dev.ID, e.Time), e})
		}
	}
	slices.SortStableFunc(out, func(a, b Arrival) int { return a.At.Compare(b.At) })
	return out
}

func (s *Season) arrival(d schemas.DeviceID, at time.Time) time.Time {
	for _, f := range s.Config.Faults {
		from := s.lateFrom(f)
		if f.Kind == LateTablet && string(f.Machine) == string(d) && !at.Before(from) && at.Before(from.Add(lateHold)) {
			return from.Add(lateHold)
		}
	}
	return at
}
