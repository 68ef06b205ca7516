package teach

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/browsertest"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/labserver"
)

// A window is a browser of its own: its cookies are no one else's.
type window struct {
	testing.TB
	ctx context.Context
	url string
}

// browsers starts Chromium and returns what opens a window.
func browsers(t testing.TB, url string) func() *window {
	t.Helper()
	timed := browsertest.Start(t, 4*time.Minute, chromedp.Flag("ignore-certificate-errors", true))
	first, endFirst := chromedp.NewContext(timed)
	t.Cleanup(endFirst)
	if err := chromedp.Do(first); err != nil {
		t.Fatal(err)
	}
	return func() *window {
		ctx, end := chromedp.NewContext(first, chromedp.WithNewBrowserContext())
		t.Cleanup(end)
		if err := chromedp.Do(ctx); err != nil {
			t.Fatal(err)
		}
		w := &window{t, ctx, url}
		w.look(1280, 900, "light")
		browsertest.Complain(ctx, t, nil)
		return w
	}
}

func (w *window) look(width, height int64, scheme string) {
	w.Helper()
	browsertest.Look(w.ctx, w, width, height, scheme)
}

func (w *window) open(address string) {
	w.Helper()
	ctx, end := context.WithTimeout(w.ctx, 20*time.Second)
	defer end()
	if err := chromedp.Do(ctx, chromedp.Navigate(address)); err != nil {
		w.Fatal(err)
	}
}

// do evaluates a statement in the page.
func (w *window) do(js string) {
	w.Helper()
	if err := chromedp.Do(w.ctx, chromedp.Evaluate[chromedp.Void](js+"\n;0")); err != nil {
		w.Fatalf("%s: %v", js, err)
	}
}

// see waits until an expression is true in the page.
func (w *window) see(js string) {
	w.Helper()
	if browsertest.Sees(w.ctx, js) {
		return
	}
	text, _ := chromedp.Run(w.ctx, chromedp.Evaluate[string](`location.href + " " + document.body.innerText.slice(0, 500)`))
	w.Fatalf("waited in vain for %s (see %s)\n%s", js, w.shot("failed", false), text)
}

// words waits until a text can be read in the page.
func (w *window) words(text string) {
	w.Helper()
	quoted, _ := json.Marshal(text)
	w.see("document.body && document.body.innerText.includes(" + string(quoted) + ")")
}

// shot keeps a picture of the page.
func (w *window) shot(name string, whole bool) string {
	return browsertest.Shot(w.ctx, w, name, whole)
}

// axe looks at the page as it is now.
func (w *window) axe(web, where string) {
	w.Helper()
	browsertest.Axe(w.ctx, w, web, where, 12)
}

