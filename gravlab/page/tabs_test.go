package page_test

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/browser"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"gravity.example/gravlab/internal/browsertest"
	labpage "gravity.example/gravlab/page"
)

// The program is killed while the reader writes; they go on writing, it is
// started again, and nothing is lost.
func TestProgramStops(t *testing.T) {
	r := enter(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: scripted{}, Web: browsertest.Built(t), Start: "go run ./lab open --port 7"}, labs+first[4:]+".ipynb")
	host := r.host
	r.write("code-06", "// before")
	r.waitFor(`document.querySelector("#bar .state").textContent === "saved"`)
	r.stopServing()
	r.write("code-06", "// while it was gone")
	r.waitFor(`document.getElementById("notice-lost").innerText.includes("go run ./lab open --port 7")`)
	r.write("code-10", "// and another")
	r.waitFor(`document.querySelector("#bar .state").textContent === "not saved yet"`)
	r.shot("lost", false)

	// Started again at the same address, it is opened in a new tab, as the program does;
	// the old tab hears of the new keys and goes on.
	r.serve(host)
	fresh := r.another()
	fresh.do(chromedp.Navigate(r.server.Address(r.host, "")))
	fresh.ready()
	r.waitFor(`!document.getElementById("notice-lost") && document.querySelector("#bar .state").textContent === "saved"`)
	nb := r.saved("01-weighing-the-earth")
	for id, want := range map[string]string{"code-06": "// while it was gone", "code-10": "// and another"} {
		if got := nb.Cell(id).Source; got != want {
			t.Errorf("%s is saved as %q, want %q", id, got, want)
		}
	}
	if got := r.read(`localStorage.length`); got != "0" {
		t.Errorf("%s texts are still kept in the browser", got)
	}

	// The tab is closed while the program is gone: the text waits in the browser.
	r.stopServing()
	r.write("code-14", "// kept by the browser")
	r.waitFor(`document.querySelector("#bar .state").textContent === "not saved yet"`)
	r.serve(host)
	last := fresh.another()
	r.close()
	last.do(chromedp.Navigate(r.server.Address(r.host, labs+first[4:]+".ipynb")))
	last.ready()
	last.waitFor(`document.getElementById("notice-restored")`)
	last.waitFor(`document.querySelector("#bar .state").textContent === "saved"`)
	if got := last.saved("01-weighing-the-earth").Cell("code-14").Source; got != "// kept by the browser" {
		t.Errorf("it came back as %q", got)
	}
}

// A second tab is told that the first one writes, may take over, and the first
// is told in turn.
func TestSecondTab(t *testing.T) {
	r := enter(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: scripted{}, Web: browsertest.Built(t)}, labs+first[4:]+".ipynb")
	r.write("code-06", "// from the first tab")
	r.waitFor(`document.querySelector("#bar .state").textContent === "saved"`)

	// It has no key of its own and asks the first for it.
	second := r.another()
	second.open(first)
	second.waitFor(`document.getElementById("notice-other").innerText.includes("open in another tab")`)
	second.waitFor(`document.querySelector("#c-kappa-answer .give").disabled`)
	second.shot("second-tab", false)
	second.click("#notice-other button")
	second.waitFor(`!document.getElementById("notice-other")`)
	second.ready()
	second.waitFor(`document.querySelector("#c-code-06 .cm-content, #c-code-06 textarea").textContent.includes("from the first tab")`)
	second.write("code-06", "// from the second tab")
	second.waitFor(`document.querySelector("#bar .state").textContent === "saved"`)

	// The first is told at once, without doing anything, and so is the second in turn.
	r.waitFor(`document.getElementById("notice-other") && document.querySelector("#c-kappa-answer .give").disabled`)
	r.click("#notice-other button")
	second.waitFor(`document.getElementById("notice-other")`)
	r.waitFor(`!document.getElementById("notice-other")`)

	// A tab that does not say so takes over while the first is typed in.
	r.ready()
	r.write("code-10", "// typed too late in the first")
	r.await(`fetch("` + labPath + `?tab=silent&take=1", { headers: { "X-Gravlab-Key": sessionStorage.getItem("key") } }).then((r) => String(r.status))`)
	r.waitFor(`document.getElementById("notice-other")`)
	nb := r.saved("01-weighing-the-earth")
	if got := nb.Cell("code-06").Source; got != "// from the second tab" {
		t.Errorf("the file holds %q", got)
	}
	// It takes over again, and what was typed too late is there.
	r.click("#notice-other button")
	r.waitFor(`document.querySelector("#bar .state").textContent === "saved"`)
	nb = r.saved("01-weighing-the-earth")
	for id, want := range map[string]string{"code-06": "// from the second tab", "code-10": "// typed too late in the first"} {
		if got := nb.Cell(id).Source; got != want {
			t.Errorf("%s is saved as %q, want %q", id, got, want)
		}
	}
}

