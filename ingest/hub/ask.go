package hub

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/micro"

	"hopperbook/schemas/fault"
)

const (
	serviceName    = "hopperbook"
	serviceVersion = "0.1.0"
	askPrefix      = "ask"
	hello          = "hello"
	headerInbox    = "Hopperbook-Inbox"
	headerHint     = "Hopperbook-Hint"
	chunkBytes     = 256 << 10
	beatEvery      = 2 * time.Second
	silence        = 30 * time.Second
)

// Desk answers the office's questions: it writes the answer of the named
// question, asked with the parameters in JSON, to w.
type Desk interface {
	Questions() []string
	Answer(ctx context.Context, question string, params []byte, w io.Writer) error
}

// Serve answers questions over NATS until the connection closes. Each
// question runs on its own, so that a long one keeps nobody waiting.
func (h *Hub) Serve(ctx context.Context, desk Desk) error {
	svc, err := micro.AddService(h.conn, micro.Config{Name: serviceName, Version: serviceVersion, Description: "the book's questions"})
	if err != nil {
		return fault.New("offer the questions", fault.Internal, err, "")
	}
	group := svc.AddGroup(askPrefix + "." + string(h.cfg.Contractor))
	err = group.AddEndpoint(hello, micro.HandlerFunc(func(req micro.Request) {
		_ = req.RespondJSON(h.Presence()) // an asker that is gone owes nothing and is owed nothing
	}))
	if err != nil {
		return fault.New("offer the questions", fault.Internal, err, "")
	}
	for _, question := range desk.Questions() {
		err := group.AddEndpoint(question, micro.HandlerFunc(func(req micro.Request) {
			go answer(ctx, h.conn, desk, question, req)
		}))
		if err != nil {
			return fault.New("offer the questions", fault.Internal, err, "")
		}
	}
	// Whoever hears that the hub is ready may ask at once.
	if err := h.conn.Flush(); err != nil {
		return fault.New("offer the questions", fault.Unavailable, err, "restart the hub")
	}
	return nil
}

func answer(ctx context.Context, conn *nats.Conn, desk Desk, question string, req micro.Request) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	w := &chunks{ctx: ctx, conn: conn, inbox: nats.Header(req.Headers()).Get(headerInbox)}
	beating := make(chan struct{})
	go func() {
		defer close(beating)
		w.beat()
	}()
	err := desk.Answer(ctx, question, req.Data(), w)
	if err == nil {
		err = w.flush()
	}
	stop()
	<-beating
	if err == nil {
		err = req.Respond(nil)
	} else {
		err = req.Error(fault.CodeOf(err).String(), err.Error(), nil, micro.WithHeaders(micro.Headers{headerHint: {fault.HintOf(err)}}))
	}
	if err != nil && !errors.Is(err, nats.ErrConnectionClosed) {
		// The asker is gone or the bus is closing; its silence limit tells it.
		return
	}
}

// chunks sends an answer piece by piece and waits for each piece to be taken:
// a slow reader slows the answer instead of losing parts of it.
type chunks struct {
	ctx   context.Context
	conn  *nats.Conn
	inbox string

	mu  sync.Mutex // one request at a time on the inbox, so that pieces keep their order
	buf []byte
}

// Write implements io.Writer.
func (c *chunks) Write(p []byte) (int, error) {
	c.buf = append(c.buf, p...)
	if len(c.buf) < chunkBytes {
		return len(p), nil
	}
	return len(p), c.flush()
}

func (c *chunks) flush() error {
	for len(c.buf) > 0 {
		n := min(len(c.buf), 4*chunkBytes)
		if err := c.send(c.buf[:n]); err != nil {
			return err
		}
		c.buf = c.buf[n:]
	}
	c.buf = nil
	return nil
}

func (c *chunks) send(piece []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	ctx, stop := context.WithTimeout(c.ctx, silence)
	defer stop()
	if _, err := c.conn.RequestWithContext(ctx, c.inbox, piece); err != nil {
		return fault.New("send the answer", fault.Unavailable, err, "ask again")
	}
	return nil
}

// beat says "still working" while a question is computed; an empty piece is
// nothing but that.
func (c *chunks) beat() {
	tick := time.NewTicker(beatEvery)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			if c.send(nil) != nil {
				return // the asker is gone; Write will meet the same
			}
		case <-c.ctx.Done():
			return
		}
	}
}

// Hello asks who the hub is.
func (c *Client) Hello(ctx context.Context) (Presence, error) {
	var p Presence
	reply, err := c.conn.RequestWithContext(ctx, c.questionSubject(hello), nil)
	if err := replyError("ask the hub who it is", reply, err); err != nil {
		return p, err
	}
	if err := json.Unmarshal(reply.Data, &p); err != nil {
		return p, fault.New("ask the hub who it is", fault.Internal, err, "hub and command are of different versions; update the older")
	}
	return p, nil
}

func (c *Client) questionSubject(question string) string {
	return askPrefix + "." + string(c.contractor) + "." + question
}

// Ask puts a question to the hub and copies the answer to w as it comes. An
// error means that w may hold only a part.
func (c *Client) Ask(ctx context.Context, question string, params any, w io.Writer) error {
	op := "ask the hub for " + question
	data, err := json.Marshal(params)
	if err != nil {
		return fault.New(op, fault.Internal, err, "")
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	inbox := c.conn.NewInbox()
	pieces := make(chan *nats.Msg, 1)
	sub, err := c.conn.Subscribe(inbox, func(m *nats.Msg) {
		select {
		case pieces <- m:
		case <-ctx.Done():
		}
	})
	if err != nil {
		return fault.New(op, fault.Unavailable, err, "")
	}
	defer func() { _ = sub.Unsubscribe() }() // the connection may be gone already; nothing is owed then

	done := make(chan error, 1)
	go func() {
		reply, err := c.conn.RequestMsgWithContext(ctx, &nats.Msg{Subject: c.questionSubject(question),
			Data: data, Header: nats.Header{headerInbox: {inbox}}})
		done <- replyError(op, reply, err)
	}()
	return receive(ctx, op, pieces, done, w)
}

func receive(ctx context.Context, op string, pieces <-chan *nats.Msg, done <-chan error, w io.Writer) error {
	quiet := time.NewTimer(silence)
	defer quiet.Stop()
	for {
		select {
		case m := <-pieces:
			if _, err := w.Write(m.Data); err != nil {
				return fault.Wrap(op, err)
			}
			if err := m.Respond(nil); err != nil {
				return fault.New(op, fault.Unavailable, err, "")
			}
			quiet.Reset(silence)
		case err := <-done:
			return err
		case <-ctx.Done():
			return fault.New(op, fault.Canceled, ctx.Err(), "")
		case <-quiet.C:
			return fault.Newf(op, fault.Unavailable, "the hub has gone silent", "is it still running? ask again")
		}
	}
}

func replyError(op string, reply *nats.Msg, err error) error {
	switch {
	case errors.Is(err, nats.ErrNoResponders):
		return fault.New(op, fault.Unavailable, err, "no hub answers there; start one with: hopperbook hub")
	case errors.Is(err, context.Canceled):
		return fault.New(op, fault.Canceled, err, "")
	case err != nil:
		return fault.New(op, fault.Unavailable, err, "")
	}
	if code := reply.Header.Get(micro.ErrorCodeHeader); code != "" {
		return fault.Newf("", fault.ParseCode(code), reply.Header.Get(micro.ErrorHeader), reply.Header.Get(headerHint))
	}
	return nil
}
