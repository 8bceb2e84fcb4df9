package drive

import (
	"encoding/json"
	"fmt"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// head is what a pass log says once for all its fixes.
type head struct {
	job        schemas.JobID
	field      schemas.FieldID
	by         string
	boutWidthM float64 // -1: not known
	rated      bool
}

// batch is a pass log on its way.
type batch struct {
	head  head
	fixes []schemas.Fix
	dirty bool   // fixes that are in no draft
	key   string // of its draft; "": none was tried
	saved bool   // the draft is on the disk

	size      int                // when complete
	data      schemas.PassLogged // when complete
	recovered bool
}

// log adds a fix to the log being gathered, or to the next where it does not
// fit there.
func (d *Driver) log(f schemas.Fix, h head) {
	b := &d.batch
	if n := len(b.fixes); n > 0 {
		last := &b.fixes[n-1]
		dt := f.UnixMilli - last.UnixMilli
		if standing := f.SpeedKmh < standKmh && last.SpeedKmh < standKmh; standing && h == b.head && f.Spreading == last.Spreading && dt >= 0 && dt < standMs {
			d.counts.Thinned++
			return
		}
		if h != b.head || dt < 0 || dt > pauseMs || f.UnixMilli-b.fixes[0].UnixMilli > spanMs {
			d.finish()
		}
	}
	b.head, b.dirty = h, true
	if b.fixes = append(b.fixes, f); len(b.fixes) >= d.cfg.BatchFixes {
		d.finish()
	}
}

// finish completes the log being gathered and sends what waits.
func (d *Driver) finish() {
	b := d.batch
	d.batch = batch{}
	if len(b.fixes) > 0 {
		if err := b.complete(); err != nil {
			d.counts.Refused += int64(len(b.fixes))
			d.problem = err
			return
		}
		d.waiting = append(d.waiting, b)
	}
	d.send()
}

func (b *batch) complete() error {
	data, err := passData(b)
	if err != nil {
		return err
	}
	b.data, b.size, b.fixes = data, len(b.fixes), nil
	return nil
}

func passData(b *batch) (schemas.PassLogged, error) {
	data, err := schemas.PassData(b.fixes, schemas.PassHeader{Job: b.head.job, Field: b.head.field})
	data.MarkedBy = b.head.by
	return data, err
}

// send makes events of what waits, oldest first, until the disk refuses one.
func (d *Driver) send() {
	for len(d.waiting) > 0 {
		b := &d.waiting[0]
		_, err := d.cab.LogPass(b.data, b.key)
		if fault.CodeOf(err) == fault.Conflict && b.key != "" && !b.saved {
			_, err = d.cab.LogPass(b.data, "") // the draft that failed is not there
		}
		switch code := fault.CodeOf(err); {
		case err == nil, code == fault.Conflict && b.saved: // in the second case its event was made already
			d.problem = nil
			if b.recovered {
				d.counts.Recovered += int64(b.size)
			} else {
				d.counts.Logged += int64(b.size)
			}
		case code == fault.Input:
			d.problem = err
			if !b.recovered { // else its draft stays where it is
				d.counts.Refused += int64(b.size)
			}
		default:
			d.problem = err
			d.drop()
			return
		}
		d.waiting = d.waiting[1:]
	}
}

// drop gives up the oldest of what waits when it is too much for the memory.
// Its draft stays where it has one, and becomes a log at the next start.
func (d *Driver) drop() {
	held := 0
	for i := range d.waiting {
		held += d.waiting[i].size
	}
	for held > d.cfg.HoldFixes && len(d.waiting) > 0 {
		b := &d.waiting[0]
		held -= b.size
		if !b.recovered {
			d.counts.Lost += int64(b.size)
		}
		d.waiting = d.waiting[1:]
	}
}

// draft puts what is gathered on the disk when it is due, and tries again what
// waited for room.
func (d *Driver) draft(now time.Time) {
	if now.Sub(d.draftAt) < d.cfg.DraftEvery {
		return
	}
	d.draftAt = now
	d.send()
	b := &d.batch
	if !b.dirty || len(d.waiting) > 0 {
		return
	}
	raw, err := b.draft()
	if err == nil {
		if b.key == "" {
			d.numbered++
			b.key = fmt.Sprintf("pass-%015d-%06d", b.fixes[0].UnixMilli, d.numbered)
		}
		err = d.drafts.Put(b.key, raw)
	}
	if d.problem = err; err == nil {
		b.dirty, b.saved = false, true
	}
}

func (b *batch) draft() ([]byte, error) {
	data, err := passData(b)
	if err != nil {
		return nil, err
	}
	raw, err := json.Marshal(data)
	if err != nil {
		return nil, fault.New("write a draft", fault.Internal, err, "")
	}
	return raw, nil
}

// recover makes pass logs of drafts.
func (d *Driver) recover(left []Draft) {
	for _, one := range left {
		b := batch{key: one.Key, saved: true, recovered: true}
		if err := json.Unmarshal(one.Data, &b.data); err != nil {
			d.problem = fault.New("read the draft "+one.Key, fault.Input, err, "it stays on the disk")
			continue
		}
		b.size = len(b.data.DtMs)
		d.waiting = append(d.waiting, b)
	}
	if len(d.waiting) > 0 {
		d.send()
	}
}
