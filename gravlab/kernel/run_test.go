//go:build unix

package kernel

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"gravity.example/gravlab/notebook"
)

// A row is a cell and what shall come of it.
type row struct {
	name    string
	source  string
	outcome Outcome
	reason  string // part of it
	stdout  string // exactly
	stderr  string // part of it
}

// runRows runs one notebook of all the rows.
func runRows(t *testing.T, kernel, language string, o RunOptions, rows []row) *Result {
	t.Helper()
	var sources []string
	for _, r := range rows {
		sources = append(sources, r.source)
	}
	nb := book(kernel, language, sources...)
	before, after := 0, 0
	o.Progress = func(p Progress) {
		if p.Of != len(rows) {
			t.Errorf("progress says %d cells, want %d", p.Of, len(rows))
		}
		if p.Ended {
			after++
		} else {
			before++
		}
	}
	o.DataDir = t.TempDir()
	result, err := Run(t.Context(), nb, o)
	if err != nil {
		t.Fatal(err)
	}
	if before != len(rows) || after != len(rows) {
		t.Errorf("progress was told of %d begins and %d ends, want %d of each", before, after, len(rows))
	}
	if _, err := nb.Bytes(); err != nil {
		t.Errorf("the notebook cannot be written any more: %v", err)
	}
	for i, r := range rows {
		got := result.Cells[i]
		if got.Outcome != r.outcome || !strings.Contains(got.Reason, r.reason) {
			t.Errorf("%s: %s (%q), want %s (%q)", r.name, got.Outcome, got.Reason, r.outcome, r.reason)
		}
		if (got.Outcome == Ran) != (got.Reason == "") {
			t.Errorf("%s: %s with the reason %q", r.name, got.Outcome, got.Reason)
		}
		var stderr string
		failed := false
		for _, out := range got.Cell.Outputs {
			if out.Kind == notebook.Stream && out.Name == "stderr" {
				stderr += out.Text
			}
			failed = failed || out.Kind == notebook.Failure
		}
		if failed == (r.outcome == Ran) {
			t.Errorf("%s: %s, with an error among the outputs: %v", r.name, got.Outcome, failed)
		}
		if got := printed(got.Cell); got != r.stdout && r.stdout != "*" {
			t.Errorf("%s: printed %q, want %q", r.name, got, r.stdout)
		}
		if !strings.Contains(stderr, r.stderr) {
			t.Errorf("%s: error output %q, want %q in it", r.name, stderr, r.stderr)
		}
	}
	return result
}

func TestRunGo(t *testing.T) {
	needGoNB(t)
	t.Parallel()
	result := runRows(t, Name, "go", RunOptions{Timeout: time.Minute}, []row{
		{"declaration", "const six = 6", Ran, "", "", ""},
		{"use of it", "%%\nfmt.Println(six * 7)", Ran, "", "42\n", ""},
		{"exit", "%%\nos.Exit(3)", Failed, "program ended with exit status 3", "", "exit status 3"},
		{"panic", "%%\nfmt.Println(1)\npanic(\"on purpose\")", Failed, "panic: on purpose (exit status 2)", "1\n", "panic: on purpose"},
		{"does not compile", "%%\nundeclared()", Failed, "line 2: undefined: undeclared", "", ""},
		{"shell", "!echo from the shell", Ran, "", "from the shell\n", ""},
		{"shell line that fails", "!false", Ran, "", "", "exit status 1"},
		{"says exit status itself", "%%\nfmt.Fprintln(os.Stderr, \"exit status 9 is what we feared\")", Ran, "", "", "feared"},
		{"flood", "%%\nfor range 1000 { fmt.Println(strings.Repeat(\"0123456789\", 10000)) }", Ran, "", "*", "this cell printed about"},
		{"removes its folder", "%%\nos.RemoveAll(os.TempDir())", Ran, "", "", "removed the kernel's own temporary folder"},
		{"after that", "%%\nfmt.Println(six)", Ran, "", "6\n", ""},
		{"asks for input", "import \"github.com/janpfeifer/gonb/gonbui\"\n%%\ngonbui.RequestInput(\"name?\", false)\nvar s string\nfmt.Scanln(&s)", Failed, "asks for input", "", ""},
		{"two mains", "%%\nfmt.Println(1)\n%%\nfmt.Println(2)", Refused, "two lines `%%`", "", ""},
		{"gonbui beside show", "import \"gravity.example/gravlab/show\"\n%%\ngonbui.DisplayHTML(\"a\")\nshow.HTML(\"b\")", Refused, "show.HTML", "", ""},
		{"kills the kernel", "!kill -9 $PPID", Died, "the kernel died (signal: killed)", "", ""},
		{"after that", "%%\nfmt.Println(six + 1)", Ran, "", "7\n", ""},
	})
	if result.Restarts != 1 {
		t.Errorf("%d restarts, want 1", result.Restarts)
	}
	flood := result.Cells[8].Cell
	if n := len(printed(flood)); n != 1<<20 {
		t.Errorf("of 100 MB %d bytes were kept, want %d", n, 1<<20)
	}
	if got := result.Cells[1].Cell.Run; got != 2 {
		t.Errorf("the second cell has the execution count %d, want 2", got)
	}
	if got := len(result.Failed()); got != 7 {
		t.Errorf("%d cells failed, want 7", got)
	}
}

