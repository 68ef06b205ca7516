//go:build !unix

package kernel

import (
	"context"
	"os"
	"os/exec"
	"time"
)

// Where there is no GoNB, kernels of other kernelspecs still run, if more
// simply: no watcher looks after them, and only they themselves are ended.

const supported = false

const startLimit = time.Minute

// Serve says that the kernel does not run on this system.
func Serve(connectionFile string, o ServeOptions) error { return errNotHere }

func startOwn(ctx context.Context, o ServeOptions) (engine, connection, error) {
	return nil, connection{}, errNotHere
}

type watcher struct{}

func startWatcher(folder string) (*watcher, error) { return &watcher{}, nil }

func (*watcher) group(pid int) {}

func (*watcher) dismiss() {}

func sweep(pid int, folder string) {
	if p, err := os.FindProcess(pid); err == nil {
		p.Kill()
	}
	os.RemoveAll(folder)
}

func ownGroup(cmd *exec.Cmd) {}

// interruptGroup can do nothing here: a cell that does not end is ended with
// its kernel.
func interruptGroup(p *os.Process) {}
