package kernel

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"

	"golang.org/x/mod/modfile"
)

// modulePath is the module whose packages the cells import. It has no host to
// be fetched from, so a kernel always works from a clone on this machine.
const modulePath = "gravity.example"

// CloneEnv names the environment variable that holds the absolute path of the
// clone. An installed kernelspec sets it.
const CloneEnv = "GRAVLAB_CLONE"

// FindClone returns the folder of the module gravity.example, whose packages
// cells import and whose notebooks are shown: the one that CloneEnv names or,
// without that, the one from which this program was built.
//
// No other folder is taken. A go.mod of that name in or above the current
// folder may have come with someone else's files, and using it would compile and run
// what lies beside it. If there is one, tell is called with a sentence about
// it, and an error says how to ask for it. tell may be nil.
func FindClone(log func(text string)) (string, error) {
	return findClone(os.Getenv(CloneEnv), builtFrom(), ".", log)
}

// findClone is FindClone with all that it depends on: the folder that was asked
// for, the one from which the program was built, and the current folder.
func findClone(asked, built, current string, log func(text string)) (string, error) {
	if asked != "" {
		dir, err := checkClone(asked)
		if err != nil {
			return "", fmt.Errorf("%s: %w; if the clone has moved, set it to the new folder (for Jupyter, run `go run ./gravlab/cmd/gravlab kernel install` once in the clone)", CloneEnv, err)
		}
		return dir, nil
	}
	here := cloneAbove(current)
	dir, err := checkClone(built)
	switch {
	case built != "" && err == nil:
		if here != "" && !same(here, dir) {
			report(log, fmt.Sprintf("the clone in use is %s, from which this program was built; there is another clone at %s: to use that one, set %s to it", dir, here, CloneEnv))
		}
		return dir, nil
	case built == "":
		err = errors.New("this program does not know where its clone is, because it was built with -trimpath")
	default:
		err = fmt.Errorf("the clone from which this program was built cannot be used: %w", err)
	}
	if here == "" {
		return "", fmt.Errorf("%w; set %s to the folder of your clone", err, CloneEnv)
	}
	return "", fmt.Errorf("%w; there is a clone at %s: if it is yours, set %s to it, or build the program again there", err, here, CloneEnv)
}

// builtFrom returns the root of the clone in which this file was compiled; ""
// if the program was built without its paths.
func builtFrom() string {
	_, file, _, _ := runtime.Caller(0)
	if file = filepath.FromSlash(file); !filepath.IsAbs(file) {
		return ""
	}
	return filepath.Dir(filepath.Dir(filepath.Dir(file))) // ROOT/gravlab/kernel/clone.go
}

// cloneAbove returns the nearest folder at or above dir that looks like a
// clone; "" if there is none.
func cloneAbove(dir string) string {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return ""
	}
	for {
		if found, err := checkClone(dir); err == nil {
			return found
		}
		up := filepath.Dir(dir)
		if up == dir {
			return ""
		}
		dir = up
	}
}

// checkClone returns the absolute path of dir if its go.mod is that of this
// module.
func checkClone(dir string) (string, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return "", err
	}
	name := filepath.Join(dir, "go.mod")
	text, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("there is no clone of %s at %s", modulePath, dir)
	}
	if err != nil {
		return "", err
	}
	if got := modfile.ModulePath(text); got != modulePath {
		return "", fmt.Errorf("%s is of the module %q, not %s", name, got, modulePath)
	}
	return dir, nil
}
