package book

import (
	"context"
	"database/sql"
	"time"

	"hopperbook/schemas"
)

const selectFirstAfter = `
SELECT min(received_at) FROM event JOIN source USING (source_no)
WHERE source = ? AND sequence > ?`

// FirstAfter is when the first stored event of the source with a higher
// sequence was received: since then a gap below it has been known. Zero where
// there is none.
func (v *View) FirstAfter(ctx context.Context, source schemas.Source, sequence int64) (time.Time, error) {
	var at sql.NullTime
	err := v.tx.QueryRowContext(ctx, selectFirstAfter, source, sequence).Scan(&at)
	if !at.Valid {
		return time.Time{}, err
	}
	return at.Time.UTC(), err
}

const countLater = `
SELECT count(*) FROM event
WHERE head > ? AND type IN (SELECT unnest(?::VARCHAR[]))`

// Later is how many stored events of the types came after that head: what was
// computed from no others there still holds where none did.
func (v *View) Later(ctx context.Context, head int64, types []schemas.EventType) (n int64, err error) {
	wanted := make([]string, len(types))
	for i, t := range types {
		wanted[i] = string(t)
	}
	err = v.tx.QueryRowContext(ctx, countLater, head, wanted).Scan(&n)
	return n, err
}
