package ingest

import (
	"context"
	"iter"
	"time"

	"hopperbook/schemas"
)

// Delivery is one message of the stream, not yet acknowledged.
type Delivery struct {
	Data     []byte
	Subject  string
	MsgID    string // the identity its publisher gave it, "source#sequence"; may be ""
	Received time.Time
	Handle   any // the adapter's own; given back to Ack
}

// Source is where deliveries come from.
type Source interface {
	// Fetch waits for at least one delivery and returns at most max, or an
	// empty slice when ctx ends or nothing came for a while.
	Fetch(ctx context.Context, max int) ([]Delivery, error)
	// Ack tells the stream that the book has them. A lost ack is harmless:
	// the delivery comes again and is found to be a duplicate.
	Ack(deliveries []Delivery) error
}

// Outgoing is one event on its way to the stream: its bytes, and the identity
// and type they bring or were given.
type Outgoing struct {
	schemas.Identity
	Type schemas.EventType
	Raw  []byte
}

// Each hands out events that are at hand, none with an error.
func Each(events []Outgoing) iter.Seq2[Outgoing, error] {
	return func(yield func(Outgoing, error) bool) {
		for _, e := range events {
			if !yield(e, nil) {
				return
			}
		}
	}
}

// Received is an event that keeps the contract.
type Received struct {
	schemas.Event
	At time.Time // when the hub received it
}

// Reject is a message that breaks the contract, kept whole.
type Reject struct {
	Identity schemas.Identity // zero when it could not be read or is not to be trusted
	Subject  string
	Raw      []byte
	Reason   schemas.Violation
	At       time.Time
}

// Batch is what is committed in one transaction.
type Batch struct {
	Events  []Received
	Rejects []Reject
}

// Receipt is what a commit did. Marks holds every source the batch touched.
type Receipt struct {
	Stored      int // new events
	Duplicate   int // same identity, same bytes: nothing to do
	Quarantined int // same identity, other bytes: both kept
	Rejected    int // new rejects
	Marks       []schemas.Mark
}

// Store is the book as the writer sees it: one transaction a batch.
type Store interface {
	Commit(ctx context.Context, b Batch) (Receipt, error)
}

// Announcer tells the tablets, after the commit, what the book holds.
type Announcer interface {
	Announce(ctx context.Context, marks []schemas.Mark) error
}
