package hub

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"hopperbook/ingest"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

const (
	streamPrefix = "BOOK-" // and the contractor: several may share a server
	consumerName = "ingest"
	setupTimeout = 30 * time.Second

	// In flight between the stream and the book: enough to keep a commit
	// busy, little enough to fit in memory.
	pullMessages = 8000
	pullBytes    = 64 << 20
	batchBytes   = 32 << 20
	idleWait     = 250 * time.Millisecond
	// ackWait is longer than any commit takes; a second copy is a duplicate.
	ackWait = 2 * time.Minute
)

func streamName(c schemas.ContractorID) string { return streamPrefix + string(c) }

func (h *Hub) ensureStream() error {
	ctx, stop := context.WithTimeout(context.Background(), setupTimeout)
	defer stop()
	js, err := jetstream.New(h.conn)
	if err != nil {
		return fault.New("open the stream", fault.Internal, err, "")
	}
	_, err = js.CreateOrUpdateStream(ctx, jetstream.StreamConfig{
		Name: streamName(h.cfg.Contractor), Description: "events on their way into the book",
		Subjects:  []string{"book." + string(h.cfg.Contractor) + ".>"},
		Retention: jetstream.WorkQueuePolicy, Storage: jetstream.FileStorage,
		Discard: jetstream.DiscardNew, MaxMsgSize: maxPayload,
	})
	if err != nil {
		return fault.New("open the stream", fault.Unavailable, err, "the NATS server must have JetStream and room on its disk")
	}
	return nil
}

// Intake is the stream as the writer's Source.
type Intake struct {
	messages chan jetstream.Msg
	consume  jetstream.ConsumeContext
	held     *ingest.Delivery // taken from the channel but over the batch's bytes
}

// Intake begins to pull from the stream. The consumer is made anew: one left
// by a killed hub would hold back what that hub had in hand until its ack
// wait is over, while a new one gives everything the work queue still holds.
func (h *Hub) Intake(ctx context.Context) (*Intake, error) {
	js, err := jetstream.New(h.conn)
	if err != nil {
		return nil, fault.New("read the stream", fault.Internal, err, "")
	}
	if old, err := js.Consumer(ctx, streamName(h.cfg.Contractor), consumerName); err == nil && old.CachedInfo().NumWaiting > 0 {
		return nil, fault.Newf("read the stream", fault.Held, "another hub takes the events of "+string(h.cfg.Contractor)+" from this server",
			"stop it first: one hub has one book, and one contractor one hub")
	}
	if err := js.DeleteConsumer(ctx, streamName(h.cfg.Contractor), consumerName); err != nil && !errors.Is(err, jetstream.ErrConsumerNotFound) {
		return nil, fault.New("read the stream", fault.Unavailable, err, "restart the hub")
	}
	consumer, err := js.CreateConsumer(ctx, streamName(h.cfg.Contractor), jetstream.ConsumerConfig{
		Durable: consumerName, AckPolicy: jetstream.AckExplicitPolicy, AckWait: ackWait, MaxAckPending: 4 * pullMessages,
	})
	if err != nil {
		return nil, fault.New("read the stream", fault.Unavailable, err, "restart the hub")
	}
	in := &Intake{messages: make(chan jetstream.Msg, pullMessages)}
	in.consume, err = consumer.Consume(func(m jetstream.Msg) { in.messages <- m },
		jetstream.PullMaxMessagesWithBytesLimit(pullMessages, pullBytes))
	if err != nil {
		return nil, fault.New("read the stream", fault.Unavailable, err, "restart the hub")
	}
	return in, nil
}

// Close stops pulling; messages not acknowledged stay in the stream.
func (in *Intake) Close() {
	in.consume.Stop()
	for {
		select {
		case <-in.messages: // free a handler that waits for room
		case <-in.consume.Closed():
			return
		}
	}
}

// Fetch implements ingest.Source.
func (in *Intake) Fetch(ctx context.Context, max int) ([]ingest.Delivery, error) {
	first, ok := in.first(ctx)
	if !ok {
		return nil, nil
	}
	batch, size := []ingest.Delivery{first}, len(first.Data)
	for len(batch) < max {
		select {
		case m := <-in.messages:
			d := delivery(m)
			if size += len(d.Data); size > batchBytes {
				in.held = &d
				return batch, nil
			}
			batch = append(batch, d)
		default:
			return batch, nil
		}
	}
	return batch, nil
}

func (in *Intake) first(ctx context.Context) (ingest.Delivery, bool) {
	if d := in.held; d != nil {
		in.held = nil
		return *d, true
	}
	idle := time.NewTimer(idleWait)
	defer idle.Stop()
	select {
	case m := <-in.messages:
		return delivery(m), true
	case <-ctx.Done():
	case <-idle.C:
	}
	return ingest.Delivery{}, false
}

func delivery(m jetstream.Msg) ingest.Delivery {
	d := ingest.Delivery{Data: m.Data(), Subject: m.Subject(), MsgID: m.Headers().Get(schemas.HeaderMsgID), Handle: m}
	if meta, err := m.Metadata(); err == nil {
		d.Received = meta.Timestamp.UTC()
	}
	return d
}

// Ack implements ingest.Source.
func (in *Intake) Ack(deliveries []ingest.Delivery) error {
	for i := range deliveries {
		m, ok := deliveries[i].Handle.(jetstream.Msg)
		if !ok {
			return fault.Newf("acknowledge", fault.Internal, fmt.Sprintf("delivery %d is not the stream's", i), "")
		}
		if err := m.Ack(); err != nil {
			return fault.New("acknowledge", fault.Unavailable, err, "the bus is gone; restart the hub")
		}
	}
	return nil
}

// Announce implements ingest.Announcer: one message a source, on the marks
// subject of its device.
func (h *Hub) Announce(_ context.Context, marks []schemas.Mark) error {
	for _, m := range marks {
		raw, err := json.Marshal(m)
		if err != nil {
			return fault.New("announce a mark", fault.Internal, err, "")
		}
		if err := h.conn.Publish(schemas.MarksSubject(h.cfg.Contractor, schemas.PublishDevice(m.Source)), raw); err != nil {
			return fault.New("announce a mark", fault.Unavailable, err, "the bus is gone; restart the hub")
		}
	}
	return nil
}
