package main

import (
	"context"
	"flag"
	"fmt"
	"os/exec"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"hopperbook/reports"
	"hopperbook/schemas/fault"
)

var issues = flag.Int("issues", 24, "invoices of TestKillWhileIssuing")

// Eight processes at a time bill the same jobs against one hub, two of them
// always the same ones at once; hub and processes are killed (kill -9) five
// times in the middle of it and go on. Every job is on one invoice, and the
// numbers are 1 to n without a gap.
func TestKillWhileIssuing(t *testing.T) {
	const kills = 5
	r := &issuingRun{t: t, name: programFor(t), book: bookOf(t, billable(*issues, true, true)), taken: make([]atomic.Bool, *issues)}
	began := time.Now()
	for range kills {
		r.round(*issues / (kills + 1))
	}
	r.round(0)
	t.Logf("%d invoices: %d runs of bill, %d killed, %d refused, in %v", *issues, r.runs.Load(), r.killed.Load(), r.refused.Load(), time.Since(began).Round(time.Second))
	a := decode[reports.DocumentsAnswer](t, must(t, "", "documents", "--json", "--book", r.book))
	var numbers, jobs, want []string
	for i, d := range a.Documents {
		numbers = append(numbers, string(d.Number))
		want = append(want, fmt.Sprintf("2026-%04d", i+1))
		jobs = append(jobs, string(d.Jobs[0]))
		if d.State != "open" {
			t.Errorf("%s is %s", d.Number, d.State)
		}
	}
	slices.Sort(numbers)
	slices.Sort(jobs)
	if !slices.Equal(numbers, want) || len(slices.Compact(jobs)) != *issues || len(numbers) != *issues {
		t.Errorf("%d invoices of %d jobs: %v", len(numbers), *issues, numbers)
	}
}

// issuingRun is a book whose jobs are being billed.
type issuingRun struct {
	t                     *testing.T
	name, book            string
	taken                 []atomic.Bool // jobs that are known to be on an invoice
	runs, killed, refused atomic.Int64
}

// round issues with eight processes until so many invoices were confirmed, then
// kills the hub and them; 0: until every job is on an invoice.
func (r *issuingRun) round(until int) {
	hub := startHub(r.t, r.book)
	ctx, cut := context.WithCancel(context.Background())
	defer cut()
	var confirmed atomic.Int64
	enough := make(chan struct{})
	var once sync.Once
	var all sync.WaitGroup
	for issuer := range 8 {
		all.Go(func() {
			for n := range r.taken {
				job := (n + issuer/2*len(r.taken)/4) % len(r.taken)
				if again := n%10 == issuer; r.taken[job].Load() && !again {
					continue
				}
				if r.bill(ctx, hub.url, job) && confirmed.Add(1) == int64(until) {
					once.Do(func() { close(enough) })
				}
				if ctx.Err() != nil {
					return
				}
			}
		})
	}
	finished := make(chan struct{})
	go func() {
		all.Wait()
		close(finished)
	}()
	select {
	case <-enough: // others are in the middle of issuing
	case <-finished:
		if until > 0 {
			r.t.Errorf("%d were confirmed, %d wanted", confirmed.Load(), until)
		}
	}
	hub.kill()
	cut()
	<-finished
	_ = hub.cmd.Wait()
}

// bill issues the invoice of a job, and reports whether this very process did.
func (r *issuingRun) bill(ctx context.Context, url string, job int) bool {
	known := r.taken[job].Load()
	cmd := exec.CommandContext(ctx, r.name, "bill", fmt.Sprintf("j%04d", job), "--yes", "--day", "2026-04-01", "--nats", url, "--book", r.book)
	out, err := cmd.CombinedOutput()
	r.runs.Add(1)
	switch {
	case err == nil:
		if known || r.taken[job].Swap(true) {
			r.t.Errorf("job %d was billed twice", job)
		}
		return true
	case ctx.Err() != nil:
		r.killed.Add(1)
	case cmd.ProcessState.ExitCode() == fault.Conflict.Exit(): // another was first
		r.refused.Add(1)
	default:
		r.t.Logf("job %d: %s", job, out)
	}
	return false
}
