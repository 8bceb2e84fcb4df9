package ingest

import (
	"context"
	"time"

	"hopperbook/schemas/fault"
)

// Writer is the one way into the book: fetch, check, commit, ack, announce.
// Checking the next batch overlaps with committing the one before.
type Writer struct {
	Source    Source
	Store     Store
	Announcer Announcer
	BatchSize int // deliveries a transaction; 0: 2000

	// Committed, when set, hears of every commit after its ack.
	Committed func(Receipt)
	// Waiting, when set, hears why the writer waits (the disk is full) each
	// time it tries again; nil error: it goes on.
	Waiting func(error)
	// RetryWait is the pause before a commit on a full disk is tried again; 0: 5 s.
	RetryWait time.Duration
}

const defaultBatchSize = 2000

type work struct {
	deliveries []Delivery
	batch      Batch
}

// Run carries events until ctx ends (returns nil) or something fails that
// waiting does not mend. What is fetched and not committed is not
// acknowledged: the stream gives it again.
func (w *Writer) Run(ctx context.Context) error {
	size := w.BatchSize
	if size == 0 {
		size = defaultBatchSize
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	checked := make(chan work, 1)
	fetchErr := make(chan error, 1)
	go func() {
		defer close(checked)
		fetchErr <- w.fetch(ctx, size, checked)
	}()
	for work := range checked {
		if err := w.commit(ctx, work); err != nil {
			stop()
			for range checked { // let the fetcher see the end
			}
			if ctx.Err() != nil && fault.CodeOf(err) == fault.Canceled {
				return nil
			}
			return err
		}
	}
	return <-fetchErr
}

// fetch feeds checked until ctx ends.
func (w *Writer) fetch(ctx context.Context, size int, checked chan<- work) error {
	for ctx.Err() == nil {
		deliveries, err := w.Source.Fetch(ctx, size)
		if err != nil {
			if ctx.Err() != nil {
				return nil
			}
			return fault.Wrap("fetch from the stream", err)
		}
		if len(deliveries) == 0 {
			continue
		}
		select {
		case checked <- work{deliveries, Check(deliveries)}:
		case <-ctx.Done():
		}
	}
	return nil
}

// commit stores one batch, waiting out a full disk, then acks and announces.
func (w *Writer) commit(ctx context.Context, work work) error {
	receipt, err := w.Store.Commit(ctx, work.batch)
	for fault.CodeOf(err) == fault.Full {
		w.waiting(err)
		if err := w.pause(ctx); err != nil {
			return err
		}
		if receipt, err = w.Store.Commit(ctx, work.batch); err == nil {
			w.waiting(nil)
		}
	}
	if err != nil {
		if ctx.Err() != nil {
			return fault.New("commit", fault.Canceled, err, "")
		}
		return fault.Wrap("commit to the book", err)
	}
	if err := w.Source.Ack(work.deliveries); err != nil {
		return fault.Wrap("acknowledge to the stream", err)
	}
	if w.Committed != nil {
		w.Committed(receipt)
	}
	return fault.Wrap("announce the marks", w.Announcer.Announce(ctx, receipt.Marks))
}

func (w *Writer) waiting(err error) {
	if w.Waiting != nil {
		w.Waiting(err)
	}
}

func (w *Writer) pause(ctx context.Context) error {
	wait := w.RetryWait
	if wait == 0 {
		wait = 5 * time.Second
	}
	timer := time.NewTimer(wait)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return fault.New("wait for room on the disk", fault.Canceled, ctx.Err(), "")
	}
}
