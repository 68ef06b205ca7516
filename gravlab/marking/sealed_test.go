package marking

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/notebook"
)

// fullSealed is full with the two texts that only sealed sheets have, not written.
const fullSealed = "2 3 4 2 1  0 0 12"

// sealedRoom is a class with sealed sheets handed out.
func sealedRoom(t *testing.T, lab bank.Lab, n int) *classroom {
	t.Helper()
	c := newClassroom(t, lab, n)
	c.Records = filepath.Join(c.dir, "class.key")
	h := c.handout()
	if kept, err := h.Write(t.Context()); err != nil || len(kept) > 0 {
		t.Fatal(kept, err)
	}
	return c
}

func (c *classroom) handout() Handout {
	return Handout{Class: c.Class, Lab: c.lab, Notebook: PlainNotebook(c.lab), Key: c.Key, Out: filepath.Join(c.dir, "handout"),
		Assessed: true, Record: KeptPath(c.Records, c.lab, "", true)}
}

// sealed is the sealed sheet of a student, as the lecturer knows it.
func (c *classroom) sealed(i int) bank.Sheet {
	id := c.Class.Students[i].ID
	return sheetOf(c.lab, c.Key, id, "", bank.SealedCode(c.Key, c.lab.ID, id, ""))
}

// handedOut is a student's notebook, with answers in its cells.
func (c *classroom) handedOut(i int, s sources) []byte {
	c.t.Helper()
	nb, err := notebook.ReadFile(filepath.Join(c.dir, "handout", c.Class.Students[i].ID, c.lab.ID+".ipynb"), notebook.Options{})
	if err != nil {
		c.t.Fatal(err)
	}
	for id, source := range s {
		nb.Question(c.lab.FullID(id), notebook.Answer).Source = source
	}
	text, err := nb.Bytes()
	if err != nil {
		c.t.Fatal(err)
	}
	return text
}

// given is a file of a student's folder as it was handed out.
func (c *classroom) given(i int, name string) []byte {
	c.t.Helper()
	text, err := os.ReadFile(filepath.Join(c.dir, "handout", c.Class.Students[i].ID, name))
	if err != nil {
		c.t.Fatal(err)
	}
	return text
}

func TestSealed(t *testing.T) {
	c := sealedRoom(t, swingLab, 5)
	p := c.sealed(0)
	nb := string(c.handedOut(0, nil))
	if !strings.Contains(nb, `ask.Assessed(\"90-swing\", \"`+string(p.Code)+`\")`) || !p.Code.Sealed() {
		t.Errorf("the notebook does not declare the sealed sheet %s", p.Code)
	}
	if p.Questions[0].Prompt == c.sheet(0).Questions[0].Prompt && c.sealed(1).Questions[0].Prompt == c.sheet(1).Questions[0].Prompt {
		t.Error("the sealed sheets have the numbers of the practice sheets")
	}
	// Right, from the sheet's own recording; the file beside it changed; somebody else's;
	// the practice sheet; a slip.
	c.hand("s01/a.ipynb", c.handedOut(0, worked(p)))
	c.hand("s02/a.ipynb", c.handedOut(1, worked(c.sealed(1))))
	c.hand("s02/swing.csv", []byte(strings.Replace(string(c.given(1, "swing.csv")), "0.1,", "0.1,9", 1)))
	c.hand("s03/a.ipynb", c.handedOut(2, worked(c.sealed(2))))
	c.hand("s03/swing.csv", c.given(0, "swing.csv"))
	c.hand("s04/a.ipynb", answered(t, c.sheet(3), worked(c.sheet(3))))
	c.hand("s05/a.ipynb", c.handedOut(4, worked(c.sealed(4)).with("period", gives("period", right(c.sealed(4), "period", 0.5), "s"))))
	c.hand("s05/swing.csv", c.given(4, "swing.csv"))
	if s := c.mark(); s.Marked != 4 || s.Unusable != 1 {
		t.Errorf("%+v", s)
	}
	for _, id := range []string{"s01", "s02", "s03"} {
		c.wantMarks(id, fullSealed)
	}
	c.wantMarks("s05", "0 3 4 2 1  0 0 10")
	for _, id := range []string{"s02", "s03"} {
		c.wantRemark(id, "swing.csv beside it is not the recording of this sheet")
	}
	c.wantRemark("s04", "is the practice sheet of s04")
	for _, row := range c.rows("remarks.csv") {
		if (row[0] == "s01" || row[0] == "s05") && !strings.Contains(row[6], "worked solution") {
			t.Errorf("an honest sheet has the remark %q", row)
		}
	}
	books := c.books()
	c.mark()
	sameBooks(t, "marked again", c.books(), books)

	// Another key belongs to nobody's sheet, and says so.
	m := c.Marking
	m.Key, m.Records, m.Out = []byte("another key"), "", filepath.Join(c.dir, "other")
	if _, err := Mark(t.Context(), m); !IsInput(err) || !strings.Contains(err.Error(), "holds no sheet of this class") {
		t.Errorf("with another key: %v", err)
	}
}

