package office

import (
	"context"
	"errors"

	"hopperbook/cmd/internal/desk"
	"hopperbook/ingest"
	"hopperbook/ingest/book"
	"hopperbook/ingest/hub"
	"hopperbook/schemas/fault"
)

// Run is a hub: it opens the book, brings up the bus, writes what comes and
// answers questions until ctx ends. ready hears once, when tablets can
// publish. committed may be nil.
func Run(ctx context.Context, cfg Config, ready func(*hub.Hub), committed func(ingest.Receipt)) (err error) {
	client, err := FindHub(ctx, cfg.BookDir)
	if err != nil {
		return err
	}
	if client != nil {
		client.Close()
		return fault.Newf("start the hub", fault.Held, "a hub of this book already runs", "use it, or stop it first")
	}
	if cfg.Contractor, err = contractorOf(cfg.BookDir, cfg.Contractor); err != nil {
		return err
	}
	opened, err := book.Open(ctx, cfg.BookDir, book.Options{})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, opened.Close()) }()
	if err := keepContractor(cfg.BookDir, cfg.Contractor); err != nil {
		return err
	}
	bus, err := start(cfg)
	if err != nil {
		return err
	}
	defer bus.Close()
	intake, err := bus.Intake(ctx)
	if err != nil {
		return err
	}
	defer intake.Close()
	answering := desk.New(opened)
	if err := bus.Serve(ctx, front{answering, bus}); err != nil {
		return err
	}
	ctx, stop := context.WithCancel(ctx)
	if cfg.Lasting {
		told, err := lookAfterCrews(ctx, cfg, answering, opened, bus)
		if err != nil {
			stop()
			return err
		}
		defer told.end()
		committed = told.also(committed)
	}
	defer stop() // before what was started is waited for
	if err := hub.LeavePresence(cfg.BookDir, bus.Presence()); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, hub.RemovePresence(cfg.BookDir)) }()
	ready(bus)
	writer := ingest.Writer{Source: intake, Store: opened, Announcer: bus, Committed: committed, Waiting: func(why error) { sayWaiting(cfg, why) }}
	return writer.Run(ctx)
}

// start brings up the bus.
func start(cfg Config) (*hub.Hub, error) {
	c := hub.Config{Dir: cfg.BookDir, Listen: cfg.Listen, NATS: cfg.NATS, Contractor: cfg.Contractor, TLS: cfg.TLS, Logf: cfg.Logf}
	bus, err := hub.Start(c)
	if err == nil && cfg.Lasting {
		if err = bus.Remember(); err != nil {
			bus.Close()
		}
	}
	return bus, err
}

func sayWaiting(cfg Config, why error) {
	switch {
	case cfg.Logf == nil:
	case why == nil:
		cfg.Logf("the book takes events again")
	default:
		cfg.Logf("waiting, nothing is lost: %s", fault.Message(why))
	}
}

// With calls do with a client of the book's hub: the one that runs, or one
// that lives in this process for as long as do takes.
func With(ctx context.Context, cfg Config, do func(context.Context, *hub.Client) error) error {
	if cfg.NATS != "" {
		client, err := dial(cfg)
		if err != nil {
			return err
		}
		defer client.Close()
		return do(ctx, client)
	}
	client, err := FindHub(ctx, cfg.BookDir)
	if err != nil {
		return err
	}
	if client != nil {
		defer client.Close()
		return do(ctx, client)
	}
	cfg.Listen = "127.0.0.1:0"
	return WithOwnHub(ctx, cfg, func(ctx context.Context, bus *hub.Hub) error {
		client, err := bus.Dial("office")
		if err != nil {
			return err
		}
		defer client.Close()
		return do(ctx, client)
	})
}

// WithOwnHub runs a hub beside do and ends it afterwards; the first failure
// of either ends both.
func WithOwnHub(ctx context.Context, cfg Config, do func(context.Context, *hub.Hub) error) error {
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	ready := make(chan *hub.Hub, 1)
	ended := make(chan error, 1)
	go func() {
		err := Run(ctx, cfg, func(h *hub.Hub) { ready <- h }, nil)
		stop(err)
		ended <- err
	}()
	select {
	case err := <-ended:
		return err
	case bus := <-ready:
		err := do(ctx, bus)
		stop(nil)
		if hubErr := <-ended; hubErr != nil {
			return hubErr
		}
		return err
	}
}
