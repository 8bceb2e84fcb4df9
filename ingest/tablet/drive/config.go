package drive

import (
	"time"

	"hopperbook/ingest"
	"hopperbook/ingest/tablet"
	"hopperbook/schemas"
)

// Cab is the agent as this package needs it; *tablet.Cab is one.
type Cab interface {
	OnFix(f schemas.Fix, markedBy string)
	Driving() tablet.Driving
	LogPass(p schemas.PassLogged, draft string) (ingest.Outgoing, error)
	SetGNSS(state string)
}

// Drafts keeps pass logs that are being gathered; a LogPass that names a draft
// drops it in the same transaction, and is refused (fault.Conflict) where it
// is gone.
type Drafts interface {
	Put(key string, data []byte) error
	All() ([]Draft, error) // by key
}

// Draft is a pass log that was being gathered.
type Draft struct {
	Key  string
	Data []byte
}

// Config is how a driver judges. The zero value of a field means the default.
type Config struct {
	// Coarsest is the least good quality that is logged; QualityGNSS. Dead
	// reckoning, manual input and simulation never are.
	Coarsest schemas.Quality
	// MinKmh and MaxKmh bound the rule of speed and field; 3 and 30 (common
	// practice, no source).
	MinKmh, MaxKmh float64
	// BatchFixes is how many fixes a pass log holds at most; 60.
	BatchFixes int
	// DraftEvery is how old a fix that is on no disk gets at most; 1 s.
	DraftEvery time.Duration
	// HoldFixes bounds what waits in memory while the disk takes nothing; 18 000,
	// an hour at 5 Hz.
	HoldFixes int
	// PositionsOnly makes no pass logs: a loader does not spread.
	PositionsOnly bool
	// HopperEmpty tells that the hopper was read as empty; nil: never known.
	HopperEmpty func() bool
	// Now is the device's clock; nil: time.Now.
	Now func() time.Time
}

const (
	standKmh = 0.5             // below this it stands: a receiver's speed is noise there
	standMs  = 4000            // one fix so often while it stands; track joins over 5 s
	pauseMs  = 60_000          // a longer pause ends a pass log
	spanMs   = 600_000         // and so does a longer span: what is held stays young
	quiet    = 3 * time.Second // without a fix: it searches
	leave    = 30 * time.Second
	tick     = 250 * time.Millisecond
	maxKmh   = 300 // of the contract
)

func (c Config) withDefaults() Config {
	def := func(v *float64, to float64) {
		if *v == 0 {
			*v = to
		}
	}
	def(&c.MinKmh, 3)
	def(&c.MaxKmh, 30)
	if c.Coarsest == schemas.QualityNone {
		c.Coarsest = schemas.QualityGNSS
	}
	if c.BatchFixes == 0 {
		c.BatchFixes = 60
	}
	if c.DraftEvery == 0 {
		c.DraftEvery = time.Second
	}
	if c.HoldFixes == 0 {
		c.HoldFixes = 18_000
	}
	if c.HopperEmpty == nil {
		c.HopperEmpty = func() bool { return false }
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	return c
}

// Counts says where every fix went: In is the sum of the others but Recovered.
type Counts struct {
	In     int64 `json:"in"`
	Logged int64 `json:"logged"` // in pass logs on the disk
	Held   int64 `json:"held"`   // in the log being gathered, or waiting for room

	Coarse     int64 `json:"coarse"`     // not good enough
	Impossible int64 `json:"impossible"` // no position or speed, or one that cannot be
	Repeated   int64 `json:"repeated"`   // the time of the fix before
	Thinned    int64 `json:"thinned"`    // while standing
	Lost       int64 `json:"lost"`       // the disk took nothing for too long
	Refused    int64 `json:"refused"`    // the log broke the contract
	Positions  int64 `json:"positions"`  // PositionsOnly

	Recovered int64 `json:"recovered"` // fixes of drafts that became pass logs at the start
}

// rank orders qualities from coarse to fine; 0: never logged.
func rank(q schemas.Quality) int {
	switch q {
	case schemas.QualityGNSS:
		return 1
	case schemas.QualityDGNSS, schemas.QualityPPS:
		return 2
	case schemas.QualityRTKFloat:
		return 3
	case schemas.QualityRTKFixed:
		return 4
	}
	return 0
}
