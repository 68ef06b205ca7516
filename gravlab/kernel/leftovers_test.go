//go:build linux

package kernel

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// A served is a kernel started as a front end does it, in a process of its own.
// All that it starts inherits a variable by which this test finds it, other
// than the mark by which the kernel itself does.
type served struct {
	cmd    *exec.Cmd
	client *client
	run    string       // NAME=value in every environment
	tmp    string       // TMPDIR, otherwise empty
	said   bytes.Buffer // its error output; read it after ended
	ended  chan struct{}
}

func serve(t *testing.T) *served {
	t.Helper()
	for range 5 {
		s, err := tryServe(t)
		if err == nil {
			return s
		}
		// Another program may take a port between its choice and its use.
		if !errors.Is(err, errGone) || !strings.Contains(s.said.String(), "failed to connect to sockets") {
			t.Fatal(err)
		}
	}
	t.Fatal("five times another program took a port of the kernel")
	return nil
}

func tryServe(t *testing.T) (*served, error) {
	t.Helper()
	tmp, err := os.MkdirTemp("/tmp", "gl") // short: sockets lie in it
	if err != nil {
		t.Fatal(err)
	}
	s := &served{tmp: tmp, run: "KERNEL_TEST_RUN=" + newID(), ended: make(chan struct{})}
	conn, err := newConnection(Name)
	if err != nil {
		t.Fatal(err)
	}
	file, err := conn.write(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	s.cmd = exec.Command(os.Args[0], "kernel", "serve", file)
	s.cmd.Env = append(os.Environ(), s.run, "TMPDIR="+tmp)
	s.cmd.Stderr = io.MultiWriter(&s.said, os.Stderr)
	s.cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true} // as jupyter_client does
	if err := s.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() { s.cmd.Wait(); close(s.ended) }()
	t.Cleanup(func() {
		s.cmd.Process.Kill()
		<-s.ended
		for _, p := range s.left() {
			syscall.Kill(p, syscall.SIGKILL)
		}
		os.RemoveAll(tmp)
	})
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	if s.client, err = dial(ctx, conn, s.ended, iopubChannel, shellChannel, stdinChannel, controlChannel); err != nil {
		return s, err
	}
	t.Cleanup(s.client.close)
	_, err = s.client.ready(ctx, s.ended)
	return s, err
}

// left returns the processes that carry this test's variable.
func (s *served) left() []int {
	var found []int
	for _, pid := range processes() {
		env, err := os.ReadFile(fmt.Sprintf("/proc/%d/environ", pid))
		if err == nil && bytes.Contains(env, []byte(s.run)) {
			found = append(found, pid)
		}
	}
	return found
}

// running reports whether a program of that name runs in the kernel.
func (s *served) running(names ...string) bool {
	for _, pid := range s.left() {
		exe, _ := os.Readlink(fmt.Sprintf("/proc/%d/exe", pid))
		for _, name := range names {
			if ok, _ := filepath.Match(name, filepath.Base(exe)); ok {
				return true
			}
		}
	}
	return false
}

func (s *served) execute(t *testing.T, code string) (id string) {
	t.Helper()
	id, err := s.client.send(shellChannel, "execute_request", executeRequest(code, false))
	if err != nil {
		t.Fatal(err)
	}
	return id
}

// until follows the kernel's messages to the first that f accepts.
func (s *served) until(t *testing.T, what string, f func(message) bool) {
	t.Helper()
	limit := time.After(30 * time.Second)
	for {
		select {
		case m := <-s.client.in:
			if f(m) {
				return
			}
		case <-limit:
			t.Fatalf("no %s from the kernel", what)
		}
	}
}

func replyTo(id string) func(message) bool {
	return func(m message) bool { return m.header.MsgType == "execute_reply" && m.parent.MsgID == id }
}

func prints(text string) func(message) bool {
	return func(m message) bool {
		return m.header.MsgType == "stream" && strings.Contains(string(m.content), text)
	}
}

func wait(t *testing.T, what string, f func() bool) {
	t.Helper()
	for limit := time.Now().Add(20 * time.Second); !f(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(limit) {
			t.Fatalf("waited in vain for: %s", what)
		}
	}
}

// states are what a kernel may be doing when it ends.
var states = map[string]func(*testing.T, *served){
	"idle": func(t *testing.T, s *served) {},
	"compiling": func(t *testing.T, s *served) {
		s.execute(t, "%%\nfmt.Println(time.Now(), strings.Repeat(\"a\", 3))")
		wait(t, "the compiler or linker", func() bool { return s.running("go", "compile", "link") })
	},
	"deaf cell": func(t *testing.T, s *served) {
		s.execute(t, "import (\"os\"; \"os/signal\"; \"syscall\")\n%%\nsignal.Ignore(syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP)\nfmt.Println(\"deaf\")\nfor { time.Sleep(time.Second) }")
		s.until(t, "output", prints("deaf"))
	},
	"shell jobs": func(t *testing.T, s *served) {
		// One in the background, one in a session of its own, one that has also
		// forgotten its environment but not its program.
		id := s.execute(t, strings.Join([]string{
			"!sleep 300 >/dev/null 2>&1 &",
			"!setsid sh -c 'trap \"\" TERM HUP INT; sleep 300' >/dev/null 2>&1 &",
			"!cp $(command -v sleep) $TMPDIR/snooze; setsid $TMPDIR/snooze 300 >/dev/null 2>&1 &",
		}, "\n"))
		s.until(t, "reply", replyTo(id))
		wait(t, "the jobs", func() bool { return s.running("sleep") && s.running("snooze") })
	},
}

