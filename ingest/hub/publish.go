package hub

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"maps"
	"slices"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"hopperbook/ingest"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Progress hears how many events were sent and how many the book has
// confirmed so far.
type Progress func(sent, confirmed int)

// askAgain is how long the marks may be silent before the hub is asked for
// them: a mark may have been announced before we listened, or been lost.
const askAgain = 2 * time.Second

// drainEvery is how often the stream is asked whether it still holds what was
// sent; mostly the first answer is no.
const drainEvery = 50 * time.Millisecond

// Publish sends events and waits until the book has committed every one (as
// an event, a duplicate or a reject). It returns how many it sent. When
// patience passes without any new confirmation it gives up with an error;
// publishing the same events again changes nothing and is always safe.
func (c *Client) Publish(ctx context.Context, events iter.Seq2[ingest.Outgoing, error], patience time.Duration, report Progress) (sent int, err error) {
	w := &waiting{missing: map[schemas.Source][]int64{}, marks: make(chan *nats.Msg, 4096)}
	sub, err := c.conn.ChanSubscribe(schemas.MarksSubject(c.contractor, "*"), w.marks)
	if err != nil {
		return 0, fault.New("publish", fault.Unavailable, err, "")
	}
	defer func() { _ = sub.Unsubscribe() }() // the connection may be gone already; nothing is owed then

	var acks []jetstream.PubAckFuture
	var last uint64 // of our messages in the stream
	for out, err := range events {
		if err != nil {
			return sent, err
		}
		if len(out.Raw) > maxPayload-4096 {
			return sent, fault.Newf("publish "+out.Identity.String(), fault.Input, fmt.Sprintf("the event has %d bytes, the bus takes at most %d", len(out.Raw), maxPayload-4096), "split the pass log into smaller ones; the file still holds it")
		}
		ack, err := c.js.PublishMsgAsync(c.message(&out))
		if err != nil {
			return sent, fault.New("publish "+out.Identity.String(), fault.Unavailable, err, "nothing is lost: publish again when the hub answers")
		}
		if acks = append(acks, ack); len(acks) >= maxPending {
			if last, err = taken(ctx, acks, last); err != nil {
				return sent, err
			}
			acks = acks[:0]
		}
		w.missing[out.Source] = append(w.missing[out.Source], out.Sequence)
		w.total++
		sent++
		w.drain()
		tell(report, sent, w.confirmed)
	}
	if last, err = taken(ctx, acks, last); err != nil {
		return sent, err
	}
	if err := c.confirm(ctx, w, patience, func() { tell(report, sent, w.confirmed) }); err != nil {
		return sent, err
	}
	return sent, c.drained(ctx, last, patience)
}

func tell(report Progress, sent, confirmed int) {
	if report != nil {
		report(sent, confirmed)
	}
}

// taken waits until the stream has taken what was sent; it returns the highest
// number that the stream gave, at least last.
func taken(ctx context.Context, acks []jetstream.PubAckFuture, last uint64) (uint64, error) {
	for _, ack := range acks {
		select {
		case ok := <-ack.Ok():
			last = max(last, ok.Sequence)
		case err := <-ack.Err():
			var api *jetstream.APIError
			if errors.As(err, &api) {
				return last, fault.New("publish", fault.Full, err, "the hub's stream takes no more: make room on its disk, then publish again")
			}
			return last, fault.New("publish", fault.Unavailable, err, "no hub of this contractor took the event, or its disk is full; publish again, nothing is doubled")
		case <-ctx.Done():
			return last, fault.New("publish", fault.Canceled, ctx.Err(), "publish again, nothing is doubled")
		}
	}
	return last, nil
}

// drained waits until the stream holds nothing up to the message numbered
// last. The marks alone do not say that these bytes were dealt with when their
// identity was in the book before: as a reject now repaired, or under other
// bytes. The stream is a work queue, so what has left it was committed.
func (c *Client) drained(ctx context.Context, last uint64, patience time.Duration) error {
	const op = "wait for the book"
	ctx, stop := context.WithTimeout(ctx, patience)
	defer stop()
	again := time.NewTicker(drainEvery)
	defer again.Stop()
	for last > 0 {
		stream, err := c.js.Stream(ctx, streamName(c.contractor)) // brings its state
		if state := cachedState(stream); err == nil && (state.Msgs == 0 || state.FirstSeq > last) {
			return nil
		}
		select {
		case <-again.C:
		case <-ctx.Done():
			return fault.New(op, fault.Unavailable, errors.Join(err, ctx.Err()), "publish the same file again, nothing is doubled")
		}
	}
	return nil
}

