//go:build unix

package kernel

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"
)

const supported = true

// A supervisor runs GoNB with a lab server beside it and ends everything that they
// have started when they end.
type supervisor struct {
	folder  string // the kernel's TMPDIR
	conn    connection
	pid     int   // of GoNB, and its process group
	log     *tail // what GoNB wrote to its error output
	bench   *serverSide
	watch   *watcher
	monitor *monitor
	keep    tempBackup

	gone  chan struct{} // closed when GoNB has ended
	ended error         // how; read it after gone

	stopping sync.Once
	breaking target // the cell that is being interrupted
}

// A frontEnd is whom a kernel listens to: a connection file and its content.
type frontEnd struct {
	file string
	conn connection
}

// supervise starts GoNB for a front end, or for this process alone if there is none.
func supervise(ctx context.Context, front *frontEnd, o ServeOptions) (s *supervisor, err error) {
	t, err := tools(ctx, o.Clone, o.Log)
	if err != nil {
		return nil, err
	}
	s = &supervisor{log: &tail{to: o.KernelLog}, gone: make(chan struct{})}
	if s.folder, err = kernelFolder(); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			s.stop()
		}
	}()
	// The watcher comes first, so that there is no moment in which a kill of
	// this process leaves anything behind.
	if s.watch, err = startWatcher(s.folder); err != nil {
		return s, err
	}
	if front == nil {
		front = &frontEnd{conn: connectionIn(s.folder)}
		if front.file, err = front.conn.write(s.folder); err != nil {
			return s, err
		}
	}
	s.conn = front.conn
	if s.bench, err = startBench(s.folder, o, s.log); err != nil {
		return s, err
	}
	env, err := kernelEnv(t, s.folder, o)
	if err != nil {
		return s, err
	}
	clone, err := checkClone(o.Clone)
	if err != nil {
		return s, err
	}
	cmd := exec.Command(t.gonb, "-raw_error=true", "-go_work="+clone, "--kernel", front.file)
	cmd.Dir = o.Dir
	cmd.Env = append(env, s.bench.env()...)
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	// A pipe of our own, not cmd.StderrPipe: Wait must not wait for whoever
	// else has inherited the other end.
	r, w, err := os.Pipe()
	if err != nil {
		return s, err
	}
	cmd.Stdout, cmd.Stderr = w, w
	err = cmd.Start()
	w.Close()
	if err != nil {
		r.Close()
		return s, fmt.Errorf("starting the Go kernel: %w", err)
	}
	s.pid = cmd.Process.Pid
	s.watch.group(s.pid)
	limitMemory(s.pid, o.memory)
	read := make(chan struct{})
	go func() { s.log.readFrom(r); close(read) }()
	go func() {
		s.ended = cmd.Wait()
		select { // its last words, for which a busy machine may need a while
		case <-read:
		case <-time.After(time.Second):
		}
		r.Close()
		close(s.gone)
	}()
	if s.monitor, err = startMonitor(ctx, s.conn, s.gone, s.mend); err != nil {
		if errors.Is(err, errGone) {
			err = s.death()
		}
		return s, err
	}
	s.keep.take(s.folder)
	s.log.forgetStart()
	return s, nil
}

// Serve runs the kernel for a front end that has written connectionFile. It
// returns when the front end has shut the kernel down, when a signal other than
// an interrupt ends it, or when the front end itself is gone; nothing that the
// kernel started is left then. An error says why a kernel did not start or died.
//
// There is no context to end it by: the usual one is cancelled by an interrupt,
// which here ends a cell and not the kernel.
func Serve(connectionFile string, o ServeOptions) error {
	ctx := context.Background()
	// Before anything is started: a signal must not end this process by itself.
	signals := make(chan os.Signal, 8)
	signal.Notify(signals, syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP)
	defer signal.Stop(signals)
	conn, err := readConnection(connectionFile)
	if err != nil {
		return err
	}
	if o.Log == nil {
		// A front end shows this in its log; it says why the start takes long.
		o.Log = func(text string) { fmt.Fprintln(os.Stderr, "gravlab:", text) }
	}
	if o.Clone == "" {
		if o.Clone, err = FindClone(o.Log); err != nil {
			return err
		}
	}
	orphaned := frontEndGone()
	starting, cancel := context.WithTimeout(ctx, startLimit)
	defer cancel()
	type started struct {
		s   *supervisor
		err error
	}
	up := make(chan started, 1)
	go func() {
		s, err := supervise(starting, &frontEnd{connectionFile, conn}, o)
		up <- started{s, err}
	}()
	var s *supervisor
	early := false // the front end may have a cell running before `up` is read
	for s == nil {
		select {
		case r := <-up:
			if r.err != nil {
				return r.err
			}
			s = r.s
		case sig := <-signals:
			if sig == syscall.SIGINT {
				early = true
				continue
			}
			cancel()
			if r := <-up; r.err == nil {
				r.s.stop()
			}
			return nil
		}
	}
	defer s.stop()
	if early {
		go s.interrupt()
	}
	for {
		select {
		case sig := <-signals:
			if sig != syscall.SIGINT {
				return nil
			}
			go s.interrupt()
		case <-s.gone:
			return s.death()
		case <-orphaned:
			return nil
		}
	}
}

// startLimit covers the first start after a change of Go, which builds the
// tools.
const startLimit = 5 * time.Minute

