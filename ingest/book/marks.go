package book

import (
	"slices"

	"hopperbook/schemas"
)

// sourceMark is what the book holds of one source. The zero value holds
// nothing.
type sourceMark struct {
	no    int64
	upTo  int64
	above [][2]int64 // inclusive, sorted, disjoint, not touching, all > upTo+1
}

func (m *sourceMark) holds(seq int64) bool {
	if seq <= m.upTo {
		return true
	}
	i, found := m.search(seq)
	return found || (i < len(m.above) && m.above[i][0] <= seq)
}

// search finds the first range that ends at or after seq.
func (m *sourceMark) search(seq int64) (int, bool) {
	return slices.BinarySearchFunc(m.above, seq, func(r [2]int64, seq int64) int {
		switch {
		case r[1] < seq:
			return -1
		case r[1] > seq:
			return 1
		}
		return 0
	})
}

// add marks seq as held; seq is not held before. O(ranges) when it opens or
// joins a range, O(1) in the usual case of the next in line.
func (m *sourceMark) add(seq int64) {
	if seq == m.upTo+1 {
		m.upTo = seq
		if len(m.above) > 0 && m.above[0][0] == seq+1 {
			m.upTo = m.above[0][1]
			m.above = m.above[1:]
		}
		return
	}
	i, _ := m.search(seq)
	joinsLeft := i > 0 && m.above[i-1][1] == seq-1
	joinsRight := i < len(m.above) && m.above[i][0] == seq+1
	switch {
	case joinsLeft && joinsRight:
		m.above[i-1][1] = m.above[i][1]
		m.above = slices.Delete(m.above, i, i+1)
	case joinsLeft:
		m.above[i-1][1] = seq
	case joinsRight:
		m.above[i][0] = seq
	default:
		m.above = slices.Insert(m.above, i, [2]int64{seq, seq})
	}
}

func (m *sourceMark) clone() *sourceMark {
	c := *m
	c.above = slices.Clone(m.above)
	return &c
}

func (m *sourceMark) public(s schemas.Source) schemas.Mark {
	return schemas.Mark{Source: s, UpTo: m.upTo, Above: slices.Clone(m.above)}
}

// Gap is a run of sequences that a source has made and the book does not hold.
type Gap struct {
	Source schemas.Source `json:"source"`
	From   int64          `json:"from"`
	To     int64          `json:"to"` // inclusive
}

// GapsOf lists what is missing below the highest known sequence of each mark.
func GapsOf(marks []schemas.Mark) []Gap {
	var gaps []Gap
	for _, m := range marks {
		next := m.UpTo + 1
		for _, r := range m.Above {
			gaps = append(gaps, Gap{m.Source, next, r[0] - 1})
			next = r[1] + 1
		}
	}
	return gaps
}
