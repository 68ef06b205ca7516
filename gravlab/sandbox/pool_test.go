package sandbox

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/notebook"
)

// pool is shared by the tests: two workers.
var pool = sync.OnceValues(func() (*Pool, error) {
	return NewPool(context.Background(), PoolOptions{Workers: 2, Clone: "../.."})
})

// testParent is set in the program that TestKilledParent kills.
const testParent = "GRAVLAB_TEST_PARENT"

// buildWorker builds the program of the workers in a folder, where it is not to be
// the test itself.
var buildWorker func(dir string) (program string, err error)

func TestMain(m *testing.M) {
	var dir string
	if buildWorker != nil && os.Getenv(testParent) == "" {
		var err error
		if dir, err = os.MkdirTemp("", "gravlab-worker-test-"); err == nil {
			workerProgram, err = buildWorker(dir)
		}
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	code := m.Run()
	if p, err := pool(); err == nil {
		p.Close()
	}
	os.RemoveAll(dir)
	os.Exit(code)
}

func thePool(t testing.TB) *Pool {
	t.Helper()
	p, err := pool()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// book makes a notebook file of code cells.
func book(t testing.TB, cells ...string) []byte {
	t.Helper()
	nb := notebook.New("gravlab", "gravlab", "go")
	for i, c := range cells {
		nb.Cells = append(nb.Cells, notebook.NewCell(notebook.Code, "c"+string(rune('a'+i%26))+string(rune('a'+i/26%26))+string(rune('a'+i/676)), c))
	}
	file, err := nb.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	return file
}

// A file that is no notebook, or too much of one, is refused with a reason.
func TestFiles(t *testing.T) {
	p := thePool(t)
	many := func(n int) []byte {
		return []byte(`{"cells":[` + strings.TrimSuffix(strings.Repeat(`{"cell_type":"code","execution_count":null,"metadata":{},"outputs":[],"source":"%%\nfmt.Println(1)"},`, n), ",") + `],"metadata":{},"nbformat":4,"nbformat_minor":4}`)
	}
	for _, c := range []struct {
		name   string
		file   []byte
		ended  Limit
		unread string
	}{
		{"empty", nil, LimitNone, "empty"},
		{"no JSON", []byte("cells"), LimitNone, "is not a notebook"},
		{"invalid UTF-8", []byte("{\"cells\": \"\xff\"}"), LimitNone, "not UTF-8"},
		{"deep", []byte(strings.Repeat("[", 1_000_000)), LimitNone, "nested deeper"},
		{"long", make([]byte, 20_000_001), LimitSize, "20 MB"},
		{"another format", []byte(`{"nbformat":3}`), LimitNone, "format"},
		{"100,000 cells", many(100_000), LimitSize, ""},
		{"1,001 cells", many(1001), LimitSize, ""},
		{"a megabyte of code", book(t, "%%\n// "+strings.Repeat("x", 1_000_000)), LimitSize, ""},
		{"no cells", many(0), LimitNone, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			out, err := p.Run(t.Context(), Job{Notebook: c.file})
			if err != nil {
				t.Fatal(err)
			}
			if out.Ended != c.ended || !strings.Contains(out.Unread, c.unread) || (c.unread == "") != (out.Unread == "") || len(out.Cells) > 0 {
				t.Errorf("ended by %q, unread %q, %d cells; want %q, %q and none", out.Ended, out.Unread, len(out.Cells), c.ended, c.unread)
			}
		})
	}
}

func TestLook(t *testing.T) {
	p := thePool(t)
	l, err := exercises.Find("01")
	if err != nil {
		t.Fatal(err)
	}
	code := bank.NumberedCode(l.ID, 7)
	sheet, unread, err := p.Look(t.Context(), bytesOf(t, lab(t, "01", code, true)))
	if err != nil || unread != "" {
		t.Fatal(err, unread)
	}
	if sheet.Lab != l.ID || sheet.Code != string(code) || sheet.Twice || sheet.Assessed || len(sheet.Answers) != len(l.Sheet(code).Questions) {
		t.Errorf("%+v", sheet)
	}
	sheet, _, err = p.Look(t.Context(), book(t, "var sheet = ask.Assessed(\"01\", \"A\")", "var other = ask.Sheet(\"01\", \"B\")"))
	if err != nil || !sheet.Assessed || sheet.Code != "A" || !sheet.Twice {
		t.Errorf("%+v, %v", sheet, err)
	}
}

// Session is told what the notebook claims before anything is run, and may stop it.
func TestSessionStops(t *testing.T) {
	p := thePool(t)
	stop := errors.New("not in the class")
	out, err := p.Run(t.Context(), Job{Notebook: book(t, "%%\nfmt.Println(1)"), Session: func(Sheet) (func([]byte) []byte, error) { return nil, stop }})
	if !errors.Is(err, stop) || len(out.Cells) > 0 {
		t.Errorf("%+v, %v", out, err)
	}
}

// Remarks name the cell and the line as people count them.
func TestRemarks(t *testing.T) {
	p := thePool(t)
	for _, c := range []struct {
		source string
		line   int
		text   string
	}{
		{"%%\nx := 1", 2, "x: use it, or take it out"},
		{"!ls\n%noautoget\n%%\n\nundeclared()", 5, "undeclared is not known here"},
		{"// words\n\nfor {", 3, "outside any function"},
		{"import \"fmt\"\nimport \"net/http\"\nvar c http.Client", 2, "net/http cannot be imported"},
		{"func f() int {\n}", 2, "without a return"},
		{"//go:noinline\nfunc f() {}", 1, "direct the compiler"},
		{"var x int = \"a\"", 1, "cannot use"},
	} {
		out, err := p.Run(t.Context(), Job{Notebook: book(t, "", c.source)})
		if err != nil {
			t.Fatal(err)
		}
		found := false
		for _, r := range out.Remarks {
			found = found || r.Cell == 2 && r.Line == c.line && strings.Contains(r.Text, c.text)
		}
		if !found {
			t.Errorf("%q: %+v, want line %d and %q", c.source, out.Remarks, c.line, c.text)
		}
	}
}

func TestBox(t *testing.T) {
	p := thePool(t)
	var streamed strings.Builder
	out, err := p.RunBox(t.Context(), Box{
		Above:  []string{"func f() int { return 6 }\n%%\nfmt.Println(\"never\")", "broken(", "var loud = func() int { fmt.Println(\"start\"); return 7 }()"},
		Source: "%%\nfmt.Println(f() * loud)",
		Output: func(b []byte) { streamed.Write(b) },
	})
	if err != nil {
		t.Fatal(err)
	}
	if streamed.String() != "start\n42\n" || out.Cells[3].Output != streamed.String() || out.Cells[3].State != Ran || out.Cells[0].State != NotRun {
		t.Errorf("streamed %q, %+v", streamed.String(), out)
	}
	if out, err = p.RunBox(t.Context(), Box{Source: "%%\nno()"}); err != nil || out.Cells[0].State != NotBuilt || len(out.Remarks) != 1 || out.Remarks[0].Line != 2 {
		t.Errorf("%+v, %v", out, err)
	}
}

// A run that is dropped for the compiled one gives in each answer once, and
// prints each line once.
func TestOutgrowsInterpreter(t *testing.T) {
	p := thePool(t)
	for _, fast := range []bool{false, true} {
		frames := 0
		s := session(t)
		out, err := p.do(t.Context(), Job{Exchange: func(f []byte) []byte { frames++; return s.Exchange(f) }, Notebook: book(t, sheetCell,
			"%%\nfmt.Println(\"one\")\nsheet.Number(\"pull\", 1, \"N\")\nx := 0.0\nfor i := range 60_000_000 { x += math.Sqrt(float64(i)) }\nfmt.Printf(\"%.6e\\n\", x)\nsheet.Number(\"pull\", 2, \"N\")",
			"%%\nfmt.Println(\"two\")")}, job{Fast: fast})
		if err != nil {
			t.Fatal(err)
		}
		if !out.Times.Compiled || frames != 2 || out.Cells[1].Frames != 2 || out.Cells[1].Output != "one\n3.098387e+11\n" || out.Cells[2].Output != "two\n" {
			t.Errorf("fast %v: %d frames; %+v", fast, frames, out)
		}
	}
}

// Every cell starts at the same time, with the same random numbers, and a run is like another.
func TestRunsAreAlike(t *testing.T) {
	p := thePool(t)
	file := book(t, "%%\nfmt.Println(time.Now().UnixNano(), rand.IntN(1e9))\nm := map[int]int{1: 1, 2: 2, 3: 3, 4: 4}\nfor k := range m { fmt.Print(k) }",
		"import crand \"crypto/rand\"\n%%\nb := make([]byte, 8)\ncrand.Read(b)\nfmt.Println(b)\ntime.Sleep(time.Hour)\nfmt.Println(time.Now())")
	var outputs []string
	for _, seed := range []uint64{1, 1, 2} {
		out, err := p.Run(t.Context(), Job{Notebook: file, Seed: seed})
		if err != nil {
			t.Fatal(err)
		}
		outputs = append(outputs, out.Cells[0].Output+out.Cells[1].Output)
	}
	if outputs[0] != outputs[1] || outputs[0] == outputs[2] {
		t.Errorf("the same seed, then another: %q", outputs)
	}
}

func TestCancel(t *testing.T) {
	p := thePool(t)
	ctx, cancel := context.WithCancel(t.Context())
	_, err := p.Run(ctx, Job{Notebook: book(t, "%%\nfmt.Println(1)\nfor {}"), Output: func(int, []byte) { cancel() }})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("%v, want that it was cancelled", err)
	}
}
