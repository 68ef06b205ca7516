//go:build race

package sandbox

import (
	"fmt"
	"os/exec"
	"path/filepath"
)

// Under the race detector the worker processes are built without it: it makes their
// interpreter and their compiler of WebAssembly many times slower, so that they meet
// the limits of processor time that the tests are about. The pool, which shares
// memory between goroutines, stays instrumented.
func init() {
	buildWorker = func(dir string) (string, error) {
		program := filepath.Join(dir, "gravlab")
		if out, err := exec.Command("go", "build", "-o", program, "gravity.example/gravlab/cmd/gravlab").CombinedOutput(); err != nil {
			return "", fmt.Errorf("building the workers without the race detector: %w\n%s", err, out)
		}
		return program, nil
	}
}
