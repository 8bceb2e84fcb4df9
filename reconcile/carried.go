package reconcile

import (
	"fmt"
	"slices"

	"hopperbook/schemas"
)

// carry is what went from one filling into another, or was left in the hopper; or a
// filling that nobody read before more was put in.
type carry struct {
	product schemas.ProductID
	under   schemas.ProductID // the product it was left under, which nobody is billed
	kg      float64
	from    []schemas.JobID           // that took of what was put in with it
	to      map[schemas.JobID]float64 // the shares of those it went to
	unread  bool
	noLoad  bool // it is of no load that the book knows
}

// unsureCarried is a caution on what was in a hopper before or after the work.
const unsureCarried = "carried"

// carriedTold is the share of the mass loaded from which what was carried is told.
// Common practice, no source.
const carriedTold = 0.01

// carriesOf are the carries of a machine's fillings.
func carriesOf(fillings []filling, held []portion) (out []carry) {
	add := func(p portion, c carry) {
		if p.in >= 0 {
			c.kg, c.product, c.from = p.kg, fillings[p.in].product, sortedKeys(fillings[p.in].took)
			out = append(out, c)
		}
	}
	for i := range fillings {
		f := &fillings[i]
		if f.unread {
			out = append(out, carry{product: f.product, from: sortedKeys(f.took), unread: true})
		}
		for _, p := range f.lost {
			add(p, carry{under: f.product, to: f.took})
		}
		for _, p := range f.gone {
			if p.in == ofNoLoad {
				out = append(out, carry{product: f.product, kg: p.kg, to: f.took, noLoad: true})
			} else if p.in != i {
				add(p, carry{to: f.took})
			}
		}
	}
	for _, p := range held {
		if !fillings[len(fillings)-1].open || p.in != len(fillings)-1 {
			add(p, carry{})
		}
	}
	return out
}

// others are the jobs of some that are not the work's.
func (w *Work) others(jobs []schemas.JobID) (out []schemas.JobID) {
	for _, j := range jobs {
		if j != "" && !slices.Contains(w.Jobs, j) {
			out = append(out, j)
		}
	}
	return out
}

// hopperSums is what of each product came from the work of others, or was left to it.
type hopperSums struct {
	got, left, noLoad float64
	givers            []schemas.JobID
	unread            bool
}

// carriedText says what of the loads came from the work of others or was left to it.
func (w *Work) carriedText() (out []string) {
	loaded := map[schemas.ProductID]float64{}
	for _, l := range w.Loads {
		loaded[l.Product] += l.ForKg
	}
	sums := map[schemas.ProductID]*hopperSums{}
	for _, c := range w.carries {
		others, share := w.others(c.from), 0.0
		for _, j := range w.Jobs {
			share += c.to[j]
		}
		gave := slices.ContainsFunc(c.from, func(j schemas.JobID) bool { return slices.Contains(w.Jobs, j) })
		if c.under != "" {
			if (gave || share > 0) && c.kg > carriedTold*max(loaded[c.product], loaded[c.under]) {
				out = append(out, fmt.Sprintf("%.3f t of %s were left in the hopper under %s: loaded for nobody, and spread as %s", c.kg/1e3, c.product, c.under, c.under))
			}
			continue
		}
		if sums[c.product] == nil {
			sums[c.product] = &hopperSums{}
		}
		sum := sums[c.product]
		switch {
		case c.unread:
			sum.unread = sum.unread || gave && len(others) > 0
		case c.noLoad:
			sum.noLoad += share * c.kg
		default:
			if gave {
				sum.left += (1 - share) * c.kg
			}
			if share > 0 && len(others) > 0 {
				sum.got += share * c.kg
				sum.givers = append(sum.givers, others...)
			}
		}
	}
	for _, p := range sortedKeys(sums) {
		out = append(out, sums[p].text(p, carriedTold*loaded[p])...)
	}
	return out
}

// text tells of a product's masses that are more than least.
func (h *hopperSums) text(p schemas.ProductID, least float64) (out []string) {
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if h.got > least {
		slices.Sort(h.givers)
		say("%.3f t of %s were left in the hopper by %s, and are among what was loaded here", h.got/1e3, p, jobsText(slices.Compact(h.givers)))
	}
	if h.left > least {
		say("%.3f t of %s that were filled in were left in the hopper, as it was read, and are not among what was loaded here", h.left/1e3, p)
	}
	if h.noLoad > least {
		say("%.3f t of %s that went out are of no load with a weight, and are not among what was loaded here", h.noLoad/1e3, p)
	}
	if h.unread {
		say("%s: the hopper was not read when more was put in; the loads are divided with other jobs by what was spread", p)
	}
	return out
}

func jobsText(jobs []schemas.JobID) string {
	if len(jobs) == 1 {
		return "job " + string(jobs[0])
	}
	return "jobs " + list(jobs)
}