// Without its key a sealed sheet tells nothing that depends on its numbers.
func TestSealedTellsNothing(t *testing.T) {
	c := sealedRoom(t, swingLab, 2)
	public := swingLab.Sheet(c.sealed(0).Code)
	for _, q := range public.Questions {
		if q.Solve != nil || q.U != nil || len(q.Slips) > 0 || q.Worked != "" || q.Fields != nil || slices.ContainsFunc(q.Options, func(o judge.Option) bool { return o.Right }) {
			t.Errorf("%s holds more than what everybody may know", q.ID)
		}
	}
	if _, err := public.Recordings[0].Make(); !errors.Is(err, bank.ErrSealed) {
		t.Errorf("its recording: %v", err)
	}
	a, err := public.Fingerprints()
	if err != nil {
		t.Fatal(err)
	}
	b, err := swingLab.Sheet(c.sealed(1).Code).Fingerprints()
	if err != nil || !maps.Equal(a, b) {
		t.Errorf("the fingerprints that travel depend on the sheet: %v", err)
	}
	full, err := c.sealed(0).Fingerprints()
	if err != nil {
		t.Fatal(err)
	}
	for _, print := range full {
		if strings.Contains(string(c.handedOut(0, nil)), print) {
			t.Errorf("the notebook holds %s, by which a right answer can be searched for", print)
		}
	}
	nb, err := notebook.Read("a.ipynb", c.handedOut(0, nil), notebook.Options{})
	if err != nil {
		t.Fatal(err)
	}
	worded, ok, err := exercises.SheetOf(nb)
	if err != nil || !ok {
		t.Fatal(ok, err)
	}
	for i, q := range worded.Questions {
		if q.Text() != c.sealed(0).Questions[i].Text() {
			t.Errorf("%s read back from the notebook:\n%s\nwant\n%s", q.ID, q.Text(), c.sealed(0).Questions[i].Text())
		}
	}
	if _, err := worded.Fill(nb, true); !errors.Is(err, bank.ErrSealed) {
		t.Errorf("filled with worked solutions: %v", err)
	}
}

