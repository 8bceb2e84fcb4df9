package book

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"

	duckdb "github.com/duckdb/duckdb-go/v2"
	"hopperbook/schemas/fault"
)

const (
	bookFile = "hopperbook.duckdb"
	lockFile = "hopperbook.lock"
)

// Options tune a book; the zero value is right for an office PC.
type Options struct {
	MemoryMB int // what DuckDB may use; 0: 1024
	Threads  int // 0: one a core
}

// Book is an open book. Commit is serialised; readers may run beside it, each
// on its own snapshot. Safe for concurrent use.
type Book struct {
	dir     string
	options Options

	reopen sync.RWMutex // held for writing only while db is replaced
	db     *sql.DB

	writer sync.Mutex // guards what follows: the one writer
	known  *ledger    // nil: to be read from the book first
	broken bool       // DuckDB gave the instance up: reopen before the next commit
}

// Open opens the book in dir, making both if they are not there, and brings
// its tables up to date. Faults: Held (another process has it), TooNew (made
// by a newer version), Full, Input (damaged, or no right to write).
func Open(ctx context.Context, dir string, options Options) (*Book, error) {
	const op = "open the book"
	if strings.ContainsAny(dir, "?#%") {
		return nil, fault.Newf(op, fault.Usage, fmt.Sprintf("folder %q has one of ? # %% in its name", dir), "choose another folder for the book")
	}
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, fault.New(op, fault.Usage, err, "")
	}
	b := &Book{dir: abs, options: options}
	if err := os.MkdirAll(abs, 0o755); err != nil {
		return nil, b.explain(op, err)
	}
	if err := b.connect(ctx); err != nil {
		return nil, b.explain(op, err)
	}
	return b, nil
}

func (b *Book) path() string { return filepath.Join(b.dir, bookFile) }

// connect opens DuckDB and migrates. The main database is the lock file; the
// book is attached, because only ATTACH takes a row group size (see attach).
func (b *Book) connect(ctx context.Context) error {
	connector, err := duckdb.NewConnector(b.dsn(), b.attach)
	if err != nil {
		return err
	}
	db := sql.OpenDB(connector)
	if err := migrate(ctx, db); err != nil {
		db.Close()
		return err
	}
	b.db = db
	return nil
}

func (b *Book) dsn() string {
	memory := b.options.MemoryMB
	if memory == 0 {
		memory = 1024
	}
	settings := url.Values{
		"memory_limit":                 {fmt.Sprintf("%dMiB", memory)},
		"checkpoint_threshold":         {checkpointAt},
		"temp_directory":               {filepath.Join(b.dir, "hopperbook.tmp")},
		"autoinstall_known_extensions": {"false"}, // a hub works offline
		"autoload_known_extensions":    {"false"},
	}
	if b.options.Threads > 0 {
		settings.Set("threads", fmt.Sprint(b.options.Threads))
	}
	return filepath.Join(b.dir, lockFile) + "?" + settings.Encode()
}

// checkpointAt is how long the write-ahead log grows before it is worked into
// the file: long enough that rewriting the last row groups costs little, short
// enough to be replayed in a second after a crash.
const checkpointAt = "64MiB"

// rowGroupRows: a checkpoint rewrites the last row group of every table, so a
// group has about the rows of a batch (the default of 122 880 events of pass
// logs is 300 MB, written again at every checkpoint).
const rowGroupRows = 4096

func (b *Book) attach(conn driver.ExecerContext) error {
	file := strings.ReplaceAll(b.path(), "'", "''")
	for _, query := range []string{
		fmt.Sprintf("ATTACH IF NOT EXISTS '%s' AS book (STORAGE_VERSION 'v1.5.0', ROW_GROUP_SIZE %d)", file, rowGroupRows),
		"USE book",
	} {
		if _, err := conn.ExecContext(context.Background(), query, nil); err != nil {
			return err
		}
	}
	return nil
}

// Close writes everything into the one file and lets it go.
func (b *Book) Close() error {
	b.writer.Lock()
	defer b.writer.Unlock()
	b.reopen.Lock()
	defer b.reopen.Unlock()
	const op = "close the book"
	if b.db == nil {
		return nil
	}
	_, checkpointErr := b.db.Exec("CHECKPOINT book")
	if b.broken {
		checkpointErr = nil // nothing uncommitted is kept, and the next Open replays the log
	}
	closeErr := b.db.Close()
	b.db = nil
	if checkpointErr != nil {
		return b.explain(op, checkpointErr)
	}
	return b.explain(op, closeErr)
}

// mend opens DuckDB anew after it gave the instance up (a full disk can do
// that). The caller holds writer.
func (b *Book) mend(ctx context.Context) error {
	if !b.broken {
		return nil
	}
	b.reopen.Lock()
	defer b.reopen.Unlock()
	if b.db != nil {
		b.db.Close() // its error is the one already reported
		b.db = nil
	}
	if err := b.connect(ctx); err != nil {
		return err
	}
	b.broken = false
	return nil
}

// errClosed is what a closed book answers.
func errClosed() error {
	return fault.Newf("use the book", fault.Internal, "it is closed", "")
}
