//go:build unix

package outbox

import (
	"errors"
	"os"
	"syscall"
)

func fullErrors() []error { return []error{syscall.ENOSPC, syscall.EDQUOT, syscall.EFBIG} }

// freeBytes is what the file system that holds folder still has for us.
func freeBytes(folder string) (int64, error) {
	var s syscall.Statfs_t
	if err := syscall.Statfs(folder, &s); err != nil {
		return 0, err
	}
	return int64(s.Bavail) * int64(s.Bsize), nil
}

// syncFolder makes a rename in the folder survive a power cut.
func syncFolder(folder string) error {
	f, err := os.Open(folder)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