// Another program changes the working copy: both versions are kept.
func TestChangedByAnotherProgram(t *testing.T) {
	c := call(t, labpage.Options{Labs: labs})
	c.enter()
	c.send(request{path: labPath + "?tab=a"})
	_, _, body := c.send(request{path: labPath + "?tab=a"})
	path := between(body, `"copy":"`, `"`)
	c.send(request{method: "POST", path: labPath + "/save", body: `{"tab":"a","cells":{"code-06":"// mine"}}`})
	mine, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	theirs := strings.Replace(string(mine), "// mine", "// theirs, longer", 1)
	if err := os.WriteFile(path, []byte(theirs), 0o600); err != nil {
		t.Fatal(err)
	}
	_, _, body = c.send(request{method: "POST", path: labPath + "/save", body: `{"tab":"a","cells":{"code-10":"// mine too"}}`})
	aside := between(body, `"aside":"`, `"`)
	if filepath.Dir(aside) != filepath.Dir(path) {
		t.Fatalf("put aside as %q: %s", aside, body)
	}
	if got, err := os.ReadFile(aside); err != nil || string(got) != theirs {
		t.Errorf("the other program's version is %.80q, %v", got, err)
	}
	if got, err := os.ReadFile(path); err != nil || !strings.Contains(string(got), "// mine too") {
		t.Errorf("ours is gone: %v", err)
	}
}

func between(s, before, after string) string {
	_, s, _ = strings.Cut(s, before)
	s, _, _ = strings.Cut(s, after)
	return s
}

// Begun again, a lab is as it was handed out, and the old copy is kept.
func TestAnew(t *testing.T) {
	c := call(t, labpage.Options{Labs: labs})
	c.enter()
	c.send(request{path: labPath + "?tab=a"})
	c.send(request{method: "POST", path: labPath + "/save", body: `{"tab":"a","cells":{"code-06":"// mine"}}`})
	_, _, body := c.send(request{method: "POST", path: labPath + "/anew", body: `{"tab":"a"}`})
	aside := between(body, `"aside":"`, `"`)
	if text, err := os.ReadFile(aside); err != nil || !strings.Contains(string(text), "// mine") {
		t.Errorf("the old copy, %q: %v", aside, err)
	}
	if _, _, body := c.send(request{path: labPath + "?tab=a"}); strings.Contains(body, "// mine") || !strings.Contains(body, "torsion.Skelmire()") {
		t.Error("the lab is not as it was handed out")
	}
}

// Everything works from the keyboard alone.
func TestKeyboard(t *testing.T) {
	r := enter(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: scripted{}, Web: browsertest.Built(t)}, "")
	key := func(keys string, modifiers ...kb.Modifier) {
		t.Helper()
		r.do(chromedp.KeyEvent(keys, chromedp.KeyModifiers(modifiers...)))
	}
	// tabTo presses Tab until the focus is where it should be, and looks at each
	// stop whether it can be seen.
	tabTo := func(js string) {
		t.Helper()
		for range 120 {
			key(kb.Tab)
			if r.read(`Boolean(document.activeElement && (`+js+`))`) == "true" {
				if seen := r.read(`(() => { const s = getComputedStyle(document.activeElement), b = document.activeElement.getBoundingClientRect()
					const around = document.activeElement.closest(".editor")
					return (s.outlineStyle !== "none" && parseFloat(s.outlineWidth) >= 2 || around && getComputedStyle(around).boxShadow !== "none") && b.width > 0 && b.bottom > 0 && b.top < innerHeight })()`); seen != "true" {
					t.Errorf("the focus cannot be seen at %s", r.read(`document.activeElement.outerHTML.slice(0, 120)`))
				}
				return
			}
		}
		r.fail("Tab does not lead to " + js)
	}
	tabTo(`document.activeElement.matches(".skip")`)
	tabTo(`document.activeElement.matches("a[href='` + first + `']")`)
	key(kb.Enter)
	r.waitFor(`location.pathname === "` + first + `"`)
	r.ready()
	tabTo(`document.activeElement.matches("#c-code-04 .how summary")`)
	key(kb.Enter) // the code of a figure opens
	tabTo(`document.activeElement.closest("#c-code-04") && document.activeElement.matches(".cm-content, textarea")`)
	key("a", kb.ModifierCtrl)
	r.do(chromedp.KeyEvent("// print typed by hand"))
	key(kb.Enter, kb.ModifierShift)
	r.waitFor(`document.querySelector("#c-code-04 .output").innerText.includes("typed by hand")`)
	// The caret stays where what is typed next is seen.
	r.do(chromedp.KeyEvent(" and more"))
	r.waitFor(`document.querySelector("#c-code-04 .cm-content, #c-code-04 textarea").textContent.includes("by hand and more")`)
	key(kb.Escape)
	tabTo(`document.activeElement.matches("#c-code-06 .cm-content, #c-code-06 textarea")`)
	key(kb.Escape)
	tabTo(`document.activeElement.matches("#c-code-06 .run")`)
	tabTo(`document.activeElement.matches("#c-kappa-answer [name=number]")`)
	r.do(chromedp.KeyEvent("1.57e-7"))
	tabTo(`document.activeElement.matches("#c-kappa-answer [name=unit]")`)
	r.do(chromedp.KeyEvent("N m/rad"))
	key(kb.Enter)
	r.waitFor(`document.querySelector("#c-kappa-answer .verdict .outcome")?.textContent.includes("right")`)
	r.do(chromedp.Focus(chromedp.CSS("#c-torque-answer .run")))
	tabTo(`document.activeElement.matches("#c-why-lead-answer [type=radio]")`)
	key(kb.ArrowDown)
	key(kb.Enter)
	r.waitFor(`document.querySelector("#c-why-lead-answer .verdict .outcome")`)
}

