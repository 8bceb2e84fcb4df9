package reconcile

import (
	"math"
	"slices"
	"strings"
	"testing"

	"hopperbook/schemas"
)

// kindOf are a result's findings of one kind.
func kindOf(r Result, kind string) []Finding {
	return slices.DeleteFunc(slices.Clone(r.Findings), func(f Finding) bool { return f.Kind != kind })
}

// picks gives every pass log of a world what the operator picked.
func picks(w *world, field schemas.FieldID, job schemas.JobID) *world {
	for i := range w.in.Passes {
		w.in.Passes[i].Field, w.in.Passes[i].Job = field, job
	}
	return w
}

// twoLines drives lines 0 and 1 of field 0 with a load of their nominal mass.
func twoLines() *world {
	w := newWorld(2)
	w.refill(2 * lineKg)
	w.line(0, 0)
	w.line(0, 1)
	w.refill()
	return w
}

func withJob(w *world, fields ...schemas.FieldID) *world {
	w.in.Jobs = append(w.in.Jobs, meta(w, "office", schemas.RegisterJob{Job: "J1", Customer: "C1", Fields: fields, Product: "super", SetRateKgHa: rateKgHa}))
	return w
}

// over registers a field on top of the squares, from x0 to x1.
func over(w *world, id schemas.FieldID, x0, x1 float64) *world {
	ring := []schemas.Position{at(x0, -5), at(x1, -5), at(x1, 405), at(x0, 405), at(x0, -5)}
	w.in.Fields = append(w.in.Fields, meta(w, "office", schemas.RegisterField{Field: id, Customer: "C1", Name: "Over", Boundary: schemas.Boundary{{ring}}}))
	return w
}

func TestWrongFieldPicked(t *testing.T) {
	silent := func(w *world) *world { // neither bout width nor set rate in the book
		w.in.Settings = nil
		return w
	}
	joined := func() *world { // one log that is mostly in F1 and ends in F2
		w := newWorld(2)
		w.refill(3 * lineKg)
		for _, l := range [][2]int{{0, 18}, {0, 19}, {1, 0}} {
			w.line(l[0], l[1])
		}
		w.refill()
		all := slices.Concat(w.in.Passes[0].Fixes, w.in.Passes[1].Fixes, w.in.Passes[2].Fixes)
		w.in.Passes = w.in.Passes[:1]
		w.in.Passes[0].Fixes = all
		return w
	}
	for _, c := range []struct {
		name  string
		w     *world
		kind  string // "": nothing is said
		count int
		kg    float64
		says  string
	}{
		{"right field", picks(twoLines(), "F1", ""), "", 0, 0, ""},
		{"nothing picked", picks(twoLines(), "", ""), "", 0, 0, ""},
		{"other field", picks(twoLines(), "F2", ""), "wrong_field_picked", 2, 2 * lineKg, "under field F2 but lie in field F1"},
		{"a name the book does not know", picks(twoLines(), "Home", ""), "wrong_field_picked", 2, 2 * lineKg, "under field Home"},
		{"no rate known", silent(picks(twoLines(), "F2", "")), "wrong_field_picked", 2, 0, "under field F2"},
		{"job of the field", picks(withJob(twoLines(), "F2", "F1"), "", "J1"), "", 0, 0, ""},
		{"job of another", picks(withJob(twoLines(), "F2"), "", "J1"), "wrong_field_picked", 2, 2 * lineKg, "under job J1 but"},
		{"job of another, field right", picks(withJob(twoLines(), "F2"), "F1", "J1"), "", 0, 0, ""},
		{"job not in the book", picks(twoLines(), "", "J9"), "", 0, 0, ""},
		{"a part in the neighbour", picks(joined(), "F1", ""), "", 0, 0, ""},
		{"most of it elsewhere", picks(joined(), "F2", ""), "wrong_field_picked", 1, 2 * lineKg, "lie in field F1"},
		{"fields on top of each other", picks(over(twoLines(), "A", -5, 405), "F1", ""), "fields_overlap", 2, 2 * lineKg, "under field F1 lie in field A as well"},
		{"an edge on top", picks(over(twoLines(), "A", -5, 25), "F1", ""), "fields_overlap", 1, lineKg, "1 pass logs made"}, // line 0 lies in A, line 1 does not
		{"a copy with a later name", picks(over(twoLines(), "Z", -5, 405), "F1", ""), "", 0, 0, ""},
	} {
		res := run(t, c.w.in)
		said := slices.Concat(kindOf(res, "wrong_field_picked"), kindOf(res, "fields_overlap"))
		if c.kind == "" {
			if len(said) != 0 {
				t.Errorf("%s: %+v", c.name, said)
			}
			continue
		}
		if len(said) != 1 || said[0].Kind != c.kind || said[0].Count != c.count || math.Abs(said[0].Amount-c.kg) > 0.01*lineKg || !strings.Contains(said[0].Text, c.says) {
			t.Errorf("%s: %+v", c.name, said)
		}
	}
}

// Spreading outside every field: the picked field is not held against the
// operator, but metres and kg are said with where to look.
func TestSpreadOutsideEveryField(t *testing.T) {
	w := twoLines()
	w.in.Fields = w.in.Fields[1:] // F1 is not in the book
	res := run(t, w.in)
	said := kindOf(res, "outside_fields")
	if len(said) != 1 || said[0].Count != 2 || math.Abs(said[0].Amount-2*lineKg) > 0.5 || said[0].Machine != "sp1" ||
		!strings.Contains(said[0].Text, "800 m and 320 kg nominal in all; the longest, 400 m, from 2026-03-02 08:") {
		t.Errorf("%+v", said)
	}
	if said := kindOf(res, "wrong_field_picked"); len(said) != 0 {
		t.Errorf("%+v", said)
	}
	if said := kindOf(run(t, twoLines().in), "outside_fields"); len(said) != 0 {
		t.Errorf("%+v", said)
	}
}
