package book

import (
	"context"
	"database/sql"
	"fmt"

	"github.com/tidwall/gjson"
	"hopperbook/ingest"
	"hopperbook/schemas"
)

const (
	selectRebuild = `
SELECT source, source_no, sequence, id, type, time, received_at, raw FROM event JOIN source USING (source_no)
WHERE time >= ? AND time < ?
ORDER BY time, source, sequence`
	deleteClockFlags = `DELETE FROM clock_flag`
	deletePassLogs   = `DELETE FROM pass_log`
)

// Rebuild empties every table that follows from the events (typed tables,
// pass_log, clock_flag, result) and fills them again from the events as they
// came, in one transaction.
func (b *Book) Rebuild(ctx context.Context) error {
	return b.asWriter(ctx, "rebuild the derived tables", func() error {
		return inTransaction(ctx, b.db, func(conn *sql.Conn) error { return rebuild(ctx, conn) })
	})
}

func rebuild(ctx context.Context, conn *sql.Conn) error {
	tables := typedTables()
	empty := []string{deleteResults, deleteClockFlags, deletePassLogs}
	for _, t := range tables {
		empty = append(empty, "DELETE FROM "+t.name)
	}
	for _, query := range empty {
		if _, err := conn.ExecContext(ctx, query); err != nil {
			return fmt.Errorf("%s: %w", query, err)
		}
	}
	stretches, err := spans(ctx, conn, selectEventSlices, 0, []string{}, []string{})
	if err != nil {
		return err
	}
	for _, s := range stretches {
		events, err := storedEvents(ctx, conn, s)
		if err != nil {
			return err
		}
		if err := refill(conn, tables, events); err != nil {
			return err
		}
	}
	return nil
}

// storedEvents reads the events of a stretch.
func storedEvents(ctx context.Context, db queryer, s span) ([]stored, error) {
	var events []stored
	err := eachRow(ctx, db, func(scan scanner) error {
		e := stored{Received: &ingest.Received{}}
		var raw string
		if err := scan(&e.Source, &e.sourceNo, &e.Sequence, &e.ID, &e.Type, &e.Time, &e.At, &raw); err != nil {
			return err
		}
		e.Time, e.Data = e.Time.UTC(), gjson.Get(raw, "data").Raw
		events = append(events, e)
		return nil
	}, selectRebuild, s.from, s.to)
	return events, err
}

func refill(conn *sql.Conn, tables map[schemas.EventType]*typedTable, events []stored) error {
	rows, err := typedRows(tables, events)
	if err != nil {
		return err
	}
	return appendTo(conn, func(a *appenders) error {
		for i := range events {
			if err := a.derived(&events[i], rows[i]); err != nil {
				return err
			}
		}
		return nil
	})
}