// TestFloodDoesNotEatMemory prints 100 MB in one line, which Go's printers hand
// over in one piece.
func TestFloodDoesNotEatMemory(t *testing.T) {
	needGoNB(t)
	nb := book(Name, "go", "%%\nos.Stdout.WriteString(strings.Repeat(\"x\", 100_000_000))\nfmt.Fprintln(os.Stderr, \"the end\")")
	most := make(chan uint64)
	done := make(chan struct{})
	go func() {
		var m runtime.MemStats
		var top uint64
		for {
			select {
			case <-done:
				most <- top
				return
			case <-time.After(20 * time.Millisecond):
				runtime.ReadMemStats(&m)
				top = max(top, m.HeapAlloc)
			}
		}
	}()
	result, err := Run(t.Context(), nb, RunOptions{DataDir: t.TempDir()})
	close(done)
	top := <-most
	if err != nil {
		t.Fatal(err)
	}
	if got := result.Cells[0]; got.Outcome != Ran {
		t.Errorf("%s: %s", got.Outcome, got.Reason)
	}
	if top > 50_000_000 {
		t.Errorf("the client used %d MB for 100 MB that it does not keep", top/1_000_000)
	}
	t.Logf("most memory in use: %d MB", top/1_000_000)
}

// TestEndless is apart because it waits: for the timeouts, and GoNB's 5 s.
func TestEndless(t *testing.T) {
	needGoNB(t)
	t.Parallel()
	runRows(t, Name, "go", RunOptions{Timeout: 4 * time.Second}, []row{
		{"endless loop", "%%\nfor {}", TimedOut, "did not end within 4s", "", "signal: interrupt"},
		{"still there", "%%\nfmt.Println(1)", Ran, "", "1\n", ""},
		{"waits for input", "%%\nvar s string\nfmt.Scanln(&s)", TimedOut, "wait for input", "", ""},
		{"pipeline", "!sleep 100 | cat", TimedOut, "did not end", "", ""},
		{"deaf", "import (\"os/signal\"; \"os\")\n%%\nsignal.Ignore(os.Interrupt)\nfor { time.Sleep(time.Second) }", TimedOut, "did not end", "", "signal: killed"},
		{"deaf shell in another session", "!trap '' INT; setsid sleep 100 | cat", TimedOut, "did not end", "", ""},
		{"still there", "%%\nfmt.Println(2)", Ran, "", "2\n", ""},
	})
}

