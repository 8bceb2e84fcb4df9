package track

import (
	"cmp"
	"math"
	"slices"

	"hopperbook/reconcile/plane"
	"hopperbook/schemas"
)

// Track is what Clean made of a log.
type Track struct {
	Segments []Segment // in order of time
	Findings []Finding // in order of time, then kind
	Used     int       // fixes left after dropping
}

// noiseM is allowed to a step on top of its speed: two positions may be off.
const noiseM = 1

// Clean orders the fixes of one machine, drops what is no position, joins the
// rest into segments and says what it met. Empty input gives an empty track. It never fails:
// what it cannot use is a finding. The input is not changed. O(n log n), O(n) when in order.
func Clean(fixes []schemas.Fix, opt Options) Track {
	opt = opt.withDefaults()
	found := &findings{open: map[Kind]stretch{}}
	lateness(fixes, found)
	kept := slices.Clone(fixes)
	if !slices.IsSortedFunc(kept, compareFixes) {
		slices.SortFunc(kept, compareFixes)
	}
	kept = dropRepeated(dropUnusable(kept, found), found)
	w := walk{opt: opt, found: found, fixes: kept, segments: make([]Segment, 0, len(kept))}
	w.run()
	tightTurns(w.segments, found)
	return Track{Segments: w.segments, Findings: found.sorted(), Used: len(kept) - w.dropped}
}

// compareFixes is a total order: by time, then by every other value, so that
// the order of arrival decides nothing.
func compareFixes(a, b schemas.Fix) int {
	if a.UnixMilli != b.UnixMilli {
		return cmp.Compare(a.UnixMilli, b.UnixMilli)
	}
	return cmp.Or(
		cmp.Compare(a.LatDeg, b.LatDeg), cmp.Compare(a.LonDeg, b.LonDeg),
		cmp.Compare(b.Spreading, a.Spreading), cmp.Compare(a.Quality, b.Quality),
		cmp.Compare(a.SpeedKmh, b.SpeedKmh), cmp.Compare(a.HeadingDeg, b.HeadingDeg),
		cmp.Compare(a.SetRateKgHa, b.SetRateKgHa), cmp.Compare(a.BoutWidthM, b.BoutWidthM))
}

func lateness(fixes []schemas.Fix, found *findings) {
	latest := int64(math.MinInt64)
	for i, f := range fixes {
		if f.UnixMilli < latest {
			late := seconds(f.UnixMilli, latest)
			found.add(Finding{OutOfOrder, f.UnixMilli, f.UnixMilli, 1, late, 0}, i, larger)
		}
		latest = max(latest, f.UnixMilli)
	}
}

func dropUnusable(fixes []schemas.Fix, found *findings) []schemas.Fix {
	kept := fixes[:0]
	for i, f := range fixes {
		var kind Kind
		switch {
		case !(math.Abs(f.LatDeg) <= 90 && math.Abs(f.LonDeg) <= 180):
			kind = BadPosition
		case f.LatDeg == 0 && f.LonDeg == 0:
			kind = NullPosition
		case f.Quality == schemas.QualityNone:
			kind = NoFix
		default:
			kept = append(kept, f)
			continue
		}
		found.add(Finding{kind, f.UnixMilli, f.UnixMilli, 1, 0, 0}, i, larger)
	}
	return kept
}

func dropRepeated(fixes []schemas.Fix, found *findings) []schemas.Fix {
	kept := fixes[:0]
	for _, f := range fixes {
		if len(kept) == 0 || kept[len(kept)-1].UnixMilli != f.UnixMilli {
			kept = append(kept, f)
			continue
		}
		first := kept[len(kept)-1]
		off := plane.DistanceM(first.LatDeg, first.LonDeg, f.LatDeg, f.LonDeg)
		// Numbered by the kept fixes, so that a log sent twice is one stretch.
		found.add(Finding{Duplicate, f.UnixMilli, f.UnixMilli, 1, off, 0}, len(kept), larger)
	}
	return kept
}

// seconds between two times. Those of a broken clock may overflow the difference.
func seconds(fromMilli, toMilli int64) float64 {
	if d := toMilli - fromMilli; (d > 0) == (toMilli > fromMilli) {
		return float64(d) / 1000
	}
	return (float64(toMilli) - float64(fromMilli)) / 1000
}
