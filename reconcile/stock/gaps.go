package stock

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"hopperbook/schemas"
)

// docketGap is a docket number that is not in the book while the next smaller
// and the next larger one are.
type docketGap struct {
	id            schemas.DocketID
	before, after time.Time // of those two, in the order of time
}

// A supplier numbers the dockets of other customers too; gaps say something
// only where most numbers are here.
const (
	gapShare  = 0.2 // of the numbers present; common practice, no source
	gapDigits = 15  // longer numbers are no counters
)

// docketGaps finds missing numbers, sorted.
func docketGaps(dockets []Docket) []docketGap {
	type numbered struct {
		number int64
		Docket
	}
	type series struct{ supplier, prefix string }
	all := map[series][]numbered{}
	var keys []series
	for _, d := range dockets {
		prefix, number, ok := docketNumber(d.ID)
		if !ok {
			continue
		}
		k := series{d.Supplier, prefix}
		if len(all[k]) == 0 {
			keys = append(keys, k)
		}
		all[k] = append(all[k], numbered{number, d})
	}
	slices.SortFunc(keys, func(a, b series) int {
		return cmp.Or(strings.Compare(a.supplier, b.supplier), strings.Compare(a.prefix, b.prefix))
	})
	var out []docketGap
	for _, k := range keys {
		list := all[k]
		slices.SortFunc(list, func(a, b numbered) int {
			return cmp.Or(cmp.Compare(a.number, b.number), strings.Compare(string(a.ID), string(b.ID)))
		})
		missing := list[len(list)-1].number - list[0].number + 1 - int64(len(list))
		if float64(missing) > max(1, gapShare*float64(len(list))) {
			continue
		}
		for i := 1; i < len(list); i++ {
			a, c := list[i-1], list[i]
			width := len(a.ID) - len(k.prefix)
			for n := a.number + 1; n < c.number; n++ {
				gap := docketGap{schemas.DocketID(fmt.Sprintf("%s%0*d", k.prefix, width, n)), a.Time, c.Time}
				if gap.after.Before(gap.before) {
					gap.before, gap.after = gap.after, gap.before
				}
				out = append(out, gap)
			}
		}
	}
	return out
}

// docketNumber splits a docket's name into what stands before its trailing
// digits and their number.
func docketNumber(id schemas.DocketID) (prefix string, number int64, ok bool) {
	prefix = strings.TrimRight(string(id), "0123456789")
	digits := string(id)[len(prefix):]
	if digits == "" || len(digits) > gapDigits {
		return "", 0, false
	}
	number, err := strconv.ParseInt(digits, 10, 64)
	return prefix, number, err == nil
}

// within lists the missing numbers that may belong to a period.
func within(gaps []docketGap, p *period) (ids []schemas.DocketID) {
	for _, g := range gaps {
		if (p.from == nil || g.after.After(p.from.Time)) && (p.to == nil || g.before.Before(p.to.Time)) {
			ids = append(ids, g.id)
		}
	}
	return ids
}
