// Package filelock keeps two processes from writing one file. A lock is an advisory one
// of the operating system, so that it ends with the process that has it, however that
// ends. Who has it can be read in the lock file meanwhile, on Windows too.
package filelock

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"gravity.example/gravlab/internal/usercache"
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
	dir, err := usercache.Dir("claims")
	if err != nil {
		return nil, err
	}
	return ClaimAt(filepath.Join(dir, fmt.Sprintf("%x", sha256.Sum256([]byte(path)))[:32]), path)
}

// errHeld says that another process has a lock.
var errHeld = errors.New("held by another process")

// ClaimAt is Claim with a lock file of the caller's choice, which stays: one in a
// folder that several users or computers share keeps those apart too, as far as the
// file system passes locks on. Where it has no locks, ClaimAt does nothing.
func ClaimAt(lock, path string) (release func(), err error) {
	f, err := os.OpenFile(lock, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	if err := lockFile(f); errors.Is(err, errHeld) {
		holder, _ := os.ReadFile(lock)
		f.Close()
		who := ""
		if len(holder) > 0 && len(holder) < 300 {
			who = " (" + strings.TrimSpace(string(holder)) + ")"
		}
		return nil, fmt.Errorf("another run%s is writing %s: wait until it has ended, or write to another folder with --out", who, path)
	}
	who := fmt.Sprintf("process %d", os.Getpid())
	if host, err := os.Hostname(); err == nil {
		who += " on " + host
	}
	f.Truncate(0)
	f.WriteAt([]byte(who+"\n"), 0)
	return func() {
		f.Truncate(0) // what a run leaves behind does not tell who it was
		f.Close()
	}, nil
}
