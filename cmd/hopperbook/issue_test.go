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
)

var issues = flag.Int("issues", 40, "invoices of TestKillWhileIssuing")

// Eight processes at a time bill jobs against one hub, always two of them the same
// job; hub and processes are killed (kill -9) five times in the middle of it and go on. Every job is on
// one invoice, and the numbers are 1 to n without a gap.
func TestKillWhileIssuing(t *testing.T) {
	const issuers, kills = 8, 5
	name, book := programFor(t), bookOf(t, billable(*issues, true, true))
	var confirmed sync.Map
	for round := range kills {
		hub := startHub(t, book)
		var issued atomic.Int64
		enough := make(chan struct{})
		var once sync.Once
		var all sync.WaitGroup
		ctx, cut := context.WithCancel(context.Background())
		for i := range issuers {
			all.Go(func() {
				for n := range *issues {
					job := fmt.Sprintf("j%04d", (n+i/2*7)%*issues)
					if _, done := confirmed.Load(job); done {
						continue
					}
					cmd := exec.CommandContext(ctx, name, "bill", job, "--yes", "--day", "2026-04-01", "--nats", hub.url, "--book", book)
					if cmd.Run() == nil { // else another was first, or the power is cut
						confirmed.Store(job, true)
						if issued.Add(1) >= int64(*issues/(kills+1)) {
							once.Do(func() { close(enough) })
						}
					}
					if ctx.Err() != nil {
						return
					}
				}
			})
		}
		select {
		case <-enough:
		case <-time.After(10*time.Minute + time.Duration(*issues)*3*time.Second):
			t.Error("too few were issued")
		}
		hub.kill() // others are in the middle of issuing
		cut()
		all.Wait()
		_ = hub.cmd.Wait()
		t.Logf("round %d: %d confirmed", round, issued.Load())
	}
	done := map[string]bool{}
	for _, d := range decode[reports.DocumentsAnswer](t, must(t, "", "documents", "--json", "--book", book)).Documents {
		done[string(d.Jobs[0])] = true
	}
	for n := range *issues {
		if done[fmt.Sprintf("j%04d", n)] {
			continue
		}
		_, stderr, exit := command(t, "", "bill", fmt.Sprintf("j%04d", n), "--yes", "--day", "2026-04-01", "--book", book)
		if exit != 0 {
			t.Fatalf("exit %d\n%s", exit, stderr)
		}
	}
	a := decode[reports.DocumentsAnswer](t, must(t, "", "documents", "--json", "--book", book))
	var numbers, jobs, want []string
	for i, d := range a.Documents {
		numbers = append(numbers, string(d.Number))
		want = append(want, fmt.Sprintf("2026-%04d", i+1))
		jobs = append(jobs, string(d.Jobs[0]))
	}
	slices.Sort(numbers)
	slices.Sort(jobs)
	if !slices.Equal(numbers, want) || len(slices.Compact(jobs)) != *issues || len(numbers) != *issues {
		t.Errorf("%d invoices of %d jobs: %v", len(numbers), *issues, numbers)
	}
}
