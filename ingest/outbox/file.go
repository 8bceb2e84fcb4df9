package outbox

import (
	"encoding/base32"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	bolt "go.etcd.io/bbolt"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// lockWait is how long another process may take to let go of the file.
const lockWait = time.Second

// openFile opens the bbolt file. The list of free pages is not written with
// each transaction (after a long time without a link it would be most of what
// is written), but found when the file is opened.
func openFile(path string) (*bolt.DB, error) {
	db, err := bolt.Open(path, 0o600, &bolt.Options{Timeout: lockWait, NoFreelistSync: true, FreelistType: bolt.FreelistMapType})
	if err != nil {
		return nil, explain("open the outbox "+path, err)
	}
	return db, nil
}

// create makes the file where there is none. It is made aside and renamed when
// it is whole on the disk, so that a power cut leaves a whole outbox or none.
func create(cfg *Config) error {
	const op = "make the outbox"
	if _, err := os.Stat(cfg.Path); err == nil || !errors.Is(err, fs.ErrNotExist) {
		return fault.Wrap(op, explain(op, err))
	}
	aside := cfg.Path + ".new"
	if err := os.Remove(aside); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return explain(op, err)
	}
	install := make([]byte, 10)
	if _, err := io.ReadFull(cfg.Rand, install); err != nil {
		return fault.New(op, fault.Internal, err, "")
	}
	token := strings.ToLower(base32.StdEncoding.EncodeToString(install))
	db, err := openFile(aside)
	if err != nil {
		return err
	}
	err = db.Update(func(tx *bolt.Tx) error {
		for _, name := range [][]byte{bucketMeta, bucketEvents, bucketEntries, bucketDrafts} {
			if _, err := tx.CreateBucket(name); err != nil {
				return err
			}
		}
		meta := tx.Bucket(bucketMeta)
		return errors.Join(meta.Put(keyFormat, bytesOf(formatVersion)),
			meta.Put(keySource, []byte(schemas.DeviceSource(cfg.Device, token))))
	})
	if err = errors.Join(err, db.Close()); err == nil {
		err = os.Rename(aside, cfg.Path)
	}
	if err == nil {
		err = syncFolder(filepath.Dir(cfg.Path))
	}
	return explain(op, err)
}
