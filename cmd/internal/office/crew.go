package office

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/oklog/ulid/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/ingest"
	"hopperbook/ingest/book"
	"hopperbook/ingest/hub"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

const (
	// defaultQuiet without a commit, and events are worked out for the crews.
	defaultQuiet = 2 * time.Second
	// longestWait while events keep coming, in quiets.
	longestWait = 15
	// restShare: working things out takes at most a fifth of the time.
	restShare = 4
	// lookAgain without any event: gaps grow old by themselves.
	lookAgain     = time.Hour
	raisePatience = time.Minute
)

// crews keeps the tablets' packets right and raises notices. It works things
// out when the book has been quiet for a while (or has not been for long), and
// only while a tablet is connected or has asked since the last time.
type crews struct {
	cfg    Config
	desk   *desk.Desk
	book   *book.Book
	bus    *hub.Hub
	client *hub.Client
	source schemas.Source
	nudge  chan struct{} // something was committed or asked for
	ended  chan struct{} // closed when run has ended

	working sync.Mutex // one refresh at a time; the next finds it done

	mu    sync.Mutex
	cabs  *desk.Cabs // nil: none asked for yet
	told  map[schemas.DeviceID]string
	asked bool // since the last pass
}

func newCrews(cfg Config, d *desk.Desk, b *book.Book, bus *hub.Hub) (*crews, error) {
	if cfg.Quiet == 0 {
		cfg.Quiet = defaultQuiet
	}
	install, err := officeInstall(cfg.BookDir)
	if err != nil {
		return nil, err
	}
	client, err := bus.Dial("crews")
	if err != nil {
		return nil, err
	}
	return &crews{cfg: cfg, desk: d, book: b, bus: bus, client: client, source: schemas.Source("/office/" + install),
		nudge: make(chan struct{}, 1), ended: make(chan struct{}), told: map[schemas.DeviceID]string{}}, nil
}

const installFile = "office-install"

// officeInstall tells this book's office apart in the sources of its events;
// made once.
func officeInstall(dir string) (string, error) {
	name := filepath.Join(dir, installFile)
	raw, err := os.ReadFile(name)
	if err == nil {
		if install := strings.TrimSpace(string(raw)); schemas.ValidToken(install) {
			return install, nil
		}
		return "", fault.Newf("read the office's name", fault.Input, installFile+" holds no name", "bring the file back from a backup, or remove it: the office then counts its events anew under another name")
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return "", fault.New("read the office's name", fault.Internal, err, "")
	}
	chance := make([]byte, 6)
	_, _ = rand.Read(chance) // never fails, see crypto/rand
	install := "o" + hex.EncodeToString(chance)
	if err := os.WriteFile(name, []byte(install+"\n"), 0o644); err != nil {
		return "", fault.New("write down the office's name", fault.Full, err, "is "+dir+" writable, and has the disk room?")
	}
	return install, nil
}

// changed hears that something is to be looked at; it never waits.
func (c *crews) changed() {
	select {
	case c.nudge <- struct{}{}:
	default:
	}
}

// Cab implements hub.CabDesk from what was worked out last: a tablet does not
// wait for more, it hears when there is more.
func (c *crews) Cab(ctx context.Context, d schemas.DeviceID, digest string) (*schemas.CabPacket, error) {
	c.mu.Lock()
	c.asked = true
	c.mu.Unlock()
	cabs, err := c.refreshed(ctx, 0)
	if err != nil {
		return nil, err
	}
	p, err := cabs.Packet(d, time.Now())
	if err != nil {
		return nil, err
	}
	c.mu.Lock()
	c.told[d] = p.Digest
	c.mu.Unlock()
	c.changed()
	if p.Digest == digest {
		return nil, nil
	}
	return p, nil
}

