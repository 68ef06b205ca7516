package page_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/browsertest"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/notebook"
	labpage "gravity.example/gravlab/page"
	"gravity.example/gravlab/page/apparatus"
	"gravity.example/gravlab/quantity"
)

// handedOut writes a sheet as a lecturer hands it out: lab 01 with numbers of
// its own, assessed if so wanted.
func handedOut(t *testing.T, assessed bool) (path string, code bank.Code) {
	t.Helper()
	nb, err := notebook.ReadFile(labs+first[4:]+".ipynb", notebook.Options{})
	if err != nil {
		t.Fatal(err)
	}
	lab, err := exercises.Find("01")
	if err != nil {
		t.Fatal(err)
	}
	code = bank.NumberedCode(lab.ID, 7)
	if _, err := lab.Sheet(code).Fill(nb, false); err != nil {
		t.Fatal(err)
	}
	if assessed {
		c := nb.Cell("sheet")
		c.Source = strings.Replace(c.Source, "ask.Sheet(", "ask.Assessed(", 1)
	}
	path = filepath.Join(t.TempDir(), "mine.ipynb")
	if err := nb.WriteFile(path); err != nil {
		t.Fatal(err)
	}
	return path, code
}

// opened opens the one notebook from elsewhere.
func (c *caller) opened() (at string, view map[string]any) {
	c.Helper()
	_, _, list := c.send(request{path: "/api/labs"})
	at = "/api/lab/from-" + between(list, `"name":"from-`, `"`)
	_, _, body := c.send(request{path: at + "?tab=a"})
	if err := json.Unmarshal([]byte(body), &view); err != nil {
		c.Fatalf("%v: %s", err, body)
	}
	return at, view
}

// Every lab of the project can be read, answered and run in the page.
func TestEveryLab(t *testing.T) {
	var complaints []string
	c := call(t, labpage.Options{Labs: labs, Log: func(s string) { complaints = append(complaints, s) }})
	c.enter()
	shown := 0
	for _, lab := range exercises.Labs() {
		if _, err := os.Stat(filepath.Join(labs, lab.ID+".ipynb")); err != nil {
			continue
		}
		shown++
		var v struct {
			Title, Fault string
			Blocks       []struct {
				ID, Kind string
				Ask      *struct {
					Question, Kind string
					Form           bool
				}
			}
			Standings []struct{ Question, Cell string }
		}
		_, _, body := c.send(request{path: "/api/lab/" + lab.ID + "?tab=a"})
		if err := json.Unmarshal([]byte(body), &v); err != nil {
			t.Fatalf("%s: %v: %.200s", lab.ID, err, body)
		}
		if v.Title != lab.Title || v.Fault != "" || len(v.Standings) == 0 {
			t.Errorf("%s: title %q, fault %q, %d questions", lab.ID, v.Title, v.Fault, len(v.Standings))
		}
		asked := map[string]bool{}
		for _, b := range v.Blocks {
			if b.Ask == nil {
				continue
			}
			asked[b.Ask.Question] = true
			if b.Ask.Form == (b.Ask.Kind == "function") {
				t.Errorf("%s: question %s of kind %s has a form: %v", lab.ID, b.Ask.Question, b.Ask.Kind, b.Ask.Form)
			}
		}
		for _, s := range v.Standings {
			if !asked[s.Question] || s.Cell == "" {
				t.Errorf("%s: question %s cannot be answered", lab.ID, s.Question)
			}
		}
	}
	if shown == 0 {
		t.Error("there are no labs")
	}
	for _, s := range complaints {
		t.Error(s)
	}
	var list struct {
		Labs []struct{ Name, Asks, Picture string }
	}
	_, _, body := c.send(request{path: "/api/labs"})
	if err := json.Unmarshal([]byte(body), &list); err != nil || len(list.Labs) != shown {
		t.Fatalf("the list has %d labs of %d: %v", len(list.Labs), shown, err)
	}
	for _, l := range list.Labs {
		if l.Asks == "" || l.Picture == "" {
			t.Logf("lab %s has a card without a sentence (%q) or a picture (%q)", l.Name, l.Asks, l.Picture)
			continue
		}
		if status, header, _ := c.send(request{path: l.Picture}); status != 200 || header.Get("Content-Type") != "image/svg+xml" {
			t.Errorf("the picture of %s: %d, %s", l.Name, status, header.Get("Content-Type"))
		}
	}
}

