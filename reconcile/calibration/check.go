package calibration

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
	"hopperbook/schemas/unit"
)

// Check is one item of a machine check, as it was noted.
type Check struct {
	Machine schemas.MachineID `json:"machine"`
	At      time.Time         `json:"at"`
	schemas.CheckMachine
}

// CheckLimit is what an item is held against; a list of them is data, and a
// contractor's own list may stand in the place of DefaultCheckLimits. An event's
// own limit_low and limit_high (the machine's own table) hold besides.
type CheckLimit struct {
	Item   string
	Words  string   // the item in trade words
	Unit   string   // of High
	High   *float64 // nil: only what the person noted and the machine's own table count
	Safety bool     // failed, it stands against the start of a job
	Ask    string   // what a failure asks for
}

// sagLimitMm: a floor belt that sags further is to be tensioned, both sides
// equally (common practice, no source).
const sagLimitMm = 50.0

// DefaultCheckLimits are the items in the order they are walked round the
// machine (common practice, no source). A safety item is one whose failure can
// hurt somebody as soon as the machine runs.
func DefaultCheckLimits() []CheckLimit {
	return []CheckLimit{
		{Item: schemas.ItemGuard, Words: "guards", Safety: true, Ask: "put every guard back in place"},
		{Item: schemas.ItemPTOGuard, Words: "PTO shaft guard", Safety: true, Ask: "fit a whole guard over the whole length of the shaft; it must not turn with it"},
		{Item: schemas.ItemLumpBreakerCover, Words: "lump-breaker cover", Safety: true, Ask: "close and fasten the cover"},
		{Item: schemas.ItemHitchChain, Words: "hitch chain", Safety: true, Ask: "replace or hook up the hitch chain"},
		{Item: schemas.ItemTyres, Words: "tyre pressure", Safety: true, Ask: "bring the tyre to the pressure of the machine's own table"},
		{Item: schemas.ItemBeltSag, Words: "belt sag", Unit: "mm", High: known(sagLimitMm), Ask: "tension the belt, both sides equally, and make a catch test"},
		{Item: schemas.ItemVanes, Words: "vanes", Ask: "clean or replace the vanes, both discs alike, and make a tray test"},
		{Item: schemas.ItemChains, Words: "chains", Ask: "tension or replace the chain"},
		{Item: schemas.ItemScreen, Words: "screen", Ask: "clean the screen"},
		{Item: schemas.ItemHydraulics, Words: "hydraulic oil level", Ask: "top up the oil and look for the leak"},
		{Item: schemas.ItemLevel, Words: "level on the ground", Ask: "bring the machine level before a tray test"},
	}
}

// CheckState is how an item stands.
type CheckState struct {
	Item     string    `json:"item"`
	Words    string    `json:"words"`
	Position string    `json:"position,omitempty"`
	Value    float64   `json:"value"`
	Unit     string    `json:"unit"`
	At       time.Time `json:"at"`
	Failed   bool      `json:"failed"`
	Safety   bool      `json:"safety"`
	Text     string    `json:"text"` // of a failed one: why, and what it asks for
}

// CheckStates tells how each item of a machine stands at a time: by its last
// check up to then, each position for itself. A check without a position is of
// the whole item and stands in the place of earlier ones of its positions. Of
// two at one instant the failed one counts. Sorted as limits are, then by
// position; items that limits do not name come last and are no safety items.
// O(n log n).
func CheckStates(checks []Check, machine schemas.MachineID, at time.Time, limits []CheckLimit) []CheckState {
	type place struct{ item, position string }
	last := map[place]CheckState{}
	own := slices.DeleteFunc(slices.Clone(checks), func(c Check) bool { return c.Machine != machine || c.At.After(at) })
	slices.SortStableFunc(own, func(a, b Check) int { return a.At.Compare(b.At) })
	for _, c := range own {
		limit := limitOf(c.Item, limits)
		s := limit.judge(c)
		for p, old := range last {
			if c.Position == "" && p.item == c.Item && p.position != "" && old.At.Before(c.At) {
				delete(last, p)
			}
		}
		p := place{c.Item, c.Position}
		if old, ok := last[p]; !ok || old.At.Before(c.At) || s.Failed && (!old.Failed || s.Text < old.Text) {
			last[p] = s
		}
	}
	states := make([]CheckState, 0, len(last))
	for _, s := range last {
		states = append(states, s)
	}
	order := func(item string) int {
		if i := slices.IndexFunc(limits, func(l CheckLimit) bool { return l.Item == item }); i >= 0 {
			return i
		}
		return len(limits)
	}
	slices.SortFunc(states, func(a, b CheckState) int {
		return cmp.Or(cmp.Compare(order(a.Item), order(b.Item)), strings.Compare(a.Item, b.Item), strings.Compare(a.Position, b.Position))
	})
	return states
}