// TestRunPython shows that the client is no respecter of its own kernel.
func TestRunPython(t *testing.T) {
	needPython(t)
	t.Parallel()
	result := runRows(t, "python3", "python", RunOptions{Timeout: 5 * time.Second}, []row{
		{"value", "a = 6", Ran, "", "", ""},
		{"result", "a * 7", Ran, "", "", ""},
		{"print", "print('æther')", Ran, "", "æther\n", ""},
		{"update", "from IPython.display import display, HTML, clear_output\nd = display(HTML('<b>old</b>'), display_id=True)\nd.update(HTML('<b>new</b>'))", Ran, "", "", ""},
		{"clear", "print('old')\nclear_output(wait=True)\nprint('new')", Ran, "", "new\n", ""},
		{"exception", "1/0", Failed, "ZeroDivisionError", "", ""},
		{"input", "input('name?')", Failed, "does not support input requests", "", ""},
		{"endless", "while True: pass", TimedOut, "did not end", "", ""},
		{"dies", "import os; os._exit(3)", Died, "exit status 3", "", ""},
		{"after that", "print(5)", Ran, "", "5\n", ""},
	})
	if out := result.Cells[1].Cell.Outputs; len(out) != 1 || out[0].Kind != notebook.Result || out[0].Data["text/plain"] != "42" || out[0].Run != 2 {
		t.Errorf("the result of a * 7 is %+v", out)
	}
	if out := result.Cells[3].Cell.Outputs; len(out) != 1 || out[0].Data["text/html"] != "<b>new</b>" {
		t.Errorf("the updated display is %+v", out)
	}
}

func needPython(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("starts real kernels, which takes seconds: not run with -short")
	}
	if _, err := findSpec("python3"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal(err)
		}
		t.Skipf("needs Debian's python3-ipykernel: %v", err)
	}
}

func TestRunCancelled(t *testing.T) {
	needGoNB(t)
	t.Parallel()
	there := filepath.Join(t.TempDir(), "there") // says that the second cell has printed
	nb := book(Name, "go", "%%\nfmt.Println(1)", fmt.Sprintf("%%%%\nfmt.Println(2)\nos.WriteFile(%q, nil, 0o600)\nfor {}", there), "%%\nfmt.Println(3)")
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	result, err := Run(ctx, nb, RunOptions{DataDir: t.TempDir(), Progress: func(p Progress) {
		if p.Now.Index == 1 && !p.Ended {
			go func() {
				defer cancel()
				for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
					if _, err := os.Stat(there); err == nil {
						return
					}
				}
			}()
		}
	}})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want that the context was cancelled", err)
	}
	for i, want := range []Outcome{Ran, Interrupted, NotRun} {
		if got := result.Cells[i].Outcome; got != want {
			t.Errorf("cell %d: %s, want %s", i+1, got, want)
		}
	}
	if printed(nb.Cells[0]) != "1\n" || printed(nb.Cells[1]) != "2\n" {
		t.Errorf("what was printed before the interrupt is lost: %+v", nb.Cells[1].Outputs)
	}
	if _, err := nb.Bytes(); err != nil {
		t.Error(err)
	}
}

// TestOwnFolderGone removes the folder in which the cells run. Nothing can put
// that back, but the kernel goes on and the outputs are there.
func TestOwnFolderGone(t *testing.T) {
	needGoNB(t)
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "lab")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	clone, err := FindClone(nil)
	if err != nil {
		t.Fatal(err)
	}
	nb := book(Name, "go", fmt.Sprintf("%%%%\ngravlab.Must(0, os.RemoveAll(%q))\nfmt.Println(1)", dir), "%%\nfmt.Println(2)", "!echo 3")
	result, err := Run(t.Context(), nb, RunOptions{Dir: dir, Clone: clone, DataDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"1\n", "2\n", "3\n"} {
		c := result.Cells[i]
		if got := printed(c.Cell); c.Outcome != Ran || got != want {
			t.Errorf("cell %d %s (%s) and printed %q, want %q", i+1, c.Outcome, c.Reason, got, want)
		}
	}
}