// A lecturer and three students, from the cards to what was taken in.
func TestHourInBrowsers(t *testing.T) {
	o := options(t, t.TempDir())
	o.Web = browsertest.Built(t)
	s := serve(t, o)
	window := browsers(t, s.http.URL)
	l, ada, cleo := window(), window(), window()
	l.open(s.class.Lecturer())
	l.words("0 of 3 here")

	// Ada scans her card: the code is in the fragment, and gone at once.
	ada.open(s.http.URL + "/#code=" + strings.ReplaceAll(s.codes[0], "-", ""))
	ada.words("Ada Bell")
	ada.see(`location.hash === "" && !document.querySelector(".lecturers")`)
	ada.do(`document.querySelector("a[href='/lab/` + lab01 + `']").click()`)
	ada.see(`document.querySelector("main").dataset.ready === "yes"`)
	l.words("1 of 3 here")
	answer := `(() => { const f = document.querySelector("#c-kappa-answer form"); f.elements.number.value = %q; f.elements.unit.value = "N m/rad"; f.dispatchEvent(new Event("input")); f.requestSubmit() })()`
	ada.do(fmt.Sprintf(answer, fmt.Sprintf("%.5g", 2*o.Labs[0].Sheet(s.class.code(lab01, "s1")).RightAnswers()["kappa"])))
	ada.see(`document.querySelector("#c-kappa-answer .verdict")`)
	l.see(`document.querySelector("[data-student=s1] [data-q=kappa]").textContent.includes("` + judge.OutcomeSlip.Sign() + `")`)
	l.see(`document.querySelector("[data-student=s1] [data-q=kappa]").className.includes("at")`)

	// Cleo types her code, first a wrong one.
	cleo.open(s.http.URL)
	cleo.words("Enter the code of your card")
	enter := `(() => { const f = document.querySelector("form.entry"); f.elements.code.value = %q; f.requestSubmit() })()`
	wrong := []byte(s.codes[1])
	wrong[0] = codeLetters[(strings.IndexByte(codeLetters, wrong[0])+1)%32]
	cleo.do(fmt.Sprintf(enter, string(wrong)))
	cleo.words("mistyped")
	cleo.do(fmt.Sprintf(enter, strings.ToLower(s.codes[1])))
	cleo.words("Berg, Cleo")
	cleo.do(`[...document.querySelectorAll("#place button")].find((b) => b.textContent === "Ask for help").click()`)
	l.see(`document.querySelector(".side .people")?.innerText.includes("Berg, Cleo") && document.title.startsWith("(1)")`)
	l.do(`document.getElementById("note").value = "Five more minutes."; document.getElementById("send").click()`)
	cleo.words("Five more minutes.")
	ada.words("Five more minutes.")
	ada.shot("student-lab", false)
	cleo.shot("student-start", false)
	cleo.look(1280, 900, "dark")
	cleo.shot("student-start-dark", false)
	if o.Web != "" {
		cleo.axe(o.Web, "a student's start, dark")
	}
	cleo.look(400, 800, "light")
	cleo.shot("student-start-narrow", false)
	cleo.look(1280, 900, "light")

	// She leaves, and Dan comes at the same computer: nothing of hers is left in it.
	cleo.do(`[...document.querySelectorAll("#place button")].find((b) => b.textContent === "Leave").click()`)
	cleo.words("Enter the code of your card")
	cleo.see(`sessionStorage.length <= 1 && localStorage.length === 0`)
	cleo.do(fmt.Sprintf(enter, s.codes[2]))
	cleo.words(`<b>Dan</b> "Eck"`)

	// Ada goes on with her card on another device; the first one is told.
	tablet := window()
	tablet.open(s.http.URL + "/lab/" + lab01 + "#code=" + s.codes[0])
	tablet.see(`document.querySelector("main").dataset.ready === "yes"`)
	tablet.words("on another device")
	tablet.do(`[...document.querySelectorAll(".notice button")].find((b) => b.textContent.startsWith("Work in this tab")).click()`)
	ada.words("on another device")
	tablet.see(`!document.querySelector("#notice-other")`)
	tablet.do(`(() => { const f = document.querySelector("#c-kappa-answer form"); f.elements.number.value = "5.5e-7"; f.dispatchEvent(new Event("input", { bubbles: true })) })()`)
	work := filepath.Join(s.class.work(lab01, "s1"), lab01+".ipynb")
	for end := time.Now().Add(10 * time.Second); ; time.Sleep(20 * time.Millisecond) { // what is typed is saved without being entered
		if text, _ := os.ReadFile(work); strings.Contains(string(text), "5.5e-7") {
			break
		}
		if time.Now().After(end) {
			t.Fatal("what was typed is not in the working copy")
		}
	}

	// The network drops: typing goes on, is told, and is saved afterwards.
	tablet.do(`window.kept = window.fetch; window.fetch = () => Promise.reject(new TypeError("no network"))`)
	tablet.do(`(() => { const f = document.querySelector("#c-kappa-answer form"); f.elements.number.value = "7.25e-7"; f.dispatchEvent(new Event("input", { bubbles: true })) })()`)
	tablet.words("There is no connection to the class")
	tablet.see(`Object.keys(localStorage).some((k) => k.startsWith("unsaved:` + lab01 + `") && localStorage[k].includes("7.25e-7"))`)
	tablet.do(`window.fetch = window.kept`)
	tablet.see(`!document.querySelector("#notice-lost") && document.querySelector("#bar .state").textContent === "saved"`)
	if text, err := os.ReadFile(work); err != nil || !strings.Contains(string(text), "7.25e-7") {
		t.Errorf("what was typed without a network is not saved (%v)", err)
	}

	l.do(`document.getElementById("take").click()`)
	l.do(`[...document.querySelectorAll(".sure button")][0].click()`)
	l.words("1 notebook taken in")
	tablet.words("Your work has been taken in")
	if _, err := os.Stat(filepath.Join(s.class.handedIn(lab01), "s1", lab01+".ipynb")); err != nil {
		t.Error(err)
	}
	if o.Web != "" {
		ada.axe(o.Web, "a student's lab")
		cleo.axe(o.Web, "a student's start")
		tablet.do(`[...document.querySelectorAll("#place button")].find((b) => b.textContent === "Leave").click()`)
		tablet.words("Enter the code of your card")
		tablet.axe(o.Web, "the entry")
		tablet.shot("entry", false)
	}
}

