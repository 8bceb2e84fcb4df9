package outbox

import (
	"fmt"
	"slices"
	"time"

	bolt "go.etcd.io/bbolt"

	"hopperbook/ingest"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// After is the events above the sequence that the book is not known to have,
// in order: at most maxEvents of at most maxBytes together (the first always;
// 0: no bound). An event that the disk has damaged comes as bytes that the hub
// rejects and keeps.
func (o *Outbox) After(sequence int64, maxEvents, maxBytes int) ([]ingest.Outgoing, error) {
	o.mu.Lock()
	mark := o.mark
	o.mu.Unlock()
	var found []ingest.Outgoing
	size := 0
	err := o.view("read the outbox", func(tx *bolt.Tx) error {
		c := tx.Bucket(bucketEvents).Cursor()
		for k, v := c.Seek(bytesOf(sequence + 1)); k != nil; k, v = c.Next() {
			seq := number(k)
			if mark.Holds(seq) {
				continue
			}
			out := o.outgoing(seq, v)
			if size += len(out.Raw); len(found) > 0 && maxBytes > 0 && size > maxBytes {
				return nil
			}
			found = append(found, out)
			if len(found) == maxEvents {
				return nil
			}
		}
		return nil
	})
	return found, err
}

// Since is every event above the sequence that is still on the disk, in order,
// whether or not the book has it.
func (o *Outbox) Since(sequence int64) ([]ingest.Outgoing, error) {
	var found []ingest.Outgoing
	err := o.view("read the outbox", func(tx *bolt.Tx) error {
		c := tx.Bucket(bucketEvents).Cursor()
		for k, v := c.Seek(bytesOf(sequence + 1)); k != nil; k, v = c.Next() {
			found = append(found, o.outgoing(number(k), v))
		}
		return nil
	})
	return found, err
}

func (o *Outbox) outgoing(seq int64, v []byte) ingest.Outgoing {
	u := o.pack.unpack(v)
	return ingest.Outgoing{Identity: schemas.Identity{Source: o.source, Sequence: seq}, Type: u.typ, Raw: u.raw}
}

// trimChunk bounds the events of one trimming transaction, so that an entry
// never waits long behind it.
const trimChunk = 1000

// Trim takes away what the book has up to the mark's watermark; what it has
// above that stays, and After leaves it out. An older mark changes nothing. A
// mark beyond what was ever made here (fault.Conflict) says that this file is
// an old copy: its sequences are taken.
func (o *Outbox) Trim(mark schemas.Mark) error {
	const op = "trim the outbox"
	o.mu.Lock()
	last, done := o.last, o.mark.UpTo
	o.mu.Unlock()
	highest, inOrder := mark.UpTo, true
	for _, r := range mark.Above {
		inOrder = inOrder && r[0] > highest && r[1] >= r[0]
		highest = r[1]
	}
	switch {
	case mark.Source != o.source:
		return fault.Newf(op, fault.Usage, "the mark is of "+string(mark.Source)+", the outbox is "+string(o.source), "")
	case !inOrder:
		return fault.Newf(op, fault.Input, fmt.Sprintf("the ranges %v above %d are in no order", mark.Above, mark.UpTo), "hub and tablet are of different versions; update the older")
	case highest > last:
		return fault.Newf(op, fault.Conflict, fmt.Sprintf("the book has more events of %s than were made here (%d)", o.source, last),
			"this outbox is an old copy: keep it, and start the tablet with a new one so that it gets a source of its own")
	}
	for done < mark.UpTo {
		next := min(done+trimChunk, mark.UpTo)
		if err := o.update(op, func(tx *bolt.Tx) error { return drop(tx, next) }, nil); err != nil {
			return err
		}
		done = next
		o.hold(schemas.Mark{Source: o.source, UpTo: done, Above: mark.Above})
	}
	o.hold(mark)
	return nil
}

func (o *Outbox) hold(mark schemas.Mark) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if mark.UpTo < o.mark.UpTo || (mark.UpTo == o.mark.UpTo && slices.Equal(mark.Above, o.mark.Above)) {
		return
	}
	o.mark = mark
	o.tell()
}

// drop takes away every event up to the sequence.
func drop(tx *bolt.Tx, upTo int64) error {
	events := tx.Bucket(bucketEvents)
	c := events.Cursor()
	for k, _ := c.First(); k != nil && number(k) <= upTo; k, _ = c.First() {
		if err := c.Delete(); err != nil {
			return err
		}
	}
	return tx.Bucket(bucketMeta).Put(keyUpTo, bytesOf(upTo))
}

// Made is an entry of the tablet's own log.
type Made struct {
	ingest.Outgoing
	At   time.Time
	Sent bool // the book has it
}

// Recent is the last n entries (at most 200 are kept) that are no pass logs,
// newest first, whether or not they were trimmed.
func (o *Outbox) Recent(n int) ([]Made, error) {
	o.mu.Lock()
	mark := o.mark
	o.mu.Unlock()
	var found []Made
	err := o.view("read the last entries", func(tx *bolt.Tx) error {
		c := tx.Bucket(bucketEntries).Cursor()
		for k, v := c.Last(); k != nil && len(found) < n; k, v = c.Prev() {
			if u := o.pack.unpack(v); !u.damaged {
				id := schemas.Identity{Source: o.source, Sequence: number(k)}
				found = append(found, Made{ingest.Outgoing{Identity: id, Type: u.typ, Raw: u.raw}, u.at, mark.Holds(id.Sequence)})
			}
		}
		return nil
	})
	return found, err
}
