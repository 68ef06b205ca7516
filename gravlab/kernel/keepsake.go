package kernel

import (
	"os"
	"path/filepath"
	"sync"
)

// A keepsake is a copy of the few small files that GoNB makes once, at its
// start. A cell that removes the temporary folder (os.RemoveAll of TMPDIR is
// quickly written) would else take the kernel with it.
type tempBackup struct {
	mu    sync.Mutex
	dirs  []string
	files map[string][]byte
	lost  bool // something had to be put back since restored was last asked
}

func (k *tempBackup) take(folder string) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.dirs, k.files = nil, map[string][]byte{}
	dirs, _ := filepath.Glob(filepath.Join(folder, "gonb_*"))
	for _, dir := range dirs {
		info, err := os.Lstat(dir)
		if err != nil || !info.IsDir() {
			continue // a pipe
		}
		k.dirs = append(k.dirs, dir)
		for _, name := range []string{"go.mod", "go.sum", "go.work", "go.work.sum"} {
			path := filepath.Join(dir, name)
			if data, err := os.ReadFile(path); err == nil {
				k.files[path] = data
			}
		}
	}
}

// restore puts back folders that are missing, with their files. A file alone may
// be missing for a moment: %reset makes go.mod anew.
func (k *tempBackup) restore() {
	k.mu.Lock()
	defer k.mu.Unlock()
	for _, dir := range k.dirs {
		if _, err := os.Stat(dir); err == nil || os.MkdirAll(dir, 0o700) != nil {
			continue
		}
		k.lost = true
		for path, data := range k.files {
			if filepath.Dir(path) == dir {
				os.WriteFile(path, data, 0o600)
			}
		}
	}
}

// restored says once whether restore has put anything back. Who calls both
// learns of every loss before it, whoever else restores meanwhile: the lock that
// covers the mending covers the note of it too.
func (k *tempBackup) restored() bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	lost := k.lost
	k.lost = false
	return lost
}
