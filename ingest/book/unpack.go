package book

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"slices"

	"hopperbook/schemas"
)

var errPacked = errors.New("packed fixes are cut off or damaged")

// unpackFixes appends the fixes of a packed form to dst; O(fixes). Damaged
// bytes are an error, never a panic; no input makes it allocate more than
// maxPackFixes fixes.
func unpackFixes(packed []byte, dst []schemas.Fix) ([]schemas.Fix, error) {
	if len(packed) == 0 || packed[0] != packVersion {
		return dst, fmt.Errorf("packed fixes are of an unknown version")
	}
	r := unpacker{left: packed[1:]}
	n := r.uvarint()
	if r.bad || n > maxPackFixes {
		return dst, errPacked
	}
	from := len(dst)
	dst = slices.Grow(dst, int(n))[:from+int(n)]
	fixes := dst[from:]
	r.times(fixes)
	for _, c := range numberColumns() {
		r.column(fixes, c)
	}
	r.runs(fixes, func(f *schemas.Fix, v byte) { f.Spreading = schemas.Spreading(v) })
	r.runs(fixes, func(f *schemas.Fix, v byte) { f.Quality = schemas.Quality(v) })
	if r.bad || len(r.left) > 0 {
		return dst[:from], errPacked
	}
	return dst, nil
}

// unpacker reads from left; after the first fault it only yields zeros.
type unpacker struct {
	left []byte
	bad  bool
}

func (r *unpacker) fail() {
	r.bad, r.left = true, nil
}

func (r *unpacker) uvarint() uint64 {
	v, n := binary.Uvarint(r.left)
	if n <= 0 {
		r.fail()
		return 0
	}
	r.left = r.left[n:]
	return v
}

func (r *unpacker) varint() int64 {
	if len(r.left) >= 2 { // the usual cases: one byte, two bytes
		u, second := uint64(r.left[0]), uint64(r.left[1])
		switch {
		case u < 0x80:
			r.left = r.left[1:]
			return int64(u>>1) ^ -int64(u&1)
		case second < 0x80:
			u = u&0x7f | second<<7
			r.left = r.left[2:]
			return int64(u>>1) ^ -int64(u&1)
		}
	}
	v, n := binary.Varint(r.left)
	if n <= 0 {
		r.fail()
		return 0
	}
	r.left = r.left[n:]
	return v
}

func (r *unpacker) take(n int) []byte {
	if n > len(r.left) {
		r.fail()
		return nil
	}
	b := r.left[:n]
	r.left = r.left[n:]
	return b
}

// differences yields values one by one; the inverse of appendDifferences.
type differences struct {
	order       int
	last, slope int64
	started     bool
}

func (d *differences) next(v int64) int64 {
	if d.order == 2 {
		if v += d.slope; d.started {
			d.slope = v
		}
		d.started = true
	}
	d.last += v
	return d.last
}

func (r *unpacker) times(fixes []schemas.Fix) {
	d := differences{order: 2}
	for i := range fixes {
		fixes[i].UnixMilli = d.next(r.varint())
	}
}

func (r *unpacker) column(fixes []schemas.Fix, c numberColumn) {
	kind := r.take(1)
	if r.bad {
		return
	}
	switch kind[0] {
	case columnAbsent:
		for i := range fixes {
			*c.at(&fixes[i]) = math.NaN()
		}
	case columnConstant:
		v := float64(r.varint()) / c.perUnit
		for i := range fixes {
			*c.at(&fixes[i]) = v
		}
	case columnFull:
		r.values(fixes, c, nil)
	case columnMasked:
		r.values(fixes, c, r.take((len(fixes)+7)/8))
	default:
		r.fail()
	}
}

// values reads the values of the fixes whose bit is set in mask; of all when
// there is no mask. It is where unpacking spends its time.
func (r *unpacker) values(fixes []schemas.Fix, c numberColumn, mask []byte) {
	exponent := r.take(1)
	if r.bad || exponent[0] > maxExponent {
		r.fail()
		return
	}
	power := pow10[exponent[0]]
	d := differences{order: c.order}
	for i := range fixes {
		if mask != nil && mask[i/8]&(1<<(i%8)) == 0 {
			*c.at(&fixes[i]) = math.NaN()
			continue
		}
		*c.at(&fixes[i]) = float64(d.next(r.varint())*power) / c.perUnit
	}
}

func (r *unpacker) runs(fixes []schemas.Fix, set func(*schemas.Fix, byte)) {
	for i := 0; i < len(fixes); {
		v := r.take(1)
		n := r.uvarint()
		if r.bad || n == 0 || n > uint64(len(fixes)-i) {
			r.fail()
			return
		}
		for range n {
			set(&fixes[i], v[0])
			i++
		}
	}
}
