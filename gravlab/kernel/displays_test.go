//go:build unix

package kernel

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/notebook"
)

// TestAllDisplaysArrive shows 200 things in one cell, twenty times over. What
// is shown must all be there when the cell ends, and in order.
func TestAllDisplaysArrive(t *testing.T) {
	needGoNB(t)
	const times, displays = 20, 200
	var cells []string
	for i := range times {
		// A different program each time, so that each is compiled and linked.
		cells = append(cells, fmt.Sprintf("%%%%\nfor i := range %d { show.HTML(fmt.Sprint(%d, \" \", i)) }", displays, i))
	}
	nb := book(Name, "go", cells...)
	result, err := Run(t.Context(), nb, RunOptions{DataDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range result.Cells {
		if c.Outcome != Ran {
			t.Fatalf("cell %d: %s: %s", i+1, c.Outcome, c.Reason)
		}
		var got []string
		for _, o := range c.Cell.Outputs {
			text, ok := o.Data.Text("text/html")
			if o.Kind != notebook.Display || !ok {
				t.Fatalf("cell %d has an output of kind %s among its displays: %q", i+1, o.Kind, o.Text)
			}
			got = append(got, text)
		}
		if len(got) != displays {
			t.Fatalf("cell %d: %d displays arrived, want %d", i+1, len(got), displays)
		}
		for n, text := range got {
			if !strings.Contains(text, fmt.Sprint(i, " ", n)) {
				t.Fatalf("cell %d: display %d is %q: out of order", i+1, n, text)
			}
		}
	}
}

// TestAnswersAreLogged gives in an answer and looks for it in the log.
func TestAnswersAreLogged(t *testing.T) {
	needGoNB(t)
	t.Parallel()
	data := t.TempDir()
	nb := book(Name, "go",
		`import "gravity.example/gravlab/ask"
var sheet = ask.Sheet("01-weighing-the-earth", "")`,
		"%%\nsheet.Number(\"kappa\", 8.4e-6, \"N m/rad\")",
		// The lab server forgets nothing when a cell takes its socket away.
		"%%\nos.RemoveAll(os.TempDir())",
		"%%\nsheet.Number(\"kappa\", 8.5e-6, \"N m/rad\")")
	result, err := Run(t.Context(), nb, RunOptions{DataDir: data})
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range result.Cells {
		if c.Outcome != Ran {
			t.Errorf("cell %d: %s: %s", i+1, c.Outcome, c.Reason)
		}
	}
	for _, i := range []int{1, 3} {
		found := false
		for _, o := range nb.Cells[i].Outputs {
			_, found = o.Data[judge.VerdictMIME]
		}
		if !found {
			t.Errorf("no verdict under cell %d: %+v", i+1, nb.Cells[i].Outputs)
		}
	}
	entries, _, err := labserver.ReadLog(labserver.LogFile(data, "01-weighing-the-earth", ""), 0)
	if err != nil {
		t.Fatal(err)
	}
	if len(entries) != 2 {
		t.Errorf("the log in %s has %d entries, want 2", data, len(entries))
	}
}

// BenchmarkCell measures a cell's round trip beside a bare `go build` and run of
// the same program with the same flags, turn by turn. The budget is the ratio:
// at most 1.25, and 200 ms.
func BenchmarkCell(b *testing.B) {
	for _, c := range []struct{ name, imports, body string }{
		{"does=print", "", `fmt.Println("turn", %d)`},
		{"does=answer", `"gravity.example/gravlab/ask"`, `ask.Sheet("01-weighing-the-earth", "").Number("kappa", 8.4e-6+%de-12, "N m/rad")`},
		{"does=figure", `"gravity.example/gravlab/show"`, `x := []float64{0, 1, 2, %d}; show.Plot("Swing", show.Axis("time", "s"), show.Axis("angle", "mrad"), show.Line("fit", x, x))`},
	} {
		b.Run(c.name, func(b *testing.B) { benchmarkCell(b, c.imports, c.body) })
	}
}

func benchmarkCell(b *testing.B, imports, body string) {
	clone, err := FindClone(nil)
	if err != nil {
		b.Fatal(err)
	}
	t, err := tools(b.Context(), clone, nil)
	if err != nil {
		b.Fatal(err)
	}
	// The kernel.
	nb := book(Name, "go", "%%")
	data := b.TempDir()
	r := &runner{nb: nb, o: RunOptions{DataDir: data}, result: &Result{}, displays: displays{}, uses: map[string]bool{}}
	if err := r.prepare(); err != nil {
		b.Fatal(err)
	}
	if err := r.start(b.Context()); err != nil {
		b.Fatal(err)
	}
	defer func() { r.session.end() }()
	// The bare program, which has a lab server too, but no notebook to display in.
	side, err := labserver.Start(labserver.Options{Data: data})
	if err != nil {
		b.Fatal(err)
	}
	defer side.Close()
	dir := b.TempDir()
	env, err := kernelEnv(t, dir, ServeOptions{mute: true})
	if err != nil {
		b.Fatal(err)
	}
	env = append(env, "GRAVLAB_SERVER="+side.Socket())
	bare := func(name string, args ...string) string {
		cmd := exec.Command(name, args...)
		cmd.Dir, cmd.Env = dir, env
		out, err := cmd.CombinedOutput()
		if err != nil {
			b.Fatalf("%s %v: %v\n%s", name, args, err, out)
		}
		return string(out)
	}
	goProgram := filepath.Join(t.goroot, "bin", "go")
	bare(goProgram, "mod", "init", "bare")
	bare(goProgram, "work", "init", ".", clone)
	if imports != "" {
		imports = "import " + imports + "\n"
	}
	var kernel, plain []time.Duration
	turn := 0
	one := func() (time.Duration, time.Duration) {
		turn++
		code := fmt.Sprintf(body, turn)
		cell := CellResult{Cell: notebook.NewCell(notebook.Code, "cell", imports+"%%\n"+code)}
		begun := time.Now()
		if err := r.execute(b.Context(), &cell, displays{}); err != nil || cell.Outcome != Ran {
			b.Fatalf("%v %s", err, cell.Reason)
		}
		k := time.Since(begun)
		program := "package main\n" + imports + "import (\n\"flag\"\n"
		if strings.Contains(code, "fmt.") {
			program += "\"fmt\"\n"
		}
		program += ")\nfunc main() {\nflag.Parse()\n" + code + "\n}\n"
		if err := os.WriteFile(filepath.Join(dir, "main.go"), []byte(program), 0o600); err != nil {
			b.Fatal(err)
		}
		begun = time.Now()
		bare(goProgram, "build", "-o", "program")
		bare(filepath.Join(dir, "program"))
		return k, time.Since(begun)
	}
	one() // the first of each compiles the packages
	for b.Loop() {
		k, p := one()
		kernel, plain = append(kernel, k), append(plain, p)
	}
	median := func(d []time.Duration) float64 {
		slices.Sort(d)
		return float64(d[len(d)/2]) / float64(time.Millisecond)
	}
	b.ReportMetric(median(kernel), "kernel-ms")
	b.ReportMetric(median(plain), "bare-ms")
	b.ReportMetric(median(kernel)/median(plain), "ratio")
	b.ReportMetric(0, "ns/op")
}
