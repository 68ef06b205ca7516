//go:build linux

package marking

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"gravity.example/gravlab/sandbox"
)

// A fault at one notebook costs the others nothing, is told, stores nothing, and is made
// good by the same call.
func TestUnrun(t *testing.T) {
	c := newClassroom(t, swingLab, 4)
	for i, s := range c.Class.Students {
		c.hand(s.ID+"/a.ipynb", answered(t, c.sheet(i), worked(c.sheet(i))))
	}
	c.mark()
	want := c.books()
	c.Out += "-disturbed"
	m := c.Marking
	m.Workers = 1
	n := 0
	m.Start = func(ctx context.Context) (Runner, error) {
		run, err := start(ctx)
		return func(ctx context.Context, j sandbox.Job) (sandbox.Outcome, error) {
			if n++; n == 2 {
				return sandbox.Outcome{}, &sandbox.Fault{What: "there is no room", Do: "make room"}
			}
			return run(ctx, j)
		}, err
	}
	_, err := Mark(t.Context(), m)
	var u *Unrun
	if !errors.As(err, &u) || len(u.Files) != 1 || u.Files[0] != "s02/a.ipynb" || u.Stored != 3 || !strings.Contains(err.Error(), "there is no room: make room") {
		t.Fatalf("%v", err)
	}
	if _, err := os.Stat(filepath.Join(c.Out, "marks.csv")); !os.IsNotExist(err) {
		t.Errorf("there are books although a sheet was not run: %v", err)
	}
	s, err := Mark(t.Context(), m)
	if err != nil || s.Ran != 1 {
		t.Errorf("the same call again: %+v, %v", s, err)
	}
	sameBooks(t, "after a fault", c.books(), want)

	// Where every notebook fails, most are not even tried.
	c.Out += "-always"
	n = 0
	m.Out, m.Start = c.Out, func(context.Context) (Runner, error) {
		return func(context.Context, sandbox.Job) (sandbox.Outcome, error) {
			n++
			return sandbox.Outcome{}, &sandbox.Fault{What: "there is no room", Do: "make room"}
		}, nil
	}
	for i := range 10 {
		c.hand(fmt.Sprintf("more/%d.ipynb", i), answered(t, c.sheet(0), worked(c.sheet(0)).with("period", fmt.Sprintf("%%%%\nfmt.Println(%d)", i))))
	}
	if _, err := Mark(t.Context(), m); !errors.As(err, &u) || n != mostFaults {
		t.Errorf("%v after %d runs, want %d", err, n, mostFaults)
	}
}

// A disturbance does something to the machine and returns how to undo it, after a while.
type disturbance struct {
	do    func() (undo func())
	holds time.Duration
}

