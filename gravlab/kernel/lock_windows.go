package kernel

import (
	"os"

	"golang.org/x/sys/windows"
)

// lockFile takes a lock that ends with the file's handle, and says whether it
// got it. It covers a byte far behind the content, which others may then read.
func lockFile(f *os.File) bool {
	at := &windows.Overlapped{OffsetHigh: 1}
	return windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, at) == nil
}
