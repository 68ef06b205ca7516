package marking

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
)

// An evening of its own for one class of four: marks, by eye, by the lecturer's own
// word, and again with another bank.
func TestEvening(t *testing.T) {
	c := newClassroom(t, swingLab, 5)
	put := func(name, text string) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(c.Out, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	c.hand("s01/a.ipynb", answered(t, c.sheet(0), worked(c.sheet(0))))
	c.hand("s02/a.ipynb", answered(t, c.sheet(1), worked(c.sheet(1)).with("period", gives("period", right(c.sheet(1), "period", 1.02), "s"))))
	c.hand("s03/old.ipynb", answered(t, c.sheet(2), nil))
	c.hand("s03/new.ipynb", answered(t, c.sheet(2), worked(c.sheet(2))))
	c.hand("s04/a.ipynb", answered(t, c.sheet(3), worked(c.sheet(3)).with("law", "func law(x float64) float64 { return x }\n\n%%\nsheet.Function(\"law\", law)")))
	s := c.mark()
	if s.Marked != 3 || s.Unmarked != 1 || s.Missing != 1 || s.Waiting != 3 || s.Ran != 5 {
		t.Errorf("%+v", s)
	}
	// 2 % off is off, and g follows from it.
	c.wantMarks("s02", "0 3 4 2 1  10")

	// Texts get their marks in by-eye.csv.
	text := c.file("by-eye.csv")
	text = strings.Replace(text, textID("Heavy and inert mass are the same.")+",,", textID("Heavy and inert mass are the same.")+`,2.5,"-short, but right"`, 1)
	put("by-eye.csv", text)
	c.mark()
	c.wantMarks("s01", "2 3 4 2 1 2.5 14.5")
	if reply := c.file("replies/s01.html"); !strings.Contains(reply, "Read by your lecturer") || !strings.Contains(reply, "-short, but right") {
		t.Error("the reply does not say what the lecturer says")
	}
	c.mark() // and it stays
	c.wantMarks("s01", "2 3 4 2 1 2.5 14.5")

	// A text that is not the one that was read waits again.
	c.hand("s01/a.ipynb", answered(t, c.sheet(0), worked(c.sheet(0)).with("why", "%%\nsheet.Words(\"why\", \"Another text.\")")))
	if s := c.mark(); s.Ran != 1 {
		t.Errorf("%d files were run, want the changed one", s.Ran)
	}
	c.wantMarks("s01", full)
	c.wantRemark("s01", "not the one that was marked: that had 2.5")
	if !strings.Contains(c.file("by-eye.csv"), ",2.5,") {
		t.Error("by-eye.csv has lost marks that somebody gave")
	}

	// The lecturer's own word comes last, and names the file that counts.
	print := ""
	for _, row := range c.rows("remarks.csv") {
		if row[0] == "s03" && row[2] == "new.ipynb" {
			print = row[3]
		}
	}
	put("adjust.csv", "id;question;marks;reason\ns03;file;"+print+";the newer one\ns01;why;3;read on paper\ns04;90/law;0,5;half an idea\ns05;mass;1;told me\n")
	s = c.mark()
	if s.Ran != 0 || s.Unmarked != 0 || s.Marked != 4 {
		t.Errorf("%+v", s)
	}
	c.wantMarks("s01", "2 3 4 2 1 3 15")
	c.wantMarks("s03", full)
	c.wantMarks("s04", "2 3 4 0.5 1  10.5")
	c.wantMarks("s05", "    1  1")
	c.wantRemark("s03", "does not count: adjust.csv names another file")
	c.wantRemark("s04", "gives 0.5 for law instead of 0: half an idea")
	for id, part := range map[string]string{"s04": "Changed by your lecturer</strong> to 0.5 of 2: half an idea", "s05": "told me"} {
		if !strings.Contains(c.file("replies/"+id+".html"), part) {
			t.Errorf("the reply to %s does not say %q", id, part)
		}
	}
	for bad, want := range map[string]string{
		"id,question,marks\n":                                    `no column "reason"`,
		"id,question,marks,reason\nnobody,law,1,x\n":             "no student",
		"id,question,marks,reason\ns01,no,1,x\n":                 "no question",
		"id,question,marks,reason\ns01,law,3,x\n":                "0 to 2",
		"id,question,marks,reason\ns01,law,x,x\n":                "0 to 2",
		"id,question,marks,reason\ns01,law,1,x\ns01,law,2,x\n":   "second marks",
		"id,question,marks,reason\ns01,file,the newer one,why\n": "fingerprint",
	} {
		m := c.Marking
		m.Adjust = write(t, bad)
		if _, err := Mark(t.Context(), m); !IsInput(err) || !strings.Contains(err.Error(), want) {
			t.Errorf("adjust.csv %q: %v, want %q", bad, err, want)
		}
	}
	if err := os.Remove(filepath.Join(c.Out, "adjust.csv")); err != nil {
		t.Fatal(err)
	}

	// Another tolerance: the stored answers are judged again, and nothing is run.
	defer exercises.Add(swingLab)
	wider := func(q *bank.Question) { q.Tol.Rel = 0.03 }
	addChanged(t, "period", wider)
	c.Start = func(context.Context) (Runner, error) { return nil, errors.New("something is run") }
	for _, again := range []bool{true, false} {
		c.JudgeAgain = again
		c.mark()
		c.wantMarks("s02", "2 3 4 2 1  12")
	}
	// Other points for a function need a run.
	addChanged(t, "law", func(q *bank.Question) {
		f := *q.Function
		f.Calls = [][]float64{{3}, {4}}
		q.Function = &f
	})
	c.JudgeAgain = true
	if _, err := Mark(t.Context(), c.Marking); err == nil || !strings.Contains(err.Error(), "without --judge-again") {
		t.Errorf("judged again at other points: %v", err)
	}
	c.JudgeAgain, c.Start = false, start
	if s := c.mark(); s.Ran != 5 {
		t.Errorf("%d files were run at the new points, want 5", s.Ran)
	}
	c.wantMarks("s02", "0 3 4 2 1  10")
	// A new file has to be run too.
	c.hand("s05/a.ipynb", answered(t, c.sheet(4), worked(c.sheet(4))))
	c.JudgeAgain = true
	c.mark()
	c.wantMarks("s05", "      ")
	c.wantRemark("", "has not been run yet")
}

// addChanged puts a changed swing lab into the bank.
func addChanged(t *testing.T, question string, change func(*bank.Question)) {
	t.Helper()
	l := swingLab
	l.Build = func(d *bank.Draw) bank.Sheet {
		p := buildSwing(d)
		for i := range p.Questions {
			if p.Questions[i].ID == question {
				change(&p.Questions[i])
			}
		}
		return p
	}
	if err := exercises.Add(l); err != nil {
		t.Fatal(err)
	}
}

// Own recordings reach the program by name, and are judged by the lecturer's
// reference.
func TestReference(t *testing.T) {
	c := newClassroom(t, swingLab, 5)
	own := "%%\nr := sheet.OwnRecording(\"own.csv\")\nx := r.Column(\"angle\")\nsheet.Measured(\"rest\", (x[0]+x[1])/2*1000, UUU, \"mrad\")"
	c.hand(c.Class.Students[4].ID+"/a.ipynb", answered(t, c.sheet(4), worked(c.sheet(4)).with("period", "%%", "g", "%%", "law", "%%", "mass", "%%", "why", "%%")))
	for i, h := range []struct{ u, csv string }{
		{"0.2", "time (s),angle (mrad)\n0,15.1\n1,15.3\n"},  // agrees
		{"0.02", "time (s),angle (mrad)\n0,15.1\n1,15.3\n"}, // too sure of it
		{"0.2", "time (s),angle (mrad)\n0,17\n1,17\n"},      // does not agree
		{"0.2", ""}, // hands in no recording
	} {
		id := c.Class.Students[i].ID
		c.hand(id+"/a.ipynb", answered(t, c.sheet(i), sources{"rest": strings.ReplaceAll(own, "UUU", h.u)}))
		if h.csv != "" {
			c.hand(id+"/own.csv", []byte(h.csv))
		}
	}
	c.Reference = write(t, "id,question,value,u,unit,allowed\n*,90/rest,0.0150,0.0001,rad,0.00025\ns03,rest,15,0.1,mrad,0.25\n")
	s := c.mark()
	if s.Ran != 5 {
		t.Errorf("%+v", s)
	}
	for id, want := range map[string]string{"s01": "0 0 4 0 0 0 4", "s02": "0 0 2 0 0 0 2", "s03": "0 0 0 0 0 0 0", "s04": "0 0 0 0 0 0 0"} {
		c.wantMarks(id, want)
	}
	c.wantRemark("s04", "no files were handed in")
	c.wantMarks("s05", "0 0 0 0 0 0 0")
	c.wantRemark("s05", "rest fits the virtual recording of this sheet and not your reference")
	if n := strings.Count(c.file("remarks.csv"), "fits the virtual recording"); n != 1 {
		t.Errorf("%d answers are said to fit the virtual recording, want that of s05 alone", n)
	}
	if reply := c.file("replies/s01.html"); !strings.Contains(reply, "E_n = ") || !strings.Contains(reply, "your lecturer&#39;s own value") && !strings.Contains(reply, "your lecturer's own value") {
		t.Error("the reply does not show the reference")
	}
	// Another recording is another run.
	c.hand("s03/own.csv", []byte("time (s),angle (mrad)\n0,15\n1,15\n"))
	if s := c.mark(); s.Ran != 1 {
		t.Errorf("%d files were run, want the one with the changed recording", s.Ran)
	}
	c.wantMarks("s03", "0 0 4 0 0 0 4")
	// Another reference needs none.
	c.Reference = write(t, "id,question,value,u,unit\n*,rest,12,0.1,mrad\n")
	if s := c.mark(); s.Ran != 0 || len(s.Changed) != 4 {
		t.Errorf("for another reference %d files were run and %q have other marks, want 0 and 4", s.Ran, s.Changed)
	}
	if s := c.mark(); len(s.Changed) != 0 {
		t.Errorf("marked again, %q have other marks", s.Changed)
	}
	c.wantMarks("s01", "0 0 0 0 0 0 0")
	for bad, want := range map[string]string{
		"id,question,value,u,unit\n*,mass,1,1,s\n":                                        "answered with a number",
		"id,question,value,u,unit\nx,rest,1,1,rad\n":                                      "no student",
		"id,question,value,u,unit\n*,rest,1,1,kg\n":                                       "unit",
		"id,question,value,u,unit\n*,rest,1,-1,rad\n":                                     "needs a number",
		"id,question,value,u,unit\n*,rest,1,0,rad\n":                                      "needs a number",
		"id,question,value,u,unit\n*,rest,1e308,1,Grad\n":                                 "too large or too small",
		"id,question,value,u,unit\n*,rest,1,1e308,Grad\n":                                 "too large or too small",
		"id,question,value,u,unit,allowed\n*,rest,1,1,nrad,1e-320\n":                      "too large or too small",
		"id,question,value,u,unit\n*,rest,NaN,1,rad\n":                                    "needs a number",
		"id,question,value,u,unit\n*,rest,1,+Inf,rad\n":                                   "needs a number",
		"id,question,value,u,unit\n=cmd(),rest,1,1,rad\n":                                 "no student",
		"id,question,value,u,unit\n*,rest,1,1,\"" + strings.Repeat("m", 100_000) + "\"\n": "unit",
		"id,question,value,u,unit\n*,rest,1,1,rad\n*,90/rest,1,1,mrad\n":                  "second reference",
	} {
		if _, err := readReferences(write(t, bad), swingLab.Sheet(""), c.Class); !IsInput(err) || !strings.Contains(err.Error(), want) {
			t.Errorf("reference.csv %q: %v, want %q", bad, err, want)
		}
	}
}

// The bounds of the judgement by a reference: E_n of 1, and a factor of 3.
func TestReferenceBounds(t *testing.T) {
	q, _ := swingLab.Sheet("").Question("rest")
	ref := reference{Question: "rest", Value: 0.010, U: 0.0003, Allowed: 0.0004, Unit: "mrad"}
	for _, c := range []struct {
		value, u float64 // mrad
		want     judge.Outcome
		marks    int
	}{
		{10, 0.4, judge.OutcomeRight, 4},
		{10.999, 0.4, judge.OutcomeRight, 4}, // 2·sqrt(0.3² + 0.4²) = 1
		{11.001, 0.4, judge.OutcomeOff, 0},
		{9.001, 0.4, judge.OutcomeRight, 4},
		{10, 1.199, judge.OutcomeRight, 4},
		{10, 1.201, judge.OutcomeOff, 2},
		{10, 0.134, judge.OutcomeRight, 4},
		{10, 0.133, judge.OutcomeOff, 2},
		{10, 0, judge.OutcomeOff, 2},
		{10, -0.4, judge.OutcomeOff, 2},
		{-10, 0.4, judge.OutcomeSlip, 0},
		{1000, 0.4, judge.OutcomeOff, 0}, // its digits say little where 12 % are allowed
	} {
		v := ref.judge(q, judge.Answer{Value: c.value, U: c.u, Unit: "mrad"})
		if v.Outcome != c.want || v.Marks != c.marks {
			t.Errorf("%g ± %g: %s with %d marks, want %s with %d: %s", c.value, c.u, v.Outcome, v.Marks, c.want, c.marks, v.Message)
		}
	}
	for _, a := range []judge.Answer{{Typed: true, Text: "10.2(4) mrad"}, {Value: 0.0102, U: 0.0004, Unit: "rad"}} {
		if v := ref.judge(q, a); v.Outcome != judge.OutcomeRight || v.SI != 0.0102 {
			t.Errorf("%+v: %+v", a, v)
		}
	}
	for _, a := range []judge.Answer{{}, {Typed: true, Text: "ten"}, {Value: 10, U: 0.4}, {Value: 10, U: 1, Unit: "kg"}} {
		if v := ref.judge(q, a); v.Marks > 2 || v.Outcome == judge.OutcomeRight {
			t.Errorf("%+v: %+v", a, v)
		}
	}
}

// Stopped, a marking says so and goes on later.
func TestStopped(t *testing.T) {
	c := newClassroom(t, swingLab, 4)
	for i := range c.Class.Students {
		c.hand(c.Class.Students[i].ID+"/a.ipynb", answered(t, c.sheet(i), nil))
	}
	ctx, stop := context.WithCancel(t.Context())
	m := c.Marking
	m.Workers = 1
	m.Progress = func(p Progress) {
		if p.Done == 2 {
			stop()
		}
	}
	if _, err := Mark(ctx, m); !errors.Is(err, context.Canceled) {
		t.Fatalf("stopped: %v", err)
	}
	if s := c.mark(); s.Ran != 2 {
		t.Errorf("%d files were run after two were done, want 2", s.Ran)
	}
}

// Archives, one in another, give the same marks as folders.
func TestArchive(t *testing.T) {
	c := newClassroom(t, swingLab, 3)
	own := func(i int) string { return string(answered(t, c.sheet(i), worked(c.sheet(i)))) }
	c.hand("all.zip", archive(t, entry{name: "Ada Bell_s01/90-swing.ipynb", text: own(0)},
		entry{name: "Cleo Berg_s02/work.zip", text: string(archive(t, entry{name: "work/x.ipynb", text: own(1)}, entry{name: "../../../../tmp/y.ipynb", text: own(2)}))}))
	s := c.mark()
	if s.Marked != 2 || s.Missing != 1 {
		t.Errorf("%+v", s)
	}
	c.wantMarks("s01", full)
	c.wantMarks("s02", full)
	c.wantMarks("s03", "      ")
	c.wantRemark("", "leads out of the archive")
	c.Returned = []string{filepath.Join(c.Returned[0], "all.zip")}
	if s := c.mark(); s.Ran != 0 || s.Marked != 2 {
		t.Errorf("the archive itself: %+v", s)
	}
}

// Files of two labs are not mixed.
func TestTwoLabs(t *testing.T) {
	c := newClassroom(t, swingLab, 2)
	c.hand("a.ipynb", answered(t, c.sheet(0), nil))
	other, err := exercises.Find("00")
	if err != nil {
		t.Fatal(err)
	}
	p := other.Sheet(bank.StudentCode(c.Key, other.ID, "s02", ""))
	c.hand("b.ipynb", answered(t, p, nil))
	c.Start = func(context.Context) (Runner, error) { return nil, errors.New("something is run") }
	if _, err := Mark(t.Context(), c.Marking); !IsInput(err) || !strings.Contains(err.Error(), "several labs, 00-first-steps (1), 90-swing (1): say which with --lab") {
		t.Errorf("two labs: %v", err)
	}
	c.Start = start
	c.Lab = "90"
	if s := c.mark(); s.Marked != 1 || s.Missing != 1 {
		t.Errorf("%+v", s)
	}
	c.wantRemark("", "is a sheet of lab 00-first-steps")
	c.Lab = "00"
	if _, err := Mark(t.Context(), c.Marking); !IsInput(err) || !strings.Contains(err.Error(), "holds the books of lab 90-swing") {
		t.Errorf("another lab in the same folder: %v", err)
	}
	c.Out += "-00"
	if s := c.mark(); s.Marked != 1 || s.Missing != 1 {
		t.Errorf("%+v", s)
	}
	c.wantMarks("s02", "0 0 0 0 0")
}

// Marks for texts survive a spreadsheet that takes the zeros off ids; those that
// cannot be given to anybody are told by name.
func TestByEyeAfterSpreadsheet(t *testing.T) {
	c := newClassroom(t, swingLab, 2)
	c.Class.Students[0].ID, c.Class.Students[1].ID = "0001", "0010"
	for i := range c.Class.Students {
		c.hand(c.Class.Students[i].ID+"/a.ipynb", answered(t, c.sheet(i), sources{"why": worked(c.sheet(i))["why"]}))
	}
	c.mark()
	put := func(rows string) {
		t.Helper()
		text := strings.ReplaceAll("id;name;question;of;text;text id;marks;comment\n"+rows, "TEXT", "x;"+textID("Heavy and inert mass are the same."))
		if err := os.WriteFile(filepath.Join(c.Out, byEyeName), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	put("1;Ada Bell;why;3;TEXT;2,5;good\n10;Cleo Berg;why;3;TEXT;1;\n77;Old Friend;why;3;TEXT;3;\n")
	if s := c.mark(); s.Waiting != 0 {
		t.Errorf("%d texts wait, want none", s.Waiting)
	}
	c.wantMarks("0001", "0 0 0 0 0 2.5 2.5")
	c.wantMarks("0010", "0 0 0 0 0 1 1")
	c.wantRemark("", "has marks for 77, who is not in the class list")
	if eye := c.file(byEyeName); !strings.Contains(eye, "\n\"0001\",") || !strings.Contains(eye, "\n\"77\",") {
		t.Errorf("by-eye.csv is now\n%s", eye)
	}
	for rows, want := range map[string]string{
		"1.23457E+11;Ada Bell;why;3;TEXT;2;\n":               "line 2: the id \"1.23457E+11\" is a long number that a spreadsheet has rounded",
		"0001;Ada;why;3;TEXT;2;\n1;Ada Bell;why;3;TEXT;1;\n": "line 3: gives second marks, 1, for a text of 0001",
	} {
		put(rows)
		if _, err := Mark(t.Context(), c.Marking); !IsInput(err) || !strings.Contains(err.Error(), want) {
			t.Errorf("by-eye.csv %q: %v, want %q", rows, err, want)
		}
	}
	put("")
	// So do the lecturer's other files.
	m := c.Marking
	m.Reference = write(t, "id,question,value,u,unit\n10,rest,12,0.1,mrad\n")
	if _, err := Mark(t.Context(), m); err != nil {
		t.Errorf("a reference with ids without zeros: %v", err)
	}
	c.Adjust = write(t, "id,question,marks,reason\n1,period,2,told me\n")
	c.mark()
	c.wantMarks("0001", "2 0 0 0 0  2")
}

// What was given at the last marking and is missing now stops the marking, with the names
// of those whose marks would change, before anything is run or written.
func TestMissingFlags(t *testing.T) {
	c := newClassroom(t, swingLab, 3)
	for i := range c.Class.Students {
		c.hand(c.Class.Students[i].ID+"/a.ipynb", answered(t, c.sheet(i), sources{"rest": fmt.Sprintf("%%%%\nsheet.Measured(\"rest\", %d, 0.2, \"mrad\")", 11+i), "period": gives("period", right(c.sheet(i), "period", 1.02), "s")}))
	}
	c.Reference = write(t, "id,question,value,u,unit\ns01,rest,20,0.1,mrad\ns02,rest,12,0.1,mrad\ns03,rest,13,0.1,mrad\n")
	c.mark()
	c.wantMarks("s03", "0 0 4 0 0 0 4")
	want := c.books()
	refused := func(what, part string, m Marking) {
		t.Helper()
		m.Start = func(context.Context) (Runner, error) { return nil, errors.New("something is run") }
		if _, err := Mark(t.Context(), m); !IsInput(err) || !strings.Contains(err.Error(), part) {
			t.Errorf("%s: %v, want %q", what, err, part)
		}
		sameBooks(t, what, c.books(), want)
	}
	m := c.Marking
	m.Reference = ""
	// s01 is off by the reference, and off by the recording of the sheet too.
	refused("without the reference", "was last marked with --reference list.csv; without, the marks of 1 student would change: s03.", m)
	m.JudgeAgain = true
	refused("judged again without it", "s03", m)
	// A table with nothing in it gives the reference up.
	m.Reference, m.JudgeAgain = write(t, "id,question,value,u,unit\n"), false
	if s, err := Mark(t.Context(), m); err != nil || len(s.Changed) != 1 || s.Changed[0] != "s03" {
		t.Errorf("with an empty reference: %v, %v", s.Changed, err)
	}
	m.Reference = ""
	if _, err := Mark(t.Context(), m); err != nil {
		t.Errorf("without the reference that changes nothing any more: %v", err)
	}

	// A bank of one's own, in which more is right.
	defer exercises.Add(swingLab)
	addChanged(t, "period", func(q *bank.Question) { q.Tol.Rel = 0.03 })
	m.Bank = filepath.Join("somewhere", "ours")
	if _, err := Mark(t.Context(), m); err != nil {
		t.Fatal(err)
	}
	want = c.books()
	exercises.Add(swingLab)
	m.Bank = ""
	refused("without the bank", "was last marked with --bank ours; without, the marks of 3 students would change: s01, s02, s03.", m)

	// The lecturer's own word, from a file elsewhere.
	m.Bank = "ours"
	addChanged(t, "period", func(q *bank.Question) { q.Tol.Rel = 0.03 })
	m.Adjust = write(t, "id,question,marks,reason\ns02,why,3,told me\n")
	if _, err := Mark(t.Context(), m); err != nil {
		t.Fatal(err)
	}
	want = c.books()
	m.Adjust = ""
	refused("without the adjustments", "--adjust list.csv; without, the marks of 1 student would change: s02.", m)
}

// How long the rest takes is told by what is run, not by what was run before.
func TestProgressResumed(t *testing.T) {
	c := newClassroom(t, swingLab, 4)
	hand := func(i int) { c.hand(c.Class.Students[i].ID+"/a.ipynb", answered(t, c.sheet(i), nil)) }
	for i := range 3 {
		hand(i)
	}
	c.mark()
	hand(3)
	var all []Progress
	c.Workers = 1
	c.Progress = func(p Progress) { all = append(all, p) }
	c.mark()
	if len(all) != 5 || all[0] != (Progress{0, 4, 0, 1}) || all[4] != (Progress{4, 4, 1, 1}) {
		t.Errorf("progress %+v", all)
	}
}

// Two users, whose caches differ, do not mark into one folder at once; a lock that a
// killed marking left does no harm.
func TestTwoAtOnce(t *testing.T) {
	c := newClassroom(t, swingLab, 2)
	for i := range c.Class.Students {
		c.hand(c.Class.Students[i].ID+"/a.ipynb", answered(t, c.sheet(i), nil))
	}
	if _, err := start(t.Context()); err != nil { // with the cache that is filled
		t.Fatal(err)
	}
	started, goOn := make(chan struct{}), make(chan struct{})
	first := c.Marking
	first.Start = func(ctx context.Context) (Runner, error) {
		close(started)
		<-goOn
		return start(ctx)
	}
	done := make(chan error)
	t.Setenv("XDG_CACHE_HOME", t.TempDir())
	go func() {
		_, err := Mark(t.Context(), first)
		done <- err
	}()
	<-started
	t.Setenv("XDG_CACHE_HOME", t.TempDir())
	_, err := Mark(t.Context(), c.Marking)
	close(goOn)
	if host, _ := os.Hostname(); err == nil || !strings.Contains(err.Error(), fmt.Sprintf("another run (process %d on %s) is writing", os.Getpid(), host)) {
		t.Errorf("the second marking: %v", err)
	}
	if err := <-done; err != nil {
		t.Errorf("the first marking: %v", err)
	}
	if err := os.WriteFile(filepath.Join(c.Out, "store", "lock"), []byte("process 1 on elsewhere\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if s := c.mark(); s.Marked != 2 {
		t.Errorf("after a lock was left: %+v", s)
	}
	if text := c.file("store/lock"); text != "" {
		t.Errorf("the lock says %q after the marking", text)
	}
}