// A lab that was handed out stays the one that is marked.
func TestChangedBank(t *testing.T) {
	c := sealedRoom(t, swingLab, 3)
	c.hand("s01/a.ipynb", c.handedOut(0, worked(c.sealed(0))))
	c.mark()
	c.wantMarks("s01", fullSealed)
	books := c.books()

	defer exercises.Add(swingLab)
	other := swingLab
	other.Build = func(d *bank.Draw) bank.Sheet {
		s := buildSwing(d)
		for i := range s.Questions {
			switch q := &s.Questions[i]; q.ID {
			case "period":
				solve := q.Solve
				q.Solve = func(a bank.Answers) float64 { return 1.001 * solve(a) }
			case "mass":
				q.Hints[0] = "Another word."
			}
		}
		return s
	}
	if err := exercises.Add(other); err != nil {
		t.Fatal(err)
	}
	_, err := Mark(t.Context(), c.Marking)
	var changed *ChangedBank
	if !errors.As(err, &changed) || !strings.Contains(err.Error(), "period (3 sheets)") || strings.Contains(err.Error(), "mass") || !strings.Contains(err.Error(), "--judge-again") {
		t.Fatalf("marked with another bank: %v", err)
	}
	sameBooks(t, "stopped", c.books(), books)
	// Handing out to a late joiner with it would give two labs to one class.
	h := c.handout()
	h.Lab = other
	if _, err := h.Write(t.Context()); !IsInput(err) || !strings.Contains(err.Error(), "period") {
		t.Errorf("handed out with another bank: %v", err)
	}
	// The lecturer may say so, and need not say it again.
	c.JudgeAgain = true
	c.mark()
	c.JudgeAgain = false
	c.mark()
	c.wantRemark("", "and you had it judged anew")

	// A change of words alone is none.
	words := swingLab
	words.Build = func(d *bank.Draw) bank.Sheet {
		s := buildSwing(d)
		s.Questions[0].Hints[0], s.Questions[0].Title = "Another hint.", "Another title"
		return s
	}
	if err := exercises.Add(words); err != nil {
		t.Fatal(err)
	}
	c.mark()
	if err := exercises.Add(swingLab); err != nil {
		t.Fatal(err)
	}
	// A record that was changed by hand.
	path := KeptPath(c.Records, c.lab, "", true)
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(strings.Replace(string(text), `"Sealed": true`, `"Sealed": yes`, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Mark(t.Context(), c.Marking); !IsInput(err) || !strings.Contains(err.Error(), "line 4") {
		t.Errorf("a record that was changed by hand: %v", err)
	}
}

// A resit has other sheets, which belong to nobody at the first marking and the other way
// round.
func TestResit(t *testing.T) {
	c := sealedRoom(t, swingLab, 2)
	h := c.handout()
	h.Word, h.Out = "resit", filepath.Join(c.dir, "resit")
	h.Record = KeptPath(c.Records, c.lab, h.Word, true)
	if _, err := h.Write(t.Context()); err != nil {
		t.Fatal(err)
	}
	id := "s01"
	again := sheetOf(c.lab, c.Key, id, "resit", bank.SealedCode(c.Key, c.lab.ID, id, "resit"))
	if again.Code == c.sealed(0).Code || again.RightAnswers()["rest"] == c.sealed(0).RightAnswers()["rest"] {
		t.Error("the resit has the sheets of the first time")
	}
	c.hand("s01/a.ipynb", answered(t, again, worked(again)))
	c.Word = "resit"
	c.mark()
	c.wantMarks(id, fullSealed)
	m := c.Marking
	m.Word, m.Out = "", filepath.Join(c.dir, "first")
	if _, err := Mark(t.Context(), m); !IsInput(err) {
		t.Errorf("a resit marked as the first time: %v", err)
	}
}

// A sheet that would be judged unfairly is not handed out, and nothing is written.
func TestHandoutChecksSheets(t *testing.T) {
	c := newClassroom(t, swingLab, 3)
	lab := swingLab
	lab.Build = func(d *bank.Draw) bank.Sheet {
		s := buildSwing(d)
		s.Questions[0].Solve = func(bank.Answers) float64 { return 0 }
		return s
	}
	c.lab = lab
	h := c.handout()
	if _, err := h.Write(t.Context()); !IsInput(err) || !strings.Contains(err.Error(), "student s01") || !strings.Contains(err.Error(), "90/period") {
		t.Errorf("a sheet whose right answer is 0: %v", err)
	}
	if _, err := os.Stat(h.Out); err == nil {
		t.Error("a folder was written")
	}
}

// A late joiner gets a sheet of the same handout; those of the others stay.
func TestLateJoiner(t *testing.T) {
	c := sealedRoom(t, swingLab, 2)
	before := string(c.given(0, swingLab.ID+".ipynb"))
	c.Class.Students = append(c.Class.Students, Student{ID: "late", Name: "Tom Late"})
	if kept, err := c.handout().Write(t.Context()); err != nil || len(kept) > 0 {
		t.Fatal(kept, err)
	}
	if string(c.given(0, swingLab.ID+".ipynb")) != before {
		t.Error("another student's sheet has changed")
	}
	c.hand("late/a.ipynb", c.handedOut(2, worked(c.sealed(2))))
	c.mark()
	c.wantMarks("late", fullSealed)
}

// The page for reading shows text and rubric and no name, and what it saves is taken in.
func TestByEyePage(t *testing.T) {
	c := sealedRoom(t, swingLab, 2)
	for i, text := range []string{"Air moves the bob.", "=The hook slips & <b>turns</b>.</script>"} {
		s := worked(c.sealed(i))
		delete(s, "why")
		c.hand(c.Class.Students[i].ID+"/a.ipynb", c.handedOut(i, s.with("fooled", fmt.Sprintf("%%%%\nsheet.Words(\"fooled\", %q)", text))))
	}
	c.mark()
	page := c.file("by-eye.html")
	shown, hidden, _ := strings.Cut(page, `<script type="application/json"`)
	for _, part := range []string{"Air moves the bob.", "The hook slips &amp; &lt;b&gt;turns", "Two things that belong to this apparatus", "marks, 0 to 4", "Name two things in this lab"} {
		if !strings.Contains(shown, part) {
			t.Errorf("the page does not show %q", part)
		}
	}
	for _, s := range c.Class.Students {
		if strings.Contains(shown, s.ID) || strings.Contains(shown, s.Name) {
			t.Errorf("the page shows who %s is", s.ID)
		}
	}
	if strings.Count(page, "</script>") != 2 {
		t.Error("a text ends the page's data")
	}
	_, data, _ := strings.Cut(hidden, ">")
	data, _, _ = strings.Cut(data, "</script>")
	var d struct {
		Header []string
		Rows   [][]string
	}
	if err := json.Unmarshal([]byte(data), &d); err != nil || len(d.Rows) != 2 {
		t.Fatal(err, d)
	}
	// As byeye.js writes it.
	cells := func(row []string) string {
		for i := range row {
			row[i] = `"` + strings.ReplaceAll(row[i], `"`, `""`) + `"`
		}
		return strings.Join(row, ",") + "\r\n"
	}
	saved := cells(d.Header)
	for i, row := range d.Rows {
		row[6], row[7] = []string{"2.5", "4"}[i], "well seen"
		saved += cells(row)
	}
	if err := os.WriteFile(filepath.Join(c.Out, byEyeName), []byte(saved), 0o600); err != nil {
		t.Fatal(err)
	}
	c.mark()
	c.wantMarks("s01", "2 3 4 2 1 0 2.5 0 14.5")
	c.wantMarks("s02", "2 3 4 2 1 0 4 0 16")
	if !strings.Contains(c.file("replies/s01.html"), "well seen") {
		t.Error("the reply does not have the reader's word")
	}
}
