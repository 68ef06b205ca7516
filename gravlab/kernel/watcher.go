//go:build unix

package kernel

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"runtime"
	"strconv"
	"strings"
	"syscall"
)

// A watcher is a process that outlives the supervisor, by moments. It holds the
// read end of a pipe; the write end closes when the supervisor ends, however it
// ends, and then the watcher ends the kernel's processes and removes its folder.
// A death signal from the system (Pdeathsig) would reach GoNB alone: its cells,
// shells and folder would stay.
type watcher struct {
	cmd  *exec.Cmd
	pipe *os.File
}

// watchArgument makes this program a watcher. It is not a command of the
// program's own, since it must work in whatever program uses this package.
const watchArgument = "gravlab-kernel-watch"

func init() {
	if len(os.Args) == 3 && os.Args[1] == watchArgument {
		watch(os.NewFile(3, "supervisor"), os.Args[2])
		os.Exit(0)
	}
}

func startWatcher(folder string) (*watcher, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	if runtime.GOOS == "linux" {
		self = "/proc/self/exe" // works also when the file has been replaced
	}
	r, w, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	cmd := exec.Command(self, watchArgument, folder)
	cmd.ExtraFiles = []*os.File{r}
	// A session of its own: no signal meant for the supervisor's group or
	// terminal reaches it. Its environment lacks the mark of a kernel in which
	// this one may run, else that one's sweep would end it too early.
	cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true}
	cmd.Env = without(os.Environ(), markEnv)
	cmd.Dir = "/"
	err = cmd.Start()
	r.Close()
	if err != nil {
		w.Close()
		return nil, fmt.Errorf("starting the kernel's watcher: %w", err)
	}
	return &watcher{cmd, w}, nil
}

// group tells the watcher which process group is the kernel's.
func (w *watcher) group(pid int) {
	fmt.Fprintf(w.pipe, "%d\n", pid)
}

// dismiss ends the watcher: there is nothing left for it to do.
func (w *watcher) dismiss() {
	if w == nil {
		return
	}
	fmt.Fprintln(w.pipe, "done")
	w.pipe.Close()
	w.cmd.Wait()
}

// watch is the life of a watcher.
func watch(pipe io.Reader, folder string) {
	signal.Ignore(syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP)
	pid := 0
	lines := bufio.NewScanner(pipe)
	for lines.Scan() {
		line := strings.TrimSpace(lines.Text())
		if line == "done" {
			return
		}
		if n, err := strconv.Atoi(line); err == nil {
			pid = n
		}
	}
	sweep(pid, folder)
}
