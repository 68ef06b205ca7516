package page_test

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"gravity.example/gravlab/internal/browsertest"
	"gravity.example/gravlab/notebook"
	labpage "gravity.example/gravlab/page"
)

// confined is the runner that the program uses.
func confined(t testing.TB) labpage.Runner {
	t.Helper()
	clone, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	c := labpage.NewConfined(clone, func(s string) { t.Log(s) }, labpage.ConfinedOptions{})
	t.Cleanup(func() { c.Close() })
	// The packages are compiled once on a new machine; a journey begins with that
	// done.
	ctx, end := context.WithTimeout(context.Background(), 2*time.Minute)
	defer end()
	nothing := func([]byte) []byte { return nil }
	if _, err := c.RunBox(ctx, labpage.Box{Source: "%%\nprintln()", Exchange: nothing, Output: func([]byte) {}, Log: func(string) {}}); err != nil {
		t.Fatal(err)
	}
	return c
}

const first = "/lab/01-weighing-the-earth"

// cell is the selector of a cell's place.
func cell(id string) string { return "#c-" + id }

// typeIn replaces what stands in a field of a form.
func (r *room) typeIn(cellID, field, text string) {
	r.Helper()
	sel := chromedp.CSS(cell(cellID) + " [name=" + field + "]")
	r.do(chromedp.Focus(sel), chromedp.Evaluate[chromedp.Void](`document.querySelector("`+cell(cellID)+` [name=`+field+`]").select()`), chromedp.SendKeys(sel, text))
}

// give types an answer and submits it; the verdict's word is awaited.
func (r *room) give(cellID string, fields map[string]string, outcome string) {
	r.Helper()
	for _, name := range []string{"number", "u", "unit"} {
		if text, ok := fields[name]; ok {
			r.typeIn(cellID, name, text)
		}
	}
	if letter, ok := fields["choice"]; ok {
		r.click(cell(cellID) + " [value=" + letter + "]")
	}
	r.click(cell(cellID) + " .give")
	r.waitFor(`document.querySelector("` + cell(cellID) + ` .verdict .outcome")?.textContent.includes("` + outcome + `")`)
}

// write puts a text into a box as if it had been pasted over all that stood
// there.
func (r *room) write(cellID, text string) {
	r.Helper()
	js, _ := json.Marshal(text)
	r.do(chromedp.Evaluate[chromedp.Void](`(() => {
		const box = document.querySelector("` + cell(cellID) + ` .cm-content, ` + cell(cellID) + ` textarea")
		const how = box.closest("details")
		if (how) how.open = true
		box.focus()
		if (box.tagName === "TEXTAREA") box.select()
		else { const s = getSelection(); s.selectAllChildren(box) }
	})()`))
	r.do(chromedp.KeyEvent("a", chromedp.KeyModifiers(kb.ModifierCtrl)))
	r.do(chromedp.Evaluate[chromedp.Void](`document.execCommand("insertText", false, ` + string(js) + `)`))
}

// run presses Run and waits until the box has run and ended.
func (r *room) run(cellID string) {
	r.Helper()
	out := `document.querySelector("` + cell(cellID) + ` .output")`
	r.do(chromedp.Evaluate[chromedp.Void](out + `.append(Object.assign(document.createElement("i"), { className: "before" }))`))
	r.click(cell(cellID) + " .run")
	r.waitFor(`!` + out + `.querySelector(".before") && !` + out + `.hasAttribute("aria-busy")`)
}

func (r *room) output(cellID string) string {
	r.Helper()
	return r.read(`document.querySelector("` + cell(cellID) + ` .output").innerText`)
}

// saved reads the working copy of a lab.
func (r *room) saved(name string) *notebook.Notebook {
	r.Helper()
	nb, err := notebook.ReadFile(filepath.Join(r.data, "work", name+".ipynb"), notebook.Options{NeedKernel: true})
	if err != nil {
		r.Fatal(err)
	}
	return nb
}

