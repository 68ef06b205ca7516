//go:build linux

package sandbox

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// honest is a notebook that does a little of everything, all of it right.
var honest = []string{sheetCell, "func f(n int) int { return n * n }", "%%\nfmt.Println(f(12))\nsheet.Number(\"fall-time\", 0.7, \"s\")", "func f(n int) int { return n }\n%%\nfmt.Println(f(12))", answerAfter}

// outcomeOf runs a notebook and forgets how long that took.
func outcomeOf(t *testing.T, p *Pool, file []byte) (Outcome, error) {
	t.Helper()
	out, err := p.Run(t.Context(), Job{Notebook: file, Session: func(Sheet) (func([]byte) []byte, error) { return session(t).Exchange, nil }})
	out.Times = Times{}
	return out, err
}

// ownPool is a pool whose insides a test may change.
func ownPool(t *testing.T) *Pool {
	t.Helper()
	p, err := NewPool(t.Context(), PoolOptions{Workers: 1, Clone: "../.."})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	return p
}

// script puts a shell script in the place of the compiler. $TOOL is the compiler, and $ONCE
// a file that is not there at first.
func script(t *testing.T, p *Pool, text string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "compile")
	text = strings.NewReplacer("$TOOL", p.setup.Compile, "$ONCE", path+".once").Replace("#!/bin/sh\n" + text)
	if err := os.WriteFile(path, []byte(text), 0o700); err != nil {
		t.Fatal(err)
	}
	p.setup.Compile = path
}

// onceThen does something the first time and compiles from then on.
func onceThen(what string) string {
	return "if [ ! -e $ONCE ]; then : > $ONCE\n" + what + "\nfi\nexec $TOOL \"$@\"\n"
}

// What ends a compiler or makes it fail, and is not in the notebook, is a fault. It passes,
// and the outcome is that of an undisturbed run; or it stays, and is told with what to do.
func TestCompilerFaults(t *testing.T) {
	file := book(t, honest...)
	want, err := outcomeOf(t, thePool(t), file)
	if err != nil || want.Ended != LimitNone {
		t.Fatal(err, want)
	}
	for name, c := range map[string]struct{ does, says, do string }{
		"no room":     {"echo 'compile: writing output: write main.a: no space left on device' >&2; exit 1", "no room left", tempVariable},
		"killed":      {"kill -9 $$", "ended from outside (signal: killed)", "other programs"},
		"interrupted": {"kill -INT $$", "ended from outside (signal: interrupt)", "other programs"},
		"no memory":   {"echo 'runtime: out of memory: cannot allocate 4194304-byte block (3768320 in use)' >&2; exit 2", "refused the compile", "other programs"},
		"no thread":   {"echo 'runtime: failed to create new OS thread (have 4 already; errno=11)' >&2; exit 2", "refused the compile", "other programs"},
		"stopped":     {"kill -STOP $$", "stood still", "less busy"},
		"lost files":  {"echo 'cell-3:1:1: could not import fmt (open fmt.a: no such file or directory)' >&2; exit 1", "has been removed", "start it again"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := ownPool(t)
			p.setup.Still = 50
			real := p.setup.Compile
			script(t, p, onceThen(c.does))
			if out, err := outcomeOf(t, p, file); err != nil || !reflect.DeepEqual(out, want) {
				t.Errorf("once: %v\n%+v, want\n%+v", err, out, want)
			}
			p.setup.Compile = real
			script(t, p, c.does)
			out, err := outcomeOf(t, p, file)
			var f *Fault
			if !errors.As(err, &f) || !strings.Contains(f.What, c.says) || !strings.Contains(f.Do, c.do) {
				t.Errorf("always: %v, want %q and %q", err, c.says, c.do)
			}
			if !reflect.DeepEqual(out, Outcome{}) {
				t.Errorf("there is an outcome beside the fault: %+v", out)
			}
		})
	}
	t.Run("slow once", func(t *testing.T) {
		t.Parallel()
		p := ownPool(t)
		script(t, p, onceThen("while :; do :; done"))
		if out, err := outcomeOf(t, p, file); err != nil || !reflect.DeepEqual(out, want) {
			t.Errorf("%v\n%+v, want\n%+v", err, out, want)
		}
	})
	t.Run("fails without a word about a cell", func(t *testing.T) {
		t.Parallel()
		p := ownPool(t)
		script(t, p, "echo 'compile: something of its own' >&2; exit 2")
		out, err := outcomeOf(t, p, file)
		if err != nil || out.Cells[2].State != NotBuilt || !strings.Contains(fmt.Sprint(out.Remarks), "please report it") {
			t.Errorf("the same words twice are the notebook's: %v, %+v", err, out)
		}
	})
}

