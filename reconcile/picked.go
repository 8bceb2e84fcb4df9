package reconcile

import (
	"fmt"
	"slices"
	"sort"

	"hopperbook/reconcile/track"
	"hopperbook/schemas"
)

// pickedWrong compares the field or job the operator picked with the field
// the boundary gives, by where a pass log spread most of its way: metres, because a
// log may know neither bout width nor set rate. The boundary counts; the disagreement is
// said once per pair. Where that ground lies in the picked field too, two boundaries
// overlap, which is no slip of the operator's.
func pickedWrong(reg *registers, id schemas.MachineID, passes []Pass, segments []track.Segment, found *findings) {
	type pair struct {
		kind, picked string
		field        schemas.FieldID
	}
	type sum struct {
		logs int
		kg   float64
		pass Pass
	}
	sums := map[pair]sum{}
	for _, p := range passes {
		mine := spreadIn(p, segments)
		field, lengthM, kg := whereMost(mine)
		if field == "" || !disagrees(reg, p, field) {
			continue
		}
		key := pair{"wrong_field_picked", "field " + string(p.Field), field}
		if p.Field == "" {
			key.picked = "job " + string(p.Job)
		}
		if inside := metresIn(reg, reg.picked(p), field, mine); inside > lengthM/2 {
			key.kind = "fields_overlap"
		}
		s, ok := sums[key]
		if !ok {
			s.pass = p
		}
		s.logs++
		s.kg += kg
		sums[key] = s
	}
	keys := make([]pair, 0, len(sums))
	for k := range sums {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b pair) int {
		return compareAt(sums[a].pass.start(), sums[b].pass.start(), sums[a].pass.Identity, sums[b].pass.Identity)
	})
	for _, k := range keys {
		s := sums[k]
		text := "%d pass logs were made under %s but lie in field %s (%.0f kg nominal); the boundary counts"
		if k.kind == "fields_overlap" {
			text = "%d pass logs made under %s lie in field %s as well (%.0f kg nominal): the boundaries overlap, and the latter counts by its name"
		}
		found.add(Finding{Kind: k.kind, Machine: id, Field: k.field, Event: s.pass.ID, At: s.pass.start(), Count: s.logs, Amount: s.kg, Unit: "kg",
			Text: fmt.Sprintf(text, s.logs, k.picked, k.field, s.kg)})
	}
}

// picked are the fields the operator's pick stands for; none where nothing
// was picked or the book does not know the job.
func (r *registers) picked(p Pass) []schemas.FieldID {
	if p.Field != "" {
		return []schemas.FieldID{p.Field}
	}
	return r.jobs[p.Job].Data.Fields
}

func disagrees(reg *registers, p Pass, field schemas.FieldID) bool {
	picked := reg.picked(p)
	return len(picked) > 0 && !slices.Contains(picked, field)
}

// spreadIn are the spreading pieces that begin within a pass log.
func spreadIn(p Pass, segments []track.Segment) (mine []track.Segment) {
	if len(p.Fixes) == 0 {
		return nil
	}
	from, to := p.Fixes[0].UnixMilli, p.Fixes[len(p.Fixes)-1].UnixMilli
	lo := sort.Search(len(segments), func(k int) bool { return segments[k].FromMilli >= from })
	for _, s := range segments[lo:] {
		if s.FromMilli >= to {
			break
		}
		if s.Spreading {
			mine = append(mine, s)
		}
	}
	return mine
}

// whereMost is the field ("": outside every one) that most of the pieces'
// metres lie in, with those metres and their nominal mass. The smaller ID of two equals.
func whereMost(pieces []track.Segment) (best schemas.FieldID, lengthM, kg float64) {
	sums := map[schemas.FieldID]track.Totals{}
	for _, s := range pieces {
		t := sums[s.Field]
		t.LengthM += s.LengthM
		t.NominalKg += s.NominalKg()
		sums[s.Field] = t
	}
	for _, field := range sortedKeys(sums) {
		if t := sums[field]; t.LengthM > lengthM {
			best, lengthM, kg = field, t.LengthM, t.NominalKg
		}
	}
	return best, lengthM, kg
}

// metresIn is how much of the pieces in a field lies within any of other
// fields too.
func metresIn(reg *registers, others []schemas.FieldID, field schemas.FieldID, pieces []track.Segment) (lengthM float64) {
	var grounds []track.Field
	for _, id := range others {
		grounds = append(grounds, reg.ground(id))
	}
	pieces = slices.DeleteFunc(pieces, func(s track.Segment) bool { return s.Field != field })
	for _, s := range track.NewGround(grounds).Split(pieces) {
		if s.Field != "" {
			lengthM += s.LengthM
		}
	}
	return lengthM
}
