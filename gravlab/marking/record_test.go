package marking

import (
	"archive/zip"
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
)

// The books are in the dialect of the class list: its separator, its decimal sign and its
// byte order mark; ids of digits stand between quotation marks, and marks that could be had
// are a row of their own.
func TestDialect(t *testing.T) {
	for _, d := range []struct{ name, list, head, of, row string }{
		{"commas", "id,name\n0001,Ada Bell\n", "id,name,period,g,rest,law,mass,why,total,remarks\n", ",marks to be had,2,3,4,2,1,3,15,\n", "\"0001\",Ada Bell,0,0,0,0,1,2.5,3.5,adjusted: why\n"},
		{"semicolons", "id;name;height\n0001;Ada Bell;1,7\n", "id;name;period;g;rest;law;mass;why;total;remarks\n", ";marks to be had;2;3;4;2;1;3;15;\n", "\"0001\";Ada Bell;0;0;0;0;1;2,5;3,5;adjusted: why\n"},
		{"semicolons and points", "id;name;height\n0001;Ada Bell;1.7\n", "id;name;period;g;rest;law;mass;why;total;remarks\n", ";marks to be had;2;3;4;2;1;3;15;\n", "\"0001\";Ada Bell;0;0;0;0;1;2.5;3.5;adjusted: why\n"},
		{"tabs and a mark", "\ufeffid\tname\n0001\tAda Bell\n", "\ufeffid\tname\tperiod\tg\trest\tlaw\tmass\twhy\ttotal\tremarks\n", "\tmarks to be had\t2\t3\t4\t2\t1\t3\t15\t\n", "\"0001\"\tAda Bell\t0\t0\t0\t0\t1\t2.5\t3.5\tadjusted: why\n"},
	} {
		c := newClassroom(t, swingLab, 1)
		class, err := ReadClass(write(t, d.list))
		if err != nil {
			t.Fatal(err)
		}
		c.Class = class
		p := c.sheet(0)
		c.hand("a.ipynb", answered(t, p, sources{"mass": worked(p)["mass"]}))
		c.Adjust = write(t, "id,question,marks,reason\n0001,why,2.5,told me\n")
		c.mark()
		if got, want := c.file("marks.csv"), d.head+d.of+d.row; got != want {
			t.Errorf("%s: marks.csv is %q, want %q", d.name, got, want)
		}
		if _, err := ReadBook(c.Out); err != nil {
			t.Errorf("%s: %v", d.name, err)
		}
	}
}

