package sandbox

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"gravity.example/exercises"
	"gravity.example/gravlab/judge"
)

// answerAfter, and another before, stand around the hostile cells: one cell is never to
// cost another its answer.
const (
	sheetCell   = "import \"gravity.example/gravlab/ask\"\nvar sheet = ask.Sheet(\"00-first-steps\", \"\")"
	answerAfter = "%%\nsheet.Choice(\"brackets\", \"a\")"
)

// doubling makes a constant of 2^(2^n) by squaring: a type checker computes it.
func doubling(n int) string {
	var b strings.Builder
	b.WriteString("const c0 = 1 << 500\n")
	for i := 1; i <= n; i++ {
		fmt.Fprintf(&b, "const c%d = c%d * c%d\n", i, i-1, i-1)
	}
	return b.String()
}

// nest makes a type of n doublings that has to be compared.
func nest(n int) string {
	var b strings.Builder
	b.WriteString("type t0 struct{ a, b int }\n")
	for i := 1; i <= n; i++ {
		fmt.Fprintf(&b, "type t%d struct{ a, b t%d }\n", i, i-1)
	}
	fmt.Fprintf(&b, "var v, w t%d\nvar same = v == w\n", n)
	return b.String()
}

// generics makes functions that instantiate one another twice a level.
func generics(n int) string {
	var b strings.Builder
	b.WriteString("func g0[T any](x T) int { return 1 }\ntype p[A, B any] struct{ a A; b B }\n")
	for i := 1; i <= n; i++ {
		fmt.Fprintf(&b, "func g%d[T any](x T) int { var y p[T, int]; var z p[int, T]; return g%d(y) + g%d(z) }\n", i, i-1, i-1)
	}
	fmt.Fprintf(&b, "%%%%\nprintln(g%d(1))\n", n)
	return b.String()
}

func literals(n int) string {
	return "var big = []int{" + strings.Repeat("1,", n) + "}"
}

func closures(n int) string {
	return "var f = " + strings.Repeat("func() int { return ", n) + "1" + strings.Repeat(" }()", n)
}

