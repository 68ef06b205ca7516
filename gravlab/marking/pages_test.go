package marking

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/quantity"
)

// slipped is a run in which every answer is a slip, the first wrong option, or a long text.
func slipped(t *testing.T, sheet bank.Sheet) run {
	t.Helper()
	var r run
	right := sheet.RightAnswers()
	for _, q := range sheet.Questions {
		var a judge.Answer
		switch q.Kind {
		case judge.KindChoice:
			for _, o := range q.Options {
				if !o.Right {
					a.Text = o.Letter
				}
			}
		case judge.KindText:
			a.Text = strings.Repeat("The bench shook and the beam swung with it. ", 60)
		case judge.KindNumber, judge.KindMeasured:
			unit, err := quantity.ParseUnit(q.Unit)
			if err != nil {
				t.Fatal(err)
			}
			v := 1.3 * right[q.ID]
			if len(q.Slips) > 0 {
				v = q.Slips[0].Value(right)
			}
			if a.Value, a.Unit = v/unit.SI(), q.Unit; q.U != nil {
				a.U = q.U() / unit.SI()
			}
		default:
			continue
		}
		r.Given = append(r.Given, labserver.Entry{Question: q.ID, Answer: a})
	}
	return r
}

// The short form has two pages at most (A4), whatever is wrong on a sealed sheet: printed by a
// browser. GRAVLAB_LONG prints all labs, else the one with the most to say.
func TestShortIsTwoPages(t *testing.T) {
	browser, err := exec.LookPath("chromium")
	if err != nil && os.Getenv("CI") != "" {
		t.Fatal("CI must have Chromium (Debian's package chromium)")
	}
	if err != nil {
		t.Skip("needs chromium: ", err)
	}
	if testing.Short() {
		t.Skip("prints a page with a browser")
	}
	key := []byte("a key for tests, of 32 bytes ...")
	for _, lab := range exercises.Labs() {
		if lab.ID == swingLab.ID || os.Getenv("GRAVLAB_LONG") == "" && lab.Number() != "01" {
			continue
		}
		dir := t.TempDir()
		for _, form := range replyForms {
			if err := os.MkdirAll(filepath.Join(dir, "replies", form), 0o700); err != nil {
				t.Fatal(err)
			}
		}
		student := Student{ID: "s1", Name: "Zoë Brûlé-Ångström"}
		code := bank.SealedCode(key, lab.ID, student.ID, "")
		b := &marksBook{k: &marker{Marking: Marking{Class: Class{Students: []Student{student}}, Key: key, Out: dir}}, lab: lab}
		r := &row{student: student, code: code, item: &item{}}
		sheet := b.sheet(r)
		ran := slipped(t, sheet)
		j := verdicts(sheet, ran, nil)
		for _, v := range j.Verdicts {
			r.cells = append(r.cells, cell{outcome: v.Entry.Verdict.Outcome, slip: v.Entry.Verdict.Slip, BookMark: BookMark{Counts: true}})
		}
		if err := b.replies(r, ran, j.Verdicts, nil); err != nil {
			t.Fatal(err)
		}
		pdf := filepath.Join(dir, "short.pdf")
		out, err := exec.Command(browser, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer", "--user-data-dir="+filepath.Join(dir, "browser"), "--print-to-pdf="+pdf, "file://"+b.replyPath(ShortReply, "s1")).CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		text, err := os.ReadFile(pdf)
		if err != nil {
			t.Fatal(err)
		}
		pages := len(regexp.MustCompile(`/Type\s*/Page[^s]`).FindAll(text, -1))
		if pages < 1 || pages > 2 {
			t.Errorf("lab %s: the short form of %d questions has %d pages", lab.Number(), len(sheet.Questions), pages)
		}
		if !bytes.Contains(text, []byte("%PDF")) {
			t.Error("nothing was printed")
		}
		t.Logf("lab %s: %d questions on %d pages", lab.Number(), len(sheet.Questions), pages)
	}
}
