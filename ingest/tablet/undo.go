package tablet

import (
	"slices"

	"github.com/tidwall/gjson"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// undoReason stands in an amendment where the operator gives none.
const undoReason = "taken back on the tablet"

// canUndo reports whether entries of a type can be taken back.
func canUndo(t schemas.EventType) bool {
	return t != schemas.TypeNoticeAcknowledged && t != schemas.TypeEventAmended && t != schemas.TypePassLogged
}

// latest is the entry that an undo without a name takes back; nil: none.
func (s *state) latest() *own {
	for i := len(s.Own) - 1; i >= 0; i-- {
		if o := &s.Own[i]; !o.Undone && canUndo(o.Type) {
			return o
		}
	}
	return nil
}

func (c *Cab) undo(p *plan, in Undo) error {
	var o *own
	if in.Event == "" {
		if o = c.state.latest(); o == nil {
			return refuse(KeyUndoNothing, fault.NotFound, "", "nothing to take back")
		}
	} else if i := c.state.find(in.Event); i >= 0 {
		o = &c.state.Own[i]
	}
	switch {
	case o == nil || !canUndo(o.Type):
		return refuse(KeyUndoUnknown, fault.NotFound, "tell the office what is wrong", "%.64q is no entry of this tablet that can be taken back", string(in.Event))
	case o.Undone:
		return refuse(KeyUndoTwice, fault.Conflict, "enter it again if it was right", "it was taken back already")
	case p.at.Sub(o.At) > undoFor:
		return refuse(KeyUndoOld, fault.Conflict, "tell the office what is wrong", "it is older than a day")
	}
	reason := in.Reason
	if reason == "" {
		reason = undoReason
	}
	p.add(schemas.TypeEventAmended, schemas.EventAmended{Amends: o.Event, Action: schemas.AmendVoid, Reason: reason})
	return nil
}

// entries lists the latest entries, newest first.
func (c *Cab) entries(confirmed int64) []EntryView {
	out := []EntryView{}
	for _, o := range slices.Backward(c.state.Own) {
		if len(out) == shownEntries {
			break
		}
		kg, words := c.words(&o)
		out = append(out, EntryView{Event: o.Event, Type: o.Type, At: o.At, Kg: kg, Words: words, Sent: o.Sequence <= confirmed, Undone: o.Undone})
	}
	return out
}

func (c *Cab) undoView() *UndoView {
	o := c.state.latest()
	if o == nil || c.now().Sub(o.At) > undoFor {
		return nil
	}
	kg, words := c.words(o)
	return &UndoView{Event: o.Event, Type: o.Type, At: o.At, Kg: kg, Words: words}
}

// words is what an entry is known by on the page.
func (c *Cab) words(o *own) (kg *float64, words string) {
	switch o.Type {
	case schemas.TypeLoadWeighed:
		d := decode[loadData](o)
		return &d.NetKg, string(d.Product)
	case schemas.TypeHopperRefilled:
		d := decode[refillData](o)
		if len(d.Loads) == 0 && d.ToldKg == nil {
			return d.ResidualKg, string(d.Product)
		}
		in := c.book.loaded(&refillNote{refillData: d})
		return &in, string(d.Product)
	case schemas.TypeJobStarted:
		return nil, string(decode[schemas.JobStarted](o).Job)
	case schemas.TypeJobFinished:
		return nil, string(decode[schemas.JobFinished](o).Job)
	case schemas.TypeSettingChanged, schemas.TypeTestCatch, schemas.TypeTestDensity, schemas.TypeTestTray:
		return nil, gjson.GetBytes(o.Data, "product").Str
	case schemas.TypeCheckMachine:
		return nil, decode[schemas.CheckMachine](o).Item
	case schemas.TypeWeatherNoted:
		return nil, decode[schemas.WeatherNoted](o).Soil
	case schemas.TypeNoticeAcknowledged:
		return nil, string(decode[schemas.NoticeAcknowledged](o).Notice)
	}
	return nil, ""
}
