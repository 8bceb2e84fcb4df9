package book

import (
	"context"
	"database/sql"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"hopperbook/ingest"
	"hopperbook/ingest/storetest"
	"hopperbook/schemas"
)

const benchFixes = 60

// drive is a 5 Hz log at 12 km/h along gently bending lines, with 1 cm noise.
func drive(r *rand.Rand, n int) []schemas.Fix {
	fixes := make([]schemas.Fix, n)
	lat, lon, heading := 48+r.Float64(), 11+r.Float64(), r.Float64()*360
	start := storetest.Epoch().UnixMilli() + r.Int64N(1e9)
	for i := range fixes {
		heading += r.NormFloat64() * 0.1
		lat += 6e-6
		lon += 2e-6
		fixes[i] = schemas.Fix{UnixMilli: start + int64(i)*200, LatDeg: lat + r.NormFloat64()*1e-7, LonDeg: lon + r.NormFloat64()*1e-7,
			SpeedKmh: 12 + r.NormFloat64()*0.1, HeadingDeg: heading - 360*float64(int(heading/360)), SetRateKgHa: 180, BoutWidthM: 24,
			Quality: schemas.QualityRTKFixed, Spreading: schemas.SpreadingOn}
		if fixes[i].HeadingDeg < 0 {
			fixes[i].HeadingDeg += 360
		}
	}
	return fixes
}

func passEvent(tb testing.TB, r *rand.Rand, source schemas.Source, seq int64) ingest.Received {
	fixes := drive(r, benchFixes)
	data, err := schemas.PassData(fixes, schemas.PassHeader{Job: "job-1", Field: "field-1"})
	if err != nil {
		tb.Fatal(err)
	}
	at := time.UnixMilli(fixes[0].UnixMilli).UTC()
	raw, err := schemas.Write(schemas.Identity{Source: source, Sequence: seq}, schemas.EventID(fmt.Sprintf("01J%023d", seq)), schemas.TypePassLogged, at, data)
	if err != nil {
		tb.Fatal(err)
	}
	e, bad := schemas.Read(raw)
	if bad != nil {
		tb.Fatal(bad)
	}
	return ingest.Received{Event: e, At: at.Add(time.Minute)}
}

func passBatch(tb testing.TB, n int) ingest.Batch {
	r := rand.New(rand.NewPCG(1, 2))
	var b ingest.Batch
	for i := range n {
		b.Events = append(b.Events, passEvent(tb, r, storetest.A, int64(i+1)))
	}
	return b
}

// renumber gives the batch the next sequences; the bytes stay, which the book
// does not look at.
func renumber(b *ingest.Batch, next *int64) {
	for i := range b.Events {
		*next++
		b.Events[i].Sequence = *next
	}
}

// BenchmarkCommit sets Commit of 60-fix pass logs beside the raw limit:
// appenders of the same rows, made beforehand, in the same file layout.
func BenchmarkCommit(b *testing.B) {
	for _, size := range []int{500, 2000} {
		b.Run(fmt.Sprintf("batch=%d", size), func(b *testing.B) {
			batch := passBatch(b, size)
			book, limit := openBook(b, b.TempDir()), openBook(b, b.TempDir())
			rows := limitRows(b, batch)
			var next, limitNext int64
			var ours, raw time.Duration
			for b.Loop() {
				renumber(&batch, &next)
				ours += timed(b, func() error { _, err := book.Commit(context.Background(), batch); return err })
				raw += timed(b, func() error { return appendRaw(limit, &batch, rows, &limitNext) })
			}
			b.ReportMetric(float64(next)/ours.Seconds(), "events/s")
			b.ReportMetric(float64(limitNext)/raw.Seconds(), "limit-events/s")
			b.ReportMetric(raw.Seconds()/ours.Seconds(), "of-limit")
		})
	}
}

func timed(tb testing.TB, fn func() error) time.Duration {
	start := time.Now()
	if err := fn(); err != nil {
		tb.Fatal(err)
	}
	return time.Since(start)
}

func limitRows(tb testing.TB, batch ingest.Batch) []typedRow {
	events := make([]stored, len(batch.Events))
	for i := range events {
		events[i] = stored{&batch.Events[i], 1, digestOf(batch.Events[i].Raw)}
	}
	rows, err := typedRows(typedTables(), events)
	if err != nil {
		tb.Fatal(err)
	}
	return rows
}

func appendRaw(b *Book, batch *ingest.Batch, rows []typedRow, next *int64) error {
	var d digest
	return inTransaction(context.Background(), b.db, func(conn *sql.Conn) error {
		return appendTo(conn, func(a *appenders) error {
			for i := range batch.Events {
				e := &batch.Events[i]
				*next++
				if err := a.row("event", int64(1), *next, string(e.ID), string(e.Type), int64(e.Version), e.Time, e.At, int64(1), d, e.Raw); err != nil {
					return err
				}
				if err := a.row(passTable, rows[i].values...); err != nil {
					return err
				}
			}
			return nil
		})
	})
}

// BenchmarkCommitInto shows that a commit costs the same in a large book.
func BenchmarkCommitInto(b *testing.B) {
	for _, before := range []int{0, 200_000} {
		b.Run(fmt.Sprintf("stored=%d", before), func(b *testing.B) {
			book := openBook(b, b.TempDir())
			var next int64
			fillBook(b, book, before, &next)
			batch := passBatch(b, 500)
			first := next
			for b.Loop() {
				renumber(&batch, &next)
				if _, err := book.Commit(context.Background(), batch); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(next-first)/b.Elapsed().Seconds(), "events/s")
		})
	}
}

func fillBook(tb testing.TB, book *Book, n int, next *int64) {
	e := storetest.Event(storetest.A, 1, "fill")
	for n > 0 {
		batch := ingest.Batch{Events: make([]ingest.Received, min(n, 10_000))}
		for i := range batch.Events {
			batch.Events[i] = e
		}
		renumber(&batch, next)
		if _, err := book.Commit(context.Background(), batch); err != nil {
			tb.Fatal(err)
		}
		n -= len(batch.Events)
	}
}

// BenchmarkPack reports bytes and speed of the packed form; the same fixes as
// unpacked floats take 14 bytes in the book.
func BenchmarkPack(b *testing.B) {
	fixes := drive(rand.New(rand.NewPCG(3, 4)), benchFixes)
	packed, err := packFixes(nil, fixes)
	if err != nil {
		b.Fatal(err)
	}
	b.Run("pack", func(b *testing.B) {
		var buf []byte
		for b.Loop() {
			buf, _ = packFixes(buf[:0], fixes)
		}
		b.ReportMetric(float64(len(packed))/benchFixes, "bytes/fix")
		b.ReportMetric(float64(b.N)*benchFixes/b.Elapsed().Seconds(), "fixes/s")
	})
	b.Run("unpack", func(b *testing.B) {
		var buf []schemas.Fix
		for b.Loop() {
			buf, _ = unpackFixes(packed, buf[:0])
		}
		b.ReportMetric(float64(b.N)*benchFixes/b.Elapsed().Seconds(), "fixes/s")
	})
}
