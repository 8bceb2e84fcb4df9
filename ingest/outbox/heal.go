package outbox

import (
	"errors"

	bolt "go.etcd.io/bbolt"

	"hopperbook/schemas/fault"
)

var errClosed = errors.New("the outbox is closed")

// writable is the open file for the one writer, opened again where a failure
// closed it.
func (o *Outbox) writable() (*bolt.DB, error) {
	o.life.Lock()
	defer o.life.Unlock()
	switch {
	case o.closed:
		return nil, fault.New("use the outbox", fault.Canceled, errClosed, "")
	case o.db != nil:
		return o.db, nil
	}
	db, err := openFile(o.cfg.Path)
	if err != nil {
		return nil, err
	}
	o.db = db
	return db, nil
}

// view runs fn in a reading transaction.
func (o *Outbox) view(op string, fn func(tx *bolt.Tx) error) error {
	o.life.RLock()
	defer o.life.RUnlock()
	switch {
	case o.closed:
		return fault.New(op, fault.Canceled, errClosed, "")
	case o.db == nil:
		return fault.Newf(op, fault.Unavailable, "the outbox could not be opened again after a failed write", "look at the tablet's disk; the next write tries again")
	}
	return explain(op, o.db.View(fn))
}

// mend opens the file anew after a failed commit, so that nothing in memory
// is trusted that the failure may have touched. Pages are synced before the
// transaction that they belong to is made valid, so the transaction counts
// only if that last write is in the file; then one more transaction takes its
// place on the disk, and it has not failed.
func (o *Outbox) mend(failed error, landed func(tx *bolt.Tx) bool) error {
	o.life.Lock()
	err := o.db.Close()
	o.db = nil
	o.life.Unlock()
	if err != nil {
		return errors.Join(failed, err)
	}
	db, err := o.writable()
	if err != nil {
		return errors.Join(failed, err)
	}
	o.noteUsed(db)
	there := false
	err = db.View(func(tx *bolt.Tx) error {
		there = landed != nil && landed(tx)
		return nil
	})
	if err != nil || !there {
		return errors.Join(failed, err)
	}
	if err := db.Update(func(*bolt.Tx) error { return nil }); err != nil {
		return errors.Join(failed, err)
	}
	return nil
}

// noteUsed keeps what the file uses for Status.
func (o *Outbox) noteUsed(db *bolt.DB) {
	var used int64
	err := db.View(func(tx *bolt.Tx) error {
		used = usedBytes(tx)
		return nil
	})
	if err != nil {
		return // only figures hang on it; the next transaction notes them
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	o.used = used
}

// usedBytes is the bytes of the pages in use: all the file has had in use at
// once, less those that are free again.
func usedBytes(tx *bolt.Tx) int64 {
	stats := tx.DB().Stats()
	return tx.Size() - int64(stats.FreePageN+stats.PendingPageN)*int64(tx.DB().Info().PageSize)
}