// Settle waits until the book has dealt with everything that the stream holds
// now.
func (c *Client) Settle(ctx context.Context, patience time.Duration) error {
	stream, err := c.js.Stream(ctx, streamName(c.contractor)) // brings its state
	if err != nil {
		return fault.New("wait for the book", fault.Unavailable, err, "is the hub running?")
	}
	return c.drained(ctx, stream.CachedInfo().State.LastSeq, patience)
}

// waiting is what was sent and not yet seen to be in the book.
type waiting struct {
	missing   map[schemas.Source][]int64
	marks     chan *nats.Msg
	total     int
	confirmed int
}

// drain takes the marks that have come without waiting for more.
func (w *waiting) drain() {
	for {
		select {
		case m := <-w.marks:
			w.heard(m.Data)
		default:
			return
		}
	}
}

func (w *waiting) heard(raw []byte) {
	var m schemas.Mark
	if json.Unmarshal(raw, &m) == nil { // not a mark: not ours, no loss; the hub is asked again
		w.note(m)
	}
}

func (w *waiting) note(m schemas.Mark) {
	left, ok := w.missing[m.Source]
	if !ok {
		return
	}
	before := len(left)
	left = slices.DeleteFunc(left, m.Holds)
	w.confirmed += before - len(left)
	if w.missing[m.Source] = left; len(left) == 0 {
		delete(w.missing, m.Source)
	}
}

// confirm waits for the rest, asking the hub when the marks are silent.
func (c *Client) confirm(ctx context.Context, w *waiting, patience time.Duration, progress func()) error {
	quiet := time.NewTimer(patience)
	defer quiet.Stop()
	again := time.NewTicker(askAgain)
	defer again.Stop()
	// What was published before is a duplicate to the stream and brings no
	// new mark, so ask once before waiting.
	if err := c.askMarks(ctx, w); err != nil {
		return err
	}
	progress()
	for last := w.confirmed; len(w.missing) > 0; {
		select {
		case m := <-w.marks:
			w.heard(m.Data)
		case <-again.C:
			if err := c.askMarks(ctx, w); err != nil {
				return err
			}
		case <-ctx.Done():
			return fault.New("wait for the book", fault.Canceled, ctx.Err(), "publish again, nothing is doubled")
		case <-quiet.C:
			return fault.Newf("wait for the book", fault.Unavailable,
				fmt.Sprintf("%d of %d events are not confirmed to be in the book", w.total-w.confirmed, w.total),
				"they are with the hub's stream or lost on the way; publish the same file again, nothing is doubled")
		}
		if w.confirmed > last {
			last = w.confirmed
			quiet.Reset(patience)
			progress()
		}
	}
	return nil
}

// Marks asks the hub what the book holds of the sources named (all if none).
func (c *Client) Marks(ctx context.Context, sources ...schemas.Source) ([]schemas.Mark, error) {
	var answer bytesWriter
	if err := c.Ask(ctx, "marks", map[string]any{"sources": sources}, &answer); err != nil {
		return nil, err
	}
	var marks []schemas.Mark
	if err := json.Unmarshal(answer, &marks); err != nil {
		return nil, fault.New("read the marks", fault.Internal, err, "hub and command are of different versions; update the older")
	}
	return marks, nil
}

type bytesWriter []byte

func (b *bytesWriter) Write(p []byte) (int, error) {
	*b = append(*b, p...)
	return len(p), nil
}

// askMarks notes what the hub says it holds. A hub that does not answer now is
// no error: the caller asks again until its patience ends.
func (c *Client) askMarks(ctx context.Context, w *waiting) error {
	short, stop := context.WithTimeout(ctx, askAgain)
	defer stop()
	marks, err := c.Marks(short, slices.Sorted(maps.Keys(w.missing))...)
	for _, m := range marks {
		w.note(m)
	}
	if ctx.Err() == nil && (short.Err() != nil || fault.CodeOf(err) == fault.Unavailable) {
		return nil
	}
	return err
}

func cachedState(s jetstream.Stream) (state jetstream.StreamState) {
	if s != nil {
		state = s.CachedInfo().State
	}
	return state
}
