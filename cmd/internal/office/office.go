package office

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"hopperbook/cmd/internal/desk"
	"hopperbook/ingest/book"
	"hopperbook/ingest/hub"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Config says which book, and where its hub may be.
type Config struct {
	BookDir    string
	NATS       string // URL of the bus; "": look for a hub of the book, else open the book
	Contractor schemas.ContractorID
	Listen     string // for Run
	TLS        bool   // for Run: also on loopback
	// Lasting is a hub that tablets come to, for Run: it serves their packets,
	// raises notices and remembers where it listens. One that lives inside a
	// command does none of it.
	Lasting bool
	Quiet   time.Duration // for a lasting hub: how long without events before crews are told; 0: 2 s
	Logf    func(format string, args ...any)
}

// Asker answers questions of the book.
type Asker interface {
	Ask(ctx context.Context, question string, params any, w io.Writer) error
	Close() error
}

const helloWait = 3 * time.Second

// Open finds who answers for the book: the hub at cfg.NATS, the hub that left
// its note in the folder, or the book itself opened by this process.
func Open(ctx context.Context, cfg Config) (Asker, error) {
	if cfg.NATS != "" {
		client, err := dial(cfg)
		if err != nil {
			return nil, err
		}
		return remote{client}, nil
	}
	client, err := FindHub(ctx, cfg.BookDir)
	if err != nil {
		return nil, err
	}
	if client != nil {
		return remote{client}, nil
	}
	if !book.Exists(cfg.BookDir) {
		return nil, fault.Newf("open the book", fault.NotFound, "there is no book in "+cfg.BookDir,
			"publish events into it first, or name another folder with --book DIR (hopperbook demo --dir DIR makes one)")
	}
	if _, err := contractorOf(cfg.BookDir, cfg.Contractor); err != nil {
		return nil, err
	}
	opened, err := book.Open(ctx, cfg.BookDir, book.Options{})
	if err != nil {
		return nil, err
	}
	return local{opened, desk.New(opened)}, nil
}

// dial connects to the bus at cfg.NATS. The key of the book's folder is shown
// where there is one: that of a hub there, or one brought from its machine.
func dial(cfg Config) (*hub.Client, error) {
	access, err := hub.ReadAccess(cfg.BookDir)
	if err != nil {
		return nil, err
	}
	return hub.Dial(cfg.NATS, cfg.Contractor, "office", access)
}

// FindHub connects to the hub that left its note in the book's folder; nil
// when there is no note or nobody answers there (a killed hub leaves one).
func FindHub(ctx context.Context, dir string) (*hub.Client, error) {
	p, ok, err := hub.ReadPresence(dir)
	if err != nil || !ok {
		return nil, err
	}
	access, err := hub.ReadAccess(dir)
	if err != nil {
		return nil, err
	}
	client, err := hub.Dial(p.URL, p.Contractor, "office", access)
	if err != nil {
		return nil, nil // nobody there: the note is stale
	}
	ctx, stop := context.WithTimeout(ctx, helloWait)
	defer stop()
	if who, err := client.Hello(ctx); err != nil || who.Token != p.Token {
		client.Close()
		return nil, nil // a bus, but not the hub that left the note
	}
	return client, nil
}

type remote struct{ *hub.Client }

func (r remote) Close() error { r.Client.Close(); return nil }

type local struct {
	book *book.Book
	desk *desk.Desk
}

func (l local) Ask(ctx context.Context, question string, params any, w io.Writer) error {
	raw, err := json.Marshal(params)
	if err != nil {
		return fault.New("ask for "+question, fault.Internal, err, "")
	}
	return l.desk.Answer(ctx, question, raw, w)
}

func (l local) Close() error { return l.book.Close() }

// AskJSON asks and reads the answer into v.
func AskJSON(ctx context.Context, a Asker, question string, params, v any) error {
	r, w := io.Pipe()
	asked := make(chan error, 1)
	go func() {
		err := a.Ask(ctx, question, params, w)
		asked <- err
		w.CloseWithError(errors.Join(err, io.EOF))
	}()
	decodeErr := json.NewDecoder(r).Decode(v)
	_, copyErr := io.Copy(io.Discard, r)
	if err := <-asked; err != nil {
		return err
	}
	if err := errors.Join(decodeErr, ignoreEOF(copyErr)); err != nil {
		return fault.New(fmt.Sprintf("read the answer to %s", question), fault.Internal, err, "hub and command are of different versions; update the older")
	}
	return nil
}

func ignoreEOF(err error) error {
	if errors.Is(err, io.EOF) {
		return nil
	}
	return err
}
