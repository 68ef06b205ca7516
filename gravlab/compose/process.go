package compose

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"sync"
	"time"
)

// workerArgument makes this program a worker. It is not a command of the program's
// own, since it must work in whatever program uses this package.
const workerArgument = "gravlab-compose-worker"

func init() {
	if len(os.Args) == 2 && os.Args[1] == workerArgument {
		work(os.Stdin, os.Stdout)
		os.Exit(0)
	}
}

const (
	// maxJobs is how many jobs a worker does before it is replaced: what a
	// checker remembers of packages never shrinks.
	maxJobs = 200
	// maxResident is how much memory a worker may use. The program has 256 MiB
	// of it; the rest is for the compiler of WebAssembly.
	maxResident = 700 << 20
	// idleResident is how much a worker may keep between jobs.
	idleResident = 400 << 20
	// maxCheck is the processor time for reading the file, or for checking one cell.
	maxCheck = 3 * time.Second
	// maxBuild is the time for building or starting one program, as a last resort.
	maxBuild = 90 * time.Second
)

type message struct {
	kind byte
	body []byte
}

// worker is a worker process, seen from its parent.
type worker struct {
	cmd      *exec.Cmd
	in       io.WriteCloser
	messages chan message // closed when the worker has ended
	said     *tail
	dir      string
	jobs     int
	once     sync.Once
	stop     chan struct{}
	exited   chan struct{}
}

// start starts a worker.
func (p *Pool) start() (*worker, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	if runtime.GOOS == "linux" {
		self = "/proc/self/exe" // works also when the file has been replaced
	}
	dir, err := os.MkdirTemp(p.dir, "worker-")
	if err != nil {
		return nil, fmt.Errorf("a folder for a worker: %w", err)
	}
	w := &worker{said: &tail{}, dir: dir, messages: make(chan message, 1), stop: make(chan struct{}), exited: make(chan struct{})}
	w.cmd = exec.Command(self, workerArgument)
	w.cmd.Dir = dir
	// Nothing of the parent's environment reaches a worker but what the system
	// itself needs.
	w.cmd.Env = append(systemEnv(), "TMPDIR="+dir, "TMP="+dir, "TEMP="+dir, "GOTRACEBACK=single")
	w.cmd.Stderr = w.said
	apart(w.cmd)
	if w.in, err = w.cmd.StdinPipe(); err != nil {
		return nil, err
	}
	out, err := w.cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	// The thread that starts a worker must live as long as the worker: where the
	// system ends a child with its parent, the parent is that thread.
	started := make(chan error)
	go func() {
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		if err := w.cmd.Start(); err != nil {
			started <- err
			return
		}
		bound(w.cmd.Process.Pid)
		started <- nil
		w.read(out)
		w.cmd.Wait()
		os.RemoveAll(dir)
		close(w.messages)
		close(w.exited)
	}()
	if err := <-started; err != nil {
		os.RemoveAll(dir)
		return nil, fmt.Errorf("starting a worker: %w", err)
	}
	s := p.setup
	s.Dir = dir
	body, err := json.Marshal(s)
	if err != nil {
		w.kill()
		return nil, err
	}
	w.send(msgSetup, body)
	select {
	case m, ok := <-w.messages:
		if ok && m.kind == msgReady {
			return w, nil
		}
	case <-time.After(time.Minute):
	}
	w.kill()
	return nil, fmt.Errorf("a worker did not start; its last words were:\n%s", w.said)
}

// read passes the worker's messages on until it ends or breaks the form.
func (w *worker) read(out io.Reader) {
	for {
		kind, body, err := receive(out, maxMessage)
		if err != nil {
			w.signal()
			return
		}
		select {
		case w.messages <- message{kind, body}:
		case <-w.stop:
			return
		}
	}
}

// send sends a message. That a worker is gone shows when its messages end.
func (w *worker) send(kind byte, body []byte) { _ = send(w.in, kind, body) }