// A book says what the marking gave, and a table that was changed by hand since is refused
// with its line; what a spreadsheet changes by saving it does no harm.
func TestReadBook(t *testing.T) {
	c := newClassroom(t, swingLab, 3)
	c.Class.Students[1].ID = "0002"
	c.Class.Students[2].Members = []string{"s03", "s04"}
	p := c.sheet(0)
	var z bytes.Buffer
	w := zip.NewWriter(&z)
	put := func(name string, when time.Time, text []byte) {
		f, err := w.CreateHeader(&zip.FileHeader{Name: name, Modified: when, Method: zip.Deflate})
		if err != nil {
			t.Fatal(err)
		}
		f.Write(text)
	}
	zone := time.FixedZone("", 3600)
	put("Bell Ada s01 file/lab.ipynb", time.Date(2026, 11, 3, 18, 5, 0, 0, zone), answered(t, p, sources{"mass": worked(p)["mass"], "why": worked(p)["why"]}))
	inner := archive(t, entry{name: "lab.ipynb", text: string(answered(t, c.sheet(1), nil))})
	put("0002/work.zip", time.Date(2026, 11, 4, 9, 0, 0, 0, time.UTC), inner)
	w.Close()
	c.Returned = []string{filepath.Join(c.dir, "all.zip")}
	if err := os.WriteFile(c.Returned[0], z.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	c.Adjust = write(t, "id,question,marks,reason\n0002,period,1.5,asked me\n")
	c.mark()
	b, err := ReadBook(c.Out)
	if err != nil {
		t.Fatal(err)
	}
	r := b.Rows[0]
	if b.Lab != "90-swing" || b.Of() != 15 || r.State != Marked || r.Handed != "2026-11-03T17:05:00Z" || r.Folder != "Bell Ada s01 file" || r.Waiting() != 1 || r.Total() != 1 {
		t.Errorf("the first row is %+v of %d", r, b.Of())
	}
	if r := b.Rows[1]; r.Handed != "2026-11-04T09:00:00Z" || !r.Marks[0].Adjusted || r.Marks[0].Reason != "asked me" || r.Total() != 1.5 {
		t.Errorf("the second row is %+v", r)
	}
	if r := b.Rows[2]; r.State != Missing || r.Counts() || len(r.Members) != 2 {
		t.Errorf("the third row is %+v", r)
	}
	book := c.file("marks.csv")
	if !strings.Contains(book, "total is provisional: 1 text for you to read") {
		t.Errorf("the book does not say which total is provisional: %s", book)
	}
	path := filepath.Join(c.Out, "marks.csv")
	for _, change := range []struct{ what, old, new, want string }{
		{"saved by a spreadsheet", book, "\ufeff" + strings.NewReplacer(",", ";", "1.5", "1,5", "\"0002\"", "2").Replace(book), ""},
		{"a mark", "s01,Ada Bell,0,", "s01,Ada Bell,2,", `line 3: has "2" for period of s01, and the marking gave "0": it was changed by hand`},
		{"an unread text", ",1,,1,", ",1,3,1,", `line 3: has "3" for why of s01, and the marking gave ""`},
		{"a total", ",1.5,adjusted", ",9,adjusted", `line 4: has "9" for the total of 0002`},
		{"marks to be had", "had,2,", "had,20,", `line 2: has "20" for period of the marks to be had`},
		{"a row twice", "s01,Ada Bell", "s03,Dan Eck,,,,,,,,\ns01,Ada Bell", `line 6: has a second row for s03; the first is in line 3`},
		{"somebody else", "s01,Ada Bell", "s99,Zoe,,,,,,,,\ns01,Ada Bell", `line 3: has a row for "s99"`},
		{"a row less", "s03,Dan Eck", ",", `line 5: has a row for ""`},
		{"cut off", book[strings.Index(book, "s03"):], "", `has no row for s03 any more`},
	} {
		if !strings.Contains(book, change.old) {
			t.Fatalf("%s: the book has no %q:\n%s", change.what, change.old, book)
		}
		if err := os.WriteFile(path, []byte(strings.Replace(book, change.old, change.new, 1)), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := ReadBook(c.Out)
		switch {
		case change.want == "" && err != nil:
			t.Errorf("%s: %v", change.what, err)
		case change.want != "" && (!IsInput(err) || !strings.Contains(err.Error(), change.want)):
			t.Errorf("%s: %v, want %q", change.what, err, change.want)
		}
	}
	c.mark()
	if c.file("marks.csv") != book {
		t.Error("marking again does not put the table right")
	}
	// Marks that were filled in since then do not count yet.
	for _, name := range []string{byEyeName, "adjust.csv"} {
		old, _ := os.ReadFile(filepath.Join(c.Out, name))
		if err := os.WriteFile(filepath.Join(c.Out, name), append(old, "\n\n"...), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := ReadBook(c.Out); !IsInput(err) || !strings.Contains(err.Error(), name+": has changed since the last marking") {
			t.Errorf("%s filled in: %v", name, err)
		}
		if old == nil {
			os.Remove(filepath.Join(c.Out, name))
		} else {
			os.WriteFile(filepath.Join(c.Out, name), old, 0o600)
		}
	}
	if _, err := ReadBook(c.Out); err != nil {
		t.Error(err)
	}
	if _, err := ReadBook(c.dir); !IsInput(err) {
		t.Errorf("a folder without books: %v", err)
	}
}

// A student shares one sheet; ids of members are ids.
func TestMembers(t *testing.T) {
	c, err := ReadClass(write(t, "id;members\ng1;s1, s2\ng2;s3 s4\n"))
	if err != nil || strings.Join(c.Students[0].Members, "+") != "s1+s2" || len(c.Students[1].Members) != 2 {
		t.Errorf("%+v, %v", c, err)
	}
	for text, want := range map[string]string{
		"id,members\ng1,s1 s2\ng2,S2\n": `line 3: the member "S2" is in line 2 too`,
		"id,members\ng1,s1 ../x\n":      "line 2: in the column members",
	} {
		if _, err := ReadClass(write(t, text)); !IsInput(err) || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

// A question may be called like a column that every book has: lab 04 has one called total.
func TestBookOfOddNames(t *testing.T) {
	lab := swingLab
	lab.Build = func(d *bank.Draw) bank.Sheet {
		s := buildSwing(d)
		s.Questions = []bank.Question{s.Questions[0], s.Questions[4]}
		s.Questions[0].ID, s.Questions[1].ID = "total", "name"
		s.Questions[1].Worked = "%%\nsheet.Choice(\"name\", \"a\")"
		return s
	}
	c := newClassroom(t, lab, 2)
	if err := exercises.Add(lab); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { exercises.Add(swingLab) })
	c.hand("a.ipynb", answered(t, c.sheet(0), sources{"name": worked(c.sheet(0))["name"]}))
	c.mark()
	if b, err := ReadBook(c.Out); err != nil || b.Rows[0].Total() != 1 || b.Of() != 3 {
		t.Errorf("the book is %+v, %v", b, err)
	}
	path := filepath.Join(c.Out, "marks.csv")
	if err := os.WriteFile(path, []byte(strings.Replace(c.file("marks.csv"), ",0,1,1,", ",2,1,1,", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := ReadBook(c.Out); !IsInput(err) || !strings.Contains(err.Error(), `line 3: has "2" for total of s01`) {
		t.Errorf("changed by hand: %v", err)
	}
}
