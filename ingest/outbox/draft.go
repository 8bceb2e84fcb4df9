package outbox

import (
	"bytes"

	bolt "go.etcd.io/bbolt"

	"hopperbook/schemas/fault"
)

// Keep puts a snapshot in the place of the one that is kept; nil takes it away.
func (o *Outbox) Keep(state []byte) error {
	return o.update("keep the snapshot", func(tx *bolt.Tx) error {
		if state == nil {
			return tx.Bucket(bucketMeta).Delete(keyState)
		}
		return tx.Bucket(bucketMeta).Put(keyState, state)
	}, nil)
}

// State is the snapshot kept last; nil: none.
func (o *Outbox) State() ([]byte, error) {
	var state []byte
	err := o.view("read the snapshot", func(tx *bolt.Tx) error {
		state = bytes.Clone(tx.Bucket(bucketMeta).Get(keyState))
		return nil
	})
	return state, err
}

// Draft is a pass log that is being gathered.
type Draft struct {
	Key  string
	Data []byte
}

// Draft puts data under the key, in the place of what stood there: what is
// gathered survives a power cut up to the last call. A draft leaves by the
// Entry that names it, at most once, or by data nil.
func (o *Outbox) Draft(key string, data []byte) error {
	const op = "keep a draft"
	if key == "" || len(key) > bolt.MaxKeySize {
		return fault.Newf(op, fault.Usage, "a draft needs a key", "")
	}
	return o.update(op, func(tx *bolt.Tx) error {
		drafts := tx.Bucket(bucketDrafts)
		if data == nil {
			return drafts.Delete([]byte(key))
		}
		if o.cfg.LimitBytes-usedBytes(tx)-int64(len(data)) < o.reserve(true) {
			return fault.Newf(op, fault.Full, "the outbox has reached the share of its limit that is open to pass logs", hintFull)
		}
		return drafts.Put([]byte(key), data)
	}, nil)
}

// Drafts is every draft, by key.
func (o *Outbox) Drafts() ([]Draft, error) {
	var all []Draft
	err := o.view("read the drafts", func(tx *bolt.Tx) error {
		return tx.Bucket(bucketDrafts).ForEach(func(k, v []byte) error {
			all = append(all, Draft{string(k), bytes.Clone(v)})
			return nil
		})
	})
	return all, err
}
