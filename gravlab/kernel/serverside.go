//go:build unix

package kernel

import (
	"fmt"
	"io"
	"io/fs"
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

// besides are the folders of a notebook, searched for a file one after the other.
type besides []fs.FS

func (f besides) Open(name string) (fs.File, error) {
	for _, folder := range f {
		if file, err := folder.Open(name); err == nil {
			return file, nil
		}
	}
	return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
}

// besideOf are the folders in which the files of a notebook lie.
func besideOf(o ServeOptions) fs.FS {
	dir := o.Dir
	if dir == "" {
		dir = "."
	}
	if abs, err := filepath.Abs(dir); err == nil {
		dir = abs
	}
	files := besides{os.DirFS(dir)}
	for _, other := range o.beside {
		files = append(files, os.DirFS(other))
	}
	return files
}

// startBench opens a lab server whose socket lies in the kernel's folder, where it
// is removed with everything else.
func startBench(folder string, o ServeOptions, log io.Writer) (*serverSide, error) {
	b := &serverSide{options: labserver.Options{
		Socket: filepath.Join(folder, "bench"),
		Data:   o.DataDir,
		Files:  besideOf(o),
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
