package book

import (
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"maps"
	"slices"

	duckdb "github.com/duckdb/duckdb-go/v2"
)

// appenders holds one appender a table, opened at its first row. All belong
// to the connection, and so to its transaction.
type appenders struct {
	conn driver.Conn
	open map[string]*duckdb.Appender
}

// appendTo lets fn append rows and writes them into the connection's
// transaction. Any error means that the transaction has to be rolled back:
// after a failed flush DuckDB would commit nothing and call it a success.
func appendTo(conn *sql.Conn, fn func(*appenders) error) error {
	return conn.Raw(func(dc any) error {
		driverConn, ok := dc.(driver.Conn)
		if !ok {
			return fmt.Errorf("connection is a %T", dc)
		}
		a := &appenders{driverConn, map[string]*duckdb.Appender{}}
		err := fn(a)
		return errors.Join(err, a.close())
	})
}

func (a *appenders) row(table string, values ...driver.Value) error {
	appender, ok := a.open[table]
	if !ok {
		var err error
		if appender, err = duckdb.NewAppenderFromConn(a.conn, "", table); err != nil {
			return fmt.Errorf("append to %s: %w", table, err)
		}
		a.open[table] = appender
	}
	if err := appender.AppendRow(values...); err != nil {
		return fmt.Errorf("append to %s: %w", table, err)
	}
	return nil
}

// close flushes and frees every appender, also after one has failed.
func (a *appenders) close() error {
	var errs []error
	for _, table := range slices.Sorted(maps.Keys(a.open)) {
		if err := a.open[table].Close(); err != nil {
			errs = append(errs, fmt.Errorf("append to %s: %w", table, err))
		}
	}
	return errors.Join(errs...)
}
