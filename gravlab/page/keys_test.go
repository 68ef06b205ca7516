package page_test

import (
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	labpage "gravity.example/gravlab/page"
)

// address puts an address into the tab as a reader does who types it: the page
// that stands there is not loaded again if only the part behind the # differs.
func (r *room) address(to string) {
	r.Helper()
	r.do(chromedp.Evaluate[chromedp.Void](`void(location.href = "` + to + `")`))
}

// A tab without a key takes the fresh address, and hears of one that is opened in
// another tab.
func TestFreshAddress(t *testing.T) {
	r := enter(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: scripted{}}, "")
	other := r.another()
	r.close() // nobody is there to ask for the key
	noKey := func() {
		t.Helper()
		other.waitFor(`document.body.dataset.ready === "no" && document.querySelector("h1").textContent === "This tab has no key"`)
	}
	other.do(chromedp.Navigate("http://" + r.host + "/"))
	noKey()
	if got := other.read(`document.querySelector("h1").getBoundingClientRect().left >= 12`); got != "true" {
		t.Error("the page without a key stands against the edge of the window")
	}
	other.shot("no-key", false)
	other.address("http://" + r.host + "/#key=used")
	other.waitFor(`location.hash === ""`)
	noKey()
	other.address(r.server.Address(r.host, ""))
	other.waitFor(`document.body.dataset.ready === "yes" && document.querySelector("h1").textContent === "Gravity labs"`)
	if got := other.read(`location.href`); got != "http://"+r.host+"/" {
		t.Errorf("the key stays in the address: %s", got)
	}

	// After a new start a lab that is loaded again has no key that counts.
	other.open(first)
	other.stopServing()
	r.serve(r.host)
	other.do(chromedp.Reload())
	noKey()
	fresh := other.another()
	fresh.do(chromedp.Navigate(r.server.Address(r.host, "")))
	fresh.ready()
	other.ready()
	other.waitFor(`!document.getElementById("notice-lost") && document.querySelector("#c-kappa-answer .give")`)
}

// The program is started again and opens no browser: the page says what to do,
// goes on when that was done, and has lost nothing.
func TestStartedAgain(t *testing.T) {
	r := enter(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: scripted{}}, labs+first[4:]+".ipynb")
	r.typeIn("kappa-answer", "number", "1.57e-7")
	r.stopServing()
	r.typeIn("kappa-answer", "unit", "N m/rad")
	lost := `document.getElementById("notice-lost").innerText`
	r.waitFor(lost + `.includes("has stopped")`)
	r.serve(r.host)
	r.waitFor(lost + `.includes("Open the address that it printed")`)
	r.click("#c-kappa-answer .give")
	r.waitFor(`document.querySelector("#c-kappa-answer .output").innerText.includes("open the address that it printed")`)
	r.shot("started-again", false)
	r.look(1280, 900, "dark")
	r.shot("started-again-dark", false)

	fresh := r.another()
	fresh.do(chromedp.Navigate(r.server.Address(r.host, "")))
	fresh.ready()
	r.waitFor(`!document.getElementById("notice-lost")`)
	r.give("kappa-answer", nil, "right")

	// In the same tab it leads away; what was typed is there on coming back.
	r.stopServing()
	fresh.close()
	r.typeIn("theta-answer", "number", "3.125")
	r.waitFor(`document.querySelector("#bar .state").textContent === "not saved yet"`)
	r.serve(r.host)
	r.waitFor(lost + `.includes("or in this one")`)
	r.do(chromedp.Navigate(r.server.Address(r.host, "")))
	r.ready()
	r.open(first)
	r.waitFor(`document.querySelector("#c-theta-answer [name=number]").value === "3.125"`)
}

// At an address where nothing is, and at a lab that is missing, a sentence says so
// and a link leads back.
func TestNothingThere(t *testing.T) {
	c := call(t, labpage.Options{Labs: labs})
	for _, path := range []string{"/nope", "/lab/a/b"} {
		status, header, body := c.send(request{path: path})
		if status != 404 || !strings.HasPrefix(header.Get("Content-Type"), "text/html") || !strings.Contains(body, "/asset/style.css") {
			t.Errorf("%s gives %d %s: %s", path, status, header.Get("Content-Type"), body)
		}
	}
	r := enter(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: scripted{}}, "")
	for path, want := range map[string]string{"/nope": "There is nothing at the address “/nope”.", "/lab/nope": "There is no lab called “nope”."} {
		r.do(chromedp.Navigate("http://" + r.host + path))
		r.waitFor(`document.body.dataset.ready === "yes" && document.querySelector("h1").textContent === "This page cannot be shown"`)
		if got := r.read(`document.querySelector("#main p").textContent`); got != want {
			t.Errorf("%s says %s, want %s", path, got, want)
		}
		if got := r.read(`document.querySelector("#main a").getAttribute("href")`); got != "/" {
			t.Errorf("%s leads back to %s", path, got)
		}
		r.shot("nothing"+strings.ReplaceAll(path, "/", "-"), false)
	}
}