// savedSoon waits for a cell's text to be in the working copy. The page saves
// within a second; what it took is told and not judged, since a busy machine may
// stop anything for longer.
func (r *room) savedSoon(name, cell, source string) {
	r.Helper()
	begun := time.Now()
	for {
		got := r.saved(name).Cell(cell).Source
		if got == source {
			r.Logf("%s is in the file after %v", cell, time.Since(begun).Round(time.Millisecond))
			return
		}
		if time.Since(begun) > 20*time.Second {
			r.Fatalf("%s: the file holds %q, want %q", cell, got, source)
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// useBoxes changes boxes of the first lab and runs them, answers a function
// question and stops an endless loop.
func (r *room) useBoxes() {
	r.Helper()
	// What a changed box prints, draws and charts comes.
	r.write("code-06", "%%\nb := torsion.Skelmire()\nfmt.Printf(\"arm %.3f m\\n\", b.Arm)")
	r.run("code-06")
	if got := r.output("code-06"); !strings.Contains(got, "arm 0.1") {
		r.Errorf("the changed box says %q", got)
	}
	r.run("code-10")
	r.waitFor(`document.querySelector("#c-code-10 figure img").naturalWidth > 0`)
	// A function question is answered in a box.
	r.write("torque-answer", "func torque(x float64) float64 {\n\treturn 1\n}\n\n%%\nsheet.Function(\"torque\", torque)")
	r.run("torque-answer")
	if got := r.output("torque-answer"); !strings.Contains(got, "off") {
		r.Errorf("a wrong function is told as %q", got)
	}
	// An endless loop is stopped, and its text is there.
	r.write("code-18", "%%\nfor i := 0; ; i++ {\n\tif i == 1 {\n\t\tfmt.Println(\"going round\")\n\t}\n}")
	r.click("#c-code-18 .run")
	r.waitFor(`document.querySelector("#c-code-18 .output").innerText.includes("going round")`)
	r.click("#c-code-18 .stop")
	r.waitFor(`document.querySelector("#c-code-18 .output").innerText.includes("Stopped")`)
	if got := r.output("code-18"); strings.Contains(got, "error") {
		r.Errorf("a box that the reader stopped says %q", got)
	}
}

// A new reader opens the first graded lab, answers, runs and changes code, stops
// an endless loop, and finds everything again.
func TestJourney(t *testing.T) {
	r := enter(t, labpage.Options{Labs: labs, Data: t.TempDir(), Ahead: true, Runner: confined(t), Web: browsertest.Built(t)}, "")
	before, err := os.ReadFile(labs + first[4:] + ".ipynb")
	if err != nil {
		t.Fatal(err)
	}
	r.click(`a[href="` + first + `"]`)
	r.waitFor(`location.pathname === "` + first + `"`)
	r.ready()
	if got := r.read(`location.href`); strings.Contains(got, "key") {
		t.Errorf("the key stays in the address: %s", got)
	}

	// 287 s is half a period; 51 g at 111 mm; 5.33e-5 kg m².
	r.give("kappa-answer", map[string]string{"number": "1.57e-7", "unit": ""}, "unit")
	r.give("kappa-answer", map[string]string{"number": "6.3e-7", "unit": "N m/rad"}, "slip")
	r.shot("verdict-slip", false)
	r.give("kappa-answer", map[string]string{"number": "3", "unit": "N m/rad"}, "off")
	r.give("kappa-answer", map[string]string{"number": "many", "unit": "N m/rad"}, "unreadable")
	r.give("kappa-answer", map[string]string{"number": "1.57e-7", "unit": "N m/rad"}, "right")
	r.give("theta-answer", map[string]string{"number": "3.125", "unit": "mrad"}, "right")
	r.give("why-lead-answer", map[string]string{"choice": "b"}, "right")
	r.shot("verdict-choice", false)
	if got := r.read(`document.querySelector("#bar .total").textContent`); got != "5 of 33 marks" {
		t.Errorf("after three right answers the bar says %q", got)
	}

	r.useBoxes()
	r.shot("stopped", false)
	if r.o.Web != "" {
		r.click("#c-code-10 [data-chart]")
		r.waitFor(`document.querySelector("#c-code-10 iframe.chart")`)
		time.Sleep(700 * time.Millisecond)
		r.shot("chart", false)
		// The chart stands in the place of its still image, and gives it back.
		if got := r.read(`document.querySelector("#c-code-10 figure img").clientHeight`); got != "0" {
			t.Errorf("the still image stays %s pixels high beside its chart", got)
		}
		r.click("#c-code-10 iframe.chart + button")
		r.waitFor(`document.querySelector("#c-code-10 iframe") === null && document.querySelector("#c-code-10 figure img").clientHeight > 0`)
		// A figure of an earlier run of the program stays, without its chart.
		r.run("code-10")
		r.do(chromedp.Evaluate[chromedp.Void](`document.querySelector("#c-code-10 [data-chart]").dataset.chart = "/frame/of-an-earlier-run"`))
		r.click("#c-code-10 [data-chart]")
		r.waitFor(`document.querySelector("#c-code-10 figure").innerText.includes("Run the cell again")`)
		if got := r.read(`document.querySelector("#c-code-10 iframe") === null && document.querySelector("#c-code-10 figure img").naturalWidth > 0`); got != "true" {
			t.Error("the still image does not stay where the chart is gone")
		}
		r.shot("chart-gone", false)
	}
	// Errors stand at their line, in plain words.
	r.write("code-06", "%%\nb := torsion.Skelmire()\nfmt.Println(b.Arm, speed)")
	r.run("code-06")
	if got := r.output("code-06"); !strings.Contains(got, "line 3") || !strings.Contains(got, "speed") {
		t.Errorf("an unknown name is told as %q", got)
	}
	r.shot("fault", false)

	r.run("code-20")
	r.shot("summary", false)

	// All of it is in the working copy, and there after a reload.
	r.write("code-14", "// a last thought")
	r.savedSoon("01-weighing-the-earth", "code-14", "// a last thought")
	nb := r.saved("01-weighing-the-earth")
	if got := nb.Cell("kappa-answer").Source; got != "%%\nsheet.Typed(\"kappa\", \"1.57e-7 N m/rad\")" {
		t.Errorf("the answer is in the file as %q", got)
	}
	r.do(chromedp.Reload())
	r.ready()
	for _, js := range []string{
		`document.querySelector("#c-kappa-answer [name=number]").value === "1.57e-7"`,
		`document.querySelector("#c-kappa-answer .verdict").textContent.includes("right")`,
		`document.querySelector("#c-why-lead-answer [value=b]").checked`,
		`document.querySelector("#c-code-14 .cm-content, #c-code-14 textarea").textContent.includes("a last thought") || document.querySelector("#c-code-14 textarea").value.includes("a last thought")`,
		`document.querySelector("#c-code-10 figure img")`,
		`document.querySelector("#bar .total").textContent === "5 of 33 marks"`,
	} {
		r.waitFor(js)
	}
	after, err := os.ReadFile(labs + first[4:] + ".ipynb")
	if err != nil || string(after) != string(before) {
		t.Error("the project's own notebook was changed")
	}
	// The list knows how far the reader is, and where.
	r.open("/")
	r.waitFor(`document.querySelector(".continue").textContent.includes("Weighing the Earth")`)
	r.shot("start-begun", false)
	r.look(1280, 900, "dark")
	r.open(first)
	r.do(chromedp.ScrollIntoView(chromedp.CSS("#c-kappa-answer")))
	r.shot("verdict-dark", false)
}
