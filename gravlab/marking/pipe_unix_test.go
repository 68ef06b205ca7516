//go:build unix

package marking

import (
	"syscall"
	"testing"
)

// pipe makes a named pipe.
func pipe(t *testing.T, path string) string {
	t.Helper()
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}