func limitOf(item string, limits []CheckLimit) CheckLimit {
	if i := slices.IndexFunc(limits, func(l CheckLimit) bool { return l.Item == item }); i >= 0 {
		return limits[i]
	}
	return CheckLimit{Item: item, Words: strings.ReplaceAll(item, "_", " "), Ask: "put it right"}
}

// judge holds one check against the limit, the machine's own table and what the
// person noted; whichever fails it fails it.
func (l CheckLimit) judge(c Check) CheckState {
	s := CheckState{Item: c.Item, Words: l.Words, Position: c.Position, Value: c.Value, Unit: c.Unit, At: c.At, Safety: l.Safety}
	why := ""
	switch {
	case c.LimitHigh != nil && c.Value > *c.LimitHigh:
		why = fmt.Sprintf("%s %s is over %s by the machine's own table", unit.Whole(c.Value), c.Unit, unit.Whole(*c.LimitHigh))
	case c.LimitLow != nil && c.Value < *c.LimitLow:
		why = fmt.Sprintf("%s %s is under %s by the machine's own table", unit.Whole(c.Value), c.Unit, unit.Whole(*c.LimitLow))
	case l.High != nil && l.over(c):
		why = fmt.Sprintf("%s %s is over %s %s", unit.Whole(c.Value), c.Unit, unit.Whole(*l.High), l.Unit)
	case !c.Pass:
		why = "noted as failed"
	default:
		return s
	}
	name := l.Words
	if c.Position != "" {
		name += " " + c.Position
	}
	if c.Note != "" {
		why += " (" + c.Note + ")"
	}
	s.Failed, s.Text = true, name+": "+why+"; "+l.Ask
	return s
}

// over holds the value against the limit where its unit can be turned into the
// limit's.
func (l CheckLimit) over(c Check) bool {
	lengthMm := map[string]float64{"mm": 1, "cm": 10, "m": 1000}
	value, limit := lengthMm[c.Unit], lengthMm[l.Unit]
	if c.Unit == l.Unit {
		value, limit = 1, 1
	}
	return limit > 0 && value > 0 && c.Value*value > *l.High*limit
}

// StartPlan is what stands against starting a job with a machine: the tablet
// and hopperbook publish ask for it before they make a job.started event.
type StartPlan struct {
	Blocked  []CheckState      // failed safety checks
	Override *schemas.Override // who starts in spite of them, and why; nil: nobody
}

// PlanStart looks at the machine's safety checks up to the time of the start.
// What was never checked does not block; what failed does until it is checked
// again, however long ago it was. An override without a reason or a name is none.
func PlanStart(checks []Check, machine schemas.MachineID, at time.Time, override *schemas.Override, limits []CheckLimit) StartPlan {
	p := StartPlan{}
	for _, s := range CheckStates(checks, machine, at, limits) {
		if s.Failed && s.Safety {
			p.Blocked = append(p.Blocked, s)
		}
	}
	if override != nil && strings.TrimSpace(override.Reason) != "" && strings.TrimSpace(string(override.Operator)) != "" {
		p.Override = override
	}
	return p
}

// Reasons is every failed safety check in one sentence each, joined.
func (p StartPlan) Reasons() string {
	words := make([]string, len(p.Blocked))
	for i, s := range p.Blocked {
		words[i] = s.Text + " (" + s.At.UTC().Format("2006-01-02 15:04") + ")"
	}
	return strings.Join(words, "; ")
}

// Refusal is why the job must not be started (fault.Conflict), or nil: nothing
// failed, or somebody answers for it by name.
func (p StartPlan) Refusal() error {
	if len(p.Blocked) == 0 || p.Override != nil {
		return nil
	}
	return fault.Newf("start the job", fault.Conflict, "a safety check of the machine has failed: "+p.Reasons(),
		"stop the engine, put it right and note the check again; or start under an override with a reason and a name, which is recorded")
}
