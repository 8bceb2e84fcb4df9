package outbox

import "golang.org/x/sys/windows"

func fullErrors() []error {
	return []error{windows.ERROR_DISK_FULL, windows.ERROR_HANDLE_DISK_FULL, windows.ERROR_DISK_QUOTA_EXCEEDED}
}

// freeBytes is what the volume that holds folder still has for us.
func freeBytes(folder string) (int64, error) {
	name, err := windows.UTF16PtrFromString(folder)
	if err != nil {
		return 0, err
	}
	var free uint64
	if err := windows.GetDiskFreeSpaceEx(name, &free, nil, nil); err != nil {
		return 0, err
	}
	return int64(free), nil
}

// syncFolder has nothing to do: NTFS logs a rename itself, and a folder cannot
// be synced.
func syncFolder(string) error { return nil }
