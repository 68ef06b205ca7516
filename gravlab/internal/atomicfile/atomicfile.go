// Package atomicfile writes files whole: a reader sees the old bytes or the new
// ones, never a part, whatever kills the program in between.
package atomicfile

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// WriteFile writes data to path. It writes to a temporary name in the same
// folder, syncs, and renames, so that path never holds half of data. perm is
// the mode of the file. On an error path is as it was, and nothing else stays.
func WriteFile(path string, data []byte, perm os.FileMode) error {
	return Write(path, perm, func(w io.Writer) error {
		_, err := w.Write(data)
		return err
	})
}

// Write is WriteFile for what is produced piece by piece: fill writes the new
// content, and path is replaced only if fill returns nil.
func Write(path string, perm os.FileMode, fill func(io.Writer) error) (err error) {
	dir, base := filepath.Split(path)
	if dir == "" {
		dir = "."
	}
	// The temporary name begins with a dot, so that a pattern such as *.ipynb
	// does not find it if the program is killed before the rename.
	f, err := os.CreateTemp(dir, "."+base+".*.tmp")
	if err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
			err = fmt.Errorf("writing %s: %w", path, err)
		}
	}()
	if err = fill(f); err != nil {
		return err
	}
	if err = f.Chmod(perm); err != nil {
		return err
	}
	if err = f.Sync(); err != nil {
		return err
	}
	if err = f.Close(); err != nil {
		return err
	}
	if err = os.Rename(f.Name(), path); err != nil {
		return err
	}
	syncFolder(dir)
	return nil
}

// syncFolder makes the rename itself last. Not every system lets a folder be
// synced; the file is whole either way, so an error is of no interest.
func syncFolder(dir string) {
	d, err := os.Open(dir)
	if err != nil {
		return
	}
	d.Sync()
	d.Close()
}

// Sweep removes what a killed program has left half written in folders.
func Sweep(dirs ...string) {
	for _, dir := range dirs {
		left, err := filepath.Glob(filepath.Join(dir, ".*.tmp"))
		if err != nil {
			continue
		}
		for _, path := range left {
			if strings.Count(filepath.Base(path), ".") >= 3 {
				os.Remove(path)
			}
		}
	}
}

// FreeName is the first of name(1), name(2) and so on at which there is nothing.
func FreeName(name func(n int) string) string {
	for n := 1; ; n++ {
		path := name(n)
		if _, err := os.Lstat(path); errors.Is(err, fs.ErrNotExist) {
			return path
		}
	}
}
