package page_test

import (
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"gravity.example/gravlab/internal/browsertest"
	labpage "gravity.example/gravlab/page"
)

// What is typed into a form and not entered is saved as what it is, through a
// reload and through the end of the program, and forgotten when it is entered.
func TestDrafts(t *testing.T) {
	r := enter(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: scripted{}, Web: browsertest.Built(t)}, labs+first[4:]+".ipynb")
	host := r.host
	unsent := func(cellID string) string {
		return `document.querySelector("` + cell(cellID) + ` .unsent").textContent`
	}
	saved := func() { r.waitFor(`document.querySelector("#bar .state").textContent === "saved"`) }

	r.typeIn("kappa-answer", "number", "1.57e-7")
	if got := r.read(unsent("kappa-answer")); got != "Typed, not entered yet." {
		t.Errorf("while it is typed the form says %q", got)
	}
	r.click("#c-why-lead-answer [value=b]")
	saved()
	r.shot("draft", false)
	r.do(chromedp.Reload())
	r.ready()
	if got := r.read(`document.querySelector("#c-kappa-answer [name=number]").value`); got != "1.57e-7" {
		t.Errorf("after a reload the number is %q", got)
	}
	if got := r.read(`document.querySelector("#c-why-lead-answer [value=b]").checked`); got != "true" {
		t.Error("after a reload the choice is gone")
	}
	for id, want := range map[string]string{"kappa-answer": "Typed, not entered yet.", "why-lead-answer": "Chosen, not entered yet."} {
		if got := r.read(unsent(id)); got != want {
			t.Errorf("after a reload the form of %s says %q", id, got)
		}
	}
	if got := r.read(`document.querySelector("#bar .total").textContent`); !strings.HasPrefix(got, "0 of") {
		t.Errorf("what was typed is shown as entered: %q", got)
	}
	if got := r.saved("01-weighing-the-earth").Cell("kappa-answer").Source; !strings.Contains(got, "result := 0.0") {
		t.Errorf("what was typed stands in the answer's code: %q", got)
	}

	// Given in, it is no longer said, and a change after that is.
	r.give("kappa-answer", map[string]string{"unit": "N m/rad"}, "right")
	r.waitFor(unsent("kappa-answer") + ` === ""`)
	r.typeIn("kappa-answer", "number", "3")
	saved()
	r.do(chromedp.Reload())
	r.ready()
	if got := r.read(unsent("kappa-answer")); got != "Changed since you entered it." {
		t.Errorf("a changed answer is told as %q", got)
	}
	r.typeIn("kappa-answer", "number", "1.57e-7")
	saved()
	if got, has := r.saved("01-weighing-the-earth").Cell("kappa-answer").Metadata["gravlab"].(map[string]any)["draft"]; has {
		t.Errorf("changed back, the draft %v is still kept", got)
	}

	// The program ends; what is typed and what is entered meanwhile waits.
	r.stopServing()
	r.typeIn("theta-answer", "number", "3.125")
	r.waitFor(`document.querySelector("#bar .state").textContent === "not saved yet"`)
	r.do(chromedp.Click(chromedp.CSS("#c-theta-answer .give")))
	r.waitFor(`document.querySelector("#c-theta-answer .output").textContent.includes("Not entered")`)
	r.serve(host)
	fresh := r.another()
	r.close()
	fresh.do(chromedp.Navigate(r.server.Address(r.host, labs+first[4:]+".ipynb")))
	fresh.ready()
	fresh.waitFor(`document.querySelector("#c-theta-answer [name=number]").value === "3.125"`)
	fresh.waitFor(unsent("theta-answer") + `.startsWith("Typed")`)
	fresh.waitFor(`document.querySelector("#bar .state").textContent === "saved"`)
	if got := fresh.read(`localStorage.length`); got != "0" {
		t.Errorf("%s drafts are still kept in the browser", got)
	}

	// In a second tab, and back.
	second := fresh.another()
	second.open(first)
	second.click("#notice-other button")
	second.waitFor(`!document.getElementById("notice-other")`)
	second.ready()
	second.waitFor(`document.querySelector("#c-theta-answer [name=number]").value === "3.125"`)
	second.give("theta-answer", map[string]string{"unit": "mrad"}, "right")
	if got := second.saved("01-weighing-the-earth").Cell("theta-answer"); got.Source != "%%\nsheet.Typed(\"theta\", \"3.125 mrad\")" {
		t.Errorf("the file holds %q", got.Source)
	}
}

// A draft is for the form of a question, and of a tab that writes.
func TestDraftsRefused(t *testing.T) {
	c := call(t, labpage.Options{Labs: labs})
	c.enter()
	c.send(request{path: labPath + "?tab=a"})
	for body, want := range map[string]int{
		`{"tab":"a","drafts":{"kappa-answer":{"number":"3"}}}`: 200,
		`{"tab":"b","drafts":{"kappa-answer":{"number":"3"}}}`: 409,
		`{"tab":"a","drafts":{"code-06":{"number":"3"}}}`:      400,
		`{"tab":"a","drafts":{"nowhere":{"number":"3"}}}`:      400,
	} {
		if status, _, text := c.send(request{method: "POST", path: labPath + "/save", body: body}); status != want {
			t.Errorf("%s: %d %s, want %d", body, status, text, want)
		}
	}
	// A long text is cut, as one that is entered.
	long := strings.Repeat("9", 5000)
	c.send(request{method: "POST", path: labPath + "/save", body: `{"tab":"a","drafts":{"kappa-answer":{"number":"` + long + `"}}}`})
	if _, _, body := c.send(request{path: labPath + "?tab=a"}); strings.Contains(body, long) || !strings.Contains(body, long[:80]) {
		t.Error("a very long draft is kept whole, or not at all")
	}
}
