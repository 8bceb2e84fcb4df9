package cause

import (
	"math/rand/v2"
	"slices"
	"testing"
)

func rank(t *testing.T, all []Series) []Verdict {
	t.Helper()
	out, err := Rank(all, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// place of a kind among the causes, from 1; 0: not among them.
func placeOf(v Verdict, k Kind) int {
	return 1 + slices.IndexFunc(v.Causes, func(c Cause) bool { return c.Kind == k })
}

type tally struct{ claimed, first, second int }

func faults(t *testing.T, kind Kind, runs int, low, high float64) (out tally, wrongFirst map[Kind]int) {
	rng := rand.New(rand.NewPCG(21, uint64(len(kind))<<8|uint64(kind[0])))
	wrongFirst = map[Kind]int{}
	for range runs {
		all := inject(rng, kind, low+(high-low)*rng.Float64())
		all[0].Called = true
		v := rank(t, all)[0]
		p := placeOf(v, kind)
		if v.Claimed {
			out.claimed++
		}
		if p == 1 {
			out.first++
		} else {
			wrongFirst[v.Causes[0].Kind]++
		}
		if p == 1 || p == 2 {
			out.second++
		}
	}
	return out, wrongFirst
}

func TestTable(t *testing.T) {
	for _, k := range Kinds() {
		for _, r := range [][2]float64{{0.08, 0.15}, {0.05, 0.05}} {
			a, w := faults(t, k, 200, r[0], r[1])
			t.Logf("%-18s %.2f: claimed %d first %d two %d  %v", k, r[0], a.claimed, a.first, a.second, w)
		}
	}
}

func TestNull(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	n, claimed := 0, map[Kind]int{}
	for range 1000 {
		for _, v := range rank(t, measure(rng, scene(rng), noFault)) {
			n++
			if v.Claimed {
				claimed[v.Causes[0].Kind]++
			}
		}
	}
	t.Logf("of %d: %v", n, claimed)
}
