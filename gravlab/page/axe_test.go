package page_test

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"gravity.example/exercises"
	"gravity.example/gravlab/internal/browsertest"
	"gravity.example/gravlab/internal/refcases"
	"gravity.example/gravlab/marking"
	"gravity.example/gravlab/notebook"
	labpage "gravity.example/gravlab/page"
	"gravity.example/gravlab/report"
	"gravity.example/gravlab/sandbox"
)

// axe has axe-core look at the page as it is now, by the rules of WCAG 2.2 AA.
func (r *room) axe(where string) {
	r.Helper()
	browsertest.Axe(r.ctx, r, r.o.Web, where, 15)
}

// The page can be used by everybody: WCAG 2.2 AA as far as axe-core can tell,
// in light and dark, at a tablet's width, at 200 % and at 400 %.
func TestAccessible(t *testing.T) {
	web := browsertest.Built(t)
	if web == "" {
		t.Skip("npm is not on the path, so axe-core is not there to look at the page")
	}
	r := enter(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: scripted{}, Web: web}, "")
	for _, look := range []struct {
		scheme string
		widths []int64
	}{{"light", []int64{1280, 640, 320}}, {"dark", []int64{1280, 768}}} {
		scheme := look.scheme
		for _, width := range look.widths {
			at := fmt.Sprintf("%s, %d px", scheme, width)
			r.look(width, 900, scheme)
			r.open("/")
			r.axe("list, " + at)
			r.fits("list, " + at)
			r.shot("list-"+strings.NewReplacer(", ", "-", " px", "").Replace(at), false)
			r.open(first)
			if width == 1280 {
				r.give("kappa-answer", map[string]string{"number": "6.3e-7", "unit": "N m/rad"}, "slip")
				r.give("why-lead-answer", map[string]string{"choice": "a"}, "slip")
				r.write("code-04", "// wrong\n\nx")
				r.run("code-04")
			}
			r.do(chromedp.Evaluate[chromedp.Void](`document.querySelectorAll("details").forEach((d) => { d.open = true })`))
			r.axe("lab, " + at)
			r.fits("lab, " + at)
			r.shot("lab-"+strings.NewReplacer(", ", "-", " px", "").Replace(at), false)
		}
	}
}

// So can every lab, not only the first, and without sideways scrolling at 320 px
// (WCAG 2.2, 1.4.10: Reflow).
func TestEveryLabAccessible(t *testing.T) {
	web := browsertest.Built(t)
	if web == "" {
		t.Skip("npm is not on the path, so axe-core is not there to look at the page")
	}
	r := enter(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: scripted{}, Web: web}, "")
	for i, lab := range exercises.Labs() {
		scheme, width := "light", int64(768)
		if i%2 == 1 {
			scheme, width = "dark", 1280
		}
		r.look(width, 900, scheme)
		r.open("/lab/" + lab.ID)
		where := fmt.Sprintf("lab %s, %s, %d px", lab.Number(), scheme, width)
		if got := r.read(`document.querySelectorAll(".question").length`); got != fmt.Sprint(len(lab.Sheet("").Questions)) {
			t.Errorf("%s: %s of %d questions are shown", where, got, len(lab.Sheet("").Questions))
		}
		r.axe(where)
		r.fits(where)
		r.shot("every-"+lab.Number(), false)
		r.look(320, 640, scheme) // 1280 px at 400 %
		r.do(chromedp.Evaluate[chromedp.Void](`document.querySelectorAll("details").forEach((d) => { d.open = true })`))
		r.fits("lab " + lab.Number() + ", 320 px")
	}
}

