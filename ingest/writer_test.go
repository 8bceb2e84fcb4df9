package ingest

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

const good = `{"specversion":"1.0","id":"01HZY3Q2Q3W4E5R6T7Y8V9B0NM","source":"/devices/sp1/a","sequence":"7","type":"job.finished","time":"2026-03-02T08:00:00Z","dataschema":"job.finished/1","data":{"job":"J1"}}`

func TestCheckSortsAndTrusts(t *testing.T) {
	own := schemas.Identity{Source: "/devices/sp1/a", Sequence: 7}
	file := schemas.Identity{Source: schemas.Source("/files/" + strings.Repeat("ab", 32)), Sequence: 3}
	for _, r := range []struct {
		name, data, subject, msgID string
		rule                       string // "": an event
		identity                   schemas.Identity
	}{
		{"event", good, "book.own.sp1.job.finished", "", "", own},
		{"office publishes for a device", good, "book.own.sp1.job.finished", own.String() + "@00", "", own},
		{"another device's subject", good, "book.own.sp2.job.finished", own.String() + "@00", "subject", schemas.Identity{}},
		{"subject of no form", good, "elsewhere", "", "subject", schemas.Identity{}},
		{"cut off, named by its publisher", good[:90], "book.own.sp1.job.finished", own.String() + "@00", "json", own},
		{"cut off, named for another device", good[:90], "book.own.sp2.job.finished", own.String() + "@00", "json", schemas.Identity{}},
		{"cut off, no name", good[:90], "book.own.sp1.job.finished", "", "json", schemas.Identity{}},
		{"over two lines", good[:20] + "\n" + good[20:], "book.own.sp1.job.finished", "", "line", own},
		{"a subject that is no text", "nonsense", "book.own.sp1.we\xffather", "", "json", schemas.Identity{}},
		{"a line of a file", "nonsense", "book.own._files.unknown", file.String() + "@00", "json", file},
		{"bad data, identity its own", strings.Replace(good, `"J1"`, `5`, 1), "book.own.sp1.job.finished", "", "type", own},
	} {
		d := Delivery{Data: []byte(r.data), Subject: r.subject, MsgID: r.msgID, Received: time.Unix(1, 0)}
		b := Check([]Delivery{d})
		if r.rule == "" {
			if len(b.Events) != 1 || len(b.Rejects) != 0 || b.Events[0].Identity != r.identity {
				t.Errorf("%s: %+v", r.name, b)
			}
			continue
		}
		if len(b.Rejects) != 1 || len(b.Events) != 0 {
			t.Errorf("%s: %d events, %d rejects", r.name, len(b.Events), len(b.Rejects))
			continue
		}
		x := b.Rejects[0]
		if x.Reason.Rule != r.rule || x.Identity != r.identity || string(x.Raw) != r.data || x.At != d.Received || !utf8.ValidString(x.Subject) {
			t.Errorf("%s: rule %q identity %s", r.name, x.Reason.Rule, x.Identity)
		}
	}
}

// tape records what the writer does, in order.
type tape struct {
	steps   []string
	batches [][]Delivery
	commits []error // what each commit returns
	told    int     // announcements
	stop    context.CancelFunc
}

func (p *tape) Fetch(ctx context.Context, max int) ([]Delivery, error) {
	if len(p.batches) == 0 {
		<-ctx.Done()
		return nil, nil
	}
	b := p.batches[0]
	p.batches = p.batches[1:]
	if len(b) > max {
		return nil, fmt.Errorf("asked for %d, have %d", max, len(b))
	}
	return b, nil
}

func (p *tape) Commit(_ context.Context, b Batch) (Receipt, error) {
	p.steps = append(p.steps, fmt.Sprintf("commit %d+%d", len(b.Events), len(b.Rejects)))
	var err error
	if len(p.commits) > 0 {
		err, p.commits = p.commits[0], p.commits[1:]
	}
	return Receipt{Stored: len(b.Events), Marks: []schemas.Mark{{Source: "/devices/sp1/a", UpTo: 7}}}, err
}

func (p *tape) Ack(d []Delivery) error {
	p.steps = append(p.steps, fmt.Sprintf("ack %d", len(d)))
	return nil
}

func (p *tape) Announce(_ context.Context, marks []schemas.Mark) error {
	p.steps = append(p.steps, fmt.Sprintf("announce %d", marks[0].UpTo))
	if p.told++; p.told == 2 { // both batches
		p.stop()
	}
	return nil
}

func play(t *testing.T, p *tape) error {
	t.Helper()
	ctx, stop := context.WithTimeout(context.Background(), time.Minute)
	defer stop()
	p.stop = stop
	d := Delivery{Data: []byte(good), Subject: "book.own.sp1.job.finished"}
	bad := Delivery{Data: []byte("{"), Subject: "book.own.sp1.job.finished"}
	p.batches = [][]Delivery{{d, bad}, {d, d, d}}
	w := Writer{Source: p, Store: p, Announcer: p, RetryWait: time.Nanosecond}
	return w.Run(ctx)
}

func TestTheOrderIsCommitAckAnnounce(t *testing.T) {
	p := &tape{}
	if err := play(t, p); err != nil {
		t.Fatal(err)
	}
	want := []string{"commit 1+1", "ack 2", "announce 7", "commit 3+0", "ack 3", "announce 7"}
	if !slices.Equal(p.steps, want) {
		t.Errorf("steps %v, want %v", p.steps, want)
	}
}

func TestNothingIsAcknowledgedWithoutItsCommit(t *testing.T) {
	full := fault.Newf("commit", fault.Full, "no space left", "make room")
	p := &tape{commits: []error{full, full, nil}}
	if err := play(t, p); err != nil {
		t.Fatal(err)
	}
	want := []string{"commit 1+1", "commit 1+1", "commit 1+1", "ack 2", "announce 7", "commit 3+0", "ack 3", "announce 7"}
	if !slices.Equal(p.steps, want) {
		t.Errorf("a full disk: steps %v, want %v", p.steps, want)
	}

	broken := errors.New("the file is broken")
	p = &tape{commits: []error{broken}}
	if err := play(t, p); !errors.Is(err, broken) {
		t.Errorf("err = %v", err)
	}
	if want := []string{"commit 1+1"}; !slices.Equal(p.steps, want) {
		t.Errorf("a broken book: steps %v, want %v", p.steps, want)
	}
}
