package schemas

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/tidwall/gjson"
	"hopperbook/schemas/fault"
)

// Amendments holds what later events say of earlier ones. Where several amend
// the same event, the latest by (time, source, sequence) counts. The zero
// value amends nothing.
type Amendments struct {
	by   map[EventID]amendment
	used map[EventID]bool // amended events that Apply has met
}

type amendment struct {
	identity    Identity
	at          time.Time
	action      string
	replacement string
}

func (a amendment) after(b amendment) bool {
	if !a.at.Equal(b.at) {
		return a.at.After(b.at)
	}
	if a.identity.Source != b.identity.Source {
		return a.identity.Source > b.identity.Source
	}
	return a.identity.Sequence > b.identity.Sequence
}

// Add takes an event.amended event; it refuses any other type.
func (a *Amendments) Add(e *Event) error {
	if e.Type != TypeEventAmended {
		return fault.Newf("add an amendment", fault.Internal, fmt.Sprintf("%s is %s, not an amendment", e.Identity, e.Type), "")
	}
	if a.by == nil {
		a.by = map[EventID]amendment{}
	}
	next := amendment{e.Identity, e.Time, gjson.Get(e.Data, "action").Str, gjson.Get(e.Data, "replacement").Raw}
	amends := EventID(gjson.Get(e.Data, "amends").Str)
	if old, ok := a.by[amends]; !ok || next.after(old) {
		a.by[amends] = next
	}
	return nil
}

// Amends reports whether anything amends the event.
func (a *Amendments) Amends(id EventID) bool {
	_, ok := a.by[id]
	return ok
}

// Unused lists, in order, the amendments whose event Apply has not met, as
// identity of the amendment and the event it names.
func (a *Amendments) Unused() []UnusedAmendment {
	var out []UnusedAmendment
	for amends, am := range a.by {
		if !a.used[amends] {
			out = append(out, UnusedAmendment{am.identity, am.at, amends})
		}
	}
	slices.SortFunc(out, func(x, y UnusedAmendment) int { return strings.Compare(string(x.Amends), string(y.Amends)) })
	return out
}

// UnusedAmendment is an amendment that changes nothing.
type UnusedAmendment struct {
	Identity
	Time   time.Time
	Amends EventID
}

// Apply gives the event as it counts: unchanged, with its data replaced, or
// not at all (keep is false). A replacement that breaks the contract is an
// error and the event counts as it was.
func (a *Amendments) Apply(e Event) (out Event, keep bool, err error) {
	am, ok := a.by[e.ID]
	if !ok {
		return e, true, nil
	}
	if a.used == nil {
		a.used = map[EventID]bool{}
	}
	a.used[e.ID] = true
	switch {
	case am.action == AmendVoid:
		return e, false, nil
	}
	info, known := lookup(e.Type)
	if !known {
		return e, true, fault.Newf("amend "+e.Identity.String(), fault.Input, fmt.Sprintf("unknown type %s", e.Type), "")
	}
	if bad := info.checkData(gjson.Parse(am.replacement)); bad != nil {
		return e, true, fault.New(fmt.Sprintf("%s replaces %s", am.identity, e.Identity), fault.Input, bad, "correct the replacement in another event.amended")
	}
	e.Data = am.replacement
	return e, true, nil
}