// What lecturers are shown runs nothing, and there is no way from its address to other files.
func TestSamplePages(t *testing.T) {
	c := call(t, labpage.Options{Labs: labs})
	for _, name := range []string{"reply.html", "class.html"} {
		status, header, body := c.send(request{path: "/sample/" + name})
		if status != 200 || !strings.HasPrefix(header.Get("Content-Security-Policy"), "sandbox; default-src 'none'") || !strings.Contains(body, "Weighing the Earth") {
			t.Errorf("%s: %d %q", name, status, header.Get("Content-Security-Policy"))
		}
	}
	for _, name := range []string{"other.html", "..%2fpage.js", "..%2F..%2Fpage.go"} {
		if status, _, _ := c.send(request{path: "/sample/" + name}); status != 404 {
			t.Errorf("%s: status %d, want 404", name, status)
		}
	}
}

// A sheet is judged with its own numbers, and the file to hand in holds the
// answers as anybody can run them.
func TestHandedOutSheet(t *testing.T) {
	path, code := handedOut(t, false)
	before, _ := os.ReadFile(path)
	c := call(t, labpage.Options{Labs: labs, Others: []string{path}})
	c.enter()
	at, view := c.opened()
	if view["remark"] != "sheet "+string(code) || view["foreign"] != true {
		t.Errorf("it is shown as %v, foreign %v", view["remark"], view["foreign"])
	}
	lab, _ := exercises.Find("01")
	kappa, _ := lab.Sheet(code).Question("kappa")
	if text, _ := json.Marshal(view); !strings.Contains(string(text), kappa.Hints[1]) {
		t.Error("a sheet to practise with has no hints to open")
	}
	right := lab.Sheet(code).RightAnswers()["kappa"]
	text, _ := json.Marshal(map[string]any{"tab": "a", "question": "kappa", "fields": map[string]any{"number": right, "unit": "N m/rad"}})
	text = []byte(strings.ReplaceAll(string(text), jsonNumber(right), `"`+jsonNumber(right)+`"`))
	if _, _, body := c.send(request{method: "POST", path: at + "/answer", body: string(text)}); !strings.Contains(body, `"marks":2`) {
		t.Errorf("the right answer gives %s", body)
	}
	_, _, file := c.send(request{path: at + "/notebook"})
	nb, err := notebook.Read("mine.ipynb", []byte(file), notebook.Options{NeedKernel: true})
	if err != nil {
		t.Fatal(err)
	}
	if got := nb.Question("01/kappa", notebook.Answer).Source; !strings.HasPrefix(got, "%%\nsheet.Typed(\"kappa\", \"") {
		t.Errorf("the file to hand in holds %q", got)
	}
	if after, _ := os.ReadFile(path); string(after) != string(before) {
		t.Error("the handed out file was changed")
	}
	_, _, page := c.send(request{path: at + "/report"})
	for _, want := range []string{"Weighing the Earth", "Sheet " + string(code), "marks <strong>2</strong> of 33", "<math"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page to keep does not hold %q", want)
		}
	}
}

func jsonNumber(v float64) string {
	text, _ := json.Marshal(v)
	return string(text)
}

