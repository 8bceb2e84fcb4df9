package season

import (
	"math/rand/v2"
	"time"

	"github.com/oklog/ulid/v2"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Event is one event of a device as its bytes, with what ByTime and tests
// want to know of it without reading them.
type Event struct {
	schemas.Identity
	ID   schemas.EventID
	Type schemas.EventType
	Time time.Time
	Raw  []byte
}

// recorder makes the events of one source.
type recorder struct {
	source schemas.Source
	ids    *rand.ChaCha8
	events []Event
	err    error // the first failure; later adds do nothing
}

func newRecorder(seed uint64, source schemas.Source) *recorder {
	var key [32]byte
	copy(key[:], source)
	for i := range 8 {
		key[24+i] ^= byte(seed >> (8 * i))
	}
	return &recorder{source: source, ids: rand.NewChaCha8(key)}
}

func (r *recorder) add(t schemas.EventType, at time.Time, data any) {
	if r.err != nil {
		return
	}
	id, err := ulid.New(ulid.Timestamp(at), r.ids)
	if err != nil {
		r.err = fault.New("name an event", fault.Usage, err, "choose a start after 1970")
		return
	}
	e := Event{Identity: schemas.Identity{Source: r.source, Sequence: int64(len(r.events)) + 1}, ID: schemas.EventID(id.String()), Type: t, Time: at}
	if e.Raw, err = schemas.Write(e.Identity, e.ID, t, at, data); err != nil {
		r.err = fault.New("write an event of "+string(r.source), fault.Internal, err, "report this with the configuration")
		return
	}
	r.events = append(r.events, e)
}

// passFixes is how many fixes a pass log holds at most.
const passFixes = 60

// passLog collects fixes until there are enough for an event.
type passLog struct {
	from  time.Time
	batch schemas.PassLogged
}

func (l *passLog) add(at time.Time, latDeg, lonDeg, speedKmh, headingDeg float64, on bool, quality int64) {
	b := &l.batch
	if len(b.DtMs) == 0 {
		l.from = at
	}
	var spreading int64
	if on {
		spreading = 1
	}
	b.DtMs = append(b.DtMs, at.Sub(l.from).Milliseconds())
	b.Lat = append(b.Lat, latDeg)
	b.Lon = append(b.Lon, lonDeg)
	b.SpeedKmh = append(b.SpeedKmh, speedKmh)
	b.HeadingDeg = append(b.HeadingDeg, headingDeg)
	b.Spreading = append(b.Spreading, spreading)
	b.Quality = append(b.Quality, quality)
}

func (l *passLog) full() bool { return len(l.batch.DtMs) >= passFixes }

// flush writes what there is as one event and begins anew.
func (l *passLog) flush(r *recorder, at time.Time, rateKgHa, boutM float64, j schemas.JobID, f schemas.FieldID) {
	b := &l.batch
	if len(b.DtMs) == 0 {
		return
	}
	b.Start = l.from.Format(time.RFC3339Nano)
	b.SetRateKgHa = schemas.NumberOrList{One: &rateKgHa}
	b.BoutWidthM = &boutM
	b.Job, b.Field = j, f
	r.add(schemas.TypePassLogged, at, *b)
	*b = schemas.PassLogged{
		DtMs: b.DtMs[:0], Lat: b.Lat[:0], Lon: b.Lon[:0], SpeedKmh: b.SpeedKmh[:0],
		HeadingDeg: b.HeadingDeg[:0], Spreading: b.Spreading[:0], Quality: b.Quality[:0],
	}
}
