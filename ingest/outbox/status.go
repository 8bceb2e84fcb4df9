package outbox

import (
	"encoding/binary"
	"os"
	"path/filepath"
	"time"

	bolt "go.etcd.io/bbolt"
)

// State is how much room the outbox has.
type State string

// The states. Filling warns long before nothing more can be stored.
const (
	StateOK      State = "ok"
	StateFilling State = "filling" // 70 % of the limit is used, or the disk has room for less than 10 % of it
	StateFull    State = "full"    // no room for pass logs, or the last write found none
)

const (
	fillingShare = 0.7
	scarceShare  = 0.1
	leastRoom    = 1 << 20 // bytes; what the disk has beyond a transaction's pages
)

// Status is how the outbox stands.
type Status struct {
	Waiting    int       // events that the book is not known to have
	Oldest     time.Time // when the oldest of them happened; zero: none waits
	Confirmed  int64     // the book has every event up to this sequence
	Bytes      int64     // of the file, free pages included
	UsedBytes  int64     // of the pages in use
	RoomBytes  int64     // what pass logs may still take, by the limit and by the disk
	LimitBytes int64     // of UsedBytes
	State      State
	// DaysLeft is RoomBytes at the rate of the last 24 hours (of less where the
	// outbox is younger, of an hour at least); nil: nothing was stored in them.
	DaysLeft *float64
}

// Status looks how the outbox stands; O(log events).
func (o *Outbox) Status() (Status, error) {
	const op = "look at the outbox"
	s := Status{LimitBytes: o.cfg.LimitBytes}
	var size int64
	err := o.view(op, func(tx *bolt.Tx) error {
		size = tx.Size()
		if k, v := tx.Bucket(bucketEvents).Cursor().First(); k != nil {
			s.Oldest = o.pack.unpack(v).at
		}
		return nil
	})
	if err != nil {
		return s, err
	}
	info, err := os.Stat(o.cfg.Path)
	if err != nil {
		return s, explain(op, err)
	}
	disk, err := freeBytes(filepath.Dir(o.cfg.Path))
	if err != nil {
		return s, explain(op, err)
	}
	d := o.dayNow()
	o.mu.Lock()
	defer o.mu.Unlock()
	s.Bytes, s.UsedBytes, s.Confirmed = info.Size(), o.used, o.mark.UpTo
	s.Waiting = int(o.last - o.mark.UpTo)
	for _, r := range o.mark.Above {
		s.Waiting -= int(r[1] - r[0] + 1)
	}
	disk += size - o.used // free pages of the file
	byLimit := s.LimitBytes - o.reserve(true) - s.UsedBytes
	s.RoomBytes = max(0, min(byLimit, disk))
	switch {
	case o.full || byLimit <= 0 || disk < leastRoom:
		s.State = StateFull
	case float64(s.UsedBytes) >= fillingShare*float64(s.LimitBytes), float64(disk) < scarceShare*float64(s.LimitBytes):
		s.State = StateFilling
	default:
		s.State = StateOK
	}
	if perDay := d.perDay(); perDay > 0 {
		left := float64(s.RoomBytes) / perDay
		s.DaysLeft = &left
	}
	return s, nil
}

// dayNow is the count of the last 24 hours as of now.
func (o *Outbox) dayNow() day {
	o.mu.Lock()
	defer o.mu.Unlock()
	d := o.day
	d.forward(o.cfg.Now().Unix() / 3600)
	return d
}

// day counts the bytes stored in each of the last 24 hours.
type day struct {
	hour  int64 // since 1970, of the last count
	since int64 // the hour of the first count
	bytes [24]int64
}

// forward empties the hours that have begun since the last count. A clock
// that was set back counts on in the hour it had reached; one that was far
// ahead begins anew.
func (d *day) forward(hour int64) {
	if hour < d.hour-48 || d.hour == 0 {
		*d = day{hour: hour, since: hour}
	}
	for h := max(d.hour+1, hour-23); h <= hour; h++ {
		d.bytes[h%24] = 0
	}
	d.hour = max(d.hour, hour)
}

func (d *day) add(n int64) { d.bytes[d.hour%24] += n }

func (d *day) encode() []byte {
	b := binary.BigEndian.AppendUint64(nil, uint64(d.hour))
	b = binary.BigEndian.AppendUint64(b, uint64(d.since))
	for _, n := range d.bytes {
		b = binary.BigEndian.AppendUint64(b, uint64(n))
	}
	return b
}

func (d *day) decode(b []byte) {
	if len(b) != 8*(2+len(d.bytes)) {
		return
	}
	d.hour, d.since = number(b[:8]), number(b[8:16])
	for i := range d.bytes {
		d.bytes[i] = number(b[16+8*i : 24+8*i])
	}
}

// perDay is the bytes stored a day at the rate counted; 0: none.
func (d *day) perDay() float64 {
	var sum int64
	for _, n := range d.bytes {
		sum += n
	}
	hours := min(max(d.hour-d.since+1, 1), 24)
	return float64(sum) * 24 / float64(hours)
}