// kernelFolder makes the kernel's temporary folder under a name so short that
// the sockets in it fit into an address (104 bytes on some systems).
func kernelFolder() (string, error) {
	base := os.TempDir()
	if len(base) > 40 {
		base = "/tmp"
	}
	folder, err := os.MkdirTemp(base, "gravlab-")
	if err != nil {
		return "", fmt.Errorf("no temporary folder for the kernel: %w: set TMPDIR to a folder that can be written", err)
	}
	return folder, nil
}

// kernelEnv is the environment of GoNB and so of all cells.
func kernelEnv(t toolchain, folder string, o ServeOptions) ([]string, error) {
	// What a user has set for their own builds (-mod=mod, another target) would
	// break the cells, which are built in a workspace of their own.
	env := without(os.Environ(), "GOFLAGS", "GOPROXY", "GOWORK", "GOTOOLCHAIN", "GOTMPDIR", "GOOS", "GOARCH", "GOROOT",
		"TMPDIR", "PATH", "PWD", "GONB_*", "GRAVLAB_*")
	path := []string{t.dir, filepath.Join(t.goroot, "bin")}
	if o.mute {
		dir, err := muteGopls()
		if err != nil {
			return nil, err
		}
		path = append([]string{dir}, path...)
	} else if dir := goplsDir(); dir != "" {
		path = append(path, dir)
	}
	if o.memory > 0 {
		// Near the limit it is better to collect garbage than to die.
		env = append(without(env, "GOMEMLIMIT"), fmt.Sprintf("GOMEMLIMIT=%d", o.memory/4*3))
	}
	return append(env,
		"PATH="+strings.Join(append(path, os.Getenv("PATH")), string(os.PathListSeparator)),
		"TMPDIR="+folder,
		markEnv+"="+folder,
		"GOPROXY=off",         // nothing is fetched behind the user's back
		"GOFLAGS=-ldflags=-s", // linking is most of a cell's time
		"GOTOOLCHAIN=local",
		"GRAVLAB_BESIDE="+strings.Join(o.beside, string(os.PathListSeparator)), // for ask.OwnRecording
	), nil
}

// death describes how GoNB ended; nil if it was asked to.
func (s *supervisor) death() error {
	<-s.gone
	if s.log.tellsOfForgery() {
		return &deathError{forged: true} // GoNB may answer one with the exit code 0
	}
	if s.ended == nil || s.log.tellsOfShutdown() {
		return nil
	}
	return &deathError{state: s.ended.Error(), words: s.log.lastWords()}
}

// interrupt ends the cell that runs. GoNB loses an interrupt that comes while a
// cell is compiled and passes on only the first, only to the direct child, so
// it is repeated until the cell is over, and widened: after a second to all of
// the kernel's group (the parts of a pipeline), at last by killing whatever
// could still hold the cell up, jobs of earlier shell lines among it.
func (s *supervisor) interrupt() {
	const (
		grace  = 200 * time.Millisecond // for a request that is on its way
		repeat = 150 * time.Millisecond
	)
	start := time.Now()
	cell := s.monitor.busyWith()
	for cell == "" {
		if time.Since(start) > grace {
			return
		}
		time.Sleep(10 * time.Millisecond)
		cell = s.monitor.busyWith()
	}
	if !s.breaking.aim(cell) {
		return // it is being interrupted already
	}
	group, kill := start.Add(time.Second), start.Add(6500*time.Millisecond)
	for s.monitor.busyWith() == cell {
		select {
		case <-s.gone:
			return
		default:
		}
		now := time.Now()
		target := s.pid
		if now.After(group) {
			target, group = -s.pid, now.Add(time.Second)
		}
		syscall.Kill(target, syscall.SIGINT)
		if now.After(kill) {
			for _, p := range marked(s.folder) {
				if p != s.pid && programOf(p) != "gopls" {
					syscall.Kill(p, syscall.SIGKILL)
				}
			}
		}
		time.Sleep(repeat)
	}
}

// A target is the last cell that an interrupt was meant for.
type target struct {
	mu   sync.Mutex
	cell string
}

// aim takes aim at a cell and reports whether it is a new one.
func (t *target) aim(cell string) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	isNew := t.cell != cell
	t.cell = cell
	return isNew
}

// stop ends the kernel and everything it has started, and removes its folder.
func (s *supervisor) stop() {
	s.stopping.Do(func() {
		if s.monitor != nil {
			s.monitor.close()
		}
		sweep(s.pid, s.folder)
		s.bench.close()
		os.RemoveAll(s.folder)
		s.watch.dismiss()
	})
}

// mend puts the kernel's folder back if a cell has removed it, as far as GoNB
// needs it to go on.
func (s *supervisor) mend() {
	s.keep.restore()
	s.bench.mend()
}

// settle makes the kernel fit for the next cell and says what had to be done.
func (s *supervisor) settle() string {
	s.mend()
	if s.keep.restored() {
		return "the cell removed the kernel's own temporary folder (TMPDIR); the kernel put back what it needs, what the cells kept there is lost: remove only what the cell itself has made"
	}
	return ""
}

// frontEndGone reports the end of the front end, if it is known: jupyter_client
// names itself in JPY_PARENT_PID. GoNB would never notice.
func frontEndGone() <-chan struct{} {
	parent, err := strconv.Atoi(os.Getenv("JPY_PARENT_PID"))
	if err != nil || parent <= 1 || parent != os.Getppid() {
		return nil
	}
	gone := make(chan struct{})
	go func() {
		for os.Getppid() == parent {
			time.Sleep(500 * time.Millisecond)
		}
		close(gone)
	}()
	return gone
}