// children lists the workers of this process and what they have started.
func children(t *testing.T, pid int) []int {
	t.Helper()
	out, _ := exec.Command("pgrep", "-P", strconv.Itoa(pid)).Output() // 1 if there is none
	var all []int
	for word := range strings.FieldsSeq(string(out)) {
		n, err := strconv.Atoi(word)
		if err != nil {
			t.Fatal(err)
		}
		all = append(append(all, n), children(t, n)...)
	}
	return all
}

// A worker that is killed or stopped from outside while it runs a cell costs nobody anything.
func TestWorkerFaults(t *testing.T) {
	file := book(t, honest...)
	want, err := outcomeOf(t, thePool(t), file)
	if err != nil {
		t.Fatal(err)
	}
	for _, how := range []syscall.Signal{syscall.SIGKILL, syscall.SIGTERM, syscall.SIGSTOP} {
		t.Run(how.String(), func(t *testing.T) {
			p := ownPool(t)
			p.setup.Still = 50
			for _, always := range []bool{false, true} {
				sessions := 0
				out, err := p.Run(t.Context(), Job{Notebook: file, Session: func(Sheet) (func([]byte) []byte, error) {
					exchange := session(t).Exchange
					sessions++
					hit := always || sessions == 1
					return func(in []byte) []byte {
						if hit {
							hit = false
							for _, pid := range workersOf(t, p) {
								syscall.Kill(pid, how)
							}
						}
						return exchange(in)
					}, nil
				}})
				out.Times = Times{}
				var f *Fault
				switch {
				case always && (!errors.As(err, &f) || sessions != maxTries):
					t.Errorf("always: %v after %d sessions, want a fault after %d", err, sessions, maxTries)
				case !always && (err != nil || sessions != 2 || !reflect.DeepEqual(out, want)):
					t.Errorf("once: %v after %d sessions\n%+v, want\n%+v", err, sessions, out, want)
				}
			}
		})
	}
}

// workersOf lists the processes that work in the pool's folder.
func workersOf(t *testing.T, p *Pool) []int {
	t.Helper()
	var own []int
	for _, pid := range children(t, os.Getpid()) {
		if dir, err := os.Readlink(fmt.Sprintf("/proc/%d/cwd", pid)); err == nil && strings.HasPrefix(dir, p.dir) {
			own = append(own, pid)
		}
	}
	return own
}

// A box that has shown something cannot be run again unseen: the reader is told.
func TestBoxFault(t *testing.T) {
	p := ownPool(t)
	out, err := p.RunBox(t.Context(), Box{Source: "%%\nfmt.Println(1)\nfor {}", Output: func([]byte) {
		for _, pid := range workersOf(t, p) {
			syscall.Kill(pid, syscall.SIGKILL)
		}
	}})
	var f *Fault
	if !errors.As(err, &f) || len(out.Cells) > 0 {
		t.Errorf("%v, %+v; want a fault", err, out)
	}
}