// refreshed is what the packets are made of, of a head that is at least that
// one.
func (c *crews) refreshed(ctx context.Context, head int64) (*desk.Cabs, error) {
	if cabs := c.latest(); cabs != nil && cabs.Head >= head {
		return cabs, nil
	}
	c.working.Lock()
	defer c.working.Unlock()
	if cabs := c.latest(); cabs != nil && cabs.Head >= head {
		return cabs, nil
	}
	cabs, err := c.desk.Cabs(ctx)
	if err != nil {
		return nil, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.cabs = cabs
	return cabs, nil
}

func (c *crews) latest() *desk.Cabs {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.cabs
}

// lookAfterCrews serves the tablets and runs until ctx ends; end waits for
// that.
func lookAfterCrews(ctx context.Context, cfg Config, d *desk.Desk, b *book.Book, bus *hub.Hub) (*crews, error) {
	c, err := newCrews(cfg, d, b, bus)
	if err != nil {
		return nil, err
	}
	if err := bus.ServeCab(ctx, c); err != nil {
		c.client.Close()
		return nil, err
	}
	go func() {
		defer close(c.ended)
		c.run(ctx)
	}()
	return c, nil
}

func (c *crews) end() {
	<-c.ended
	c.client.Close()
}

// also hears of commits before next (nil: nobody) does.
func (c *crews) also(next func(ingest.Receipt)) func(ingest.Receipt) {
	return func(r ingest.Receipt) {
		if r.Stored+r.Quarantined+r.Rejected > 0 {
			c.changed()
		}
		if next != nil {
			next(r)
		}
	}
}

// run looks after the crews until ctx ends.
func (c *crews) run(ctx context.Context) { c.passes(ctx, c.anyone, c.pass) }

// passes makes a pass when there was a change and it has been quiet since, or
// has not been for long, and only where there is anyone.
func (c *crews) passes(ctx context.Context, anyone func() bool, pass func(context.Context) error) {
	look := time.NewTicker(lookAgain)
	defer look.Stop()
	due := time.NewTimer(0)
	<-due.C
	defer due.Stop()
	var since, rested time.Time // of the first change not looked at; zero: none
	for {
		select {
		case <-ctx.Done():
			return
		case <-look.C:
			c.changed()
		case <-c.nudge:
			now := time.Now()
			if since.IsZero() {
				since = now
			}
			at := now.Add(c.cfg.Quiet)
			if latest := since.Add(longestWait * c.cfg.Quiet); at.After(latest) {
				at = latest
			}
			if at.Before(rested) {
				at = rested
			}
			due.Reset(time.Until(at))
		case <-due.C:
			since = time.Time{}
			if !anyone() {
				continue // whoever comes asks, and that is a change
			}
			began := time.Now()
			if err := pass(ctx); err != nil && ctx.Err() == nil && c.cfg.Logf != nil {
				c.cfg.Logf("the tablets' copies and notices wait for the next change: %s", fault.Message(err))
			}
			rested = time.Now().Add(restShare * time.Since(began))
		}
	}
}

// anyone reports whether a crew is there to hear.
func (c *crews) anyone() bool {
	c.mu.Lock()
	asked := c.asked
	c.mu.Unlock()
	return asked || len(c.bus.Connected()) > 0
}

// pass raises what is to be raised, works out the packets where the book has
// changed, and tells the tablets for which that made a difference.
func (c *crews) pass(ctx context.Context) error {
	c.mu.Lock()
	c.asked = false
	c.mu.Unlock()
	if err := c.notices(ctx); err != nil {
		return err
	}
	head, err := c.book.Head(ctx)
	if err != nil {
		return err
	}
	cabs, err := c.refreshed(ctx, head)
	if err != nil {
		return err
	}
	for _, d := range c.listeners() {
		p, err := cabs.Packet(d, time.Now())
		if err != nil {
			return err
		}
		c.mu.Lock()
		news := c.told[d] != p.Digest
		c.told[d] = p.Digest
		c.mu.Unlock()
		if news {
			if err := c.bus.CabNews(d); err != nil {
				return err
			}
		}
	}
	return nil
}

// listeners are the devices that are connected or have asked since the hub
// started.
func (c *crews) listeners() []schemas.DeviceID {
	all := c.bus.Connected()
	c.mu.Lock()
	defer c.mu.Unlock()
	for d := range c.told {
		all[d] = true
	}
	return slices.Sorted(maps.Keys(all))
}

// notices raises what the plan says, as events of this office. First everything
// that is on its way is waited for: a hub that was killed between the stream
// and the book may have left notices of ours there, with the numbers they bear.
func (c *crews) notices(ctx context.Context) error {
	if err := c.client.Settle(ctx, raisePatience); err != nil {
		return err
	}
	now := time.Now()
	plan, err := c.desk.PlanNotices(ctx, now)
	if err != nil || len(plan) == 0 {
		return err
	}
	mark, err := c.mark(ctx)
	if err != nil {
		return err
	}
	var out []ingest.Outgoing
	for sequence := mark.UpTo; len(out) < len(plan); {
		if sequence++; mark.Holds(sequence) {
			continue
		}
		id := schemas.Identity{Source: c.source, Sequence: sequence}
		raw, err := schemas.Write(id, schemas.EventID(ulid.Make().String()), schemas.TypeNoticeRaised, now, plan[len(out)])
		if err != nil {
			return err
		}
		out = append(out, ingest.Outgoing{Identity: id, Type: schemas.TypeNoticeRaised, Raw: raw})
	}
	_, err = c.client.Publish(ctx, ingest.Each(out), raisePatience, nil)
	return err
}

func (c *crews) mark(ctx context.Context) (schemas.Mark, error) {
	marks, err := c.book.Marks(ctx)
	for _, m := range marks {
		if m.Source == c.source {
			return m, err
		}
	}
	return schemas.Mark{Source: c.source}, err
}
