//go:build unix

package kernel

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"

	"gravity.example/gravlab/labserver"
)

// A serverSide is the lab server beside a kernel, in the supervisor's process: no
// cell can take it along when it ends.
type serverSide struct {
	options labserver.Options
	mu      sync.Mutex
	bench   *labserver.Server // nil if it could not be opened again
}

// startBench opens a lab server whose socket lies in the kernel's folder, where it
// is removed with everything else.
func startBench(folder string, o ServeOptions, log io.Writer) (*serverSide, error) {
	b := &serverSide{options: labserver.Options{
		Socket: filepath.Join(folder, "bench"),
		Data:   o.DataDir,
		Log:    func(text string) { fmt.Fprintln(log, "bench:", text) },
	}}
	var err error
	b.bench, err = labserver.Start(b.options)
	return b, err
}

// env is what cells need to find the lab server.
func (b *serverSide) env() []string { return []string{"GRAVLAB_SERVER=" + b.options.Socket} }

// mend opens the socket again if a cell has removed it.
func (b *serverSide) mend() {
	b.mu.Lock()
	defer b.mu.Unlock()
	if _, err := os.Lstat(b.options.Socket); err == nil && b.bench != nil {
		return
	}
	if b.bench != nil {
		b.bench.Close()
	}
	var err error
	if b.bench, err = labserver.Start(b.options); err != nil {
		b.options.Log("opening the socket again: " + err.Error())
	}
}

func (b *serverSide) close() {
	if b == nil {
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.bench != nil {
		b.bench.Close()
	}
}
