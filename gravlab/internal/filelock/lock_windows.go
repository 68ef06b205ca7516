package filelock

import (
	"os"

	"golang.org/x/sys/windows"
)

// lockFile takes a lock that ends with the file's handle; errHeld says that
// another process has it. It covers a byte far behind the content, which others may then read.
func lockFile(f *os.File) error {
	at := &windows.Overlapped{OffsetHigh: 1}
	err := windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, at)
	if err == windows.ERROR_LOCK_VIOLATION || err == windows.ERROR_IO_PENDING {
		return errHeld
	}
	return err
}
