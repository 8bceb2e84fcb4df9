package hub

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"

	"hopperbook/schemas/fault"
)

// secretMode: what lets anybody in, and who may come in, is the owner's.
const secretMode = 0o600

// keep writes a file of the book's folder whole or not at all: aside, synced,
// renamed. A crash leaves the old one.
func keep(name string, data []byte) error {
	fail := func(err error) error {
		return fault.New("keep "+filepath.Base(name), fault.Full, err, "is "+filepath.Dir(name)+" writable, and has the disk room?")
	}
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		return fail(err)
	}
	f, err := os.OpenFile(name+".new", os.O_CREATE|os.O_TRUNC|os.O_WRONLY, secretMode)
	if err != nil {
		return fail(err)
	}
	_, err = f.Write(data)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(name+".new", name)
	}
	if err == nil {
		err = syncDir(filepath.Dir(name)) // a revocation that was confirmed must outlive a power cut
	}
	if err != nil {
		return fail(err)
	}
	return nil
}

// syncDir makes a rename last; on Windows a folder cannot be synced.
func syncDir(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// kept reads such a file; nil when there is none.
func kept(name string) ([]byte, error) {
	raw, err := os.ReadFile(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, nil
	case errors.Is(err, fs.ErrPermission):
		return nil, fault.New("read "+filepath.Base(name), fault.Usage, err, "only the user that runs the hub may read it; run the command as that user")
	case err != nil:
		return nil, fault.New("read "+filepath.Base(name), fault.Internal, err, "")
	}
	return raw, nil
}
