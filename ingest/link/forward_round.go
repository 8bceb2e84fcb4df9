package link

import (
	"context"
	"errors"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nuid"

	"hopperbook/ingest"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Why a round ended, beside what the bus and the outbox say.
var (
	errLost   = errors.New("the connection is gone")
	errSilent = errors.New("the book has confirmed nothing for a while")
)

// longestSilence bounds how the silence grows: each ends in a window sent
// again, over a link where bytes may be dear.
const longestSilence = 5 * time.Minute

// poorLink is what the slowest link that is still of use carries, bytes a
// second.
const poorLink = 8 << 10

// flight is an event sent in this round and not known to be in the book.
type flight struct {
	id       string // under which it was sent
	sequence int64
	bytes    int
}

// round is one go from the watermark on.
type round struct {
	*Forwarder
	flights []flight
	bytes   int   // of flights
	sent    int64 // sequence sent last
	first   bool  // nothing was sent yet
	waiting []ingest.Outgoing
	silence *time.Timer
	pace    *time.Timer
}

// round sends from the watermark on until something ends it; it returns what.
func (f *Forwarder) round(ctx context.Context, status <-chan nats.Status) error {
	for len(f.fails) > 0 { // of the round before
		<-f.fails
	}
	for len(status) > 0 { // how the connection came to be
		<-status
	}
	if !f.conn.IsConnected() {
		return errLost
	}
	f.refused = nil
	f.tries++
	r := &round{Forwarder: f, first: true, silence: time.NewTimer(f.cfg.Silence), pace: time.NewTimer(0)}
	defer r.silence.Stop()
	defer r.pace.Stop()
	for {
		changed := f.cfg.Outbox.Changed()
		if err := r.fill(); err != nil {
			return err
		}
		if len(r.flights) == 0 {
			f.set(f.standing())
			r.silence.Reset(r.quietTime())
		}
		select {
		case <-ctx.Done():
			return nil
		case mark := <-f.mark:
			if err := r.confirmed(mark); err != nil {
				return err
			}
		case failed := <-f.fails:
			if err := r.failed(failed); err != nil {
				return err
			}
		case <-status: // even if it is back by now, what was under way is lost
			return errLost
		case <-r.silence.C:
			return errSilent
		case <-r.pace.C:
		case <-changed:
		}
	}
}

// standing is what there is to say of a link that works.
func (f *Forwarder) standing() (string, error) {
	if f.refused != nil {
		return LinkRefused, f.refused
	}
	return LinkUp, nil
}

// quietTime is how long a round waits for a confirmation: it grows with the
// rounds that brought none, because each sends a window again, and leaves a
// poor link the time to carry what is under way.
func (r *round) quietTime() time.Duration {
	carry := time.Duration(r.bytes) * time.Second / poorLink
	return grown(r.cfg.Silence, r.tries, max(longestSilence, r.cfg.Silence)) + carry
}

// fill sends as much as window and bandwidth leave room for.
func (r *round) fill() error {
	for {
		room := r.cfg.Window - len(r.flights)
		if len(r.waiting) == 0 && room > 0 && r.bytes < r.cfg.WindowBytes {
			var err error
			if r.waiting, err = r.cfg.Outbox.After(r.sent, room, r.cfg.WindowBytes-r.bytes); err != nil {
				return err
			}
		}
		if len(r.waiting) == 0 {
			return nil
		}
		if wait := r.free.Sub(r.cfg.Now()); wait > 0 {
			r.pace.Reset(wait)
			return nil
		}
		if err := r.send(&r.waiting[0]); err != nil {
			return err
		}
		r.waiting = r.waiting[1:]
	}
}

// send hands one event to the connection.
func (r *round) send(out *ingest.Outgoing) error {
	id := schemas.MessageID(out.Identity, out.Raw)
	if r.first {
		// What the stream took once it would swallow as a duplicate, and a
		// confirmation that was lost would not come again. Under an ID of its
		// own the first event reaches the book, which then says what it has.
		id += "/" + nuid.Next()
	}
	m := &nats.Msg{Subject: schemas.EventSubject(r.cfg.Contractor, schemas.PublishDevice(out.Source), out.Type), Data: out.Raw,
		Header: nats.Header{schemas.HeaderMsgID: {id}, schemas.HeaderContentType: {schemas.ContentType}}}
	r.sent = out.Sequence
	_, err := r.js.PublishMsgAsync(m, jetstream.WithRetryAttempts(0))
	switch {
	case errors.Is(err, nats.ErrMaxPayload):
		r.passOver(out.Identity, err)
		return nil
	case err != nil && !r.conn.IsConnected():
		return errLost
	case err != nil:
		return fault.New("send "+out.Identity.String(), fault.Unavailable, err, "")
	}
	r.first = false
	r.spend(m.Size())
	r.flights = append(r.flights, flight{id, out.Sequence, len(out.Raw)})
	if r.bytes += len(out.Raw); len(r.flights) == 1 {
		r.silence.Reset(r.quietTime())
	}
	return nil
}

// spend notes bytes sent, so that on average no more go than the cap.
func (f *Forwarder) spend(bytes int) {
	if f.cfg.BytesPerSecond <= 0 {
		return
	}
	now := f.cfg.Now()
	if f.free.Before(now) {
		f.free = now
	}
	f.free = f.free.Add(time.Duration(bytes) * time.Second / time.Duration(f.cfg.BytesPerSecond))
}

// passOver reports an event that cannot be sent; the others go on, and it is
// tried again in every round.
func (f *Forwarder) passOver(id schemas.Identity, err error) {
	f.refused = fault.New("send "+id.String(), fault.Input, err, "the bus takes no event of this size: raise max_payload there; the event stays in the outbox")
	f.set(LinkRefused, f.refused)
}

// confirmed takes from the window what the book has.
func (r *round) confirmed(mark schemas.Mark) error {
	if err := r.cfg.Outbox.Trim(mark); err != nil {
		return err
	}
	left := r.flights[:0]
	r.bytes = 0
	for _, fl := range r.flights {
		if !mark.Holds(fl.sequence) {
			left = append(left, fl)
			r.bytes += fl.bytes
		}
	}
	if len(left) < len(r.flights) {
		r.tries = 1
		r.silence.Reset(r.quietTime())
		r.set(r.standing())
	}
	r.flights = left
	return nil
}

// failed looks at an event that the stream did not take; nil: the round goes on.
func (r *round) failed(failed failure) error {
	var api *jetstream.APIError
	if errors.Is(failed.err, nats.ErrDisconnected) {
		return nil // of the connection before; status says when it is ours
	}
	if !errors.As(failed.err, &api) || api.ErrorCode != jetstreamMessageTooLarge {
		return failed.err
	}
	left := r.flights[:0]
	for _, fl := range r.flights {
		if fl.id == failed.id {
			r.bytes -= fl.bytes
			r.passOver(schemas.Identity{Source: r.cfg.Outbox.Source(), Sequence: fl.sequence}, failed.err)
			continue
		}
		left = append(left, fl)
	}
	r.flights = left
	return nil
}

// jetstreamMessageTooLarge is the server's code for "message size exceeds
// maximum allowed", which the client library has no name for.
const jetstreamMessageTooLarge = 10054

// after says how the link stands after a round and waits before the next one;
// an error ends forwarding.
func (f *Forwarder) after(ctx context.Context, end error) error {
	var api *jetstream.APIError
	denied := f.conn.LastError()
	switch code := fault.CodeOf(end); {
	case end == nil:
		return nil
	case errors.Is(end, errLost):
		f.tries = 0 // the link's doing: the next connection is used at once
		return nil
	case code == fault.Full: // nothing is lost; the outbox tells the operator
	case code == fault.Conflict, code == fault.Canceled, code == fault.Usage:
		f.set(LinkRefused, end)
		return end
	case errors.Is(denied, nats.ErrPermissionViolation):
		f.set(LinkRefused, fault.New("send", fault.Conflict, denied, "the office has not allowed this device to send, or no longer does: enrol it again"))
	case errors.As(end, &api):
		f.set(LinkRefused, fault.New("send", fault.Full, end, "the hub's stream takes no more: make room on the office's disk"))
	case errors.Is(end, errSilent): // the connection is fine and the stream took it
	default:
		f.set(LinkDown, fault.New("send", fault.Unavailable, end, "is the hub running?"))
	}
	return f.pause(ctx)
}

// grown is base doubled with every try after the first, up to bound.
func grown(base time.Duration, tries int, bound time.Duration) time.Duration {
	for ; tries > 1 && base < bound; tries-- {
		base *= 2
	}
	return min(base, bound)
}

// pauseTime is drawn evenly from nothing to the bound of this try.
func (f *Forwarder) pauseTime() time.Duration {
	return time.Duration(f.rng.Int64N(int64(grown(f.cfg.Backoff, f.tries, f.cfg.MaxBackoff)) + 1))
}

func (f *Forwarder) pause(ctx context.Context) error {
	timer := time.NewTimer(f.pauseTime())
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-ctx.Done():
	}
	return nil
}
