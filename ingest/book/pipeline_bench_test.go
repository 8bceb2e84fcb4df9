package book

import (
	"context"
	"testing"
	"time"

	"hopperbook/ingest"
	"hopperbook/ingest/hub"
)

// benchEvents is how many pass logs travel in one measurement, benchBatch how
// many are in a transaction.
const (
	benchEvents = 20_000
	benchBatch  = 2000
)

// BenchmarkIngest measures the way from the stream into the committed book
// (fetch, check, commit, ack) for 60-fix pass logs, beside both raw limits in
// the same run: fetching and acknowledging the same messages and nothing else,
// and appenders of the same rows made beforehand. Only this benchmark joins
// bus and book outside cmd.
func BenchmarkIngest(b *testing.B) {
	batch := passBatch(b, benchEvents)
	for b.Loop() {
		fetch := fetchLimit(b, &batch)
		appended := appenderLimit(b, &batch)
		ours := streamToBook(b, &batch)
		b.ReportMetric(ours, "events/s")
		b.ReportMetric(fetch, "fetch-events/s")
		b.ReportMetric(appended, "appender-events/s")
		b.ReportMetric(ours/min(fetch, appended), "of-slower-limit")
	}
}

// benchStream is a hub whose stream holds the batch.
func benchStream(b *testing.B, batch *ingest.Batch) (*hub.Hub, *hub.Intake) {
	b.Helper()
	h, err := hub.Start(hub.Config{Dir: b.TempDir(), Listen: "127.0.0.1:0"})
	if err != nil {
		b.Fatal(err)
	}
	client, err := h.Dial("bench")
	if err != nil {
		b.Fatal(err)
	}
	defer client.Close()
	// Nobody writes yet, so publishing ends without a confirmation.
	sent, _ := client.Publish(context.Background(), ingest.Each(outgoing(batch)), time.Millisecond, nil)
	if sent != len(batch.Events) {
		b.Fatalf("%d of %d in the stream", sent, len(batch.Events))
	}
	in, err := h.Intake(context.Background())
	if err != nil {
		b.Fatal(err)
	}
	return h, in
}

func outgoing(batch *ingest.Batch) []ingest.Outgoing {
	all := make([]ingest.Outgoing, len(batch.Events))
	for i, e := range batch.Events {
		all[i] = ingest.Outgoing{Identity: e.Identity, Type: e.Type, Raw: e.Raw}
	}
	return all
}

func rateOf(n int, d time.Duration) float64 { return float64(n) / d.Seconds() }

func fetchLimit(b *testing.B, batch *ingest.Batch) float64 {
	h, in := benchStream(b, batch)
	defer h.Close()
	defer in.Close()
	n := 0
	d := timed(b, func() error {
		for n < len(batch.Events) {
			got, err := in.Fetch(context.Background(), benchBatch)
			if err != nil {
				return err
			}
			if err := in.Ack(got); err != nil {
				return err
			}
			n += len(got)
		}
		return nil
	})
	return rateOf(n, d)
}

func appenderLimit(b *testing.B, batch *ingest.Batch) float64 {
	book := openBook(b, b.TempDir())
	rows := limitRows(b, *batch)
	var next int64
	d := timed(b, func() error {
		for at := 0; at < len(rows); at += benchBatch {
			part := ingest.Batch{Events: batch.Events[at : at+benchBatch]}
			if err := appendRaw(book, &part, rows[at:at+benchBatch], &next); err != nil {
				return err
			}
		}
		return nil
	})
	return rateOf(len(rows), d)
}

func streamToBook(b *testing.B, batch *ingest.Batch) float64 {
	h, in := benchStream(b, batch)
	defer h.Close()
	defer in.Close()
	book := openBook(b, b.TempDir())
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	left := len(batch.Events)
	w := ingest.Writer{Source: in, Store: book, Announcer: h, BatchSize: benchBatch, Committed: func(r ingest.Receipt) {
		if left -= r.Stored; left == 0 {
			stop()
		}
	}}
	d := timed(b, func() error { return w.Run(ctx) })
	if left != 0 {
		b.Fatalf("%d of %d not in the book", left, len(batch.Events))
	}
	return rateOf(len(batch.Events), d)
}
