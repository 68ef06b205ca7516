package page_test

import (
	"context"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"gravity.example/gravlab/internal/browsertest"
	"gravity.example/gravlab/kernel"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/notebook"
	labpage "gravity.example/gravlab/page"
)

// kernels is the runner of --kernel.
func kernels(t testing.TB, data string) *labpage.Kernels {
	t.Helper()
	if err := kernel.Available(); err != nil {
		t.Skipf("there is no Go kernel on this system: %v", err)
	}
	if testing.Short() {
		t.Skip("starts real kernels, which takes seconds")
	}
	clone, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	k, err := labpage.NewKernels(clone, data)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { k.Close() })
	return k
}

// A box goes the same way in both runners: what it prints, how many things it shows, and
// what the reader is told of it, at which line.
func TestBothRunners(t *testing.T) {
	if testing.Short() {
		t.Skip("starts real kernels, which takes seconds")
	}
	data := t.TempDir()
	b, err := labserver.New(labserver.Options{Data: data})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	free, shut := kernels(t, data), confined(t)
	type outcome struct {
		Text    string
		Shown   int
		Trouble []labpage.Trouble
		Remarks []string
	}
	run := func(r labpage.Runner, sources []string) outcome {
		t.Helper()
		var o outcome
		var mu sync.Mutex
		see := func() error { mu.Lock(); defer mu.Unlock(); o.Shown++; return nil }
		session := b.Session(labserver.SessionOptions{Confined: true, Show: func(labserver.Display) error { return see() }})
		ctx, end := context.WithTimeout(t.Context(), time.Minute)
		defer end()
		last := len(sources) - 1
		res, err := r.RunBox(ctx, labpage.Box{
			Above: sources[:last], Source: sources[last], Exchange: session.Exchange, Log: func(string) {},
			Output:   func(text []byte) { mu.Lock(); defer mu.Unlock(); o.Text += string(text) },
			Notebook: "both", Folders: []string{t.TempDir()}, Show: func(*notebook.Output) { see() }, Anew: func() {},
		})
		if err != nil {
			t.Fatal(err)
		}
		o.Trouble, o.Remarks = res.Trouble, res.Remarks
		return o
	}
	sheet := "import \"gravity.example/gravlab/ask\"\nimport \"gravity.example/gravlab/show\"\nvar sheet = ask.Sheet(\"01-weighing-the-earth\", \"\")"
	for name, sources := range map[string][]string{
		"prints":           {"%%\nfmt.Println(\"one\")\nfmt.Print(\"two\")"},
		"above":            {"func f() int { return 1 }\n%%\nfmt.Println(\"not run\")", "func f() int { return 2 }", "%%\nfmt.Println(f())"},
		"answers":          {sheet, "%%\nsheet.Number(\"kappa\", 8.4e-6, \"N m/rad\")\nsheet.Choice(\"why-lead\", \"b\")"},
		"shows":            {sheet, "%%\nshow.HTML(\"<b>hello</b>\")\nshow.Plot(\"Swing\", show.Axis(\"time\", \"s\"), show.Axis(\"angle\", \"mrad\"), show.Line(\"fit\", []float64{0, 1}, []float64{2, 3}))"},
		"declares only":    {"type T struct{ A int }"},
		"unknown name":     {"%%\nfmt.Println(speed)"},
		"several errors":   {"%%\nx := 1\nvar s string = 3\nfmt.Println(s)"},
		"panic":            {"%%\nvar s []int\nfmt.Println(\"so far\")\nfmt.Println(s[len(s)])"},
		"panic above":      {"func at(s []int, i int) int {\n\treturn s[i]\n}", "%%\nfmt.Fprintln(os.Stderr, \"so far\")\n\nfmt.Println(at(nil, 3))"},
		"panic of its own": {"%%\npanic(fmt.Sprint(\"the arm is \", 3, \" m long\"))"},
		"exit":             {"%%\nfmt.Println(1)\nos.Exit(3)"},
		"deadlock":         {"%%\nselect {}"},
		"outside of main":  {"fmt.Println(1)"},
		"missing return":   {"func f() int {\n}"},
		"no such function": {"%%\nfmt.Printline(1)"},
		"main comes late":  {"func g() int { return 3 }\n\n%%\nfmt.Println(g())"},
	} {
		a, b := run(free, sources), run(shut, sources)
		if !reflect.DeepEqual(a, b) {
			t.Errorf("%s:\nin the kernel %+v\nconfined      %+v", name, a, b)
		}
		if a.Text == "" && a.Shown == 0 && len(a.Trouble) == 0 && name != "declares only" {
			t.Errorf("%s: nothing comes of it", name)
		}
	}
	// The parser of GoNB tells its first error alone.
	p := []string{"%%\nfmt.Println(1\n"}
	a, c := run(free, p), run(shut, p)
	if len(a.Trouble) != 1 || len(c.Trouble) == 0 || a.Trouble[0] != c.Trouble[0] || a.Trouble[0].Line != 2 {
		t.Errorf("no comma:\nin the kernel %+v\nconfined      %+v", a, c)
	}
}

// With --kernel a reader does the same on the same page, and is told that nothing
// is confined.
func TestJourneyInKernel(t *testing.T) {
	data := t.TempDir()
	foreign := hostile(t)
	r := enter(t, labpage.Options{Labs: labs, Others: []string{foreign}, Data: data, Runner: kernels(t, data), Web: browsertest.Built(t), Unconfined: true}, labs+first[4:]+".ipynb")
	if got := r.read(`document.querySelector(".facts").textContent`); !strings.Contains(got, "code runs in the Go kernel") {
		t.Errorf("the lab says %q of itself", got)
	}
	r.useBoxes()
	r.write("code-06", "%%\nh, err := os.Hostname()\nfmt.Println(len(h) > 0, err)")
	r.run("code-06")
	if got := r.output("code-06"); !strings.Contains(got, "true") {
		t.Errorf("the name of this machine is told as %q", got)
	}
	r.write("code-06", "%%\nvar s []int\nfmt.Println(s[3])")
	r.run("code-06")
	if got := r.output("code-06"); !strings.Contains(got, "line 3: panic: runtime error: index out of range") || strings.Contains(got, "goroutine") {
		t.Errorf("a panic is told as %q", got)
	}
	r.shot("kernel-panic", false)
	// A box that kills the kernel says so, and the next has another.
	r.write("code-14", "%%\nsyscall.Kill(os.Getppid(), syscall.SIGKILL)\ntime.Sleep(time.Second)")
	r.run("code-14")
	if got := r.output("code-14"); !strings.Contains(got, "The Go kernel died in this box") {
		t.Errorf("the death of the kernel is told as %q", got)
	}
	r.shot("kernel-died", false)
	r.run("code-20")
	if got := r.output("code-20"); !strings.Contains(got, "marks") {
		t.Errorf("after that a box says %q", got)
	}
	r.do(chromedp.Reload())
	r.ready()
	r.waitFor(`document.querySelector("#c-torque-answer .output").innerText.includes("off")`)
	r.waitFor(`document.querySelector("#c-code-06 .output").innerText.includes("line 3: panic")`)

	r.quiet.Store(true)
	r.open("/")
	r.click(`a[href^="/lab/from-"]`)
	r.waitFor(`document.querySelector(".warning")?.textContent.includes("can read and change all your files")`)
	r.shot("kernel-foreign", false)
}
