package kernel

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"golang.org/x/mod/modfile"
)

// modulePath is the module whose packages the cells import. It has no host to
// be fetched from, so a kernel always works from a clone on this machine.
const modulePath = "gravity.example"

// CloneEnv names the environment variable that holds the absolute path of the
// clone. An installed kernelspec sets it.
const CloneEnv = "GRAVLAB_CLONE"

// FindClone returns the folder of the module gravity.example: the one that
// CloneEnv names or, without that, the nearest at or above one of dirs.
func FindClone(dirs ...string) (string, error) {
	if dir := os.Getenv(CloneEnv); dir != "" {
		return checkClone(dir)
	}
	for _, dir := range dirs {
		dir, err := filepath.Abs(dir)
		if err != nil {
			continue
		}
		for {
			if found, err := checkClone(dir); err == nil {
				return found, nil
			}
			up := filepath.Dir(dir)
			if up == dir {
				break
			}
			dir = up
		}
	}
	return "", fmt.Errorf("no clone of the module %s at or above %q: run this inside the clone, or set %s to its folder", modulePath, dirs, CloneEnv)
}

// checkClone returns the absolute path of dir if its go.mod is that of this
// module, and otherwise says what to do.
func checkClone(dir string) (string, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return "", err
	}
	name := filepath.Join(dir, "go.mod")
	text, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("there is no clone of %s at %s: if it has moved, run `gravlab kernel install` once from where it is now", modulePath, dir)
	}
	if err != nil {
		return "", err
	}
	if got := modfile.ModulePath(text); got != modulePath {
		return "", fmt.Errorf("%s is of the module %q, not %s: run `gravlab kernel install` once inside a clone of %s", name, got, modulePath, modulePath)
	}
	return dir, nil
}
