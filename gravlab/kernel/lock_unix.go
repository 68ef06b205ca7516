//go:build unix

package kernel

import (
	"os"

	"golang.org/x/sys/unix"
)

// lockFile takes an advisory lock that ends with the file's last descriptor,
// and says whether it got it.
func lockFile(f *os.File) bool {
	return unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB) == nil
}
