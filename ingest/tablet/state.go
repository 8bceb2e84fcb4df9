package tablet

import (
	"bytes"
	"compress/flate"
	"encoding/json"
	"errors"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/tidwall/gjson"

	"hopperbook/ingest"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// stateSchema names the shape of a snapshot.
const stateSchema = "hopperbook.tablet/1"

// undoFor is how long an entry can be taken back.
const undoFor = 24 * time.Hour

// keepEach is how many entries of a type are kept beyond undoFor.
const keepEach = 60

// state is the fold of the tablet's own events: what a snapshot holds. The
// same events in their order give the same state, wherever a snapshot and a
// restart lie between them; only Hand and Keys are not from events.
type state struct {
	Schema   string    `json:"schema"`
	Sequence int64     `json:"sequence"` // of the last event folded
	At       time.Time `json:"at"`       // of the latest event
	Count    int64     `json:"count"`    // the last number in an identifier
	Own      []own     `json:"own"`      // oldest first; pass logs are in Driven
	Driven   odometer  `json:"driven"`
	Hand     hand      `json:"hand"`
	Keys     []keyed   `json:"keys,omitempty"` // oldest first
}

// own is an event of this tablet that still matters.
type own struct {
	Event    schemas.EventID   `json:"event"`
	Sequence int64             `json:"sequence"`
	Type     schemas.EventType `json:"type"`
	At       time.Time         `json:"at"`
	Data     json.RawMessage   `json:"data"`
	Undone   bool              `json:"undone,omitempty"`
}

// hand is what the operator chose without making an event.
type hand struct {
	Job      schemas.JobID    `json:"job,omitempty"`
	Field    schemas.FieldID  `json:"field,omitempty"`
	Operator schemas.Operator `json:"operator,omitempty"`
	Mark     string           `json:"mark,omitempty"` // on, off: spreading by hand
}

func newState() state { return state{Schema: stateSchema, Driven: newOdometer()} }

// maxSnapshot bounds a snapshot as it is read, in bytes; they are some 50 kB.
const maxSnapshot = 16 << 20

// packer makes snapshots. They go to the disk with every pass log, so they are
// made small: a tenth of their JSON. Its half megabyte of tables is used again.
type packer struct{ w *flate.Writer }

// snapshot is a state as it is kept.
func (p *packer) snapshot(s *state) ([]byte, error) {
	const op = "keep the tablet's state"
	var kept bytes.Buffer
	if p.w == nil {
		w, err := flate.NewWriter(&kept, flate.BestSpeed)
		if err != nil {
			return nil, fault.New(op, fault.Internal, err, "")
		}
		p.w = w
	}
	p.w.Reset(&kept)
	if err := errors.Join(json.NewEncoder(p.w).Encode(s), p.w.Close()); err != nil {
		return nil, fault.New(op, fault.Internal, err, "")
	}
	return kept.Bytes(), nil
}

// restore reads a snapshot. One that is missing, or of another shape, is an
// empty state: the events on the disk make it anew.
func restore(kept []byte) state {
	s := newState()
	r := io.LimitReader(flate.NewReader(bytes.NewReader(kept)), maxSnapshot)
	if json.NewDecoder(r).Decode(&s) != nil || s.Schema != stateSchema || len(s.Driven.By) == 0 {
		return newState()
	}
	return s
}

func (s *state) clone() state {
	c := *s
	c.Own, c.Driven = slices.Clone(s.Own), s.Driven.clone()
	return c
}

// applyAll folds events that the state may or may not have.
func (s *state) applyAll(made []ingest.Outgoing) error {
	for _, out := range made {
		if out.Sequence <= s.Sequence {
			continue
		}
		if err := s.apply(out); err != nil {
			return err
		}
	}
	s.prune()
	return nil
}

func (s *state) apply(out ingest.Outgoing) error {
	s.Sequence = out.Sequence
	e, bad := schemas.Read(out.Raw)
	if bad != nil {
		return nil // the disk damaged it: the office keeps it as a reject, and the tablet must start all the same
	}
	if e.Time.After(s.At) {
		s.At = e.Time
	}
	switch e.Type {
	case schemas.TypePassLogged:
		return s.pass(e.Data)
	case schemas.TypeEventAmended:
		s.amended(e.Data)
		return nil
	case schemas.TypeHopperRefilled:
		s.Driven.refilled(e.ID, e.Time)
	}
	s.count(&e)
	s.Own = append(s.Own, own{Event: e.ID, Sequence: out.Sequence, Type: e.Type, At: e.Time, Data: json.RawMessage(e.Data)})
	return nil
}

func (s *state) pass(data string) error {
	fixes, _, err := schemas.PassFixes(data, nil)
	if err != nil {
		return err
	}
	rate, bout := s.inForce()
	for _, f := range fixes {
		s.Driven.add(pointOf(f, rate, bout))
	}
	return nil
}

// inForce is the set rate and bout width of the last setting; 0 without one.
func (s *state) inForce() (rateKgHa, boutM float64) {
	for _, o := range slices.Backward(s.Own) {
		if o.Type == schemas.TypeSettingChanged && !o.Undone {
			return gjson.GetBytes(o.Data, "set_rate_kg_ha").Num, gjson.GetBytes(o.Data, "bout_width_m").Num
		}
	}
	return 0, 0
}

func (s *state) amended(data string) {
	amends := schemas.EventID(gjson.Get(data, "amends").Str)
	if i := s.find(amends); i >= 0 && gjson.Get(data, "action").Str == schemas.AmendVoid {
		s.Own[i].Undone = true
	}
}

func (s *state) find(id schemas.EventID) int {
	return slices.IndexFunc(s.Own, func(o own) bool { return o.Event == id })
}

// idFields are the identifiers a tablet makes, by event type.
func idField(t schemas.EventType) (field, letter string) {
	switch t {
	case schemas.TypeLoadWeighed:
		return "load", "l"
	case schemas.TypeHopperRefilled:
		return "refill", "r"
	case schemas.TypeTestCatch:
		return "catch_test", "c"
	case schemas.TypeTestTray:
		return "tray_test", "t"
	}
	return "", ""
}

// count reads the number at the end of an identifier, so that it is never
// given again.
func (s *state) count(e *schemas.Event) {
	field, _ := idField(e.Type)
	if field == "" {
		return
	}
	id := gjson.Get(e.Data, field).Str
	if n, err := strconv.ParseInt(id[strings.LastIndexByte(id, '-')+1:], 10, 64); err == nil {
		s.Count = max(s.Count, n)
	}
}

// prune drops what nothing hangs on any more: entries that are too old to be
// taken back, beyond the latest of their type and the latest such of their own
// key (a check of an item and position, a setting or test of a product). The
// younger ones do not stand for it: they may still be taken back. Counts of
// refills that are gone go with them. What one prune drops a later one would,
// so it does not matter how often it runs.
func (s *state) prune() {
	seen := map[string]bool{}
	of := map[schemas.EventType]int{}
	kept := make([]bool, len(s.Own))
	for i, o := range slices.Backward(s.Own) {
		of[o.Type]++
		kept[i] = of[o.Type] <= keepEach || s.At.Sub(o.At) <= undoFor
		if key := o.key(); key != "" && !o.Undone && s.At.Sub(o.At) > undoFor {
			kept[i] = kept[i] || !seen[key]
			seen[key] = true
		}
	}
	s.keepLoads(kept)
	i := -1
	s.Own = slices.DeleteFunc(s.Own, func(own) bool { i++; return !kept[i] })
	s.Driven.By = slices.DeleteFunc(s.Driven.By, func(d driven) bool { return d.Event != "" && s.find(d.Event) < 0 })
}

// keepLoads keeps the loads of refills that are kept.
func (s *state) keepLoads(kept []bool) {
	named := map[schemas.LoadID]bool{}
	for i := range s.Own {
		if kept[i] && s.Own[i].Type == schemas.TypeHopperRefilled {
			for _, id := range decode[refillData](&s.Own[i]).Loads {
				named[id] = true
			}
		}
	}
	for i := range s.Own {
		if !kept[i] && s.Own[i].Type == schemas.TypeLoadWeighed {
			kept[i] = named[decode[loadData](&s.Own[i]).Load]
		}
	}
}

// key is what an entry is the latest of; "": nothing.
func (o *own) key() string {
	get := func(name string) string { return "/" + gjson.GetBytes(o.Data, name).Str }
	switch o.Type {
	case schemas.TypeCheckMachine:
		return "check" + get("item") + get("position")
	case schemas.TypeSettingChanged, schemas.TypeTestCatch, schemas.TypeTestDensity:
		return string(o.Type) + get("product")
	}
	return ""
}
