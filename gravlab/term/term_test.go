package term

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gravity.example/gravlab/marking"
)

// put writes a file below a folder.
func put(t testing.TB, dir, name, text string) string {
	t.Helper()
	path := filepath.Join(dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// A sheet is a student's row in a book made up for a test: the marks for two questions of 6 and 4.
type sheet struct {
	id      string
	a, b    float64
	state   marking.State
	handed  string
	waits   bool
	members []string
	reason  string // of an adjustment of a, which had 1
}

// book writes a book as a marking does; that they agree is TestTermOfFive's business.
func book(t testing.TB, dir, name, lab string, sheets ...sheet) {
	t.Helper()
	b := marking.Book{Lab: lab, Title: "Lab " + lab, Questions: []marking.BookQuestion{{ID: "a", Title: "A", Of: 6}, {ID: "b", Title: "B", Of: 4}}}
	table := "id,name,a,b,total,remarks\n"
	for _, s := range sheets {
		if s.state == "" {
			s.state = marking.Marked
		}
		counts := s.state == marking.Marked
		row := marking.BookRow{ID: s.id, State: s.state, Handed: s.handed, Members: s.members, Marks: []marking.BookMark{{Earned: s.a, Counts: counts}, {Earned: s.b, Counts: counts, Waits: s.waits}}}
		if s.reason != "" {
			row.Marks[0].Adjusted, row.Marks[0].Was, row.Marks[0].Reason = true, 1, s.reason
		}
		b.Rows = append(b.Rows, row)
		switch {
		case !counts:
			table += s.id + ",,,,,\n"
		case s.waits:
			table += fmt.Sprintf("%s,,%g,,%g,\n", s.id, s.a, s.a+s.b)
		default:
			table += fmt.Sprintf("%s,,%g,%g,%g,\n", s.id, s.a, s.b, s.a+s.b)
		}
	}
	text, err := json.Marshal(b)
	if err != nil {
		t.Fatal(err)
	}
	put(t, dir, name+"/store/book.marking.json", string(text))
	put(t, dir, name+"/marks.csv", table)
}

// classOf writes and reads a class list.
func classOf(t testing.TB, dir string, ids ...string) marking.Class {
	t.Helper()
	class, err := marking.ReadClass(put(t, dir, "class.csv", "id\n"+strings.Join(ids, "\n")+"\n"))
	if err != nil {
		t.Fatal(err)
	}
	return class
}

const head = "rule,lab,id,value,reason\n"

// Figures worked out by hand, one rule after the other.
func TestFigures(t *testing.T) {
	dir := t.TempDir()
	class := classOf(t, dir, "s1", "s2", "s3", "s4", "s5", "s6")
	const due = "2026-11-03T18:00+01:00"
	book(t, dir, "m1", "01-one",
		sheet{id: "s1", a: 6, b: 4, handed: "2026-11-03T17:00:00Z"},                   // on the minute: not late
		sheet{id: "s2", a: 6, b: 2, handed: "2026-11-03T17:00:01Z"},                   // a day has begun
		sheet{id: "s3", a: 5, b: 4, handed: "2026-11-20T00:00:00Z"},                   // more than the most
		sheet{id: "s4", a: 4, b: 0, handed: "2026-11-04T10:00:00", reason: "told me"}, // by the clock of the archive
		sheet{id: "s5", state: marking.Missing},
		sheet{id: "s6", a: 3, waits: true})
	book(t, dir, "m2", "02-two",
		sheet{id: "g1", a: 4, b: 3, members: []string{"s1", "s2"}},
		sheet{id: "s3", a: 1, b: 0.5},
		sheet{id: "s4", a: 2, b: 2}, sheet{id: "s5", a: 6, b: 4}, sheet{id: "s6", state: marking.Several})
	book(t, dir, "r1", "01-one", sheet{id: "s3", a: 6, b: 4}, sheet{id: "s4", a: 1, b: 0}, sheet{id: "s5", state: marking.Missing})
	put(t, dir, "second.csv", "id,question,marks,agreed,reason\ns3,b,2.5,1.5,read together\ns4,a,3,,\ns5,a,5,,\n")
	rules := put(t, dir, "rules.csv", head+
		"book,01,,m1,\nbook,02,,m2,\nweight,02,,3,\ndue,01,,"+due+",\n"+
		"late,01,,10 % per day,\nlate most,01,,4 marks,\nextension,01,s4,2026-11-04T10:30+01:00,ill\n"+
		"marks,02,s2,-2,did not take part\nexcused,02,s5,,away\nsecond,02,,second.csv,\nresit,01,,r1,\nresits,,,average,\n")
	r, err := ReadRules(rules, class)
	if err != nil {
		t.Fatal(err)
	}
	got, err := Count(class, r)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []struct{ one, two, total, open string }{
		// 10 of 10; the group's 7 of 10: (100 + 3 × 70) / 4.
		{"10 100 %", "7 70 %", "77.5", ""},
		// 8 − 10 % of 10 = 7; 7 − 2 = 5: (70 + 3 × 50) / 4.
		{"7 70 %", "5 50 %", "55", ""},
		// 9 − 4 = 5, the resit has 10: 75 %; 1.5 and b agreed 1.5 instead of 0.5: (75 + 3 ×
		// 25) / 4.
		{"7.5 75 %", "2.5 25 %", "37.5", ""},
		// 4, handed in at 10:00 where it was extended to 10:30; the resit 10 %: 25 %. 4 of 10.
		{"2.5 25 %", "4 40 %", "36.25", "two markers differ on a"},
		// 0 of 10, no resit; lab 02 excused.
		{"0 0 %", "excused", "0", ""},
		{"3 30 %", "0 0 %", "7.5", "lab 01: 1 text is not read yet; lab 02: it is open which file counts"},
	} {
		s := got.Students[i]
		var texts []string
		for _, f := range s.Labs {
			if f.Excused {
				texts = append(texts, "excused")
			} else {
				texts = append(texts, figureText(f.Marks, 4)+" "+figureText(f.Percent, 4)+" %")
			}
		}
		if texts[0] != want.one || texts[1] != want.two || figureText(s.Total, 4) != want.total || !strings.Contains(strings.Join(s.Open, "; "), want.open) || (want.open == "") != s.Final() {
			t.Errorf("%s: %v, total %s, open %q; want %+v\n%s", s.Student.ID, texts, figureText(s.Total, 4), s.Open, want, strings.Join(append(s.Labs[0].Steps, s.Labs[1].Steps...), "\n"))
		}
	}
	for _, part := range []string{
		"0 s2 handed in 2026-11-03 18:00 +01:00, due 2026-11-03 18:00 +01:00: 1 day late; −1 marks (10 % per day of 10): 7",
		"0 s3 handed in 2026-11-20 01:00 +01:00, due 2026-11-03 18:00 +01:00: 17 days late; −4 marks (10 % per day, at most 4 marks of 10): 5",
		"0 s4 a: 4 instead of 1, the lecturer's own word (told me)",
		"0 s4 handed in 2026-11-04 10:00 +01:00, extended to 2026-11-04 10:30 +01:00 (ill)",
		"1 s1 7 of 10 marks for the sheet of the group g1",
		"1 s2 for this student −2 (did not take part): 5",
		"1 s3 b: 1.5 instead of 0.5, agreed with the second marker, who gave 2.5 (read together): 2.5",
		"1 s5 excused (away): this lab does not count",
	} {
		var lab int
		var id string
		fmt.Sscan(part, &lab, &id)
		text := strings.SplitN(part, " ", 3)[2]
		for _, s := range got.Students {
			if s.Student.ID == id && !strings.Contains("\n"+strings.Join(s.Labs[lab].Steps, "\n")+"\n", "\n"+text+"\n") {
				t.Errorf("%s, lab %d does not say %q:\n%s", id, lab, text, strings.Join(s.Labs[lab].Steps, "\n"))
			}
		}
	}
	if all := strings.Join(got.Remarks, "\n"); !strings.Contains(all, "s6, lab 01: when it was handed in is not known") || !strings.Contains(all, "s5, lab 02: excused, and there are marks") || len(got.Remarks) != 2 {
		t.Errorf("remarks:\n%s", all)
	}

	// What a resit does, and which labs are the best; of equal ones the heavier counts.
	base := head + "book,1,,m1,\nbook,2,,m2,\nresit,01,,r1,\n"
	for _, c := range []struct{ rules, id, want string }{
		{"resits,,,replace,\n", "s3", "57.5"}, // (100 + 15) / 2
		{"resits,,,replace,\n", "s4", "25"},   // the resit's 10 % replace 40 %
		{"resits,,,better,\n", "s4", "40"},    // (40 + 40) / 2
		{"resits,,,better,\nbest,,,1,\n", "s3", "100"},
		{"resits,,,better,\nbest,,,1,\n", "s5", "100"},            // 0 and 100
		{"excused,01,s3,,ill\nexcused,02,s3,,ill\n", "s3", "100"}, // the resit counts all the same
		{"weight,01,,0,\nweight,02,,0.5,\n", "s3", "15"},
		{"weight,01,,\"1,5\",\n", "s5", "40"}, // (1.5 × 0 + 100) / 2.5
	} {
		r, err := ReadRules(put(t, dir, "other.csv", base+c.rules), class)
		if err != nil {
			t.Errorf("%q: %v", c.rules, err)
			continue
		}
		got, err := Count(class, r)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range got.Students {
			if s.Student.ID == c.id && figureText(s.Total, 4) != c.want {
				t.Errorf("%q: %s has %s, want %s: %s", c.rules, c.id, figureText(s.Total, 4), c.want, s.How)
			}
		}
	}
}

// Rules that contradict each other, or cannot be read, are told with file and line, and nothing is
// written.
func TestContradictions(t *testing.T) {
	dir := t.TempDir()
	class := classOf(t, dir, "s1", "s2")
	book(t, dir, "m1", "01-one", sheet{id: "s1", a: 6, b: 4}, sheet{id: "s2"})
	book(t, dir, "m2", "02-two", sheet{id: "s1", a: 6, b: 4}, sheet{id: "s2"})
	book(t, dir, "twice", "03-three", sheet{id: "s1", a: 6, b: 4}, sheet{id: "g1", members: []string{"s1", "s2"}})
	book(t, dir, "stranger", "03-three", sheet{id: "g1", members: []string{"s1", "s9"}})
	const books = head + "book,01,,m1,\nbook,02,,m2,\n" // lines 2 and 3
	for _, c := range []struct{ rules, want string }{
		{head, "names no marks book"},
		{head + "book,01,,m2,\n", "line 2: calls m2 the book of lab 01, and it is that of lab 02-two"},
		{head + "book,01,,m9,\n", "there is no "},
		{"lab,value\n01,m1\n", "has no column"},
		{books + "wieght,01,,2,\n", `line 4: there is no rule "wieght"; the rules are assigned, best, book,`},
		{books + "weight,01,,2,\nweight,1,,2,\n", "line 5: contradicts line 4: both are about weight of lab 01"},
		{books + "book,02,,m2,\n", "line 4: contradicts line 3: both are about book of lab 02"},
		{books + "weight,,,2,\n", "line 4: the rule weight needs something in the column lab"},
		{books + "weight,01,s1,2,\n", `line 4: the rule weight has "s1" in the column id, where nothing belongs`},
		{books + "weight,03,,2,\n", "line 4: is about lab 03, which has no book here"},
		{books + "weight,01,,-1,\n", `line 4: the weight is "-1"`},
		{books + "weight,01,,0,\nweight,02,,0,\n", "line 4: all labs have the weight 0"},
		{books + "best,,,3,\n", "line 4: the best 3 of 2 labs: there are not so many"},
		{books + "best,,,0,\n", `line 4: best is "0"`},
		{books + "resits,,,average,\n", "line 4: says what resits do, and no rule names the book of one"},
		{books + "resit,01,,m1,\n", "line 4: names the same folder for the lab and its resit"},
		{books + "resit,01,,m2,\n", "line 4: names a resit of lab 01 in a book of lab 02-two"},
		{books + "late,01,,10 % per day,\n", "line 4: deducts for being late in lab 01, and no rule says when it was due"},
		{books + "late,,,10 % per day,\n", "line 4: deducts for being late, and no rule says when a lab was due"},
		{books + "late,01,,ten,\ndue,01,,2026-11-03T18:00Z,\n", `line 4: the deduction is "ten"; write it like 10 % per day`},
		{books + "late most,01,,50 %,\n", "line 4: says the most that is deducted for being late in lab 01, and no rule deducts anything"},
		{books + "due,01,,3 November,\n", `line 4: the time of the rule due is "3 November"; write it like 2026-11-03T18:00+01:00`},
		{books + "due,01,,2026-11-03,\n", `line 4: the time of the rule due is "2026-11-03"`},
		{books + "extension,01,s1,2026-11-03T18:00Z,ill\n", "line 4: extends lab 01 for s1, and no rule says when it was due"},
		{books + "handed,01,s1,2026-11-03T18:00Z,by mail\n", "line 4: says when s1 handed in lab 01, and no rule says when it was due"},
		{books + "due,01,,2026-11-03T18:00Z,\nextension,01,s1,2026-11-03T18:00Z,ill\n", "line 5: extends lab 01 for s1 to a time that is not after it was due (line 4)"},
		{books + "due,01,,2026-11-03T18:00Z,\nexcused,01,s1,,ill\nextension,01,s1,2026-11-04T18:00Z,ill\n", "line 6: gives s1 an extension for lab 01, from which line 5 excuses them"},
		{books + "excused,01,s1,,ill\nmarks,01,s1,-2,\n", "line 5: changes the marks of s1 in lab 01, from which line 4 excuses them"},
		{books + "excused,01,s9,,ill\n", `line 4: the class has no student "s9"`},
		{books + "marks,01,s1,many,\n", `line 4: the marks are "many"`},
		{books + "assigned,01,,2026-11-04,\ndue,01,,2026-11-03T18:00Z,\n", "line 4: lab 01 was handed out on 2026-11-04, after it was due (line 5)"},
		{books + "second,01,,second.csv,\n", "second.csv, line 2: allowed"},
		{books + "book,03,,twice,\n", "s1 has a row of their own in the class list of lab 03-three and is a member of g1 there"},
		{books + "book,03,,stranger,\n", "s9, a member of g1 in the class list of lab 03-three, is not in the class list of the term"},
	} {
		want := c.want
		if strings.HasPrefix(want, "second.csv") {
			for text, part := range map[string]string{
				"id,question,marks\ns1,a,7\n":                        `second.csv, line 2: the column marks has "7"; allowed: 0 to 6`,
				"id,question,marks\ns9,a,1\n":                        `line 2: the book of lab 01-one has no row for "s9"`,
				"id,question,marks\ns1,c,1\n":                        `line 2: lab 01-one has no question "c"`,
				"id,question,marks\ns1,a,1\ns1,01/a,2\n":             "line 3: contradicts line 2: both are about a of s1",
				"id,question,marks,agreed,reason\ns1,a,1,2,\n":       "line 2: changes the marks of s1 for a without a reason",
				"id,question,marks,agreed,reason\ns1,a,,2,because\n": `line 2: the column marks has ""; allowed: 0 to 6`,
			} {
				put(t, dir, "second.csv", text)
				if _, err := ReadRules(put(t, dir, "rules.csv", c.rules), class); !marking.IsInput(err) || !strings.Contains(err.Error(), part) {
					t.Errorf("%q: %v, want %q", text, err, part)
				}
			}
			continue
		}
		r, err := ReadRules(put(t, dir, "rules.csv", c.rules), class)
		if err == nil {
			_, err = Total{Class: class, Rules: r, Out: filepath.Join(dir, "out")}.Write(t.Context())
		}
		if !marking.IsInput(err) || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", strings.TrimPrefix(c.rules, head), err, want)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "out")); err == nil {
		t.Error("something was written")
	}
}

// The log of changes says what has changed, from what to what and why; a call that changes
// nothing adds nothing. A page goes with its student.
func TestChanges(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "out")
	write := func(rules string, ids ...string) Result {
		t.Helper()
		class := classOf(t, dir, ids...)
		r, err := ReadRules(put(t, dir, "rules.csv", head+rules), class)
		if err != nil {
			t.Fatal(err)
		}
		result, err := Total{Class: class, Rules: r, Out: out}.Write(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return result
	}
	log := func() string {
		text, err := os.ReadFile(filepath.Join(out, "changes.csv"))
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	book(t, dir, "m1", "01-one", sheet{id: "s1", a: 6, b: 0, waits: true}, sheet{id: "s2", a: 2, b: 2})
	write("book,01,,m1,\n", "s1", "s2")
	write("book,01,,m1,\n", "s1", "s2")
	if got := log(); got != "call,id,figure,was,is,reason\n" {
		t.Errorf("the log after two calls is %q", got)
	}
	book(t, dir, "m1", "01-one", sheet{id: "s1", a: 6, b: 3}, sheet{id: "s2", a: 2, b: 2})
	if r := write("book,01,,m1,\nmarks,01,s2,1,counted again\n", "s1", "s2"); r.Changes != 4 {
		t.Errorf("%d changes, want 4", r.Changes)
	}
	write("book,01,,m1,\n", "s1")
	want := `call,id,figure,was,is,reason
2,s1,lab 01,6 of 10,9 of 10,9 of 10 marks; 9 of 10 marks are 90 %; no longer: 6 of 10 marks; no longer: 6 of 10 marks are 60 %
2,s1,total,60,90,(lab 01 90 % × 1) / 1 = 90 %; final; no longer: (lab 01 60 % × 1) / 1 = 60 %; no longer: provisional: lab 01: 1 text is not read yet
2,s2,lab 01,4 of 10,5 of 10,for this student +1 (counted again): 5; 5 of 10 marks are 50 %; no longer: 4 of 10 marks are 40 %
2,s2,total,40,50,(lab 01 50 % × 1) / 1 = 50 %; no longer: (lab 01 40 % × 1) / 1 = 40 %
3,s2,lab 01,5 of 10,,not in the class list any more
3,s2,total,50,,not in the class list any more
`
	if got := log(); got != want {
		t.Errorf("the log is\n%s\nwant\n%s", got, want)
	}
	pages, err := os.ReadDir(filepath.Join(out, "pages"))
	if err != nil || len(pages) != 1 || pages[0].Name() != "s1.html" {
		t.Errorf("the pages are %v, %v", pages, err)
	}
	put(t, out, "history.json", "{broken")
	class := classOf(t, dir, "s1")
	r, err := ReadRules(filepath.Join(dir, "rules.csv"), class)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := (Total{Class: class, Rules: r, Out: out}).Write(t.Context()); !marking.IsInput(err) || !strings.Contains(err.Error(), "history.json: cannot be read") {
		t.Errorf("a broken history: %v", err)
	}
}