// So can the files that the program writes: replies and the page about a class,
// the table of known answers, and a lab that was run.
func TestFilesAccessible(t *testing.T) {
	web := browsertest.Built(t)
	if web == "" {
		t.Skip("npm is not on the path, so axe-core is not there to look at the page")
	}
	r := enter(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: scripted{}, Web: web}, "")
	for name, file := range writtenFiles(t) {
		for _, scheme := range []string{"light", "dark"} {
			r.look(768, 900, scheme)
			if _, err := os.Stat(file); err != nil {
				r.Fatal(err)
			}
			r.do(chromedp.Navigate("file://" + file))
			r.do(chromedp.Evaluate[chromedp.Void](`document.querySelectorAll("details").forEach((d) => { d.open = true })`))
			r.axe(name + ", " + scheme)
			r.fits(name + ", " + scheme)
			r.shot("file-"+name+"-"+scheme, false)
		}
	}
}

// writtenFiles has a class of three hand in a survey lab: one worked it, one
// left cells that do not compile, one hands in nothing.
func writtenFiles(t *testing.T) map[string]string {
	t.Helper()
	dir := t.TempDir()
	in := func(name string) string { return filepath.Join(dir, name) }
	lab, err := exercises.Find("11")
	if err != nil {
		t.Fatal(err)
	}
	nb, err := notebook.ReadFile(filepath.Join(labs, lab.ID+".ipynb"), notebook.Options{NeedKernel: true})
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(in("class.csv"), []byte("id,name\nworked,Anna Berg\nbroken,Ben Carr\nmissing,Cleo Dahl\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	class, err := marking.ReadClass(in("class.csv"))
	if err != nil {
		t.Fatal(err)
	}
	key := []byte("a key of sixteen bytes or more, for this test alone")
	handout := marking.Handout{Class: class, Lab: lab, Notebook: nb, Key: key, Out: in("returned"), Answers: true}
	if _, err := handout.Write(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(in("returned/missing")); err != nil {
		t.Fatal(err)
	}
	broken := in("returned/broken/" + lab.ID + ".ipynb")
	nb, err = notebook.ReadFile(broken, notebook.Options{NeedKernel: true})
	if err != nil {
		t.Fatal(err)
	}
	answers := 0
	for _, c := range nb.Cells {
		if _, part, ok := c.Question(); ok && part == notebook.Answer {
			if answers++; answers%3 == 0 {
				c.Source = "%%\nthis is no Go"
			}
		}
	}
	if err := nb.WriteFile(broken); err != nil {
		t.Fatal(err)
	}
	clone, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	pool, err := sandbox.NewPool(t.Context(), sandbox.PoolOptions{Clone: clone})
	if err != nil {
		t.Fatal(err)
	}
	defer pool.Close()
	s, err := marking.Mark(t.Context(), marking.Marking{Class: class, Key: key, Returned: []string{in("returned")}, Out: in("marks"),
		Start: func(context.Context) (marking.Runner, error) { return pool.Run, nil }})
	if err != nil || s.Marked != 2 || s.Missing != 1 {
		t.Fatalf("marked %+v: %v", s, err)
	}
	write := func(name string, to func(io.Writer) error) {
		t.Helper()
		var b bytes.Buffer
		if err := to(&b); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(in(name), b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write("known.html", func(w io.Writer) error { r := refcases.Run(refcases.All(), nil); return r.WriteHTML(w) })
	write("run.html", func(w io.Writer) error { return report.Write(w, nb, report.Options{}) })
	return map[string]string{"class": in("marks/class.html"), "reply to who worked": in("marks/replies/worked.html"), "reply to who erred": in("marks/replies/broken.html"),
		"known answers": in("known.html"), "report": in("run.html")}
}

// fits checks that nothing makes the page wider than its window.
func (r *room) fits(where string) {
	r.Helper()
	// What follows the size of the window does so with the next frame.
	r.await(`new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done("drawn"))))`)
	if got := r.read(`document.documentElement.scrollWidth - innerWidth`); got != "0" && !strings.HasPrefix(got, "-") {
		wide := r.read(`[...document.querySelectorAll("body *")].filter((e) => e.getBoundingClientRect().right > innerWidth + 1 && !e.closest("pre, .wide, table")).map((e) => e.tagName + "." + e.className + ": " + e.textContent.slice(0, 60)).slice(-3).join(" | ")`)
		r.Errorf("%s: the page is %s px wider than the window: %s", where, got, wide)
	}
}
