package page_test

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/chromedp/chromedp"

	"gravity.example/gravlab/internal/browsertest"
	"gravity.example/gravlab/notebook"
	labpage "gravity.example/gravlab/page"
	"gravity.example/gravlab/wire"
)

// echo is a runner that prints the first line of a box below its %%, and counts.
type echo struct {
	mu     sync.Mutex
	ran    []string
	during func() // called in the middle of a run
	frame  []byte // exchanged by each run
}

func (e *echo) RunBox(_ context.Context, b labpage.Box) (labpage.Result, error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	_, body, _ := strings.Cut(b.Source, "%%\n")
	line, _, _ := strings.Cut(body, "\n")
	e.ran = append(e.ran, line)
	if e.during != nil {
		e.during()
	}
	if e.frame != nil {
		b.Exchange(e.frame)
	}
	b.Output([]byte("ran: " + line + "\n"))
	return labpage.Result{}, nil
}

func (e *echo) count() int {
	e.mu.Lock()
	defer e.mu.Unlock()
	return len(e.ran)
}

type figureBlock struct {
	ID, Source, Output   string
	Awaits, Draws, Older bool
}

// blocks opens the first lab.
func (c *caller) blocks() map[string]figureBlock {
	c.Helper()
	_, _, body := c.send(request{path: labPath + "?tab=a"})
	var v struct{ Blocks []figureBlock }
	if err := json.Unmarshal([]byte(body), &v); err != nil {
		c.Fatal(err)
	}
	all := map[string]figureBlock{}
	for _, b := range v.Blocks {
		all[b.ID] = b
	}
	return all
}

func (c *caller) figures() (cells []string) {
	c.Helper()
	status, _, body := c.send(request{method: "POST", path: labPath + "/figures", body: `{"tab":"a"}`})
	if status != 200 {
		c.Fatal(status, body)
	}
	for line := range strings.Lines(body) {
		var e struct{ Cell, HTML string }
		if err := json.Unmarshal([]byte(line), &e); err != nil {
			c.Fatal(err)
		}
		if e.HTML != "" {
			cells = append(cells, e.Cell)
		}
	}
	return cells
}

// The figures of a lab are worked out when it is opened, once: those of the default
// sheet stay in the cache, those of a working copy in the copy. Opening begins none.
func TestFiguresAreKept(t *testing.T) {
	cache, data := t.TempDir(), t.TempDir()
	runner := &echo{}
	o := labpage.Options{Labs: labs, Data: data, Runner: runner, Figures: cache}
	c := call(t, o)
	c.enter()
	before := c.blocks()
	if b := before["code-10"]; !b.Awaits || !b.Draws {
		t.Errorf("a box that draws: awaits %v, draws %v", b.Awaits, b.Draws)
	}
	if b := before["code-14"]; !b.Awaits || b.Draws {
		t.Errorf("a box that prints and draws: awaits %v, draws %v", b.Awaits, b.Draws)
	}
	for _, id := range []string{"sheet", "code-06", "code-20", "torque-answer"} {
		if before[id].Awaits {
			t.Errorf("%s, which draws nothing, is run without being asked for", id)
		}
	}
	got := c.figures()
	if len(got) != 5 || runner.count() != 5 {
		t.Fatalf("the figures of %v came, after %d runs; lab 01 has 5", got, runner.count())
	}
	if _, err := os.Stat(filepath.Join(data, "work", "01-weighing-the-earth.ipynb")); err == nil {
		t.Error("looking at a lab began a working copy")
	}
	again := call(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: runner, Figures: cache})
	again.enter()
	if b := again.blocks()["code-10"]; !strings.Contains(b.Output, "ran: ") || b.Awaits || b.Older {
		t.Errorf("another program does not take a figure from the cache: %+v", b)
	}
	if again.figures(); runner.count() != 5 {
		t.Errorf("figures in the cache were worked out again: %d runs", runner.count())
	}
	// What is begun keeps its figures. Code that has changed makes them old, be it their
	// own or a declaration above; another body above does not, and neither does the answer
	// to a question whose function the box does not use.
	save := func(id, source string) {
		body, _ := json.Marshal(map[string]any{"tab": "a", "cells": map[string]string{id: source}})
		if status, _, why := c.send(request{method: "POST", path: labPath + "/save", body: string(body)}); status != 200 {
			t.Fatal(why)
		}
	}
	save("code-06", before["code-06"].Source+"\n// another body")
	nb, err := notebook.ReadFile(filepath.Join(data, "work", "01-weighing-the-earth.ipynb"), notebook.Options{})
	if err != nil || len(nb.Cell("code-10").Outputs) != 1 {
		t.Fatalf("the working copy has no figure: %v", err)
	}
	if c.blocks()["code-10"].Older {
		t.Error("a changed body above made a figure old")
	}
	save("code-10", before["code-10"].Source+"\n// changed")
	if b := c.blocks(); !b["code-10"].Older || b["code-12"].Older {
		t.Errorf("changed code: its figure is older %v, the next %v", b["code-10"].Older, b["code-12"].Older)
	}
	save("torque-answer", strings.Replace(before["torque-answer"].Source, "return 0", "return 1", 1))
	if c.blocks()["code-12"].Older {
		t.Error("a function that the box does not use made a figure old")
	}
	save("torque-answer", "const two = 2\n"+before["torque-answer"].Source)
	if !c.blocks()["code-12"].Older {
		t.Error("a function with a constant above did not make a figure old")
	}
	save("torque-answer", before["torque-answer"].Source)
	save("code-06", "const changed = 1\n"+before["code-06"].Source)
	if !c.blocks()["code-12"].Older {
		t.Error("a changed declaration above did not make a figure old")
	}
	body, _ := json.Marshal(map[string]string{"Tab": "a", "Cell": "code-10", "Source": before["code-10"].Source})
	c.send(request{method: "POST", path: labPath + "/run", body: string(body)})
	if c.blocks()["code-10"].Older {
		t.Error("a figure is old although its box has just run")
	}
	body, _ = json.Marshal(map[string]string{"Tab": "a", "Cell": "code-12", "Source": before["code-12"].Source + "\nfmt.Println(torque(0))"})
	c.send(request{method: "POST", path: labPath + "/run", body: string(body)})
	if c.blocks()["code-12"].Older {
		t.Error("a figure is old although its box has just run with a function")
	}
	save("torque-answer", strings.Replace(before["torque-answer"].Source, "return 0", "return 2", 1))
	if !c.blocks()["code-12"].Older {
		t.Error("a changed function that the box uses did not make a figure old")
	}
}