// Of an assessed sheet nothing says what an answer is worth.
func TestAssessedSheet(t *testing.T) {
	path, code := handedOut(t, true)
	c := call(t, labpage.Options{Labs: labs, Others: []string{path}})
	c.enter()
	at, _ := c.opened()
	lab, _ := exercises.Find("01")
	kappa, _ := lab.Sheet(code).Question("kappa")
	var all string
	for _, number := range []string{"1", "1.57e-7", "6e-7"} {
		_, _, body := c.send(request{method: "POST", path: at + "/answer", body: `{"tab":"a","question":"kappa","fields":{"number":"` + number + `","unit":"N m/rad"}}`})
		if !strings.Contains(body, "recorded") {
			t.Errorf("%s gives %s", number, body)
		}
		all += body
	}
	for _, r := range []string{at + "?tab=a", "/api/labs", at + "/report"} {
		_, _, body := c.send(request{path: r})
		all += body
	}
	for _, word := range []string{`"outcome":"right"`, `"outcome":"slip"`, `"outcome":"off"`, "half-period instead", "of 2 marks", `"marks":2`, `"right":1`, kappa.Hints[0], kappa.Hints[1]} {
		if strings.Contains(all, word) {
			t.Errorf("an assessed sheet says %s", word)
		}
	}
}

// Whatever the page gives of an assessed sheet, the answer's own block, the lab, the
// list, the report and the file, is the same for every value that is typed in
// the same way, right or wrong.
func TestAssessedPageTellsNothing(t *testing.T) {
	path, code := handedOut(t, true)
	lab, err := exercises.Find("01")
	if err != nil {
		t.Fatal(err)
	}
	sheet := lab.Sheet(code)
	right := sheet.RightAnswers()
	c := call(t, labpage.Options{Labs: labs, Others: []string{path}})
	c.enter()
	at, _ := c.opened()
	echo := regexp.MustCompile(`, read as .*?(</p>|<br>|</div>|\\n|",|"\n)|"understood": *"(\\"|[^"])*"`)
	plain := strings.NewReplacer(`\u0026#43;`, "+", "&#43;", "+", `\u003c`, "<", `\u003e`, ">", `\u0026`, "&") // html/template escapes plus signs
	number := func(v float64) string { return fmt.Sprintf("%.5e", v) }
	asked := 0
	for _, q := range sheet.Questions {
		if q.Kind != judge.KindNumber && q.Kind != judge.KindMeasured || testing.Short() && asked == 2 {
			continue
		}
		asked++
		unit, err := quantity.ParseUnit(q.Unit)
		if err != nil {
			t.Fatal(err)
		}
		want := right[q.ID] / unit.SI()
		values := []float64{want, 1.3 * want, 1000 * want, 7}
		for _, s := range q.Slips {
			values = append(values, s.Value(right)/unit.SI())
		}
		if testing.Short() {
			values = values[:3]
		}
		for name, form := range map[string][2]string{"a unit": {q.Unit, ""}, "no unit": {"", ""}, "no unit and an uncertainty": {"", number(want / 10)}, "another unit": {"kg", ""}} {
			first := ""
			for _, v := range values {
				if math.IsNaN(v) || v == 0 {
					continue
				}
				body := fmt.Sprintf(`{"tab":"a","question":%q,"fields":{"number":%q,"u":%q,"unit":%q}}`, q.ID, number(v), form[1], form[0])
				var seen strings.Builder
				for _, r := range []request{{method: "POST", path: at + "/answer", body: body}, {path: at + "?tab=a"}, {path: "/api/labs"}, {path: at + "/report"}, {path: at + "/notebook"}} {
					status, _, body := c.send(r)
					body = echo.ReplaceAllString(plain.Replace(body), "§")
					fmt.Fprintln(&seen, status, strings.ReplaceAll(body, number(v), "#"))
				}
				if first == "" {
					first = seen.String()
				}
				if s := seen.String(); s != first {
					i := 0
					for i < len(s) && i < len(first) && s[i] == first[i] {
						i++
					}
					t.Errorf("%s, %s: %s differs from the first at\n%.300s\n%.300s", q.ID, name, number(v), s[max(i-100, 0):], first[max(i-100, 0):])
				}
			}
		}
	}
	if asked == 0 {
		t.Error("the lab asks for no number")
	}
}