// A pool needs nothing of Go's build cache once it is made, and a damaged file in the cache
// is told.
func TestCacheCleaned(t *testing.T) {
	p := thePool(t)
	for _, list := range []string{p.setup.ImportConfig, p.setup.LinkConfig} {
		text, err := os.ReadFile(list)
		if err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(string(text)) {
			if _, file, _ := strings.Cut(line, "="); filepath.Dir(file) != p.dir {
				t.Fatalf("%s lies outside of the pool", line)
			}
		}
	}
	from := filepath.Join(t.TempDir(), strings.Repeat("0", 64)+"-d")
	if err := os.WriteFile(from, []byte("not what the name says"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := copyPackage(from, from+".copy"); err == nil || !strings.Contains(err.Error(), "go clean -cache") {
		t.Errorf("a damaged file: %v", err)
	}
	// The pool's own files are gone: no cell is to blame.
	own := ownPool(t)
	for _, k := range own.setup.Packages {
		os.Remove(k.Export)
	}
	var f *Fault
	if out, err := outcomeOf(t, own, book(t, honest...)); !errors.As(err, &f) || !strings.Contains(f.What, "has been removed") {
		t.Errorf("%v, %+v; want a fault", err, out)
	}
}

// On a disk without room a pool is not made, or a run is a fault; with room again the
// outcome is the usual one. So it is without room for one more name.
func TestNoRoom(t *testing.T) {
	if os.Getuid() != 0 {
		t.Skip("only root may mount a small disk; TestCompilerFaults tells what a full one leads to")
	}
	file := book(t, honest...)
	want, err := outcomeOf(t, thePool(t), file)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=110m,nr_inodes=2000", "none", dir).CombinedOutput(); err != nil {
		t.Skipf("no small disk can be mounted: %s", out)
	}
	t.Cleanup(func() { exec.Command("umount", "-l", dir).Run() })
	t.Setenv(tempVariable, dir)
	p, err := NewPool(t.Context(), PoolOptions{Workers: 1, Clone: "../.."})
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	full := filepath.Join(dir, "full")
	for name, fill := range map[string]func(left int) error{
		"space": func(left int) error {
			var s syscall.Statfs_t
			if err := syscall.Statfs(dir, &s); err != nil {
				return err
			}
			return os.WriteFile(full, make([]byte, int(s.Bfree)*int(s.Bsize)-left), 0o600)
		},
		"names": func(left int) error {
			if err := os.Mkdir(full, 0o700); err != nil {
				return err
			}
			var s syscall.Statfs_t
			if err := syscall.Statfs(dir, &s); err != nil {
				return err
			}
			for i := range int(s.Ffree) - left/1_000_000 {
				if err := os.WriteFile(filepath.Join(full, strconv.Itoa(i)), nil, 0o600); err != nil {
					return err
				}
			}
			return nil
		},
	} {
		// From no room at all to nearly enough: the worker's folder, the source, the
		// object, the program.
		for _, left := range []int{0, 100_000, 1_000_000, 2_500_000, 4_000_000} {
			if err := fill(left); err != nil {
				t.Fatal(err)
			}
			out, err := outcomeOf(t, p, file)
			var f *Fault
			if err == nil && !reflect.DeepEqual(out, want) || err != nil && (!errors.As(err, &f) || !strings.Contains(f.What, "no room left")) {
				t.Errorf("%s, %d left: %v, %+v", name, left, err, out)
			}
			if left == 0 && err == nil {
				t.Errorf("%s: no fault without any room", name)
			}
			if err := os.RemoveAll(full); err != nil {
				t.Fatal(err)
			}
		}
		if out, err := outcomeOf(t, p, file); err != nil || !reflect.DeepEqual(out, want) {
			t.Errorf("%s, with room again: %v, %+v", name, err, out)
		}
	}
	if err := os.WriteFile(full, make([]byte, 110<<20), 0o600); !errors.Is(err, syscall.ENOSPC) {
		t.Fatalf("the disk is not full: %v", err)
	}
	var f *Fault
	if again, err := NewPool(t.Context(), PoolOptions{Workers: 1, Clone: "../.."}); !errors.As(err, &f) || !strings.Contains(f.Error(), tempVariable) {
		t.Errorf("a pool without room: %v", err)
		if err == nil {
			again.Close()
		}
	}
}

// What becomes of a sheet is the same in both engines.
func TestEnginesAgree(t *testing.T) {
	p := ownPool(t)
	for name, source := range map[string]string{
		"a deep recursion":    "func sum(n int) int {\n\tif n == 0 {\n\t\treturn 0\n\t}\n\treturn n + sum(n-1)\n}\n%%\nfmt.Println(sum(12_000))\nsheet.Number(\"pull\", float64(sum(6_000)), \"N\")",
		"one after an answer": "func sum(n int) int {\n\tif n == 0 {\n\t\treturn 0\n\t}\n\treturn n + sum(n-1)\n}\n%%\nfmt.Println(1)\nsheet.Number(\"pull\", 1, \"N\")\nfmt.Println(sum(12_000))\nsheet.Number(\"pull\", 2, \"N\")",
		"much memory":         "%%\nvar all [][]byte\nfor { all = append(all, make([]byte, 8<<20)) }",
		"memory in one piece": "%%\nn := 200 << 20\nb := make([]byte, n)\nfmt.Println(len(b))",
		"no numbers":          "%%\nz := 0.0\nx, y := z/z, math.Log(-1)\nfmt.Println(x, -y, math.Float64bits(x), math.Float64bits(y), math.Float64bits(-x), math.Float64bits(math.Max(x, 1)), math.Float64bits(math.Inf(1)*z))",
		"rounding":            "%%\nx := 0.0\nfor i := range 1000 { x += math.Exp(-float64(i)/100) * math.Cos(float64(i)) }\nfmt.Println(x, float32(x), int64(x*1e30), uint8(300*x), math.RoundToEven(2.5), math.Trunc(-x))",
		"a deadlock":          "%%\nch := make(chan int)\n<-ch",
		"a panic far down":    "func f(n int) int {\n\tif n == 0 {\n\t\tpanic(\"bottom\")\n\t}\n\treturn 1 + f(n-1)\n}\n%%\nf(500)",
	} {
		var outs []Outcome
		var frames [][][]byte
		for _, p.eager = range []bool{false, true} {
			exchange := session(t).Exchange
			var sent [][]byte
			out, err := p.Run(t.Context(), Job{Notebook: book(t, sheetCell, source, answerAfter), Exchange: func(in []byte) []byte {
				sent = append(sent, bytes.Clone(in))
				return exchange(in)
			}})
			if err != nil {
				t.Fatal(err)
			}
			if p.eager && !out.Times.Compiled {
				t.Errorf("%s: the second run is not compiled", name)
			}
			out.Times = Times{}
			outs, frames = append(outs, out), append(frames, sent)
		}
		if !reflect.DeepEqual(outs[0], outs[1]) || !reflect.DeepEqual(frames[0], frames[1]) {
			t.Errorf("%s:\ninterpreted first %+v\ncompiled          %+v", name, outs[0], outs[1])
		}
		if strings.Contains(name, "recursion") || strings.Contains(name, "one after") {
			if c := outs[0].Cells[1]; c.State != Ran || !strings.Contains(c.Output, "72006000") {
				t.Errorf("%s: %+v", name, c)
			}
		}
	}
}

// The time of a sheet is processor time, of its compilers too.
func TestCompilingCounts(t *testing.T) {
	p := thePool(t)
	cells := []string{}
	for i := range 40 {
		cells = append(cells, fmt.Sprintf("func f() int { return %d }\n%%%%\nfmt.Println(f())", i))
	}
	const sheet = 2 * time.Second
	out, err := p.Run(t.Context(), Job{Notebook: book(t, cells...), Limits: Limits{Sheet: sheet}})
	if err != nil {
		t.Fatal(err)
	}
	if out.Ended != LimitTime || out.Times.Processor > sheet+sheet/4 || !strings.Contains(fmt.Sprint(out.Remarks), "of processor time; the rest was not run") {
		t.Errorf("ended by %q after %v of processor time, want %q after %v: %v", out.Ended, out.Times.Processor, LimitTime, sheet, out.Remarks)
	}
	for i, c := range out.Cells {
		if c.State != Ran && c.State != NotRun && !(c.State == Ended && c.Limit == LimitTime) {
			t.Errorf("cell %d: %+v", i+1, c)
		}
	}
	if out.Cells[0].State != Ran {
		t.Error("not even the first cell was run")
	}
}

// A notebook is at most so many programs, and costs at most its minute.
func TestManyPrograms(t *testing.T) {
	if testing.Short() {
		t.Skip("builds 80 programs, and runs compilers for a minute")
	}
	p := thePool(t)
	var cells []string
	for i := range 400 {
		cells = append(cells, fmt.Sprintf("func f() int { return %d }\n%%%%\nfmt.Println(f())", i))
	}
	hard := []string{generics(17)}
	for i := range 80 {
		hard = append(hard, fmt.Sprintf("func h() int { return %d }\n%%%%\nfmt.Println(h())", i))
	}
	for name, cells := range map[string][]string{"declared again": cells, "after nested generics": hard} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			out, err := p.Run(t.Context(), Job{Notebook: book(t, cells...)})
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("ended by %q after %v: %+v", out.Ended, out.Times.Processor, out.Times)
			// The generic cell may be given up alone, by the compiler's own limit; the
			// bounds hold then too.
			limits := map[string][]Limit{"declared again": {LimitPrograms, LimitTime}, "after nested generics": {LimitPrograms, LimitTime, LimitCompiler}}
			if out.Times.Processor > 61*time.Second || out.Times.Programs > maxPrograms || !slices.Contains(limits[name], out.Ended) {
				t.Errorf("%d programs, %v of processor time, ended by %q", out.Times.Programs, out.Times.Processor, out.Ended)
			}
			if name == "declared again" && (out.Cells[maxPrograms-1].State != Ran || out.Cells[maxPrograms].State != NotRun) {
				t.Errorf("%+v, %+v", out.Cells[maxPrograms-1], out.Cells[maxPrograms])
			}
		})
	}
}

// A cell that closes its streams closes them for itself.
func TestStreamsClosed(t *testing.T) {
	out, err := thePool(t).Run(t.Context(), Job{Notebook: book(t,
		"%%\nfmt.Println(1)\nos.Stdin.Close()\nos.Stdout.Close()\nos.Stderr.Close()\n_, err := fmt.Println(2)\nif err == nil {\n\tpanic(\"open\")\n}",
		"%%\nfmt.Println(3)\nfmt.Fprintln(os.Stderr, 4)", "%%\npanic(\"told\")")})
	if err != nil {
		t.Fatal(err)
	}
	if c := out.Cells; c[0].State != Ran || c[0].Output != "1\n" || c[1].Output != "3\n4\n" || c[2].State != Failed || !strings.Contains(c[2].Fault, "told") {
		t.Errorf("%+v", out)
	}
}
