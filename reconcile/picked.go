package reconcile

import (
	"fmt"
	"slices"
	"sort"

	"hopperbook/reconcile/track"
	"hopperbook/schemas"
)

// pickedWrong compares the field or job the operator picked with the field
// the boundary gives, by where most of the nominal mass of a pass log went.
// The boundary counts; the disagreement is said once per pair.
func pickedWrong(reg *registers, id schemas.MachineID, passes []Pass, segments []track.Segment, found *findings) {
	type pair struct {
		picked string
		field  schemas.FieldID
	}
	type sum struct {
		logs int
		kg   float64
		pass Pass
	}
	sums := map[pair]sum{}
	for _, p := range passes {
		field, kg := whereMost(p, segments)
		if field == "" || !disagrees(reg, p, field) {
			continue
		}
		key := pair{"field " + string(p.Field), field}
		if p.Field == "" {
			key.picked = "job " + string(p.Job)
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
		found.add(Finding{Kind: "wrong_field_picked", Machine: id, Field: k.field, Event: s.pass.ID, At: s.pass.start(), Count: s.logs, Amount: s.kg, Unit: "kg",
			Text: fmt.Sprintf("%d pass logs were made under %s but lie in field %s (%.0f kg nominal); the boundary counts", s.logs, k.picked, k.field, s.kg)})
	}
}

func disagrees(reg *registers, p Pass, field schemas.FieldID) bool {
	if p.Field != "" {
		return p.Field != field
	}
	job, ok := reg.jobs[p.Job]
	return ok && !slices.Contains(job.Data.Fields, field)
}

// whereMost is the field that got most of a pass log's nominal mass.
func whereMost(p Pass, segments []track.Segment) (best schemas.FieldID, kg float64) {
	if len(p.Fixes) == 0 {
		return "", 0
	}
	from, to := p.Fixes[0].UnixMilli, p.Fixes[len(p.Fixes)-1].UnixMilli
	lo := sort.Search(len(segments), func(k int) bool { return segments[k].FromMilli >= from })
	sums := map[schemas.FieldID]float64{}
	for _, s := range segments[lo:] {
		if s.FromMilli >= to {
			break
		}
		sums[s.Field] += s.NominalKg()
	}
	for _, field := range sortedKeys(sums) {
		if sums[field] > kg {
			best, kg = field, sums[field]
		}
	}
	return best, kg
}