// A box that submits waits for its reader, and so does one whose code changes while it is
// worked out.
func TestFiguresThatAreNotKept(t *testing.T) {
	answer, err := wire.Frame{Head: wire.Head{Kind: wire.Answer, Lab: "01-weighing-the-earth", Question: "kappa", Form: wire.FormTyped, Text: "1 N m/rad"}}.Append(nil)
	if err != nil {
		t.Fatal(err)
	}
	data := t.TempDir()
	c := call(t, labpage.Options{Labs: labs, Data: data, Runner: &echo{frame: answer}})
	c.enter()
	c.blocks()
	if got := c.figures(); len(got) != 0 {
		t.Errorf("boxes that submit were run without being asked for: %v", got)
	}
	filepath.WalkDir(data, func(path string, d os.DirEntry, err error) error {
		if text, err := os.ReadFile(path); err == nil && strings.Contains(string(text), "kappa") {
			t.Errorf("%s: an answer was kept", path)
		}
		return nil
	})

	runner := &echo{}
	c = call(t, labpage.Options{Labs: labs, Runner: runner})
	c.enter()
	source := c.blocks()["code-10"].Source
	var once sync.Once
	runner.during = func() {
		if len(runner.ran) == 2 { // code-10 is the second
			once.Do(func() {
				body, _ := json.Marshal(map[string]any{"tab": "a", "cells": map[string]string{"code-10": source + "\n// changed"}})
				c.send(request{method: "POST", path: labPath + "/save", body: string(body)})
			})
		}
	}
	if got := c.figures(); len(got) != 4 || c.blocks()["code-10"].Output != "" {
		t.Errorf("a figure was kept that comes from other code than its box has: %v", got)
	}
}

// Lab 01 is opened and its figures come; a value beside a figure is changed, and the
// figure follows; one whose code has changed is marked.
func TestFiguresOnOpening(t *testing.T) {
	r := enter(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: confined(t), Web: browsertest.Built(t), Figures: t.TempDir()}, filepath.Join(labs, "01-weighing-the-earth.ipynb"))
	r.waitFor(`!document.querySelector(".ghost")`)
	if n := r.read(`String(document.querySelectorAll(".box figure img").length)`); n != "5" {
		r.Errorf("%s figures stand in lab 01, want 5", n)
	}
	if got := r.read(`document.querySelector("#c-code-10 .how").open + " " + document.querySelector("#c-code-10 .how summary").textContent`); got != "false How this figure is made" {
		r.Errorf("code that only draws stands open: %s", got)
	}
	const field = `#c-code-14 .values input`
	r.do(chromedp.Focus(chromedp.CSS(field)), chromedp.Evaluate[chromedp.Void](`document.querySelector("`+field+`").select()`), chromedp.SendKeys(chromedp.CSS(field), "900\r"))
	r.waitFor(`document.querySelector("#c-code-14 .run-state").textContent === "done"`)
	if got := r.saved("01-weighing-the-earth").Cell("code-14").Source; !strings.Contains(got, "end := 900.0 // s") {
		r.Errorf("the value did not come into the code:\n%s", got)
	}
	r.write("code-12", r.saved("01-weighing-the-earth").Cell("code-12").Source+"\n// changed")
	r.waitFor(`!document.querySelector("#c-code-12 .older").hidden`)
	if got := r.read(`String(document.querySelector("#c-code-14 .older").hidden)`); got != "true" {
		r.Error("a figure is told as old whose code has not changed")
	}
	// Nor do the functions of an answer make those old that do not use them.
	answer := r.saved("01-weighing-the-earth").Cell("torque-answer").Source
	r.write("torque-answer", "func half(x float64) float64 {\n\treturn x / 2\n}\n\n"+answer)
	if got := r.read(`[...document.querySelectorAll(".older")].filter((e) => !e.hidden).map((e) => e.closest("[id]").id).join()`); got != "c-code-12" {
		r.Errorf("told as old: %s", got)
	}
	// What is no number, or no whole one where things are counted, is told as such.
	wrong := func(value string) string {
		r.do(chromedp.Focus(chromedp.CSS(field)), chromedp.Evaluate[chromedp.Void](`document.querySelector("`+field+`").select()`), chromedp.SendKeys(chromedp.CSS(field), value+"\r"))
		return r.read(`document.querySelector("#c-code-14 .values .wrong").textContent`)
	}
	if got := wrong("30cm"); !strings.Contains(got, "Enter a number") {
		r.Errorf("30cm in a field: %q", got)
	}
	if got := wrong("1800/2"); got != "" {
		r.Errorf("1800/2 in a field: %q", got)
	}
}