// end ends a worker that has nothing to do.
func (w *worker) end() {
	if w == nil {
		return
	}
	w.in.Close()
	select {
	case <-w.exited:
	case <-time.After(200 * time.Millisecond):
	}
	w.kill()
}

// kill ends a worker and its children, and waits for it.
func (w *worker) kill() {
	w.once.Do(func() { close(w.stop) })
	w.signal()
	w.in.Close()
	<-w.exited
}

func (w *worker) signal() { killGroup(w.cmd.Process) }

// bloated says that a worker keeps so much that a new one is better.
func (w *worker) bloated() bool {
	_, resident, ok := usage(w.cmd.Process.Pid)
	select {
	case <-w.exited:
		return true
	default:
		return ok && resident > idleResident
	}
}

// watch holds the worker to the limits of what it does.
type watch struct {
	worker *worker
	limits Limits
	before time.Duration // processor time of earlier workers for the same job
	origin time.Duration // of this worker, at the job's begin
	wall   time.Time     // the job's begin

	stage      stage
	stageCPU   time.Duration
	stageBegan time.Time
	waiting    time.Duration // for replies, in this stage
	paused     time.Time
	last       time.Duration // processor time at the last look
}

func newWatch(w *worker, l Limits, before time.Duration) *watch {
	a := &watch{worker: w, limits: l, before: before, wall: time.Now()}
	a.origin = a.cpu()
	a.begin(stage{What: stageRead})
	return a
}

// cpu is the worker's processor time, or the time that has passed where the system does not tell.
func (a *watch) cpu() time.Duration {
	if cpu, _, ok := usage(a.worker.cmd.Process.Pid); ok {
		a.last = max(a.last, cpu)
		return a.last
	}
	if a.last > 0 {
		return a.last // it has ended
	}
	return time.Since(a.wall)
}

func (a *watch) begin(s stage) {
	a.stage, a.stageCPU, a.stageBegan, a.waiting = s, a.cpu(), time.Now(), 0
}

func (a *watch) pause()  { a.paused = time.Now() }
func (a *watch) resume() { a.waiting += time.Since(a.paused) }

// used is the processor time that this worker spent on the job.
func (a *watch) used() time.Duration { return a.cpu() - a.origin }

// spent is the processor time of the job so far.
func (a *watch) spent() time.Duration { return a.before + a.used() }

// exceeded says which limit has been passed.
func (a *watch) exceeded() Limit {
	_, resident, ok := usage(a.worker.cmd.Process.Pid)
	inStage, passed := a.cpu()-a.stageCPU, time.Since(a.stageBegan)-a.waiting
	// A busy machine makes everything take longer: the time that passes is
	// the last resort, for a worker that sleeps.
	late := func(limit time.Duration) bool { return inStage > limit || passed > 4*limit+20*time.Second }
	switch a.stage.What {
	case stageCheck, stageRead:
		if ok && resident > maxResident || late(maxCheck) {
			return LimitCompiler
		}
	case stageRun:
		if ok && resident > maxResident {
			return LimitMemory
		}
		if late(a.limits.Cell) {
			return LimitTime
		}
	default:
		if ok && resident > maxResident {
			return LimitMemory
		}
		if late(maxBuild) {
			return LimitCompiler
		}
	}
	if a.spent() > a.limits.Sheet {
		return LimitTime
	}
	return LimitNone
}

// ofDeath says which limit a worker met that ended by itself: the system or
// Go's runtime refused it memory or stack.
func (a *watch) ofDeath() Limit {
	switch a.stage.What {
	case stageRun, stageStart:
		return LimitMemory
	}
	return LimitCompiler
}

// tail keeps the last words of a process.
type tail struct {
	mu   sync.Mutex
	text []byte
}

func (t *tail) Write(b []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.text = append(t.text, b...)
	if len(t.text) > 8<<10 {
		t.text = bytes.Clone(t.text[len(t.text)-4<<10:])
	}
	return len(b), nil
}

func (t *tail) String() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	return strings.ToValidUTF8(string(t.text), "\uFFFD")
}
