package kernel

import (
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// Claim reserves an output file for this process, so that two runs of one
// notebook do not replace each other's work: the second is told so at once.
// release gives it back; the end of the process does too, however it ends.
func Claim(path string) (release func(), err error) {
	path, err = filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	// The same file by another name is the same file.
	if dir, err := filepath.EvalSymlinks(filepath.Dir(path)); err == nil {
		path = filepath.Join(dir, filepath.Base(path))
	}
	// The lock lies in the cache, not beside the output: it has to stay when it
	// is released, since another process may be about to take it.
	dir, err := cacheDir("claims")
	if err != nil {
		return nil, err
	}
	name := filepath.Join(dir, fmt.Sprintf("%x", sha256.Sum256([]byte(path)))[:32])
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	if !lockFile(f) {
		holder, _ := os.ReadFile(name)
		f.Close()
		who := ""
		if len(holder) > 0 && len(holder) < 20 {
			who = " (process " + strings.TrimSpace(string(holder)) + ")"
		}
		return nil, fmt.Errorf("another run%s is writing %s: wait until it has ended, or write to another folder with --out", who, path)
	}
	f.Truncate(0)
	f.WriteAt(fmt.Appendf(nil, "%d\n", os.Getpid()), 0)
	return func() { f.Close() }, nil
}
