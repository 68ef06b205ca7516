package main

import (
	"bufio"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/browsertest"
	"gravity.example/gravlab/marking"
)

// A lecturer and three students by what README.md says alone: the command of "A lab hour" (for
// lab 00, at a free port), the cards, their browsers, a box that is run, the button that takes
// in, and the command that the lecturer's page shows, which makes the marks book.
func TestHourFromCardsToMarks(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("it ends the program by a signal")
	}
	timed := browsertest.Start(t, 4*time.Minute)
	dir := t.TempDir()
	readme, err := os.ReadFile("../../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	const line = "gravlab teach --class class.csv --lab 01,02 --data hour"
	if !strings.Contains(string(readme), "    "+line+"\n") {
		t.Fatalf("README.md does not have the line %q", line)
	}
	if err := os.WriteFile(filepath.Join(dir, "class.csv"), []byte("id,name\ns1,Ada Bell\ns2,Cleo Berg\ns3,Dan Eck\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	// This test's own program is gravlab under that name; see TestMain.
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	bin := filepath.Join(t.TempDir(), "gravlab")
	if err := os.Symlink(self, bin); err != nil {
		t.Fatal(err)
	}
	clone, err := filepath.Abs("../../..")
	if err != nil {
		t.Fatal(err)
	}
	gravlab := func(args ...string) *exec.Cmd {
		cmd := exec.Command(bin, args...)
		cmd.Dir = dir
		cmd.Env = append(os.Environ(), "GRAVLAB_CLONE="+clone, "GRAVLAB_DATA="+filepath.Join(dir, "data"))
		cmd.Stderr = os.Stderr
		return cmd
	}
	args := strings.Fields(strings.Replace(line, "01,02", "00", 1))[1:]
	teach := gravlab(append(args, "--listen", "127.0.0.1:0")...)
	out, err := teach.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := teach.Start(); err != nil {
		t.Fatal(err)
	}
	defer teach.Process.Kill()
	said := bufio.NewScanner(out)
	value := func(name string) string {
		for said.Scan() {
			if v, ok := strings.CutPrefix(said.Text(), name+": "); ok {
				return v
			}
		}
		t.Fatalf("the program does not say %s", name)
		return ""
	}
	students := value("students")
	ready := value("ready")
	cards, err := os.ReadFile(filepath.Join(dir, "hour", "cards.html"))
	if err != nil {
		t.Fatal(err)
	}
	codes := regexp.MustCompile(`class="code">([0-9A-Z-]+)<`).FindAllStringSubmatch(string(cards), -1)
	if len(codes) != 3 {
		t.Fatalf("%d cards", len(codes))
	}

	first, endFirst := chromedp.NewContext(timed)
	defer endFirst()
	if err := chromedp.Do(first); err != nil {
		t.Fatal(err)
	}
	open := func(address string) context.Context {
		t.Helper()
		ctx, end := chromedp.NewContext(first, chromedp.WithNewBrowserContext())
		t.Cleanup(end)
		if err := chromedp.Do(ctx, chromedp.Navigate(address)); err != nil {
			t.Fatal(err)
		}
		return ctx
	}
	do := func(ctx context.Context, js string) {
		t.Helper()
		if err := chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](js+"\n;0")); err != nil {
			t.Fatalf("%s: %v", js, err)
		}
	}
	see := func(ctx context.Context, js string) {
		t.Helper()
		if !browsertest.Sees(ctx, js) {
			t.Fatalf("waited in vain for %s (see %s)", js, browsertest.Shot(ctx, t, "failed", false))
		}
	}
	lecturer := open(ready)
	see(lecturer, `document.body.innerText.includes("0 of 3 here")`)
	lab, err := exercises.Find("00")
	if err != nil {
		t.Fatal(err)
	}
	key, _, err := marking.ReadKey(filepath.Join(dir, "class.key"))
	if err != nil {
		t.Fatal(err)
	}
	for i, id := range []string{"s1", "s2", "s3"} {
		sheet := lab.Sheet(bank.StudentCode(key, lab.ID, id, ""))
		q, ok := sheet.Question("fall-time")
		if !ok {
			t.Fatal("lab 00 has no question fall-time")
		}
		number, err := json.Marshal(fmt.Sprintf("%.6g", sheet.RightAnswers()["fall-time"]))
		if err != nil {
			t.Fatal(err)
		}
		w := open(students + "/#code=" + codes[i][1])
		see(w, `document.querySelector("a[href='/lab/`+lab.ID+`']")`)
		do(w, `document.querySelector("a[href='/lab/`+lab.ID+`']").click()`)
		see(w, `document.querySelector("main").dataset.ready === "yes"`)
		do(w, `(() => { const f = document.querySelector("#c-fall-time-answer form"); f.elements.number.value = `+string(number)+`; f.elements.unit.value = "`+q.Unit+`"; f.dispatchEvent(new Event("input")); f.requestSubmit() })()`)
		see(w, `document.querySelector("#c-fall-time-answer .verdict .outcome")?.textContent.includes("right")`)
		if i == 0 {
			do(w, `document.querySelector("#c-code-05 .run").click()`)
			see(w, `(() => { const o = document.querySelector("#c-code-05 .output"); return o && !o.hasAttribute("aria-busy") && o.innerText.trim() !== "" })()`)
		}
		see(lecturer, `document.querySelector("[data-student=`+id+`] [data-q=fall-time]").dataset.outcome === "right"`)
	}
	do(lecturer, `document.getElementById("take").click()`)
	do(lecturer, `document.querySelector(".sure button").click()`)
	see(lecturer, `document.querySelector(".taken")?.innerText.includes("3 notebooks taken in")`)
	command, err := chromedp.Run(lecturer, chromedp.Evaluate[string](`document.querySelector(".taken pre").textContent`))
	if err != nil {
		t.Fatal(err)
	}
	if err := teach.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	if err := teach.Wait(); err != nil {
		t.Error(err)
	}

	words := strings.Fields(command)
	if len(words) == 0 || words[0] != "gravlab" {
		t.Fatalf("the lecturer is shown %q", command)
	}
	if err := gravlab(words[1:]...).Run(); err != nil {
		t.Fatalf("%s: %v", command, err)
	}
	f, err := os.Open(filepath.Join(dir, "marks-00", "marks.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := -1
	for i, h := range rows[0] {
		if h == "fall-time" {
			column = i
		}
	}
	q, _ := lab.Sheet("").Question("fall-time")
	marked := 0
	for _, r := range rows[1:] {
		if column >= 0 && strings.HasPrefix(r[0], "s") && r[column] == fmt.Sprint(q.Marks) {
			marked++
		}
	}
	if marked != 3 {
		t.Errorf("%d of 3 have their marks: %q", marked, rows)
	}
}
