package compose

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
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
)

// A builder calls the compiler and the linker themselves: with their lists of
// files there are no modules, no network, no cgo, no embedding and no build tags.
type builder struct {
	setup
	processor *time.Duration // that the tools used, is added here
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

// compile compiles a source; the object's file is the same each time.
func (b builder) compile(source string, limit time.Duration) error {
	file := filepath.Join(b.Dir, "main.go")
	if err := os.WriteFile(file, []byte(source), 0o600); err != nil {
		return err
	}
	return b.call(limit, b.Compile, "-p", "main", "-complete", "-pack", "-c", "1", "-trimpath", b.Dir, "-importcfg", b.ImportConfig, "-o", filepath.Join(b.Dir, "main.a"), file)
}

// link links what was compiled and returns the module.
func (b builder) link() ([]byte, error) {
	out := filepath.Join(b.Dir, "main.wasm")
	// A library, so that its initialisation returns before any cell is run.
	err := b.call(compilerTime, b.Link, "-buildmode", "c-shared", "-s", "-w", "-importcfg", b.LinkConfig, "-o", out, filepath.Join(b.Dir, "main.a"))
	if err != nil {
		return nil, err
	}
	info, err := os.Stat(out)
	if err != nil {
		return nil, err
	}
	if info.Size() > 48<<20 {
		return nil, &buildError{limit: true, said: "the program is too long"}
	}
	return os.ReadFile(out)
}

// call runs a tool with limits.
func (b builder) call(limit time.Duration, tool string, args ...string) error {
	// The time that passes is the last resort: the machine may be busy.
	ctx, cancel := context.WithTimeout(context.Background(), 2*limit+10*time.Second)
	defer cancel()
	cmd := exec.CommandContext(ctx, tool, args...)
	cmd.Dir = b.Dir
	cmd.Env = append(systemEnv(), "GOOS=wasip1", "GOARCH=wasm", "GOMEMLIMIT=300MiB", "GOMAXPROCS=1", "GOTRACEBACK=none", "TMPDIR="+b.Dir, "TMP="+b.Dir, "TEMP="+b.Dir)
	said := &front{max: maxSaid}
	cmd.Stdout, cmd.Stderr = said, said
	along(cmd)
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("starting the %s: %w", filepath.Base(tool), err)
	}
	release := boundCompiler(cmd.Process.Pid)
	defer release()
	over := make(chan bool, 1)
	stop := make(chan struct{})
	go func() { over <- b.watch(cmd.Process.Pid, limit, stop, cancel) }()
	err := cmd.Wait()
	close(stop)
	exceeded := <-over
	*b.processor += cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	if err == nil {
		return nil
	}
	e := &buildError{said: said.String()}
	e.complaints = complaints(e.said)
	if code := cmd.ProcessState.ExitCode(); exceeded || ctx.Err() != nil || code < 0 || strings.Contains(e.said, "out of memory") || strings.Contains(e.said, "cannot allocate memory") || strings.Contains(e.said, "stack overflow") || strings.Contains(e.said, "goroutine stack exceeds") {
		e.limit, e.complaints = true, nil
	}
	return e
}

// watch ends a tool that passes its limits, and says whether it did.
func (b builder) watch(pid int, limit time.Duration, stop chan struct{}, kill func()) bool {
	tick := time.NewTicker(pollEvery)
	defer tick.Stop()
	for {
		select {
		case <-stop:
			return false
		case <-tick.C:
			if cpu, resident, ok := usage(pid); ok && (cpu > limit || resident > compilerMemory) {
				kill()
				return true
			}
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
