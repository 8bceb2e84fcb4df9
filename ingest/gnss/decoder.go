package gnss

import (
	"bufio"
	"errors"
	"io"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Report counts what a stream held. Sentences is the sum of Used, OtherKinds,
// NoChecksum, BadChecksum and Malformed; at the end of the stream Epochs is
// the sum of Fixes, NoFix and Undated.
type Report struct {
	Sentences    int64 `json:"sentences"`
	Used         int64 `json:"used"`
	OtherKinds   int64 `json:"other_kinds"`   // sound, but not GGA, RMC, VTG or ZDA
	NoChecksum   int64 `json:"no_checksum"`   // cut short, or sent without one: not used
	BadChecksum  int64 `json:"bad_checksum"`  // damaged on the way: not used
	Malformed    int64 `json:"malformed"`     // right checksum, impossible content or over 1024 bytes: not used
	SkippedBytes int64 `json:"skipped_bytes"` // line ends, comments, other protocols

	Epochs    int64 `json:"epochs"` // instants with a GGA or RMC; without a time each sentence counts
	Fixes     int64 `json:"fixes"`
	NoFix     int64 `json:"no_fix"`    // the receiver had no position
	Undated   int64 `json:"undated"`   // a position, but no date in the whole stream or only long after
	Backwards int64 `json:"backwards"` // fixes earlier than the one before; given nevertheless
}

// Options are what the bytes cannot say. The zero value is right where the
// receiver sends RMC or ZDA.
type Options struct {
	// FirstDay is the UTC day of the first fix, for receivers that send only
	// GGA. A date in the stream takes its place. Zero: not known.
	FirstDay time.Time
}

// Decoder reads fixes one by one as they come, from a file or a live port.
type Decoder struct {
	scan  *bufio.Scanner
	frame framer
	epoch assembler
	count Report
	err   error // set once the stream has ended
}

// NewDecoder reads from r, which it does not close. It reads ahead at most 16 KiB.
func NewDecoder(r io.Reader, o Options) *Decoder {
	d := &Decoder{scan: bufio.NewScanner(r)}
	d.epoch.counts = &d.count
	if !o.FirstDay.IsZero() {
		ms := o.FirstDay.UnixMilli()
		d.epoch.startDay = (ms - mod(ms, dayMs)) / dayMs
	}
	const readAhead = 16 * 1024
	d.scan.Buffer(make([]byte, readAhead), readAhead)
	d.scan.Split(d.frame.split)
	return d
}

// Next is the next fix in the order of the stream. A fix comes when its epoch
// is complete, that is with the first sentence of the next one or at the end.
// Next blocks as long as the reader does; closing the port ends it. The error
// is io.EOF at the end, else a fault.Error of what the reader said; fixes read
// before it are given first.
func (d *Decoder) Next() (schemas.Fix, error) {
	for {
		if fix, ok := d.epoch.pop(); ok {
			return fix, nil
		}
		if d.err != nil {
			return schemas.Fix{}, d.err
		}
		if d.scan.Scan() {
			d.take(d.scan.Bytes())
			continue
		}
		d.epoch.end()
		d.err = ending(d.scan.Err())
	}
}

func ending(err error) error {
	if err == nil {
		return io.EOF
	}
	return fault.New("read GNSS data", fault.Unavailable, err, "check the receiver's cable and port, or the file, and start again")
}

// take counts one framed sentence and hands it on when it is sound.
func (d *Decoder) take(sentence []byte) {
	d.count.Sentences++
	switch d.frame.flaw {
	case noChecksum:
		d.count.NoChecksum++
		return
	case badChecksum:
		d.count.BadChecksum++
		return
	case tooLong:
		d.count.Malformed++
		return
	}
	r, ok := read(sentence)
	switch {
	case !ok:
		d.count.Malformed++
	case r.kind == other:
		d.count.OtherKinds++
	default:
		d.count.Used++
		d.epoch.add(r)
	}
}

// Report counts what was read so far; after Next gave an error, everything.
func (d *Decoder) Report() Report {
	r := d.count
	r.SkippedBytes = d.frame.skippedBytes
	return r
}

// Read reads all fixes of r, about 72 bytes of memory each, in the order of
// the stream. With an error it gives what was read before it.
func Read(r io.Reader, o Options) ([]schemas.Fix, Report, error) {
	d := NewDecoder(r, o)
	var fixes []schemas.Fix
	for {
		fix, err := d.Next()
		switch {
		case errors.Is(err, io.EOF):
			return fixes, d.Report(), nil
		case err != nil:
			return fixes, d.Report(), err
		}
		fixes = append(fixes, fix)
	}
}
