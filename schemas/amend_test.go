package schemas

import (
	"slices"
	"strconv"
	"testing"

	"hopperbook/schemas/fault"
)

const amended = EventID("01JNB3Q2Q3W4E5R6T7Y8V9B00E") // goodLoad

func amend(t *testing.T, seq int64, at string, data EventAmended) *Event {
	t.Helper()
	when, _ := parseTime(at)
	data.Amends, data.Reason = amended, "mistyped"
	raw, err := Write(Identity{"/office/desk1", seq}, "01JNB3Q2Q3W4E5R6T7Y8V9B00Z", TypeEventAmended, when, data)
	if err != nil {
		t.Fatal(err)
	}
	e, bad := Read(raw)
	if bad != nil {
		t.Fatal(bad)
	}
	return &e
}

func netKg(kg string) EventAmended {
	return EventAmended{Action: AmendReplace, Replacement: []byte(`{"load":"L-1","product":"urea-46","net_kg":` + kg + `,"method":"bucket"}`)}
}

func TestAmendments(t *testing.T) {
	load, bad := Read([]byte(goodLoad))
	if bad != nil {
		t.Fatal(bad)
	}
	void := EventAmended{Action: AmendVoid}
	const monday, tuesday = "2026-03-02T00:00:00Z", "2026-03-03T00:00:00Z"
	for _, r := range []struct {
		name   string
		events []*Event
		want   string // net_kg, "gone", or "error"
	}{
		{"none", nil, "6120"},
		{"replaced", []*Event{amend(t, 1, monday, netKg("6210"))}, "6210"},
		{"void", []*Event{amend(t, 1, monday, void)}, "gone"},
		{"the later counts", []*Event{amend(t, 1, tuesday, netKg("1")), amend(t, 2, monday, void)}, "1"},
		{"of one moment the higher sequence counts", []*Event{amend(t, 2, monday, netKg("2")), amend(t, 1, monday, void)}, "2"},
		{"breaks the contract", []*Event{amend(t, 1, monday, netKg("-5"))}, "error"},
	} {
		for range 2 { // in either order
			slices.Reverse(r.events)
			var a Amendments
			for _, e := range r.events {
				if err := a.Add(e); err != nil {
					t.Fatal(err)
				}
			}
			out, keep, err := a.Apply(load)
			got := "gone"
			if keep {
				d, _ := DecodeData[LoadWeighed](&out)
				got = strconv.FormatFloat(d.NetKg, 'f', -1, 64)
			}
			if err != nil {
				got = "error"
				if fault.CodeOf(err) != fault.Input || out.Data != load.Data || !keep {
					t.Errorf("%s: %v, data %s", r.name, err, out.Data)
				}
			}
			if a.Amends(load.ID) != (len(r.events) > 0) {
				t.Errorf("%s: Amends", r.name)
			}
			if got != r.want {
				t.Errorf("%s: %s, want %s", r.name, got, r.want)
			}
		}
	}
	if err := new(Amendments).Add(&load); err == nil {
		t.Error("a load is taken for an amendment")
	}
}