// ends are how a kernel may end.
var ends = map[string]func(*testing.T, *served){
	"killed":     func(t *testing.T, s *served) { s.cmd.Process.Kill() },
	"terminated": func(t *testing.T, s *served) { s.cmd.Process.Signal(syscall.SIGTERM) },
	"shut down": func(t *testing.T, s *served) {
		s.client.send(controlChannel, "shutdown_request", map[string]any{"restart": false})
	},
	"restarted": func(t *testing.T, s *served) {
		s.client.send(controlChannel, "shutdown_request", map[string]any{"restart": true})
	},
	"GoNB killed":  func(t *testing.T, s *served) { s.execute(t, "!kill -9 $PPID") },
	"group killed": func(t *testing.T, s *served) { syscall.Kill(-s.cmd.Process.Pid, syscall.SIGKILL) },
}

// TestNothingIsLeft ends kernels in all ways while they do all sorts of things.
// Three seconds are what the kernel promises.
func TestNothingIsLeft(t *testing.T) {
	needGoNB(t)
	for _, c := range []struct{ end, state string }{
		{"killed", "idle"}, {"killed", "compiling"}, {"killed", "deaf cell"}, {"killed", "shell jobs"},
		{"GoNB killed", "shell jobs"}, {"group killed", "deaf cell"}, {"terminated", "deaf cell"}, {"terminated", "shell jobs"},
		{"shut down", "shell jobs"}, {"shut down", "deaf cell"}, {"restarted", "compiling"},
	} {
		t.Run(c.end+"/"+c.state, func(t *testing.T) {
			t.Parallel()
			s := serve(t)
			states[c.state](t, s)
			if len(s.left()) < 3 { // supervisor, watcher, GoNB
				t.Fatalf("before the end the test sees the processes %v only: it would prove nothing", s.left())
			}
			begun := time.Now()
			ends[c.end](t, s)
			s.nothingLeft(t, begun)
		})
	}
}

// nothingLeft holds that soon after an end there is nothing left of a kernel. It
// takes fractions of a second, which are told and not judged: a busy machine may
// stop anything for longer.
func (s *served) nothingLeft(t *testing.T, end time.Time) {
	t.Helper()
	var left []int
	var files []os.DirEntry
	for time.Since(end) < 20*time.Second {
		left = s.left()
		files, _ = os.ReadDir(s.tmp)
		if len(left) == 0 && len(files) == 0 {
			t.Logf("nothing left after %v", time.Since(end).Round(time.Millisecond))
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	for _, pid := range left {
		line, _ := os.ReadFile(fmt.Sprintf("/proc/%d/cmdline", pid))
		t.Errorf("process %d is left: %q", pid, bytes.ReplaceAll(line, []byte{0}, []byte{' '}))
	}
	for _, f := range files {
		t.Errorf("%s is left in the temporary folder", f.Name())
	}
}

// TestNoInterruptIsLost interrupts cells at all stages: sent, compiled, run.
func TestNoInterruptIsLost(t *testing.T) {
	needGoNB(t)
	t.Parallel()
	s := serve(t)
	for i, delay := range []time.Duration{0, 5, 20, 50, 100, 150, 250, 400} {
		id := s.execute(t, fmt.Sprintf("%%%%\nfmt.Println(%d)\nfor {}", i))
		time.Sleep(delay * time.Millisecond)
		begun := time.Now()
		s.cmd.Process.Signal(syscall.SIGINT)
		// As clients do, wait for idle: the reply comes a moment before it.
		s.until(t, fmt.Sprintf("end after an interrupt %d ms into the cell", delay), func(m message) bool {
			return isIdle(m) && m.parent.MsgID == id
		})
		t.Logf("interrupted after %d ms, over %v later", delay, time.Since(begun).Round(time.Millisecond))
	}
	// An interrupt of nothing ends nothing.
	s.cmd.Process.Signal(syscall.SIGINT)
	time.Sleep(300 * time.Millisecond)
	s.execute(t, "%%\nfmt.Println(\"still here\")")
	s.until(t, "output", prints("still here"))
}

// TestRunKilled kills a run without a front end in the middle of a cell.
func TestRunKilled(t *testing.T) {
	needGoNB(t)
	t.Parallel()
	tmp, err := os.MkdirTemp("/tmp", "gl")
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(tmp)
	s := &served{tmp: tmp, run: "KERNEL_TEST_RUN=" + newID()}
	cmd := exec.Command(os.Args[0], "run-endless")
	cmd.Env = append(os.Environ(), s.run, "TMPDIR="+tmp)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() {
		cmd.Process.Kill()
		for _, p := range s.left() {
			syscall.Kill(p, syscall.SIGKILL)
		}
	}()
	wait(t, "the cell and its shell job", func() bool { return s.running("gonb_*") && s.running("sleep") })
	begun := time.Now()
	cmd.Process.Kill()
	cmd.Wait()
	s.nothingLeft(t, begun)
}