func TestRunStops(t *testing.T) {
	needGoNB(t)
	t.Parallel()
	nb := book(Name, "go", "%%\nos.Exit(1)", "%%\nfmt.Println(2)")
	result, err := Run(t.Context(), nb, RunOptions{Stop: true, DataDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	if result.Cells[0].Outcome != Failed || result.Cells[1].Outcome != NotRun {
		t.Errorf("outcomes %s and %s, want failed and not run", result.Cells[0].Outcome, result.Cells[1].Outcome)
	}
}

// TestTwoAtOnce runs two kernels on one notebook and one answers log.
func TestTwoAtOnce(t *testing.T) {
	needGoNB(t)
	t.Parallel()
	data := t.TempDir()
	errs := make(chan error, 2)
	for n := range 2 {
		go func() {
			nb := book(Name, "go", fmt.Sprintf("%%%%\nfmt.Println(%d)", n))
			_, err := Run(context.Background(), nb, RunOptions{DataDir: data})
			if got, want := printed(nb.Cells[0]), fmt.Sprintln(n); err == nil && got != want {
				err = fmt.Errorf("kernel %d printed %q", n, got)
			}
			errs <- err
		}()
	}
	for range 2 {
		if err := <-errs; err != nil {
			t.Error(err)
		}
	}
}

// TestRunRefusals is about what is wrong before the first cell.
func TestRunRefusals(t *testing.T) {
	spec := func(name, argv string) {
		dir := filepath.Join(os.Getenv("JUPYTER_DATA_DIR"), "kernels", name)
		if err := os.MkdirAll(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, specFile), []byte(argv), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	t.Setenv("JUPYTER_DATA_DIR", t.TempDir())
	spec("stillborn", `{"argv": ["sh", "-c", "echo no luck >&2; exit 4"], "display_name": "x", "language": "x"}`)
	spec("broken", `{"argv": [`)
	spec("empty", `{"argv": []}`)
	nameless := book(Name, "go", "1")
	delete(nameless.Metadata, "kernelspec")
	for _, c := range []struct {
		name string
		nb   *notebook.Notebook
		o    RunOptions
		want string
	}{
		{"no kernelspec", nameless, RunOptions{}, "does not say which kernel"},
		{"unknown kernel", book("nowhere", "x", "1"), RunOptions{}, "no kernel \"nowhere\" is installed"},
		{"bad name", book("../x", "x", "1"), RunOptions{}, "allowed are letters"},
		{"no folder", book(Name, "go", "1"), RunOptions{Dir: "/nowhere/at/all"}, "is not there"},
		{"dies at the start", book("stillborn", "x", "1"), RunOptions{}, "no luck"},
		{"spec is not JSON", book("broken", "x", "1"), RunOptions{}, specFile},
		{"spec without a program", book("empty", "x", "1"), RunOptions{}, "argv is empty"},
	} {
		result, err := Run(t.Context(), c.nb, c.o)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want %q in it", c.name, err, c.want)
		}
		if result == nil || len(result.Cells) != 0 {
			t.Errorf("%s: result %+v, want one without cells", c.name, result)
		}
	}
}

// TestToolsRefusals is about machines on which no kernel can be built.
func TestToolsRefusals(t *testing.T) {
	clone, err := FindClone(nil)
	if err != nil {
		t.Fatal(err)
	}
	goDir, err := exec.LookPath("go")
	if err != nil {
		t.Fatal(err)
	}
	t.Run("no Go", func(t *testing.T) {
		t.Setenv("PATH", t.TempDir())
		_, err := tools(t.Context(), clone, nil)
		wantError(t, err, "no Go on the PATH")
	})
	t.Run("cache cannot be written", func(t *testing.T) {
		file := filepath.Join(t.TempDir(), "file")
		if err := os.WriteFile(file, nil, 0o600); err != nil {
			t.Fatal(err)
		}
		t.Setenv("GOCACHE", t.TempDir())
		t.Setenv("XDG_CACHE_HOME", filepath.Join(file, "cache"))
		_, err := tools(t.Context(), clone, nil)
		wantError(t, err, "set XDG_CACHE_HOME")
	})
	t.Run("no cache at all", func(t *testing.T) {
		t.Setenv("GOCACHE", t.TempDir())
		t.Setenv("GOPATH", t.TempDir())
		t.Setenv("PATH", filepath.Dir(goDir))
		t.Setenv("XDG_CACHE_HOME", "")
		t.Setenv("HOME", "")
		_, err := tools(t.Context(), clone, nil)
		wantError(t, err, "no cache folder")
	})
	t.Run("another module", func(t *testing.T) {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, "go.mod"), []byte("module example.com/other\n"), 0o644); err != nil {
			t.Fatal(err)
		}
		_, err := checkClone(dir)
		wantError(t, err, "example.com/other")
	})
}
