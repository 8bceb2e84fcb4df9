package gpkg

import (
	"context"
	"database/sql"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
	"time"

	_ "modernc.org/sqlite" // the driver

	"hopperbook/reports"
	"hopperbook/schemas/fault"
)

//go:embed tables.sql
var tables string

// serializer is what the driver's connection can do beside database/sql.
type serializer interface{ Serialize() ([]byte, error) }

// Write writes layers, each a table of features named as the layer; changed
// stands for the time of its last change. fault.Internal: names that are no
// plain words, values that are not as many as the columns.
// Cost: O(features), and the whole file in memory.
func Write(w io.Writer, changed time.Time, layers []reports.GeoLayer) error {
	raw, err := database(context.Background(), changed, layers)
	if err != nil {
		return fault.New("write the GeoPackage", fault.Internal, err, "")
	}
	_, err = w.Write(raw)
	return fault.Wrap("write the GeoPackage", err)
}

func database(ctx context.Context, changed time.Time, layers []reports.GeoLayer) (raw []byte, err error) {
	db, err := sql.Open("sqlite", ":memory:")
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	conn, err := db.Conn(ctx) // one connection: each would have a database of its own
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, conn.Close()) }()
	if _, err := conn.ExecContext(ctx, tables); err != nil {
		return nil, err
	}
	for _, l := range layers {
		if err := addLayer(ctx, conn, changed, l); err != nil {
			return nil, fmt.Errorf("layer %s: %w", l.Name, err)
		}
	}
	err = conn.Raw(func(driver any) error {
		raw, err = driver.(serializer).Serialize()
		return err
	})
	return raw, err
}

const (
	insertContents = `INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change, min_x, min_y, max_x, max_y, srs_id)
VALUES (?, 'features', ?, ?, ?, ?, ?, ?, ?, ?)`
	insertGeometry = `INSERT INTO gpkg_geometry_columns VALUES (?, 'geom', 'MULTIPOLYGON', ?, 0, 0)`
)

func addLayer(ctx context.Context, conn *sql.Conn, changed time.Time, l reports.GeoLayer) error {
	create, insert, err := statements(l)
	if err != nil {
		return err
	}
	tx, err := conn.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer func() { _ = tx.Rollback() }() // after a commit it does nothing
	if _, err := tx.ExecContext(ctx, create); err != nil {
		return err
	}
	var all extent
	for _, f := range l.Features {
		if len(f.Values) != len(l.Columns) {
			return fmt.Errorf("%s has %d values for %d columns", f.ID, len(f.Values), len(l.Columns))
		}
		if e := extentOf(f.Boundary); e.any {
			all.add([2]float64{e.minX, e.minY})
			all.add([2]float64{e.maxX, e.maxY})
		}
		if _, err := tx.ExecContext(ctx, insert, slices.Concat([]any{blob(f.Boundary)}, f.Values)...); err != nil {
			return fmt.Errorf("%s: %w", f.ID, err)
		}
	}
	at := changed.UTC().Format("2006-01-02T15:04:05.000Z")
	bounds := []any{nil, nil, nil, nil}
	if all.any {
		bounds = []any{all.minX, all.minY, all.maxX, all.maxY}
	}
	if _, err := tx.ExecContext(ctx, insertContents, slices.Concat([]any{l.Name, l.Name, l.Title, at}, bounds, []any{srs})...); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, insertGeometry, l.Name, srs); err != nil {
		return err
	}
	return tx.Commit()
}

var plainWord = regexp.MustCompile(`^[a-z][a-z0-9_]*$`)

// statements are the SQL of a layer's table. Names cannot be parameters, so
// they must be plain words; none of ours is anything else.
func statements(l reports.GeoLayer) (create, insert string, err error) {
	names := []string{l.Name}
	columns := []string{"fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL", "geom MULTIPOLYGON"}
	into := []string{"geom"}
	for _, c := range l.Columns {
		if !slices.Contains([]string{reports.GeoText, reports.GeoReal, reports.GeoInteger, reports.GeoBoolean, reports.GeoDate}, c.Type) {
			return "", "", fmt.Errorf("column %s has type %q", c.Key, c.Type)
		}
		names = append(names, c.Key)
		columns = append(columns, `"`+c.Key+`" `+c.Type)
		into = append(into, `"`+c.Key+`"`)
	}
	if i := slices.IndexFunc(names, func(n string) bool { return !plainWord.MatchString(n) }); i >= 0 {
		return "", "", fmt.Errorf("%q is no name", names[i])
	}
	create = fmt.Sprintf("CREATE TABLE %q (%s)", l.Name, strings.Join(columns, ", "))
	insert = fmt.Sprintf("INSERT INTO %q (%s) VALUES (?%s)", l.Name, strings.Join(into, ", "), strings.Repeat(", ?", len(l.Columns)))
	return create, insert, nil
}