// A number may be worked out in code instead, and nothing that was written is
// lost on the way there and back.
func TestFormAndCode(t *testing.T) {
	c := call(t, labpage.Options{Labs: labs})
	c.enter()
	c.send(request{path: labPath + "?tab=a"})
	form := func(code string) string {
		_, _, body := c.send(request{method: "POST", path: labPath + "/form", body: `{"tab":"a","question":"kappa","code":` + code + `}`})
		return body
	}
	if got := form("true"); !strings.Contains(got, `result := 0.0`) || !strings.Contains(got, `"form":false`) {
		t.Errorf("in code it begins with %s", got)
	}
	// What was typed is what the code begins with: run as it is, it says the same.
	form("false")
	c.send(request{method: "POST", path: labPath + "/answer", body: `{"tab":"a","question":"kappa","fields":{"number":"157","unit":"nN m/rad"}}`})
	if got := form("true"); !strings.Contains(got, `result := 1.57e-07 // your calculation`) {
		t.Errorf("after an answer it begins with %s", got)
	}
	c.send(request{method: "POST", path: labPath + "/save", body: `{"tab":"a","cells":{"kappa-answer":"%%\n// a night's work"}}`})
	if got := form("false"); !strings.Contains(got, `"form":true`) {
		t.Errorf("back in the form: %s", got)
	}
	if got := form("true"); !strings.Contains(got, `a night's work`) {
		t.Errorf("in code again it holds %s", got)
	}
	form("false")
	c.send(request{method: "POST", path: labPath + "/answer", body: `{"tab":"a","question":"kappa","fields":{"number":"3","u":"2 %","unit":"N m/rad"}}`})
	if got := form("true"); !strings.Contains(got, `a night's work`) || !strings.Contains(got, `// typed into the form: 3 N m/rad ± 2 %\n`) {
		t.Errorf("what was typed becomes %s", got)
	}
	// Nothing was run meanwhile: the answer is as it was entered.
	if got := form("false"); !strings.Contains(got, `"fields":{"number":"3","u":"2 %","unit":"N m/rad"}`) || strings.Contains(got, `"draft"`) {
		t.Errorf("the answer comes back as %s", got)
	}
	c.send(request{method: "POST", path: labPath + "/save", body: `{"tab":"a","drafts":{"kappa-answer":{"number":"4","unit":"N m/rad"}}}`})
	if got := form("true"); strings.Count(got, "typed into the form") != 1 || !strings.Contains(got, "form: 4 N m/rad") {
		t.Errorf("what was typed and not entered becomes %s", got)
	}
	c.send(request{method: "POST", path: labPath + "/run", body: `{"tab":"a","cell":"kappa-answer","source":"%%\n// print x"}`})
	if got := form("false"); !strings.Contains(got, `"fields":{}`) || !strings.Contains(got, `"draft":{"number":"4","unit":"N m/rad"}`) {
		t.Errorf("after the code has run the form holds %s", got)
	}
}

// After an answer in the form the code begins with the question's own stub, which
// gives in nothing as it stands.
func TestCodeAfterForm(t *testing.T) {
	c := call(t, labpage.Options{Labs: labs})
	c.enter()
	const first = "/api/lab/00-first-steps"
	c.send(request{path: first + "?tab=a"})
	c.send(request{method: "POST", path: first + "/answer", body: `{"tab":"a","question":"fall-time","fields":{"number":"s","unit":"s"}}`})
	_, _, got := c.send(request{method: "POST", path: first + "/form", body: `{"tab":"a","question":"fall-time","code":true}`})
	if want := `"source":"%%\n// typed into the form: s\nresult := 0.0 // your calculation`; !strings.Contains(got, want) {
		t.Errorf("the code is %s, want %s", got, want)
	}
	_, _, got = c.send(request{method: "POST", path: first + "/form", body: `{"tab":"a","question":"fall-time","code":false}`})
	if !strings.Contains(got, `"form":true`) || !strings.Contains(got, `"fields":{"number":"s","unit":"s"}`) {
		t.Errorf("back in the form: %s", got)
	}
}

