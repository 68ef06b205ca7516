package sandbox

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"time"
)

const (
	// compilerTime is the processor time that the compiler, and the linker, may take
	// for one program. An honest sheet takes a tenth of a second.
	compilerTime = 6 * time.Second
	// compilerMemory is how much memory they may take.
	compilerMemory = 768 << 20
	// maxSaid is how much of what they say is read.
	maxSaid = 64 << 10
	// maxModule is how long a program may be. An honest one has 3 to 6 MB; one of this length can
	// still be compiled to machine code in the memory of a worker.
	maxModule = 24 << 20
)

// A builder calls the compiler and the linker themselves: with their lists of
// files there are no modules, no network, no cgo, no embedding and no build tags.
type builder struct {
	setup
	used func(time.Duration) // told how much processor time a tool has used since it was last told
}

// complaint is a line of the compiler about a cell.
type complaint struct {
	cell int // index
	line int
	text string
}

// buildError says why a program was not built.
type buildError struct {
	limit      bool // the compiler met a limit
	complaints []complaint
	said       string
}

func (e *buildError) Error() string {
	if e.limit {
		return "the compiler met a limit"
	}
	return e.said
}

// compile compiles a source; the object's file is the same each time. The error is a
// buildError or a Fault.
func (b builder) compile(source string, limit time.Duration) error {
	file := filepath.Join(b.Dir, "main.go")
	if err := os.WriteFile(file, []byte(source), 0o600); err != nil {
		return fileFault(b.Dir, err)
	}
	return b.call(limit, b.Compile, "-p", "main", "-complete", "-pack", "-c", "1", "-trimpath", b.Dir, "-importcfg", b.ImportConfig, "-o", filepath.Join(b.Dir, "main.a"), file)
}

// link links what was compiled and returns the module, with its registers exported.
func (b builder) link() ([]byte, error) {
	out := filepath.Join(b.Dir, "main.wasm")
	// A library, so that its initialisation returns before any cell is run.
	err := b.call(compilerTime, b.Link, "-buildmode", "c-shared", "-s", "-w", "-importcfg", b.LinkConfig, "-o", out, filepath.Join(b.Dir, "main.a"))
	if err != nil {
		return nil, err
	}
	info, err := os.Stat(out)
	if err != nil {
		return nil, fileFault(b.Dir, err)
	}
	if info.Size() > maxModule {
		return nil, &buildError{limit: true, said: "the program is too long"}
	}
	module, err := os.ReadFile(out)
	if err != nil {
		return nil, fileFault(b.Dir, err)
	}
	// The linker does not always see that what it wrote has not arrived.
	if module, err = exportGlobals(module); err != nil {
		return nil, b.failure(err.Error())
	}
	return module, nil
}

// failure is the fault of a tool that failed and said nothing about a cell.
func (b builder) failure(said string) *Fault {
	said = strings.ReplaceAll(said, b.Dir, "") // else it is never twice the same
	switch {
	case noRoom(said) || lacksRoom(b.Dir):
		return roomFault(filepath.Dir(b.Dir))
	case strings.Contains(said, "no such file or directory") || strings.Contains(said, "could not import"):
		return fileFault(b.Dir, fmt.Errorf("%s: %w", clip(said, 300), os.ErrNotExist))
	}
	return &Fault{What: "a program could not be built, and the message names no cell (" + clip(strings.TrimSpace(said), 300) + ")", Do: "please report it", crash: true}
}

// call runs a tool with limits.
func (b builder) call(limit time.Duration, tool string, args ...string) error {
	name := "the " + strings.TrimSuffix(filepath.Base(tool), ".exe") + " program of Go"
	cmd := exec.Command(tool, args...)
	cmd.Dir = b.Dir
	cmd.Env = append(systemEnv(), "GOOS=wasip1", "GOARCH=wasm", "GOMEMLIMIT=300MiB", "GOMAXPROCS=1", "GOTRACEBACK=none", "TMPDIR="+b.Dir, "TMP="+b.Dir, "TEMP="+b.Dir)
	said := &front{max: maxSaid}
	cmd.Stdout, cmd.Stderr = said, said
	along(cmd)
	if err := cmd.Start(); err != nil {
		return &Fault{What: fmt.Sprintf("%s cannot be started (%v)", name, err), Do: "see that Go is installed whole and that the machine is not out of memory, then try again"}
	}
	release := boundCompiler(cmd.Process.Pid)
	defer release()
	w := &toolWatch{builder: b, cmd: cmd, limit: limit, stop: make(chan struct{}), done: make(chan struct{})}
	go w.run()
	err := cmd.Wait()
	close(w.stop)
	<-w.done
	total := cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	b.used(max(total-w.told, 0))
	if err == nil {
		return nil
	}
	e := &buildError{said: said.String()}
	own, refused := wantOfMemory(e.said, compilerMemory)
	switch {
	case w.exceeded || total > limit || own || strings.Contains(e.said, syscall.EFBIG.Error()): // boundCompiler
		e.limit = true
		return e
	case w.still:
		return stalledFault(name)
	case refused:
		return refusedFault(name)
	case !errors.As(err, new(*exec.ExitError)):
		return fileFault(b.Dir, err)
	case cmd.ProcessState.ExitCode() < 0:
		return killedFault(name, cmd.ProcessState.String())
	case strings.Contains(e.said, ": could not import "): // the checker had what it imports
		return b.failure(e.said)
	}
	if e.complaints = complaints(e.said); len(e.complaints) > 0 {
		return e
	}
	return b.failure(e.said)
}

// A toolWatch holds a tool to its limits while it runs.
type toolWatch struct {
	builder
	cmd        *exec.Cmd
	limit      time.Duration
	stop, done chan struct{}

	told            time.Duration // to used
	exceeded, still bool          // why it was ended
}

func (w *toolWatch) run() {
	defer close(w.done)
	tick := time.NewTicker(pollEvery)
	defer tick.Stop()
	still := 0
	for {
		select {
		case <-w.stop:
			return
		case <-tick.C:
		}
		cpu, resident, ok := usage(w.cmd.Process.Pid)
		if still++; ok && cpu > w.told {
			still = 0
			w.used(cpu - w.told)
			w.told = cpu
		}
		w.exceeded, w.still = ok && (cpu > w.limit || resident > compilerMemory), still > w.Still
		if w.exceeded || w.still {
			w.cmd.Process.Kill()
			return
		}
	}
}

var complaintLine = regexp.MustCompile(`(?m)^\S*?cell-(\d+):(\d+)(?::\d+)?: (.*)$`)

func complaints(said string) []complaint {
	var out []complaint
	for _, m := range complaintLine.FindAllStringSubmatch(said, 10) {
		n, _ := strconv.Atoi(m[1])
		line, _ := strconv.Atoi(m[2])
		out = append(out, complaint{n - 1, line, m[3]})
	}
	return out
}

// front keeps the first words of a process.
type front struct {
	max  int
	text []byte
}

func (f *front) Write(b []byte) (int, error) {
	f.text = append(f.text, b[:min(len(b), f.max-len(f.text))]...)
	return len(b), nil
}

func (f *front) String() string { return strings.ToValidUTF8(string(f.text), "\uFFFD") }
