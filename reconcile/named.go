package reconcile

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// named finds a field by its identifier, or by a name that only one has.
func (r *registers) named(asked schemas.FieldID) (schemas.FieldID, error) {
	if _, ok := r.fields[asked]; ok {
		return asked, nil
	}
	var same []schemas.FieldID
	for _, id := range sortedKeys(r.fields) {
		if strings.EqualFold(string(id), string(asked)) || strings.EqualFold(r.fields[id].Data.Name, string(asked)) {
			same = append(same, id)
		}
	}
	switch {
	case len(same) == 1:
		return same[0], nil
	case len(same) > 1:
		return "", fault.Newf("find field "+string(asked), fault.Usage, "several fields are called that", "name one of: "+list(same))
	}
	return "", fault.Newf("find field "+string(asked), fault.NotFound, "there is no such field", r.nearTo(string(asked)))
}

// mostNear is how many fields a hint names.
const mostNear = 5

// nearTo is a hint: fields whose identifier or name is like what was asked for.
func (r *registers) nearTo(asked string) string {
	type guess struct {
		text string
		off  int
	}
	var guesses []guess
	for _, id := range sortedKeys(r.fields) {
		name := r.fields[id].Data.Name
		off := min(edits(strings.ToLower(asked), strings.ToLower(string(id))), edits(strings.ToLower(asked), strings.ToLower(name)))
		guesses = append(guesses, guess{fmt.Sprintf("%s (%s)", id, name), off})
	}
	if len(guesses) == 0 {
		return "no field is registered yet"
	}
	slices.SortStableFunc(guesses, func(a, b guess) int { return cmp.Compare(a.off, b.off) })
	var near []string
	for _, g := range guesses[:min(mostNear, len(guesses))] {
		near = append(near, g.text)
	}
	return fmt.Sprintf("near it, of %d fields: %s", len(guesses), strings.Join(near, ", "))
}

// edits is how many letters to change, add or take away between two words (Levenshtein). O(len a x len b).
func edits(a, b string) int {
	from, to := []rune(a), []rune(b)
	row := make([]int, len(to)+1)
	for j := range row {
		row[j] = j
	}
	for i, c := range from {
		diagonal := row[0]
		row[0] = i + 1
		for j, d := range to {
			change := diagonal
			if c != d {
				change++
			}
			diagonal = row[j+1]
			row[j+1] = min(change, diagonal+1, row[j]+1)
		}
	}
	return row[len(to)]
}

func list[T ~string](names []T) string {
	out := make([]string, len(names))
	for i, n := range names {
		out[i] = string(n)
	}
	return strings.Join(out, ", ")
}
