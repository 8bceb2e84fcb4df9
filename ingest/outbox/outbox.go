package outbox

import (
	"crypto/rand"
	"encoding/binary"
	"io"
	"sync"
	"time"

	bolt "go.etcd.io/bbolt"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// DefaultLimitBytes is the limit where Config gives none: 2 GiB.
const DefaultLimitBytes = 2 << 30

// Config says where the outbox is and whose it is.
type Config struct {
	Path       string           // of the file; its folder must exist
	Device     schemas.DeviceID // whose events it holds
	LimitBytes int64            // of pages in use; 0: DefaultLimitBytes

	Now  func() time.Time // nil: time.Now
	Rand io.Reader        // of install token and event IDs; nil: crypto/rand
}

func (c *Config) fill() error {
	if !schemas.ValidToken(string(c.Device)) {
		return fault.Newf("open the outbox", fault.Usage, "the device "+string(c.Device)+" is not a token", "use lower-case letters, digits, '-' and '_'")
	}
	if c.LimitBytes == 0 {
		c.LimitBytes = DefaultLimitBytes
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	if c.Rand == nil {
		c.Rand = rand.Reader
	}
	return nil
}

// Outbox is an open outbox; its methods are safe for concurrent use.
type Outbox struct {
	cfg    Config
	source schemas.Source
	pack   *packer

	writing sync.Mutex // held by the one writer

	life   sync.RWMutex // guards db against being closed under a reader
	db     *bolt.DB     // nil: broken or closed
	closed bool

	mu      sync.Mutex // guards what follows
	last    int64      // sequence given last
	mark    schemas.Mark
	used    int64 // bytes of pages in use after the last transaction
	day     day
	full    bool // the last write found no room
	changed chan struct{}
}

// The buckets and the keys of the meta bucket.
var (
	bucketMeta    = []byte("meta")
	bucketEvents  = []byte("events")  // sequence: packed event
	bucketEntries = []byte("entries") // the last entries again, for the page
	bucketDrafts  = []byte("drafts")

	keyFormat = []byte("format")
	keySource = []byte("source")
	keyState  = []byte("state")
	keyUpTo   = []byte("up_to")
	keyDay    = []byte("day")
)

const formatVersion = 1

// Open opens the outbox of a device, making it where there is none. A file of
// another device is refused (fault.Conflict), one that another process has
// open too (fault.Held). O(pages in use): the free pages are found anew, which
// makes every transaction cheaper.
func Open(cfg Config) (*Outbox, error) {
	if err := cfg.fill(); err != nil {
		return nil, err
	}
	if err := create(&cfg); err != nil {
		return nil, err
	}
	pack, err := newPacker()
	if err != nil {
		return nil, err
	}
	o := &Outbox{cfg: cfg, pack: pack, changed: make(chan struct{})}
	if o.db, err = openFile(cfg.Path); err != nil {
		return nil, err
	}
	if err := o.load(); err != nil {
		_ = o.db.Close() // the fault is what counts; nothing was written
		return nil, err
	}
	return o, nil
}

// load reads what is kept in memory; it refuses what is not ours.
func (o *Outbox) load() error {
	const op = "open the outbox"
	return o.db.View(func(tx *bolt.Tx) error {
		meta := tx.Bucket(bucketMeta)
		if meta == nil || tx.Bucket(bucketEvents) == nil {
			return fault.Newf(op, fault.Input, o.cfg.Path+" is not an outbox", "name another file, or move this one away")
		}
		if v := number(meta.Get(keyFormat)); v != formatVersion {
			return fault.Newf(op, fault.TooNew, o.cfg.Path+" was made by a newer version of the program", "update the program; the file is not changed")
		}
		o.source = schemas.Source(meta.Get(keySource))
		if device, _ := o.source.Device(); device != o.cfg.Device {
			return fault.Newf(op, fault.Conflict, o.cfg.Path+" is the outbox of "+string(device)+", not of "+string(o.cfg.Device),
				"start with --device "+string(device)+", or name another file for this device; what is in it stays")
		}
		o.last = int64(tx.Bucket(bucketEvents).Sequence())
		o.mark = schemas.Mark{Source: o.source, UpTo: number(meta.Get(keyUpTo))}
		o.day.decode(meta.Get(keyDay))
		o.used = usedBytes(tx)
		return nil
	})
}

// Close ends the use of the file. What comes after is refused.
func (o *Outbox) Close() error {
	o.writing.Lock()
	defer o.writing.Unlock()
	o.life.Lock()
	defer o.life.Unlock()
	o.closed = true
	if o.db == nil {
		return nil
	}
	err := o.db.Close()
	o.db = nil
	if err != nil {
		return explain("close the outbox", err)
	}
	return nil
}

// Source is the source of the events made here: device and install.
func (o *Outbox) Source() schemas.Source { return o.source }

// Changed gives a channel that is closed when Status is another.
func (o *Outbox) Changed() <-chan struct{} {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.changed
}

// tell wakes those who wait on Changed; o.mu is held.
func (o *Outbox) tell() {
	close(o.changed)
	o.changed = make(chan struct{})
}

func number(b []byte) int64 {
	if len(b) != 8 {
		return 0
	}
	return int64(binary.BigEndian.Uint64(b))
}

func bytesOf(n int64) []byte { return binary.BigEndian.AppendUint64(nil, uint64(n)) }
