//go:build unix

package kernel

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"

	"gravity.example/gravlab/bench"
)

// A benchSide is the lab bench beside a kernel, in the supervisor's process: no
// cell can take it along when it ends.
type benchSide struct {
	options bench.Options
	mu      sync.Mutex
	bench   *bench.Bench // nil if it could not be opened again
}

// startBench opens a bench whose socket lies in the kernel's folder, where it
// is removed with everything else.
func startBench(folder string, o ServeOptions, log io.Writer) (*benchSide, error) {
	b := &benchSide{options: bench.Options{
		Socket: filepath.Join(folder, "bench"),
		Data:   o.DataDir,
		Log:    func(text string) { fmt.Fprintln(log, "bench:", text) },
	}}
	var err error
	b.bench, err = bench.Start(b.options)
	return b, err
}

// env is what cells need to find the bench.
func (b *benchSide) env() []string { return []string{"GRAVLAB_BENCH=" + b.options.Socket} }

// mend opens the socket again if a cell has removed it.
func (b *benchSide) mend() {
	b.mu.Lock()
	defer b.mu.Unlock()
	if _, err := os.Lstat(b.options.Socket); err == nil && b.bench != nil {
		return
	}
	if b.bench != nil {
		b.bench.Close()
	}
	var err error
	if b.bench, err = bench.Start(b.options); err != nil {
		b.options.Log("opening the socket again: " + err.Error())
	}
}

func (b *benchSide) close() {
	if b == nil {
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.bench != nil {
		b.bench.Close()
	}
}
