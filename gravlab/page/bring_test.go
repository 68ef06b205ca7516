package page_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/browsertest"
	"gravity.example/gravlab/notebook"
	labpage "gravity.example/gravlab/page"
)

const tableText = "time (s),spot (mm)\n0,1\n1,2\n2,3\n"

// A reader brings the notebook of their sheet, worked on elsewhere, and a recording; what they
// replace is kept. Whatever else is brought is refused with what to do, and changes nothing.
func TestBring(t *testing.T) {
	data := t.TempDir()
	c := call(t, labpage.Options{Labs: labs, Data: data, Runner: confined(t)})
	c.enter()
	work := filepath.Join(data, "work")
	lab := "01-weighing-the-earth"
	bring := func(name, text string) (int, string) {
		t.Helper()
		body, err := json.Marshal(map[string]string{"tab": "a", "name": name, "text": text})
		if err != nil {
			t.Fatal(err)
		}
		status, _, said := c.send(request{method: "POST", path: labPath + "/bring", body: string(body)})
		return status, said
	}
	c.send(request{path: labPath + "?tab=a"})
	c.send(request{method: "POST", path: labPath + "/save", body: `{"tab":"a","cells":{"code-06":"// written here"}}`})
	read := func() string {
		t.Helper()
		text, err := os.ReadFile(filepath.Join(work, lab+".ipynb"))
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	before := read()

	// What is not the notebook of this sheet.
	find, err := exercises.Find("01")
	if err != nil {
		t.Fatal(err)
	}
	other, err := notebook.Read("mine", []byte(before), notebook.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := find.Sheet(bank.NumberedCode(find.ID, 3)).Fill(other, false); err != nil {
		t.Fatal(err)
	}
	another, err := other.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	second, err := os.ReadFile(labs + "/02-settling-down.ipynb")
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct{ name, text, want string }{
		{"a.ipynb", "no JSON", "this file"},
		{"a.ipynb", `{"cells":[],"metadata":{},"nbformat":4,"nbformat_minor":5}`, "names no sheet"},
		{"a.ipynb", `{"nbformat":4,"cells":` + strings.Repeat("[", 100_000), "this file"},
		{"a.ipynb", string(another), "another sheet of this lab"},
		{"a.ipynb", string(second), "this file is lab 02"},
		{"a.ipynb", strings.Repeat(" ", 9<<20), "8 MB"},
		{"../own.csv", tableText, "needs a name"},
		{".csv", tableText, "needs a name"},
		{"own.csv", "time,spot\n0,1\n", "own.csv cannot be used"},
		{"swing.csv", tableText, "a recording of this sheet"},
	} {
		status, said := bring(x.name, x.text)
		if status < 400 || !strings.Contains(said, x.want) {
			t.Errorf("%s %.40q: %d %s, want %q", x.name, x.text, status, said, x.want)
		}
		if read() != before {
			t.Fatalf("%s %.40q has changed the working copy", x.name, x.text)
		}
	}

	// The same sheet, worked on elsewhere.
	mine, err := notebook.Read("mine", []byte(before), notebook.Options{})
	if err != nil {
		t.Fatal(err)
	}
	mine.Cell("code-06").Source = "// written elsewhere"
	text, err := mine.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	status, said := bring("a.ipynb", string(text))
	if status != 200 || !strings.Contains(said, "before-1.ipynb") || !strings.Contains(read(), "// written elsewhere") {
		t.Errorf("%d %s", status, said)
	}
	if kept, err := os.ReadFile(filepath.Join(work, lab+".before-1.ipynb")); err != nil || string(kept) != before {
		t.Errorf("what stood there was not kept: %v", err)
	}

	// A recording, twice; a box reads it, and it can be taken along.
	if status, said := bring("own.csv", tableText); status != 200 {
		t.Fatalf("%d %s", status, said)
	}
	if status, said := bring("own.csv", tableText+"3,4\n"); status != 200 || !strings.Contains(said, "own.before-1.csv") {
		t.Errorf("%d %s", status, said)
	}
	_, _, out := c.send(request{method: "POST", path: labPath + "/run", body: `{"tab":"a","cell":"code-06","source":"%%\nfmt.Println(sheet.OwnRecording(\"own.csv\").Column(\"spot\"))"}`})
	if !strings.Contains(out, "[0.001 0.002 0.003 0.004]") {
		t.Errorf("a box read %s", out)
	}
	if _, _, got := c.send(request{path: labPath + "/recording/own.csv"}); got != tableText+"3,4\n" {
		t.Errorf("taken along: %q", got)
	}
	if status, _, _ := c.send(request{path: labPath + "/recording/..%2f..%2fpage%2fplace.json"}); status != 404 {
		t.Errorf("a path was answered: %d", status)
	}
	if _, _, view := c.send(request{path: labPath + "?tab=a"}); !strings.Contains(view, `"beside":["own.csv"`) {
		t.Errorf("the page does not list it")
	}
}

// The page takes a file, says what became of it, and offers it to be taken along.
func TestBringOnPage(t *testing.T) {
	r := enter(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: scripted{}, Web: browsertest.Built(t)}, labs+first[4:]+".ipynb")
	choose := func(name, text string) {
		t.Helper()
		js, err := json.Marshal(text)
		if err != nil {
			t.Fatal(err)
		}
		r.do(chromedp.Evaluate[chromedp.Void](`(() => {
			const all = new DataTransfer()
			all.items.add(new File([` + string(js) + `], "` + name + `"))
			const input = document.getElementById("bring")
			input.files = all.files
			input.dispatchEvent(new Event("change"))
		})()`))
	}
	choose("mine.ipynb", "no notebook")
	r.waitFor(`document.querySelector(".ending [role=status]").textContent.startsWith("Not taken: ")`)
	r.do(chromedp.Evaluate[chromedp.Void](`document.querySelector(".ending").scrollIntoView()`))
	r.shot("bring-refused", false)
	choose("own-swing.csv", tableText)
	r.waitFor(`document.querySelector("#notice-brought")?.textContent.includes("own-swing.csv was taken.")`)
	r.ready()
	r.waitFor(`[...document.querySelectorAll(".ending button")].some((b) => b.textContent === "Save own-swing.csv")`)
	r.do(chromedp.Evaluate[chromedp.Void](`document.querySelector(".ending").scrollIntoView()`))
	r.shot("bring-taken", false)
	r.axe("a lab with a file that was brought")
}