// Uncertainties are read as they are meant, whatever the powers of ten.
func TestMeasured(t *testing.T) {
	c := call(t, labpage.Options{Labs: labs})
	c.enter()
	c.send(request{path: labPath + "?tab=a"})
	for fields, want := range map[string]string{
		`{"number":"572","u":"3","unit":"s"}`:             "572 ± 3 s",
		`{"number":"0.572","u":"0.003","unit":"ks"}`:      "0.572 ± 0.003 ks",
		`{"number":"572(3)","unit":"s"}`:                  "572 ± 3 s",
		`{"number":"5.72 × 10^2","u":"3","unit":"s"}`:     "572 ± 3 s",
		`{"number":"5.72e2","u":"0.3 × 10^1","unit":"s"}`: "572 ± 3 s",
		`{"number":"500","u":"1 %","unit":"s"}`:           "500 ± 5 s",
		`{"number":"572 s","u":"3 s","unit":"s"}`:         "572 ± 3 s",
		`{"number":"572s","u":"3","unit":"s"}`:            "572 ± 3 s",
		`{"number":"572","u":"3000 ms","unit":"s"}`:       "572 ± 3 s",
		`{"number":"572 s","u":"3 s","unit":""}`:          "572 ± 3 s",
		`{"number":"572 s","u":"3","unit":"min"}`:         "two units",
		`{"number":"2*286","u":"sqrt(9)","unit":"s"}`:     "572 ± 3 s",
		`{"number":"s","unit":"s"}`:                       "unreadable",
		`{"number":"572","u":"3","unit":""}`:              "unit",
		`{"number":"","u":"","unit":""}`:                  "blank",
	} {
		_, _, body := c.send(request{method: "POST", path: labPath + "/answer", body: `{"tab":"a","question":"period","fields":` + fields + `}`})
		var got struct{ Output string }
		if err := json.Unmarshal([]byte(body), &got); err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(got.Output, want) {
			t.Errorf("%s gives %s, want %s", fields, got.Output, want)
		}
	}
}

// The README's picture of the page is made with
//
//	go test ./gravlab/page -run TestApparatus -picture page.png
var picture = flag.String("picture", "", "write a picture of the page for the README to this file")