// The reader keeps the lab as a page and as a notebook, runs a box with all that
// stand above it, and finds the place where they stopped.
func TestKeepRunAllAndPlace(t *testing.T) {
	r := enter(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: scripted{}, Web: browsertest.Built(t)}, labs+first[4:]+".ipynb")
	folder := t.TempDir()
	_, err := chromedp.CallBrowser(r.ctx, browser.SetDownloadBehavior, browser.SetDownloadBehaviorParams{Behavior: browser.SetDownloadBehaviorBehaviorAllow, DownloadPath: folder})
	if err != nil {
		t.Fatal(err)
	}
	r.write("code-04", "// print one")
	r.write("code-06", "// print two")
	r.click("#c-code-06 .tools .quiet-button")
	r.waitFor(`document.querySelector("#c-code-04 .output").innerText.includes("one") && document.querySelector("#c-code-06 .output").innerText.includes("two")`)
	for n, name := range []string{"01-weighing-the-earth.html", "01-weighing-the-earth.ipynb"} {
		r.click(".ending button:nth-of-type(" + strconv.Itoa(n+1) + ")")
		var text []byte
		for end := time.Now().Add(10 * time.Second); time.Now().Before(end) && len(text) == 0; time.Sleep(50 * time.Millisecond) {
			text, _ = os.ReadFile(filepath.Join(folder, name))
		}
		if !strings.Contains(string(text), "print two") {
			t.Errorf("%s holds %.100q", name, text)
		}
	}
	r.do(chromedp.Evaluate[chromedp.Void](`document.getElementById("c-earth-mass-answer").scrollIntoView({ block: "center" })`))
	place := filepath.Join(r.data, "page", "place.json")
	for end := time.Now().Add(15 * time.Second); ; time.Sleep(100 * time.Millisecond) {
		if text, _ := os.ReadFile(place); strings.Contains(string(text), "earth-mass") {
			break
		}
		if time.Now().After(end) {
			t.Fatal("the place is not remembered")
		}
	}
	r.open("/")
	r.click(".big-link")
	r.waitFor(`location.pathname === "` + first + `"`)
	r.ready()
	r.waitFor(`(() => { const b = document.getElementById("c-earth-mass-answer").getBoundingClientRect(); return b.top > -400 && b.top < innerHeight + 400 })()`)
}

// On a machine with Go alone the page works with plain text areas.
func TestPlain(t *testing.T) {
	r := enter(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: scripted{}}, labs+first[4:]+".ipynb")
	r.waitFor(`document.querySelectorAll("textarea.plain").length > 5`)
	r.write("code-04", "// print plain")
	r.do(chromedp.KeyEvent(kb.Enter, chromedp.KeyModifiers(kb.ModifierShift)))
	r.waitFor(`document.querySelector("#c-code-04 .output").innerText.includes("plain")`)
	r.write("code-06", "// wrong\n\nx")
	r.run("code-06")
	r.waitFor(`document.querySelector("#c-code-06 .output").innerText.includes("line 3: x is not known here")`)
	if got := r.read(`[...document.querySelectorAll("#c-code-06 .copy > span")].findIndex((e) => e.classList.contains("fault-line")) + 1 + ""`); got != "3" {
		t.Errorf("line %s is marked, want 3", got)
	}
	if got := r.read(`[...document.querySelectorAll("textarea.plain")].filter((e) => e.offsetParent && e.scrollHeight > e.clientHeight + 1).length + ""`); got != "0" {
		t.Errorf("%s boxes are lower than their code", got)
	}
	r.look(390, 844, "light") // where lines wrap
	if got := r.read(`[...document.querySelectorAll("textarea.plain")].filter((e) => e.offsetParent && e.scrollHeight > e.clientHeight + 1).length + ""`); got != "0" {
		t.Errorf("at 390 px %s boxes are lower than their code", got)
	}
	r.look(1280, 900, "light")
	r.click("#c-code-06 .output button")
	if got := r.read(`document.querySelector("#c-code-06 textarea").selectionStart`); got != "10" {
		t.Errorf("line 3 begins at %s, want 10", got)
	}
	r.savedSoon("01-weighing-the-earth", "code-06", "// wrong\n\nx")
	if got := r.read(`document.querySelector("#bar .total").textContent`); got != "0 of 33 marks" {
		t.Errorf("the bar says %q", got)
	}
	r.shot("plain", false)
}
