package book

import (
	"context"
	"database/sql"
	"embed"
	"fmt"
	"io/fs"
	"strconv"
	"strings"

	"hopperbook/schemas/fault"
)

//go:embed migrations/*.sql
var migrationFiles embed.FS

type migration struct {
	version int
	name    string
	sql     string
}

// migrations lists the embedded files, NNNN_name.sql, in order: 1, 2, ...
func migrations() ([]migration, error) {
	names, err := fs.Glob(migrationFiles, "migrations/*.sql")
	if err != nil {
		return nil, err
	}
	all := make([]migration, 0, len(names))
	for i, name := range names {
		text, err := migrationFiles.ReadFile(name)
		if err != nil {
			return nil, err
		}
		base := strings.TrimPrefix(name, "migrations/")
		number, _, _ := strings.Cut(base, "_")
		version, err := strconv.Atoi(number)
		if err != nil || version != i+1 {
			return nil, fmt.Errorf("migration %s should have number %d", base, i+1)
		}
		all = append(all, migration{version, base, string(text)})
	}
	return all, nil
}

const (
	createMigrations = `CREATE TABLE IF NOT EXISTS migration (version BIGINT NOT NULL, name VARCHAR NOT NULL)`
	selectVersion    = `SELECT coalesce(max(version), 0) FROM migration`
	insertMigration  = `INSERT INTO migration VALUES (?, ?)`
)

// migrate brings the tables to this program's version, one transaction a
// step.
func migrate(ctx context.Context, db *sql.DB) error {
	steps, err := migrations()
	if err != nil {
		return err
	}
	if _, err := db.ExecContext(ctx, createMigrations); err != nil {
		return err
	}
	var have int
	if err := db.QueryRowContext(ctx, selectVersion).Scan(&have); err != nil {
		return err
	}
	if have > len(steps) {
		return fault.Newf("read its version", fault.TooNew,
			fmt.Sprintf("the book has version %d, this program knows up to %d", have, len(steps)),
			"update hopperbook; the book is not changed")
	}
	for _, step := range steps[have:] {
		if err := applyMigration(ctx, db, step); err != nil {
			return fmt.Errorf("migration %s: %w", step.name, err)
		}
	}
	return nil
}

func applyMigration(ctx context.Context, db *sql.DB, step migration) error {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() // after Commit it does nothing
	if _, err := tx.ExecContext(ctx, step.sql); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, insertMigration, step.version, step.name); err != nil {
		return err
	}
	return tx.Commit()
}
