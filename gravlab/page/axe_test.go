package page_test

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"gravity.example/exercises"
	"gravity.example/gravlab/internal/webassets"
	labpage "gravity.example/gravlab/page"
)

// axe has axe-core look at the page as it is now, by the rules of WCAG 2.2 AA.
func (r *room) axe(where string) {
	r.Helper()
	text, err := os.ReadFile(filepath.Join(r.o.Web, webassets.Axe))
	if err != nil {
		r.Fatal(err)
	}
	// The protocol evaluates past the page's policy, as an extension would.
	r.do(chromedp.Evaluate[chromedp.Void](string(text) + "\n;0"))
	found := r.await(`axe.run(document, { iframes: false, runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }).then((r) => JSON.stringify({
		passes: r.passes.length, violations: r.violations.map((v) => v.id + ": " + v.help + ": " + v.nodes.slice(0, 3).map((n) => n.html.slice(0, 200) + " | " + (n.any[0]?.message ?? "")).join(" ;; ")) }))`)
	var result struct {
		Passes     int
		Violations []string
	}
	if err := json.Unmarshal([]byte(found), &result); err != nil {
		r.Fatal(err)
	}
	if result.Passes < 15 {
		r.Errorf("%s: axe looked at %d rules only", where, result.Passes)
	}
	for _, v := range result.Violations {
		r.Errorf("%s: %s", where, v)
	}
}

// The page can be used by everybody: WCAG 2.2 AA as far as axe-core can tell,
// in light and dark, at a tablet's width and at 200 %.
func TestAccessible(t *testing.T) {
	web := built(t)
	if web == "" {
		t.Skip("npm is not on the path, so axe-core is not there to look at the page")
	}
	r := enter(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: scripted{}, Web: web}, "")
	for _, look := range []struct {
		scheme string
		widths []int64
	}{{"light", []int64{1280, 640}}, {"dark", []int64{1280, 768}}} {
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

// So can every lab, not only the first.
func TestEveryLabAccessible(t *testing.T) {
	web := built(t)
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
		if got := r.read(`document.querySelectorAll(".question").length`); got != fmt.Sprint(len(lab.Paper("").Questions)) {
			t.Errorf("%s: %s of %d questions are shown", where, got, len(lab.Paper("").Questions))
		}
		r.axe(where)
		r.fits(where)
		r.shot("every-"+lab.Number(), false)
	}
}

// fits checks that nothing makes the page wider than its window.
func (r *room) fits(where string) {
	r.Helper()
	if got := r.read(`document.documentElement.scrollWidth - innerWidth`); got != "0" && !strings.HasPrefix(got, "-") {
		r.Errorf("%s: the page is %s px wider than the window", where, got)
	}
}