// TestDisturbed injects faults of the machine at random moments of a marking: whatever has
// happened, once it has passed the books and the store are those of an undisturbed marking.
// GRAVLAB_LONG takes 30 moments of each, longer pauses, and Go's build cache too.
func TestDisturbed(t *testing.T) {
	if testing.Short() {
		t.Skip("marks a class many times over")
	}
	if os.Getuid() != 0 {
		t.Skip("only root may mount the small disk; TestCompilerFaults of package sandbox has the same faults without one")
	}
	moments, stopped, long := 3, time.Second, os.Getenv("GRAVLAB_LONG") != ""
	if long {
		moments, stopped = 30, 25*time.Second
	}
	disk := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=130m,nr_inodes=3000", "none", disk).CombinedOutput(); err != nil {
		t.Skipf("no small disk can be mounted: %s", out)
	}
	t.Cleanup(func() { exec.Command("umount", "-l", disk).Run() })
	t.Setenv("TMPDIR", disk)
	cache := ""
	if long {
		cache = filepath.Join(t.TempDir(), "cache")
		t.Setenv("GOCACHE", cache)
	}
	p, err := sandbox.NewPool(t.Context(), sandbox.PoolOptions{Workers: 2, Clone: "../.."})
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()

	c := newClassroom(t, swingLab, 3)
	c.Start = func(context.Context) (Runner, error) { return p.Run, nil }
	for i, s := range c.Class.Students {
		a := worked(c.sheet(i))
		switch i {
		case 0: // two programs
			a.with("period", gives("period", "1", "s"), "g", "%%\npanic(1)", "mass", "func law(x float64) float64 { return x }\n\n%%\nsheet.Choice(\"mass\", \"a\")")
		case 1: // outgrows the interpreter
			a.with("g", "%%\nx := 0.0\nfor i := range 40_000_000 { x += math.Sqrt(float64(i)) }\nsheet.Number(\"g\", 9.81+0*x, \"m/s²\")")
		case 2: // needs a long stack
			a.with("g", "func sum(n int) int {\n\tif n == 0 {\n\t\treturn 0\n\t}\n\treturn n + sum(n-1)\n}\n\n%%\nsheet.Number(\"g\", float64(sum(12_000)), \"m/s²\")")
		}
		c.hand(s.ID+"/a.ipynb", answered(t, c.sheet(i), a))
	}
	began := time.Now()
	c.mark()
	length := time.Since(began)
	want := c.books()
	out := c.Out

	workers := func() []int { return workingIn(t, os.Getpid(), disk) }
	signal := func(how syscall.Signal) func() {
		for _, pid := range workers() {
			syscall.Kill(pid, how)
		}
		return func() {}
	}
	full := filepath.Join(disk, "full")
	fill := func(write func() error) disturbance {
		return disturbance{func() func() {
			if err := write(); err != nil && !errors.Is(err, syscall.ENOSPC) {
				t.Error(err)
			}
			return func() {
				if err := os.RemoveAll(full); err != nil {
					t.Error(err)
				}
			}
		}, time.Second}
	}
	disturbances := map[string]disturbance{
		"workers killed":     {do: func() func() { return signal(syscall.SIGKILL) }},
		"builds interrupted": {do: func() func() { return onlyTools(workers(), syscall.SIGINT) }},
		"compilers killed":   {do: func() func() { return onlyTools(workers(), syscall.SIGKILL) }},
		"everything stopped": {func() func() {
			signal(syscall.SIGSTOP)
			return func() { signal(syscall.SIGCONT) }
		}, stopped},
		"no room on the disk": fill(func() error { return os.WriteFile(full, make([]byte, 130<<20), 0o600) }),
		"no names on the disk": fill(func() error {
			err := os.Mkdir(full, 0o700)
			for i := 0; err == nil; i++ {
				err = os.WriteFile(filepath.Join(full, strconv.Itoa(i)), nil, 0o600)
			}
			return err
		}),
		"memory refused": {do: func() func() {
			for _, pid := range workers() {
				// It has more already, so whatever it asks for from now on is refused.
				unix.Prlimit(pid, unix.RLIMIT_DATA, &unix.Rlimit{Cur: 1 << 20, Max: 1 << 20}, nil)
			}
			return func() {}
		}},
	}
	if long {
		disturbances["build cache gone"] = disturbance{func() func() {
			if err := os.Rename(cache, cache+"-away"); err != nil {
				t.Error(err)
			}
			return func() {
				os.RemoveAll(cache)
				if err := os.Rename(cache+"-away", cache); err != nil {
					t.Error(err)
				}
			}
		}, time.Second}
	}
	for name, d := range disturbances {
		t.Run(name, func(t *testing.T) {
			random := rand.New(rand.NewPCG(3, uint64(len(name))))
			faults := 0
			for n := range moments {
				c.Out = filepath.Join(c.dir, fmt.Sprintf("out-%s-%d", strings.ReplaceAll(name, " ", "-"), n))
				after := time.Duration(random.Int64N(int64(length)))
				var all sync.WaitGroup
				all.Go(func() {
					time.Sleep(after)
					undo := d.do()
					time.Sleep(d.holds)
					undo()
				})
				_, err := Mark(t.Context(), c.Marking)
				all.Wait()
				if err != nil {
					if !errors.As(err, new(*Unrun)) {
						t.Fatalf("after %v: %v", after, err)
					}
					faults++
					if _, err = Mark(t.Context(), c.Marking); err != nil {
						t.Fatalf("after %v, again: %v", after, err)
					}
				}
				sameBooks(t, fmt.Sprintf("%s after %v", name, after), c.books(), want)
				os.RemoveAll(c.Out)
			}
			t.Logf("%d moments; %d markings ended with a fault and were called again", moments, faults)
		})
	}
	c.Out = out
}

// onlyTools sends a signal to the compilers and linkers among the processes.
func onlyTools(pids []int, how syscall.Signal) func() {
	for _, pid := range pids {
		name, err := os.Readlink(fmt.Sprintf("/proc/%d/exe", pid))
		if base := filepath.Base(name); err == nil && (base == "compile" || base == "link") {
			syscall.Kill(pid, how)
		}
	}
	return func() {}
}

// workingIn lists the processes below one whose current folder lies in dir.
func workingIn(t *testing.T, pid int, dir string) []int {
	out, _ := exec.Command("pgrep", "-P", strconv.Itoa(pid)).Output() // 1 if there is none
	var all []int
	for word := range strings.FieldsSeq(string(out)) {
		child, err := strconv.Atoi(word)
		if err != nil {
			t.Error(err)
			continue
		}
		if at, err := os.Readlink(fmt.Sprintf("/proc/%d/cwd", child)); err == nil && strings.HasPrefix(at, dir) {
			all = append(all, child)
		}
		all = append(all, workingIn(t, child, dir)...)
	}
	return all
}