// The apparatus of a lab is shown beside the text and answers to its sliders;
// where the lab has none nothing is shown.
func TestApparatus(t *testing.T) {
	browsertest.Chromium(t) // or skipped, before anything is built
	clone, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	files := labpage.Apparatus(t.Context(), clone, t.TempDir(), func(s string) { t.Log(s) })
	if _, err := files("apparatus.js"); err != nil {
		t.Fatal(err)
	}
	r := enter(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: scripted{}, Web: browsertest.Built(t), Apparatus: files}, labs+first[4:]+".ipynb")
	r.waitFor(`document.querySelector("#apparatus[data-lab='01']").checkVisibility()`)
	r.shot("apparatus-light", false)
	// Further down the list of questions is in reach, and all that is to be read of
	// the apparatus is to be seen.
	r.do(chromedp.Evaluate[chromedp.Void](`scrollTo(0, 1500)`))
	if got := r.read(`[...document.querySelectorAll("#apparatus dd")].at(-1).getBoundingClientRect().bottom <= document.getElementById("apparatus").getBoundingClientRect().bottom`); got != "true" {
		t.Error("the last number of the apparatus lies below the edge of its panel")
	}
	r.click(".rail summary")
	r.do(chromedp.Evaluate[chromedp.Void](`document.querySelector(".rail li:nth-child(6) a").click()`))
	r.waitFor(`!document.querySelector(".rail details").open && scrollY > 1000`)
	if got := r.read(`(() => { const to = document.querySelector(":target").getBoundingClientRect(), bar = document.querySelector(".rail").getBoundingClientRect(); return bar.bottom <= to.top && to.top < 300 })()`); got != "true" {
		t.Error("a question chosen from the list is not to be seen")
	}
	r.do(chromedp.Evaluate[chromedp.Void](`scrollTo(0, 0)`))
	state := `document.querySelector("#apparatus .a-numbers").textContent + document.querySelector("#apparatus svg").innerHTML`
	r.do(chromedp.Evaluate[chromedp.Void](`document.querySelectorAll("#apparatus .a-buttons button").forEach((b) => { if (b.textContent === "Pause") b.click() })`))
	before := r.read(state)
	r.do(chromedp.Focus(chromedp.CSS("#apparatus input[type=range]")))
	r.do(chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(kb.ArrowRight))
	if after := r.read(state); after == before {
		t.Error("the slider changes neither number nor drawing")
	}
	if *picture != "" {
		r.look(1500, 900, "light")
		r.give("kappa-answer", map[string]string{"number": "6.3e-7", "unit": "N m/rad"}, "slip")
		r.do(chromedp.Evaluate[chromedp.Void](`document.activeElement.blur(), document.querySelector("#c-text-07").scrollIntoView()`))
		taken, err := os.ReadFile(r.shot("page", false))
		if err == nil {
			err = os.WriteFile(*picture, taken, 0o644)
		}
		if err != nil {
			t.Error(err)
		}
		r.look(1280, 900, "light")
	}
	if r.o.Web != "" {
		r.axe("apparatus, light")
		r.look(1280, 900, "dark")
		r.axe("apparatus, dark")
		r.shot("apparatus-dark", false)
	}
	r.look(1600, 900, "light")
	r.fits("apparatus, 1600 px")
	r.shot("apparatus-1600", false)
	r.look(768, 1024, "light")
	r.fits("apparatus, 768 px")
	r.do(chromedp.ScrollIntoView(chromedp.CSS("#apparatus")))
	r.shot("apparatus-768", false)
	r.look(320, 640, "light")
	r.fits("apparatus, 320 px")
	r.do(chromedp.ScrollIntoView(chromedp.CSS("#apparatus .a-controls")))
	r.shot("apparatus-320", false)
	r.open("/lab/13-water-and-ice")
	r.waitFor(`document.querySelector("#apparatus svg")`)
	// What it has recorded becomes a recording beside the working copy.
	r.open("/lab/01-weighing-the-earth")
	r.waitFor(`document.querySelector("#apparatus svg")`)
	r.await(`(async () => { for (const b of document.querySelectorAll("#apparatus button")) if (b.textContent === "Take this record") b.click(); return "clicked" })()`)
	r.waitFor(`document.querySelector("#apparatus [role=status]").textContent.includes("sheet.OwnRecording(\"apparatus-balance.csv\")")`)
	if text, err := os.ReadFile(filepath.Join(r.o.Data, "work", "apparatus-balance.csv")); err != nil || !strings.HasPrefix(string(text), "time (s),angle (mrad)\n") {
		t.Errorf("the record is %.60q, %v", text, err)
	}
}

// TestEveryLabHasApparatus: each lab has one, and no two scenes stand beside one lab.
func TestEveryLabHasApparatus(t *testing.T) {
	beside := map[string]int{}
	for _, s := range apparatus.Scenes() {
		for _, lab := range s.Labs {
			beside[lab]++
		}
	}
	for _, lab := range exercises.Labs() {
		if n := beside[lab.Number()]; n != 1 {
			t.Errorf("%d scenes stand beside lab %s", n, lab.Number())
		}
	}
}