// The lecturer's page of 24, the projector's, and the cards, light and dark.
func TestLecturersPages(t *testing.T) {
	dir := t.TempDir()
	first := []string{"Ada", "Cleo", "Dan", "Eve", "Finn", "Gwen", "Hal", "Ines", "Jon", "Kit", "Lena", "Max", "Nora", "Owen", "Pia", "Quinn", "Rolf", "Sina", "Tom", "Una", "Vera", "Will", "Yara", "Zoë"}
	last := []string{"Bell", "Berg", "Eck", "Fell", "Gray", "Holm"}
	list := "id,name\n"
	for i, n := range first {
		list += fmt.Sprintf("s%d,%s %s\n", i+1, n, last[i%len(last)])
	}
	if err := os.WriteFile(filepath.Join(dir, "class.csv"), []byte(list), 0o600); err != nil {
		t.Fatal(err)
	}
	o := options(t, dir)
	o.Web, o.Warns = browsertest.Built(t), strings.Repeat("ab:", 31)+"ab"
	if o.Web == "" {
		t.Skip("npm is not on the path, so axe-core is not there to look at the pages")
	}
	o.Address = "https://lab.skelmire.example:8443"
	s := serve(t, o)
	variety(s.class)
	window := browsers(t, s.http.URL)
	w := window()
	_, key, _ := strings.Cut(s.class.Lecturer(), "#")
	w.open(s.http.URL + "/lecturer#" + key)
	w.words("Ada Bell")
	// By keyboard: a cell, another one, and a student.
	w.do(`document.querySelector(".grid [role=gridcell]").focus()`)
	press := func(key string) {
		w.do(`document.activeElement.dispatchEvent(new KeyboardEvent("keydown", { key: "` + key + `", bubbles: true }))`)
	}
	press("ArrowRight")
	press("ArrowDown")
	w.see(`document.activeElement.dataset.q === "` + o.Labs[0].Sheet("").Questions[1].ID + `" && document.activeElement.closest("tr").dataset.student === "s2"`)
	s.class.given(s.class.places[0], lab01, labserver.Entry{Question: "kappa", Time: time.Now(), Verdict: judge.Verdict{Outcome: judge.OutcomeRight}})
	w.see(`document.querySelector("[data-student=s1] [data-q=kappa]").dataset.outcome === "right"`)
	w.see(`document.activeElement.dataset.q && document.activeElement.closest("tr").dataset.student === "s2"`) // the keyboard stays where it was
	press("Enter")
	w.see(`document.getElementById("student").open`)
	w.axe(o.Web, "a student's page")
	w.shot("lecturer-student", false)
	w.do(`document.getElementById("student").close()`)
	for _, scheme := range []string{"light", "dark"} {
		for _, view := range []string{"grid", "list", "projector"} {
			w.look(1440, 1000, scheme)
			w.do(`location.hash = "` + view + `"`)
			w.see(`document.body.dataset.view === "` + view + `"`)
			w.axe(o.Web, view+", "+scheme)
			w.shot("lecturer-"+view+"-"+scheme, view == "grid")
			if view == "projector" {
				for _, n := range first {
					w.see(`!document.body.innerText.includes("` + n + ` ") && !document.body.innerHTML.includes("` + n + ` B")`)
				}
			}
		}
	}
	w.look(400, 800, "light")
	w.do(`location.hash = "grid"`)
	w.see(`document.body.dataset.view === "grid"`)
	w.axe(o.Web, "grid, 400 px")
	w.shot("lecturer-narrow", false)
	w.look(1000, 1200, "light")
	w.open("file://" + filepath.Join(o.Data, "cards.html"))
	w.words("lab.skelmire.example")
	for _, scheme := range []string{"light", "dark"} {
		w.look(1000, 1200, scheme)
		w.axe(o.Web, "cards, "+scheme)
		w.shot("cards-"+scheme, false)
	}
}

// variety lets a class of invented students be in the middle of an hour.
func variety(c *Class) {
	c.mu.Lock()
	places := append([]*place{}, c.places...)
	c.hour.Note = "Ten minutes for the uncertainty; then we talk about the swing."
	c.hour.Ends = time.Now().Add(23 * time.Minute)
	c.hour.Help["s4"], c.hour.Help["s17"] = time.Now().Add(-4*time.Minute), time.Now()
	c.mu.Unlock()
	at := func(i, j int) int { return (i*7 + j*5 + i*j) % 11 }
	for i, p := range places {
		if i%9 == 8 {
			continue // has not come
		}
		sheet := c.o.Labs[0].Sheet(c.code(lab01, p.student.ID))
		reached := 2 + (i*5)%9
		for j, q := range sheet.Questions[:min(reached, len(sheet.Questions))] {
			for try := range 1 + at(i, j)%4 {
				c.given(p, lab01, labserver.Entry{Question: q.ID, Time: time.Now(), Answer: judge.Answer{Text: fmt.Sprint(try)}, Verdict: outcomeOf(q, at(i, j), try)})
			}
		}
		c.mu.Lock()
		p.seen = time.Now().Add(time.Hour) // stays here
		if i%7 == 3 {
			p.seen = time.Now().Add(-time.Minute) // was here
		}
		c.mu.Unlock()
	}
}

func outcomeOf(q bank.Question, n, try int) judge.Verdict {
	switch {
	case n < 5 || n > 8 && try > 0:
		return judge.Verdict{Outcome: judge.OutcomeRight}
	case n < 7 && len(q.Slips) > 0:
		return judge.Verdict{Outcome: judge.OutcomeSlip, Slip: q.Slips[0].Name, Message: q.Slips[0].Fix}
	case n == 7:
		return judge.Verdict{Outcome: judge.OutcomeUnit}
	}
	return judge.Verdict{Outcome: judge.OutcomeOff}
}