func TestHostile(t *testing.T) {
	if testing.Short() {
		t.Skip("each program is run until it meets the real limits")
	}
	p := thePool(t)
	l, err := exercises.Find("00")
	if err != nil {
		t.Fatal(err)
	}
	answerBefore := fmt.Sprintf("%%%%\nsheet.Number(\"fall-time\", %v, \"s\")", l.Sheet("").RightAnswers()["fall-time"])
	const wasmimport = "//go:wasmimport gravlab exchange\nfunc x(p unsafe.Pointer, n uint32) uint32\n//go:wasmimport gravlab take\nfunc y(p unsafe.Pointer, n uint32) uint32\n"
	for _, c := range []struct {
		name, source string
		state        State
		limit        Limit
		says         string // part of the output or of a remark
	}{
		{"endless loop", "%%\nfor {}", Ended, LimitTime, "10s"},
		{"endless loop with calls", "%%\nx := 0.0\nfor { x += math.Sin(x) }", Ended, LimitTime, ""},
		{"endless initialiser", "var x = func() int { for {} }()", Ended, LimitTime, ""},
		{"goroutine storm", "%%\nfor { go func() { select {} }() }", Ended, LimitMemory, ""},
		{"goroutines that start others", "func f() { go f(); go f(); runtime.Gosched() }\n%%\nf()\nfor { runtime.Gosched() }", Ended, LimitMemory, ""},
		{"memory in one piece", "%%\nn := 1 << 30\nb := make([]byte, n)\nfmt.Println(len(b))", Ended, LimitMemory, ""},
		{"memory in pieces", "%%\nvar all [][]byte\nfor { all = append(all, make([]byte, 1<<20)) }", Ended, LimitMemory, ""},
		{"memory in a variable", "var b [1 << 30]byte", NotBuilt, LimitNone, "larger than the memory"},
		{"garbage", "%%\nn := 0\nfor range 100_000 { n += len(make([]byte, 8<<10)) }\nfmt.Println(n)", Ran, LimitNone, "819200000"},
		{"recursion", "func f(n int) int { return 1 + f(n+1) }\n%%\nfmt.Println(f(0))", Ended, LimitMemory, ""},
		{"output flood", "%%\nfor { fmt.Println(\"flood\") }", Ended, LimitOutput, "flood"},
		{"output in one piece", "%%\nos.Stdout.Write(make([]byte, 100<<20))", Ended, LimitOutput, ""},
		{"output of println", "%%\nfor { println(1) }", Ended, LimitOutput, ""},
		{"sleep", "%%\ntime.Sleep(1000 * time.Hour)\nfmt.Println(\"awake\")", Ran, LimitNone, "awake"},
		{"deadlock", "%%\nselect {}", Failed, LimitNone, "deadlock"},
		{"deadlock of two", "%%\na, b := make(chan int), make(chan int)\ngo func() { a <- <-b }()\nb <- <-a", Failed, LimitNone, "deadlock"},
		{"exit", "%%\nos.Exit(0)", Ran, LimitNone, ""},
		{"exit 3", "%%\nos.Exit(3)", Failed, LimitNone, "exit status 3"},
		{"exit -1", "%%\nos.Exit(-1)", Failed, LimitNone, "exit status"},
		{"exit of log", "%%\nlog.Fatal(\"enough\")", Failed, LimitNone, "enough"},
		{"exit in an initialiser", "func init() { os.Exit(0) }", Ran, LimitNone, ""},
		{"panic", "%%\npanic(\"on purpose\")", Failed, LimitNone, "on purpose"},
		{"panic in a goroutine", "%%\ngo func() { panic(\"aside\") }()\ntime.Sleep(time.Second)", Failed, LimitNone, "aside"},
		{"nil", "%%\nvar p *int\n*p = 1", Failed, LimitNone, "nil pointer"},
		{"division by zero", "%%\nvar z int\nfmt.Println(1 / z)", Failed, LimitNone, "divide by zero"},

		{"reads a file", "%%\n_, err := os.ReadFile(\"/etc/passwd\")\nfmt.Println(\"err:\", err)", Ran, LimitNone, "err: open"},
		{"writes a file", "%%\nfmt.Println(\"err:\", os.WriteFile(\"x\", nil, 0o600))", Ran, LimitNone, "err: open"},
		{"lists a folder", "%%\n_, err := os.ReadDir(\".\")\nfmt.Println(\"err:\", err)", Ran, LimitNone, "err: "},
		{"reads the environment", "%%\nfmt.Println(len(os.Environ()), os.Getenv(\"HOME\"), len(os.Args))", Ran, LimitNone, "0  "},
		{"reads the time", "%%\nfmt.Println(time.Now().UTC().Format(time.DateTime))", Ran, LimitNone, "2025-01-01 00:00:00"},
		{"reads its input", "%%\nvar s string\nn, err := fmt.Scanln(&s)\nfmt.Println(n, err)", Ran, LimitNone, "0 EOF"},
		{"starts a program", "import \"os/exec\"\n%%\nexec.Command(\"ls\").Run()", NotBuilt, LimitNone, "os/exec cannot be imported"},
		{"starts a process", "%%\n_, err := os.StartProcess(\"/bin/sh\", nil, &os.ProcAttr{})\nfmt.Println(\"err:\", err)", Ran, LimitNone, "err: fork"},
		{"network", "import \"net\"\n%%\nnet.Dial(\"tcp\", \"127.0.0.1:1\")", NotBuilt, LimitNone, "package net cannot be imported"},
		{"network, found", "%%\nhttp.Get(\"http://127.0.0.1\")", NotBuilt, LimitNone, "http is not known here"},
		{"system calls", "import \"syscall\"\n%%\nsyscall.Kill(1, 9)", NotBuilt, LimitNone, "package syscall cannot"},
		{"unsafe", "import \"unsafe\"\nvar x = unsafe.Sizeof(1)", NotBuilt, LimitNone, "package unsafe cannot"},
		{"unsafe by a dot", "import . \"unsafe\"", NotBuilt, LimitNone, "package unsafe cannot"},
		{"unsafe by nothing", "import _ \"unsafe\"\n//go:linkname x runtime.memhash\nfunc x()", NotBuilt, LimitNone, "package unsafe cannot"},
		{"C", "// #include <stdio.h>\nimport \"C\"\nvar x = C.puts", NotBuilt, LimitNone, "package C cannot"},
		{"host functions", "import \"unsafe\"\n" + wasmimport + "%%\nx(unsafe.Pointer(uintptr(0xffffffff)), 0xffffffff)", NotBuilt, LimitNone, "comments that direct the compiler"},
		{"host functions without unsafe", "//go:wasmimport gravlab exchange\nfunc x(p uint32, n uint32) uint32\n%%\nfmt.Println(x(0xffffffff, 0xffffffff))", NotBuilt, LimitNone, "function body"},
		{"export", "//go:wasmexport gravlab_cell\nfunc x(n uint32) { println(n) }\n%%\nx(1)", Ran, LimitNone, "comments that direct the compiler"},
		{"embedding", "import _ \"embed\"\n//go:embed main.go\nvar s string", NotBuilt, LimitNone, "package embed cannot"},
		{"an empty function", "func x(n int) int", NotBuilt, LimitNone, "function body"},
		{"line", "//line /etc/passwd:1\n%%\nundeclared()", NotBuilt, LimitNone, "undeclared is not known"},
		{"shell", "!rm -rf /", Ran, LimitNone, "lines that begin with ! are not run"},
		{"shell and Go", "!ls\n%%\nfmt.Println(\"Go\")", Ran, LimitNone, "Go"},
		{"script", "%%bash\nls", Refused, LimitNone, "%%bash are not run"},
		{"two mains", "%%\nfmt.Println(1)\n%%\nfmt.Println(2)", Refused, LimitNone, "two lines"},
		{"our letter", "func ǀcell2() {}", Refused, LimitNone, "reserved"},
		{"breaks out of the function", "%%\n}\nfunc ugly() {", Ran, LimitNone, ""},
		{"a main of its own", "func main() { fmt.Println(\"mine\") }", Ran, LimitNone, "mine"},

		{"doubled constant", doubling(26), NotBuilt, LimitNone, "overflow"},
		{"shifted constant", "const x = 1 << 1000000000", NotBuilt, LimitNone, ""},
		{"nested types", nest(26), Ended, LimitCompiler, ""},
		{"fanning generics", generics(24), Ended, LimitCompiler, ""},
		{"100,000 literals", literals(100_000), Ran, LimitNone, ""},
		{"nested brackets", "var x = " + strings.Repeat("(", 200_000) + "1" + strings.Repeat(")", 200_000), NotBuilt, LimitNone, ""},
		{"nested closures", closures(300), Ended, LimitCompiler, ""},

		{"frames", "%%\nfor { sheet.Number(\"pull\", 1, \"N\") }", Ended, LimitFrames, ""},
		{"displays", "import \"gravity.example/gravlab/show\"\n%%\nfor { show.Markdown(\"x\") }", Ended, LimitFrames, ""},
		{"long frame", "import \"gravity.example/gravlab/show\"\n%%\nshow.HTML(strings.Repeat(\"x\", 2<<20))\nfmt.Println(\"on\")", Ran, LimitNone, "on"},
		{"invalid UTF-8", "%%\nfmt.Println(\"\\xff\\xfe ok\")\nsheet.Typed(\"pull\", \"\\xff\")", Ran, LimitNone, "ok"},
		{"somebody else's sheet", "%%\nask.Sheet(\"00-first-steps\", \"K7QF-3M2P\").Number(\"pull\", 1, \"N\")", Ran, LimitNone, ""},
		{"function that loops", "%%\nsheet.Function(\"mean\", func(x []float64) float64 { for {} })", Ended, LimitTime, ""},
		{"function that panics", "%%\nsheet.Function(\"mean\", func(x []float64) float64 { panic(1) })\nfmt.Println(\"on\")", Ran, LimitNone, "on"},
		{"function that exits", "%%\nsheet.Function(\"mean\", func(x []float64) float64 { os.Exit(1); return 0 })", Failed, LimitNone, "exit status 1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := session(t)
			begun := time.Now()
			out, err := p.Run(t.Context(), Job{Notebook: book(t, sheetCell, answerBefore, c.source, answerAfter), Exchange: s.Exchange})
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("%v, %+v", time.Since(begun).Round(time.Millisecond), out.Times)
			if len(out.Cells) != 4 {
				t.Fatalf("%d cells: %+v", len(out.Cells), out)
			}
			got := out.Cells[2]
			if got.State != c.state || got.Limit != c.limit || out.Ended != c.limit {
				t.Errorf("%s by the limit %q (the notebook by %q), want %s by %q; printed %q; %+v", got.State, got.Limit, out.Ended, c.state, c.limit, clip(got.Output, 300), out.Remarks)
			}
			said := got.Output + got.Fault
			for _, r := range out.Remarks {
				said += "\n" + r.Text
			}
			if !strings.Contains(said, c.says) {
				t.Errorf("said %q, want %q in it", clip(said, 1000), c.says)
			}
			after := judge.OutcomeRight
			if strings.Contains(c.name, "initialiser") {
				after = judge.OutcomeBlank // it is part of every later cell too, as under the kernel
			}
			if out.Cells[1].State != Ran || out.Cells[3].State != Ran && after == judge.OutcomeRight {
				t.Errorf("before: %+v, after: %+v", out.Cells[1], out.Cells[3])
			}
			checkAnswers(t, s, map[string]judge.Outcome{"fall-time": judge.OutcomeRight, "brackets": after})
			if len(got.Output) > 1<<20+100 {
				t.Errorf("%d bytes of output were kept", len(got.Output))
			}
		})
	}
}
