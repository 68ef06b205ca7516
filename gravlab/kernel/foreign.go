package kernel

import (
	"fmt"
	"os"
	"os/exec"
	"time"
)

// A foreign engine is the kernel of an installed kernelspec.
type foreign struct {
	spec   kernelSpec
	cmd    *exec.Cmd
	folder string // holds the connection file, and marks its processes
	watch  *watcher
	log    *tail
	gone   chan struct{}
	ended  error
}

func startSpec(spec kernelSpec, dir string) (engine, connection, error) {
	conn, err := newConnection(spec.Name)
	if err != nil {
		return nil, conn, err
	}
	f := &foreign{spec: spec, log: &tail{}, gone: make(chan struct{})}
	if f.folder, err = os.MkdirTemp("", "gravlab-"); err != nil {
		return nil, conn, err
	}
	if f.watch, err = startWatcher(f.folder); err != nil {
		os.RemoveAll(f.folder)
		return nil, conn, err
	}
	file, err := conn.write(f.folder)
	if err != nil {
		f.watch.dismiss()
		os.RemoveAll(f.folder)
		return nil, conn, err
	}
	argv := spec.command(file)
	f.cmd = exec.Command(argv[0], argv[1:]...)
	f.cmd.Dir = dir
	f.cmd.Env = append(os.Environ(), markEnv+"="+f.folder)
	for name, value := range spec.Env {
		f.cmd.Env = append(f.cmd.Env, name+"="+os.ExpandEnv(value))
	}
	ownGroup(f.cmd)
	r, w, err := os.Pipe()
	if err == nil {
		f.cmd.Stdout, f.cmd.Stderr = w, w
		if err = f.cmd.Start(); err != nil {
			r.Close()
		}
		w.Close()
	}
	if err != nil {
		f.watch.dismiss()
		os.RemoveAll(f.folder)
		return nil, conn, fmt.Errorf("starting the kernel %s: %w", spec.Name, err)
	}
	f.watch.group(f.cmd.Process.Pid)
	read := make(chan struct{})
	go func() { f.log.readFrom(r); close(read) }()
	go func() {
		f.ended = f.cmd.Wait()
		select {
		case <-read:
		case <-time.After(100 * time.Millisecond):
		}
		r.Close()
		close(f.gone)
	}()
	return f, conn, nil
}

// interrupt sends one interrupt; the caller repeats it until the cell is over.
func (f *foreign) interrupt() { interruptGroup(f.cmd.Process) }

func (f *foreign) stop() {
	sweep(f.cmd.Process.Pid, f.folder)
	f.watch.dismiss()
}

func (f *foreign) settle() string { return "" }

func (f *foreign) over() <-chan struct{} { return f.gone }

func (f *foreign) death() error {
	<-f.gone
	if f.ended == nil {
		return nil
	}
	return &deathError{state: f.ended.Error(), words: f.log.lastWords()}
}
