package sandbox

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
const workerArgument = "gravlab-sandbox-worker"

// workerProgram is another program that does a worker's work; "" is this one. Tests set it.
var workerProgram string

func init() {
	if len(os.Args) == 2 && os.Args[1] == workerArgument {
		work(os.Stdin, os.Stdout)
		os.Exit(0)
	}
}

const (
	// maxResident is how much memory a worker may use. The program has 256 MiB
	// of it; the rest is for the compiler of WebAssembly.
	maxResident = 700 << 20
	// maxCheck is the processor time for reading the file, or for checking one cell.
	maxCheck = 3 * time.Second
	// maxStill is how long a process may use no processor time at all before it is held to
	// stand still. Only looks at it count, so that the time in which nobody looked does
	// not.
	maxStill = time.Minute
)

type message struct {
	kind byte
	body []byte
}

// worker is a worker process, seen from its parent. It does one job: whatever an
// earlier notebook left behind in its memory would count for the next.
type worker struct {
	cmd      *exec.Cmd
	in       io.WriteCloser
	messages chan message // closed when the worker has ended
	said     *tail
	dir      string
	formless bool // it sent what is no message; set before messages is closed
	once     sync.Once
	stop     chan struct{}
	exited   chan struct{}
}

// start starts a worker.
func (p *Pool) start() (*worker, error) {
	self := workerProgram
	var err error
	switch {
	case self != "":
	case runtime.GOOS == "linux":
		self = "/proc/self/exe" // works also when the file has been replaced
	default:
		if self, err = os.Executable(); err != nil {
			return nil, unstartable(err)
		}
	}
	dir, err := os.MkdirTemp(p.dir, "worker-")
	if err != nil {
		return nil, fileFault(p.dir, err)
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
		return nil, unstartable(err)
	}
	out, err := w.cmd.StdoutPipe()
	if err != nil {
		return nil, unstartable(err)
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
		giveWay(w.cmd.Process.Pid, p.nice)
		started <- nil
		w.read(out)
		w.cmd.Wait()
		os.RemoveAll(dir)
		close(w.exited)
		close(w.messages)
	}()
	if err := <-started; err != nil {
		os.RemoveAll(dir)
		return nil, unstartable(err)
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
	return nil, unstartable(fmt.Errorf("it ended (%v) and said %q", w.cmd.ProcessState, clip(w.said.String(), 500)))
}

func unstartable(err error) *Fault {
	return &Fault{What: fmt.Sprintf("a worker cannot be started (%v)", err), Do: "see that the machine is not out of memory or of processes, then try again"}
}

// read passes the worker's messages on until it ends or breaks the form.
func (w *worker) read(out io.Reader) {
	for {
		kind, body, err := receive(out, maxMessage)
		if err != nil {
			w.formless = err != io.EOF && err != io.ErrUnexpectedEOF
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

// gone says that the worker has ended.
func (w *worker) gone() bool {
	select {
	case <-w.exited:
		return true
	default:
		return false
	}
}

// kill ends a worker and its children, and waits for it.
func (w *worker) kill() {
	w.once.Do(func() { close(w.stop) })
	w.signal()
	w.in.Close()
	<-w.exited
}

func (w *worker) signal() { killGroup(w.cmd.Process) }

// watch holds the worker to the limits of what it does.
type watch struct {
	worker *worker
	limits Limits

	before time.Duration // processor time of earlier workers for the same job
	wall   time.Time     // the job's begin

	stage    stage
	stageCPU time.Duration
	tools    time.Duration // processor time of its compilers and linkers
	own      time.Duration // at the last look
	resident int64         // then
	still    int           // looks since something was used
	seen     time.Duration // used then
	paused   bool
}

func newWatch(w *worker, l Limits, before time.Duration) *watch {
	a := &watch{worker: w, limits: l, before: before, wall: time.Now()}
	a.begin(stage{What: stageRead})
	return a
}

// used looks at the processor time of the worker and its tools; where the system does
// not tell, it is the time that has passed.
func (a *watch) used() time.Duration {
	cpu, resident, ok := usage(a.worker.cmd.Process.Pid)
	switch {
	case ok:
		a.own, a.resident = max(a.own, cpu), resident
	case a.worker.gone():
		state := a.worker.cmd.ProcessState
		a.own = max(a.own, state.UserTime()+state.SystemTime())
	case a.own == 0:
		return time.Since(a.wall)
	}
	return a.own + a.tools
}

func (a *watch) begin(s stage) { a.stage, a.stageCPU = s, a.used() }

// turn does what is to become of a box; end says that it is to be ended.
func (a *watch) turn(n Next) (end bool) {
	if pause := n == Pause; pause != a.paused && CanPause {
		a.paused = pause
		pauseGroup(a.worker.cmd.Process.Pid, pause)
	}
	return n == End
}

// exceeded says which limit has been passed; sheet, that it is the one of the whole
// notebook. Only processor time and memory count: how long something takes depends on what
// else the machine does.
func (a *watch) exceeded() (limit Limit, sheet bool) {
	used := a.used()
	if used > a.seen || a.paused {
		a.seen, a.still = used, 0
	}
	a.still++
	if a.before+used > a.limits.Sheet {
		return LimitTime, true
	}
	full, inStage := a.resident > maxResident, used-a.stageCPU
	switch a.stage.What {
	case stageCheck, stageRead:
		if full || inStage > maxCheck {
			return LimitCompiler, false
		}
	case stageRun:
		if inStage > a.limits.Cell {
			return LimitTime, false
		}
		fallthrough
	default:
		if full {
			return LimitMemory, false
		}
	}
	return LimitNone, false
}

// death says why a worker has ended that nobody here has ended: by a limit of its own, as
// Go's runtime keeps one for stacks, or by a fault.
func (a *watch) death() (Limit, *Fault) {
	state, said := a.worker.cmd.ProcessState, a.worker.said.String()
	if state.ExitCode() != 2 && !a.worker.formless { // Go's runtime ends with 2
		return LimitNone, killedFault("a worker", state.String())
	}
	own, refused := wantOfMemory(said, maxResident)
	switch {
	case own && (a.stage.What == stageRun || a.stage.What == stageStart):
		return LimitMemory, nil
	case own:
		return LimitCompiler, nil
	case refused:
		return LimitNone, refusedFault("a worker")
	}
	first, _, _ := strings.Cut(said, "\n")
	return LimitNone, &Fault{What: fmt.Sprintf("a worker broke off at the step %q of cell %d (%s)", a.stage.What, a.stage.Cell+1, clip(first, 200)), Do: "please report it", crash: true}
}

// tail keeps the first and the last words of a process.
type tail struct {
	mu         sync.Mutex
	head, text []byte
}

func (t *tail) Write(b []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	n := min(len(b), 4<<10-len(t.head))
	t.head = append(t.head, b[:n]...)
	t.text = append(t.text, b[n:]...)
	if len(t.text) > 8<<10 {
		t.text = bytes.Clone(t.text[len(t.text)-4<<10:])
	}
	return len(b), nil
}

func (t *tail) String() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	return strings.ToValidUTF8(string(t.head)+string(t.text), "\uFFFD")
}
