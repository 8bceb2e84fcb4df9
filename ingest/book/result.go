package book

import (
	"context"
	"database/sql"
	"errors"
)

const (
	deleteResult  = `DELETE FROM result WHERE name = ?`
	insertResult  = `INSERT INTO result VALUES (?, ?, ?)`
	selectResult  = `SELECT doc, head FROM result WHERE name = ?`
	deleteResults = `DELETE FROM result`
)

// SaveResult keeps what was computed from the book at head under name, in
// place of what was there. It does not move the head.
func (b *Book) SaveResult(ctx context.Context, name string, head int64, doc []byte) error {
	return b.asWriter(ctx, "save a result", func() error {
		return inTransaction(ctx, b.db, func(conn *sql.Conn) error {
			if _, err := conn.ExecContext(ctx, deleteResult, name); err != nil {
				return err
			}
			_, err := conn.ExecContext(ctx, insertResult, name, head, append([]byte{}, doc...))
			return err
		})
	})
}

// Result gives back what SaveResult kept under name and the head it was
// computed at; ok is false when there is none.
func (b *Book) Result(ctx context.Context, name string) (doc []byte, head int64, ok bool, err error) {
	err = b.snapshot(ctx, "read a result", func(tx *sql.Tx) error {
		err := tx.QueryRowContext(ctx, selectResult, name).Scan(&doc, &head)
		if errors.Is(err, sql.ErrNoRows) {
			return nil
		}
		ok = err == nil
		return err
	})
	return doc, head, ok, err
}
