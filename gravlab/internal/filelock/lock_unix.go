//go:build unix

package filelock

import (
	"os"

	"golang.org/x/sys/unix"
)

// lockFile takes an advisory lock that ends with the file's last descriptor;
// errHeld says that another process has it.
func lockFile(f *os.File) error {
	err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if err == unix.EWOULDBLOCK {
		return errHeld
	}
	return err
}
