package outbox

import (
	"errors"
	"fmt"
	"time"

	"github.com/oklog/ulid/v2"
	bolt "go.etcd.io/bbolt"

	"hopperbook/ingest"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Entry is an event to be made.
type Entry struct {
	At   time.Time // when it happened
	Type schemas.EventType
	Data any
	// Draft names the draft that the event stands for: it is dropped in the
	// same transaction, and where it is not there any more the event is refused
	// (fault.Conflict), because it was made already. "": none.
	Draft string
}

const (
	// keepEntries bounds the entries kept for the page.
	keepEntries = 200
	// passShare of the limit is open to pass logs and drafts: what the operator
	// enters can still be booked after they have filled it.
	passShare = 0.95
)

// Append makes one event and stores it, and state (the agent's snapshot)
// where it is not nil. When it returns without an error, both are on the disk.
// What breaks the contract is refused (fault.Input), and so is what finds no
// room (fault.Full); nothing is stored then.
func (o *Outbox) Append(at time.Time, typ schemas.EventType, data any, state []byte) (ingest.Outgoing, error) {
	var snapshot func([]ingest.Outgoing) ([]byte, error)
	if state != nil {
		snapshot = func([]ingest.Outgoing) ([]byte, error) { return state, nil }
	}
	made, err := o.AppendAll([]Entry{{At: at, Type: typ, Data: data}}, snapshot)
	if err != nil {
		return ingest.Outgoing{}, err
	}
	return made[0], nil
}

// AppendAll makes events of entries in their order, in one transaction with
// the snapshot that state (may be nil) gives for the events made. All of it is
// on the disk, or none of it and an error.
func (o *Outbox) AppendAll(entries []Entry, state func(made []ingest.Outgoing) ([]byte, error)) ([]ingest.Outgoing, error) {
	const op = "store an entry"
	var made []ingest.Outgoing
	var after int64
	var d day
	err := o.updateThen(op, func(tx *bolt.Tx) error {
		d = o.dayNow()
		events := tx.Bucket(bucketEvents)
		events.FillPercent = 1 // appended in order
		room := o.cfg.LimitBytes - usedBytes(tx)
		for i := range entries {
			out, err := o.add(tx, &entries[i], &room, &d)
			if err != nil {
				return err
			}
			made = append(made, out)
		}
		after = int64(events.Sequence())
		if err := tx.Bucket(bucketMeta).Put(keyDay, d.encode()); err != nil {
			return err
		}
		return o.putState(tx, state, made)
	}, func(tx *bolt.Tx) bool { return int64(tx.Bucket(bucketEvents).Sequence()) == after }, func() {
		o.last, o.day = after, d
		o.tell()
	})
	if err != nil {
		return nil, err
	}
	return made, nil
}

// add stores one event; room is what the limit leaves, in bytes.
func (o *Outbox) add(tx *bolt.Tx, e *Entry, room *int64, d *day) (ingest.Outgoing, error) {
	const op = "store an entry"
	events := tx.Bucket(bucketEvents)
	seq, err := events.NextSequence()
	if err != nil {
		return ingest.Outgoing{}, err
	}
	out, err := o.event(int64(seq), e)
	if err != nil {
		return out, err
	}
	if e.Draft != "" {
		drafts := tx.Bucket(bucketDrafts)
		if drafts.Get([]byte(e.Draft)) == nil {
			return out, fault.Newf(op, fault.Conflict, "the draft "+e.Draft+" is not there", "its event was made already")
		}
		if err := drafts.Delete([]byte(e.Draft)); err != nil {
			return out, err
		}
	}
	value := o.pack.pack(e.At, out.Raw)
	*room -= int64(len(value))
	if isPass := e.Type == schemas.TypePassLogged; *room < o.reserve(isPass) {
		return out, fault.Newf(op, fault.Full, fmt.Sprintf("the outbox has reached its limit of %d MB", o.cfg.LimitBytes>>20), hintFull)
	} else if !isPass {
		if err := keepEntry(tx.Bucket(bucketEntries), int64(seq), value); err != nil {
			return out, err
		}
	}
	d.add(int64(len(value)))
	return out, events.Put(bytesOf(int64(seq)), value)
}

// reserve is what pass logs and drafts must leave of the limit, in bytes.
func (o *Outbox) reserve(isPass bool) int64 {
	if !isPass {
		return 0
	}
	return o.cfg.LimitBytes - int64(passShare*float64(o.cfg.LimitBytes))
}

// event makes the event's bytes and holds them against the contract.
func (o *Outbox) event(seq int64, e *Entry) (ingest.Outgoing, error) {
	const op = "make an event"
	out := ingest.Outgoing{Identity: schemas.Identity{Source: o.source, Sequence: seq}, Type: e.Type}
	if e.At.Year() < 1970 || e.At.Year() > 9999 {
		return out, fault.Newf(op, fault.Input, "the time "+e.At.String()+" is off", "set the tablet's clock")
	}
	id, err := ulid.New(ulid.Timestamp(e.At), o.cfg.Rand)
	if err != nil {
		return out, fault.New(op, fault.Internal, err, "")
	}
	if out.Raw, err = schemas.Write(out.Identity, schemas.EventID(id.String()), e.Type, e.At, e.Data); err != nil {
		return out, err
	}
	if _, bad := schemas.Read(out.Raw); bad != nil {
		return out, fault.New(op, fault.Input, bad, "")
	}
	return out, nil
}

func keepEntry(entries *bolt.Bucket, seq int64, value []byte) error {
	if err := entries.Put(bytesOf(seq), value); err != nil {
		return err
	}
	n := 0
	c := entries.Cursor()
	for k, _ := c.Last(); k != nil; k, _ = c.Prev() {
		if n++; n > keepEntries {
			return c.Delete()
		}
	}
	return nil
}

func (o *Outbox) putState(tx *bolt.Tx, state func([]ingest.Outgoing) ([]byte, error), made []ingest.Outgoing) error {
	if state == nil {
		return nil
	}
	kept, err := state(made)
	if err != nil || kept == nil {
		return err
	}
	return tx.Bucket(bucketMeta).Put(keyState, kept)
}

// update runs fn in a transaction and syncs it. landed, where given, looks
// whether a transaction whose commit failed is in the file all the same.
func (o *Outbox) update(op string, fn func(tx *bolt.Tx) error, landed func(tx *bolt.Tx) bool) error {
	return o.updateThen(op, fn, landed, func() {})
}

// updateThen calls then, under the lock of what is held in memory, before another
// transaction can begin: what then notes cannot be overtaken.
func (o *Outbox) updateThen(op string, fn func(tx *bolt.Tx) error, landed func(tx *bolt.Tx) bool, then func()) error {
	o.writing.Lock()
	defer o.writing.Unlock()
	err := o.tryUpdate(fn, landed)
	o.mu.Lock()
	defer o.mu.Unlock()
	wasFull := o.full
	o.full = err != nil && (isFull(err) || fault.CodeOf(err) == fault.Full)
	if o.full != wasFull {
		o.tell()
	}
	if err == nil {
		then()
	}
	return explain(op, err)
}

func (o *Outbox) tryUpdate(fn func(tx *bolt.Tx) error, landed func(tx *bolt.Tx) bool) error {
	db, err := o.writable()
	if err != nil {
		return err
	}
	tx, err := db.Begin(true)
	if err != nil {
		return err
	}
	if err := fn(tx); err != nil {
		return errors.Join(err, tx.Rollback())
	}
	if err := tx.Commit(); err != nil {
		return o.mend(err, landed)
	}
	o.noteUsed(db)
	return nil
}
