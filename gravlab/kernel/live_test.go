//go:build unix

package kernel

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/notebook"
)

// live is a kernel for one test.
func live(t *testing.T, o LiveOptions) *Live {
	t.Helper()
	needGoNB(t)
	o.Dir = t.TempDir()
	if o.DataDir == "" {
		o.DataDir = t.TempDir()
	}
	l, err := NewLive(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(l.Close)
	return l
}

// heard is what a cell put out: printed text, and what it showed.
type heard struct {
	text  string
	shown []*notebook.Output
}

func run(t *testing.T, ctx context.Context, l *Live, cells ...string) (LiveResult, heard, error) {
	t.Helper()
	var s heard
	res, err := l.Run(ctx, LiveCell{Above: cells[:len(cells)-1], Source: cells[len(cells)-1], Log: func(string) {}, Tell: func(p Piece) {
		switch {
		case p.Anew:
			s = heard{}
		case p.Output.Kind == notebook.Stream:
			s.text += p.Output.Text
		default:
			s.shown = append(s.shown, p.Output)
		}
	}})
	return res, s, err
}

// What counts is what stands above a cell now, whatever was run before. The same
// kernel runs all of it.
func TestLiveDeclarations(t *testing.T) {
	l := live(t, LiveOptions{})
	shows := func(want string, cells ...string) {
		t.Helper()
		res, s, err := run(t, t.Context(), l, cells...)
		if err != nil || res.Outcome != Ran || s.text != want {
			t.Errorf("%q: %v, %+v, printed %q, want %q", cells[len(cells)-1], err, res, s.text, want)
		}
	}
	f := "func f() int { return 1 }\n%%\nfmt.Println(\"not to be run\")"
	shows("1\n", f, "%%\nfmt.Println(f())")
	session := l.r.session
	shows("2\n", "func f() int { return 2 }", "%%\nfmt.Println(f())")
	shows("2 x\n", "func f() int { return 2 }", "const c = \"x\"\n%%", "%%\nfmt.Println(f(), c)")
	// Of another kind than before: GoNB alone would know both, and not build.
	shows("3\n", "var c = 3", "%%\nfmt.Println(c)")
	shows("two\n", "func g() string { return \"two\" }\n%%\nfmt.Println(g())")
	shows("two\n", "func g() string { return \"two\" }\n%%\nfmt.Println(g())")
	shows("three\n", "func g() string { return \"three\" }\n%%\nfmt.Println(g())")
	// A main of its own and one twice declared do not matter to the cell below.
	shows("5\n", "func main() { fmt.Println(\"not this\") }", "func h() int { return 4 }", "func h() int { return 5 }", "%%\nfmt.Println(h())")
	// Settings count once.
	if err := os.Mkdir(filepath.Join(l.o.Dir, "sub"), 0o700); err != nil {
		t.Fatal(err)
	}
	where := "%%\nd, _ := os.Getwd()\nfmt.Println(filepath.Base(d))"
	shows("sub\n", "%cd sub", where)
	shows("sub\n", "%cd sub", "const k = 1", where)
	shows("sub\n", "const k = 2", "%cd sub", where)
	shows(filepath.Base(l.o.Dir)+"\n", where)

	// What is not above is not known, and a cell above that does not build costs
	// no other one.
	res, _, err := run(t, t.Context(), l, "%%\nfmt.Println(g())")
	if err != nil || res.Outcome != Failed || len(res.Faults) != 1 || res.Faults[0] != (Fault{2, "undefined: g"}) {
		t.Errorf("what was once declared below: %v, %+v", err, res)
	}
	bad := "func b() int { return \"no\" }"
	shows("1\n", bad, "func f() int { return 1 }", "%%\nfmt.Println(f())")
	res, _, err = run(t, t.Context(), l, bad, "func f() int { return 1 }", "%%\nfmt.Println(b())")
	if err != nil || res.Outcome != Failed || len(res.Above) != 1 || !strings.Contains(res.Above[0], "cannot use \"no\"") {
		t.Errorf("what a cell above lacks: %v, %+v", err, res)
	}
	if l.r.session != session {
		t.Error("not all of it ran in one kernel")
	}
}

// However a cell fails, the reader is told what and where, and not with a stack.
func TestLiveFaults(t *testing.T) {
	l := live(t, LiveOptions{Memory: 1 << 30})
	for name, c := range map[string]struct {
		cells   []string
		outcome Outcome
		faults  []Fault
		reason  string
		text    string
	}{
		"compiler": {cells: []string{"%%\nx := 1\nfmt.Println(y)"}, outcome: Failed, faults: []Fault{{2, "declared and not used: x"}, {3, "undefined: y"}}},
		"parser":   {cells: []string{"%%\nfmt.Println(1\n"}, outcome: Failed, faults: []Fault{{2, "missing ',' before newline in argument list"}}},
		"panic": {cells: []string{"func at(s []int, i int) int {\n\treturn s[i]\n}", "%%\nfmt.Fprintln(os.Stderr, \"warned\")\nfmt.Println(at(nil, 1))"},
			outcome: Failed, faults: []Fault{{3, "panic: runtime error: index out of range [1] with length 0 (exit status 2)"}}, text: "warned\n"},
		"exit":           {cells: []string{"%%\nos.Exit(3)"}, outcome: Failed, reason: "exit status 3"},
		"asks for input": {cells: []string{"%with_inputs\n%%\nfmt.Println(1)"}, outcome: Refused, reason: "no one to type it"},
		"would kill":     {cells: []string{"%%\n%%"}, outcome: Refused, reason: "two lines"},
		"shell":          {cells: []string{"!echo from a shell"}, outcome: Ran, text: "from a shell\n"},
		"looks like one": {cells: []string{"%%\nfmt.Fprintln(os.Stderr, \"panic: not really\")"}, outcome: Ran, text: "panic: not really\n"},
	} {
		res, s, err := run(t, t.Context(), l, c.cells...)
		switch {
		case err != nil || res.Outcome != c.outcome || !strings.Contains(res.Reason, c.reason):
			t.Errorf("%s: %v, %+v", name, err, res)
		case c.faults != nil && len(res.Faults) < len(c.faults) || s.text != c.text:
			t.Errorf("%s: faults %v, printed %q", name, res.Faults, s.text)
		}
		for i, f := range c.faults {
			if i < len(res.Faults) && (res.Faults[i].Line != f.Line || !strings.HasPrefix(res.Faults[i].Text, f.Text)) {
				t.Errorf("%s: fault %v, want %v", name, res.Faults[i], f)
			}
		}
	}
	if runtime.GOOS == "linux" {
		res, _, err := run(t, t.Context(), l, "%%\nvar all [][]byte\nfor range 40 {\n\tb := make([]byte, 1<<26)\n\tfor i := range b { b[i] = 1 }\n\tall = append(all, b)\n}\nfmt.Println(len(all))")
		if err != nil || res.Outcome != Failed || !strings.Contains(res.Reason, "memory") {
			t.Errorf("too much memory: %v, %+v", err, res)
		}
	}
	// Garbage is collected before the limit is met: here more than half of it is in
	// use when the garbage begins.
	garbage := "%%\nvar keep [][]byte\nvar waste []byte\nfor i := range 140 {\n\tb := make([]byte, 1<<24)\n\tfor k := range b { b[k] = 1 }\n\tif i < 40 { keep = append(keep, b) } else { waste = b }\n\tif i == 40 { runtime.GC() }\n}\nfmt.Println(len(keep), len(waste))"
	if res, s, err := run(t, t.Context(), l, garbage); err != nil || res.Outcome != Ran || s.text != "40 16777216\n" {
		t.Errorf("garbage: %v, %+v, %q", err, res, s.text)
	}
	l.r.o.Timeout = time.Second
	if res, _, err := run(t, t.Context(), l, "%%\nfor {}"); err != nil || res.Outcome != TimedOut || !strings.Contains(res.Reason, "did not end within 1s") {
		t.Errorf("endless: %v, %+v", err, res)
	}
}

// A kernel starts when it is needed: first, after it has died in a cell or
// between two, and after it was stopped for being idle.
func TestLiveStarts(t *testing.T) {
	l := live(t, LiveOptions{Idle: time.Hour})
	if l.r.session != nil {
		t.Error("a kernel runs before it is needed")
	}
	one := func(why string) {
		t.Helper()
		res, s, err := run(t, t.Context(), l, "func f() string { return \"here\" }", "%%\nfmt.Println(f())")
		if err != nil || res.Outcome != Ran || s.text != "here\n" {
			t.Errorf("%s: %v, %+v, printed %q", why, err, res, s.text)
		}
	}
	one("at first")
	pid := func() int { return l.r.session.engine.(*supervisor).pid }
	syscall.Kill(pid(), syscall.SIGKILL)
	<-l.r.session.engine.over()
	one("after it was killed")

	res, _, err := run(t, t.Context(), l, "%%\nfmt.Println(os.Getppid())\nsyscall.Kill(os.Getppid(), syscall.SIGKILL)\ntime.Sleep(time.Second)")
	if err != nil || res.Outcome != Died {
		t.Errorf("a cell that kills its kernel: %v, %+v", err, res)
	}
	one("after it died in a cell")

	// A cell that is stopped leaves the kernel alive.
	before := pid()
	ctx, stop := context.WithCancel(t.Context())
	time.AfterFunc(300*time.Millisecond, stop)
	if _, _, err := run(t, ctx, l, "%%\nfor {}"); !errors.Is(err, context.Canceled) {
		t.Errorf("a cell that is stopped: %v", err)
	}
	one("after a cell was stopped")
	if pid() != before {
		t.Error("the kernel did not outlive a cell that was stopped")
	}

	folder := l.r.session.engine.(*supervisor).folder
	l.rest()
	if l.r.session != nil {
		t.Error("it is not stopped when it is idle")
	}
	if _, err := os.Stat(folder); err == nil || len(marked(folder)) > 0 {
		t.Errorf("an idle kernel leaves %s, processes %v", folder, marked(folder))
	}
	one("after it was idle")

	l.Close()
	if _, _, err := run(t, t.Context(), l, "%%"); err == nil {
		t.Error("a cell runs in a kernel that is closed")
	}
}

// Time without a cell stops the kernel.
func TestLiveIdle(t *testing.T) {
	l := live(t, LiveOptions{Idle: 200 * time.Millisecond})
	if res, _, err := run(t, t.Context(), l, "%%\nfmt.Println(1)"); err != nil || res.Outcome != Ran {
		t.Fatal(err, res)
	}
	<-l.turn
	s := l.r.session
	l.turn <- struct{}{}
	if s == nil {
		return // it was quick
	}
	select {
	case <-s.engine.over():
	case <-time.After(20 * time.Second):
		t.Error("the kernel is not stopped")
	}
}

// Two cells at once: one waits for the other, and can be stopped meanwhile.
func TestLiveTurns(t *testing.T) {
	l := live(t, LiveOptions{})
	begun := make(chan struct{})
	ended := make(chan error, 1)
	go func() {
		_, err := l.Run(t.Context(), LiveCell{Source: "%%\nfmt.Println(1)\ntime.Sleep(2 * time.Second)", Log: func(string) {}, Tell: func(Piece) { close(begun) }})
		ended <- err
	}()
	<-begun
	ctx, stop := context.WithCancel(t.Context())
	var waits []string
	time.AfterFunc(100*time.Millisecond, stop)
	_, err := l.Run(ctx, LiveCell{Source: "%%", Log: func(what string) { waits = append(waits, what) }, Tell: func(Piece) {}})
	if !errors.Is(err, context.Canceled) || !slices.Equal(waits, []string{"waiting for the cell that runs"}) {
		t.Errorf("the second cell: %v, %q", err, waits)
	}
	if err := <-ended; err != nil {
		t.Errorf("the first cell: %v", err)
	}
}

// Answers, displays and displays that change come to the reader as they come
// to a notebook.
func TestLiveShows(t *testing.T) {
	data, beside := t.TempDir(), t.TempDir()
	l := live(t, LiveOptions{DataDir: data, Beside: []string{t.TempDir(), beside}})
	if err := os.WriteFile(filepath.Join(beside, "reference.csv"), []byte("time (s),angle (mrad)\n0,1\n1,2\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	sheet := "import \"gravity.example/gravlab/ask\"\nvar sheet = ask.Sheet(\"01-weighing-the-earth\", \"\")"
	res, s, err := run(t, t.Context(), l, sheet, "%%\nsheet.Number(\"kappa\", 8.4e-6, \"N m/rad\")\nfmt.Println(sheet.OwnRecording(\"reference.csv\").Column(\"angle\"))")
	if err != nil || res.Outcome != Ran || len(s.shown) != 1 || s.text != "[0.001 0.002]\n" {
		t.Fatalf("%v, %+v, shown %v, printed %q", err, res, s.shown, s.text)
	}
	if _, ok := s.shown[0].Data[judge.VerdictMIME]; !ok {
		t.Errorf("no verdict in %v", s.shown[0].Data)
	}
	entries, _, err := labserver.ReadLog(labserver.LogFile(data, "01-weighing-the-earth", ""), 0)
	if err != nil || len(entries) != 1 {
		t.Errorf("the log has %d entries, %v", len(entries), err)
	}
	res, s, err = run(t, t.Context(), l, sheet, `import "github.com/janpfeifer/gonb/gonbui"
%%
for i := range 30 {
	gonbui.UpdateHTML("id", fmt.Sprint("turn ", i))
}
gonbui.Sync() // else GoNB may lose some
fmt.Println("done")`)
	if err != nil || res.Outcome != Ran || s.text != "done\n" || len(s.shown) != 1 {
		t.Fatalf("a display that changes: %v, %+v, shown %v, printed %q", err, res, s.shown, s.text)
	}
	if html, _ := s.shown[0].Data.Text("text/html"); !strings.Contains(html, "turn 29") {
		t.Errorf("at the end it shows %q", html)
	}
}

// GoNB does not always name the line of a cell at which a program stopped.
func TestFaultsOfTrace(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "gonb_0a1b")
	if err := os.Mkdir(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "main.go")
	if err := os.WriteFile(file, []byte("package main\n\nfunc f() {\n\tpanic(1)\n}\n\nfunc main() {\n\tx := 1\n\tx++\n\tx++\n}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	c := notebook.NewCell(notebook.Code, "c", "%%\nx := 1\nx++\nx++")
	c.Run = 7
	for name, w := range map[string]struct {
		trace string
		line  int
	}{
		"named":              {"main.f(...)\n\t \x1b[7m[[ Cell [6] Line 2 ]]\x1b[0m " + file + ":4\nmain.main()\n\t \x1b[7m[[ Cell [7] Line 3 ]]\x1b[0m " + file + ":9 +0x5\n", 3},
		"not named":          {"main.f(...)\n\t" + file + ":4\nmain.main()\n\t" + file + ":8 +0x5\n", 2},
		"one of two":         {"main.main()\n\t" + file + ":9 +0x5\n", 0},
		"of another cell":    {"main.f()\n\t" + file + ":4 +0x5\n", 0},
		"no such line":       {"main.f()\n\t" + file + ":400 +0x5\n", 0},
		"of Go's own":        {"time.Sleep()\n\t/usr/lib/go/src/time/sleep.go:8 +0x5\n", 0},
		"no such file":       {"main.f()\n\t/nowhere/gonb_1/main.go:8 +0x5\n", 0},
		"nothing of a trace": {"exit status 3\n", 0},
	} {
		got := faultsOfTrace(w.trace, c, "why")
		if w.line == 0 && got != nil || w.line > 0 && !slices.Equal(got, []Fault{{w.line, "why"}}) {
			t.Errorf("%s: %v, want line %d", name, got, w.line)
		}
	}
}
