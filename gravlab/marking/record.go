package marking

import (
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"gravity.example/gravlab/internal/clip"
)

// A Book is the marks book of one lab, as the last marking left it. It is what marks.csv
// says, with what is needed to say how each mark came about.
type Book struct {
	Dir       string `json:"-"` // the folder, as the caller named it
	Lab       string // id
	Title     string
	Questions []BookQuestion
	Rows      []BookRow // in the order of the class list
	// Beside are the fingerprints of the lecturer's tables in the folder when it was marked.
	Beside map[string]string `json:",omitempty"`
}

// besideBook are the tables that a lecturer fills in beside the book.
var besideBook = []string{"adjust.csv", byEyeName}

// fileprint is the fingerprint of a file; empty if there is none.
func fileprint(path string) string {
	text, err := os.ReadFile(path)
	if err != nil {
		return ""
	}
	return fingerprint(text)
}

// A BookQuestion is a column of a marks book.
type BookQuestion struct {
	ID, Title string
	Of        int // marks to be had
}

// A BookRow is a student in a marks book, or a group with one sheet.
type BookRow struct {
	ID, Name string
	Members  []string `json:",omitempty"` // ids of the students who share the sheet; empty: it is one student's
	State    State
	Marks    []BookMark // one for each question
	// Handed is the date of the file in the archive of the whole class: RFC 3339 with
	// a zone, without one if the archive has none, and empty if no archive tells.
	Handed string `json:",omitempty"`
	Folder string `json:",omitempty"` // the folder that the file came in, if it has a name
}

// A State says how far a student's work is.
type State string

const (
	Marked   State = "marked"
	Missing  State = "missing"  // nothing was handed in
	Several  State = "several"  // several files, none of which is chosen
	Unusable State = "unusable" // nothing of what was handed in can be marked
)

// A BookMark is what a student has for a question.
type BookMark struct {
	Earned   float64
	Counts   bool    `json:",omitempty"` // there are marks at all
	Waits    bool    `json:",omitempty"` // a text that has not been read yet
	Adjusted bool    `json:",omitempty"` // the lecturer's own decision
	Was      float64 `json:",omitempty"` // the marks before that
	Reason   string  `json:",omitempty"` // of that
}

// Of is what the whole lab is worth.
func (b Book) Of() int {
	sum := 0
	for _, q := range b.Questions {
		sum += q.Of
	}
	return sum
}

// Total is the sum of a row's marks.
func (r BookRow) Total() float64 {
	sum := 0.0
	for _, m := range r.Marks {
		sum += m.Earned
	}
	return sum
}

// Counts reports whether the row has any marks.
func (r BookRow) Counts() bool {
	for _, m := range r.Marks {
		if m.Counts {
			return true
		}
	}
	return false
}

// Waiting is how many texts of the row have not been read yet.
func (r BookRow) Waiting() int {
	n := 0
	for _, m := range r.Marks {
		if m.Waits {
			n++
		}
	}
	return n
}

// bookName is the file in the store that holds the Book.
const bookName = "book"

// record is the book as it is kept.
func (b *marksBook) record() Book {
	out := Book{Lab: b.lab.ID, Title: b.lab.Title, Beside: map[string]string{}}
	for _, name := range besideBook {
		if print := fileprint(filepath.Join(b.k.Out, name)); print != "" {
			out.Beside[name] = print
		}
	}
	for _, q := range b.questions {
		out.Questions = append(out.Questions, BookQuestion{q.ID, q.Title, q.Marks})
	}
	for _, r := range b.rows {
		row := BookRow{ID: r.student.ID, Name: r.student.Name, Members: r.student.Members, State: Missing}
		switch {
		case r.marked():
			row.State, row.Handed, row.Folder = Marked, r.handed(), r.folder()
		case len(r.items) > 0:
			row.State = Several
		case r.returned():
			row.State = Unusable
		}
		row.Marks = r.marks().Marks
		out.Rows = append(out.Rows, row)
	}
	return out
}

// handed is when the marked file was handed in: of files with the same bytes the first one
// counts.
func (r row) handed() string {
	first := ""
	for _, it := range r.items {
		if when := it.file.when; it.key == r.item.key && when != "" && (first == "" || when < first) {
			first = when
		}
	}
	return first
}

// folder is the innermost folder of the lecturer's around the marked file, if it says whose
// it is: a folder with the files of many students is no student's.
func (r row) folder() string {
	if !r.item.own {
		return ""
	}
	return path.Base(r.item.file.box)
}

// ReadBook reads the marks book in a folder. marks.csv has to be as the marking wrote it,
// apart from what a spreadsheet changes when it saves a table: a mark that was changed by
// hand would be lost at the next marking, so it is refused with its line.
func ReadBook(dir string) (Book, error) {
	var b Book
	file := filepath.Join(dir, "marks.csv")
	if _, err := os.Stat(file); err != nil {
		return b, notOpened(file, plain(err), "; gravlab mark --out "+dir+" makes it")
	}
	if !(store{filepath.Join(dir, "store")}).read(bookName, "marking", &b) {
		return b, wrong(dir, 0, "holds marks of an older version of the program, or not all of its files; mark again with --out %s, which runs nothing twice", dir)
	}
	b.Dir = dir
	for _, name := range besideBook {
		if path := filepath.Join(dir, name); fileprint(path) != b.Beside[name] {
			return b, wrong(path, 0, "has changed since the last marking, so what it says is not in marks.csv yet; mark again, which runs nothing twice")
		}
	}
	t, err := readTable(file)
	if err != nil {
		return b, err
	}
	// A question may be called like one of the other columns, which stand around those of the
	// questions.
	last := slices.Clone(t.header)
	slices.Reverse(last)
	at := []int{slices.Index(t.header, "id"), len(last) - 1 - slices.Index(last, "total")}
	name := slices.Index(t.header, "name")
	if at[0] < 0 || at[1] == len(last) || name < 0 {
		return b, wrong(file, max(t.head, 1), "has not all of the columns id, name and total any more; mark again, which puts this table right")
	}
	var marks []int // columns of the questions
	for _, q := range b.Questions {
		i := slices.Index(t.header[min(2, len(t.header)):], q.ID) + 2
		if i < 2 || i == at[1] {
			return b, wrong(file, t.head, "has no column %q any more; mark again, which puts this table right", q.ID)
		}
		marks = append(marks, i)
	}
	const remedy = "; put your own marks into adjust.csv and mark again, which also puts this table right"
	class := Class{}
	for _, r := range b.Rows {
		class.Students = append(class.Students, Student{ID: r.ID})
	}
	lines := make([]int, len(b.Rows))
	for k, row := range t.rows {
		line, id := t.lines[k], row[at[0]]
		want := BookRow{}
		switch i := class.index(id); {
		case id == "" && row[name] == toBeHad:
			for _, q := range b.Questions {
				want.Marks = append(want.Marks, BookMark{Earned: float64(q.Of), Counts: true})
			}
		case i < 0:
			return b, wrong(file, line, "has a row for %q, whom the last marking does not know%s", clip.Line(id, 40), remedy)
		case lines[i] > 0:
			return b, wrong(file, line, "has a second row for %s; the first is in line %d%s", b.Rows[i].ID, lines[i], remedy)
		default:
			lines[i], want = line, b.Rows[i]
		}
		who := want.ID
		if who == "" {
			who = "the marks to be had"
		}
		check := func(what, cell, text string) error {
			got, ok := number(cell)
			have, _ := number(text)
			if cell == text || ok && text != "" && got == have {
				return nil
			}
			return wrong(file, line, "has %q for %s of %s, and the marking gave %q: it was changed by hand%s", clip.Line(cell, 40), what, who, text, remedy)
		}
		for i, m := range want.Marks {
			text := ""
			if m.Counts && !m.Waits {
				text = marksText(m.Earned)
			}
			if err := check(b.Questions[i].ID, row[marks[i]], text); err != nil {
				return b, err
			}
		}
		total := ""
		if want.Counts() {
			total = marksText(want.Total())
		}
		if err := check("the total", row[at[1]], total); err != nil {
			return b, err
		}
	}
	for i, line := range lines {
		if line == 0 {
			return b, wrong(file, 0, "has no row for %s any more%s", b.Rows[i].ID, remedy)
		}
	}
	return b, nil
}

// A Record is a row of a table that the lecturer wrote.
type Record struct {
	Line  int // in the file
	Cells map[string]string
}

// ReadRecords reads a table like the lecturer's other ones, by the names of its columns.
// The required ones have to be there.
func ReadRecords(file string, required []string, optional ...string) ([]Record, error) {
	t, err := readTable(file)
	if err != nil {
		return nil, err
	}
	at, err := t.columns(required...)
	if err != nil {
		return nil, err
	}
	names := required
	for _, name := range optional {
		i, err := t.column(name)
		if err != nil {
			return nil, err
		}
		if i >= 0 {
			names, at = append(names, name), append(at, i)
		}
	}
	var all []Record
	for k, row := range t.rows {
		r := Record{t.lines[k], map[string]string{}}
		for i, name := range names {
			r.Cells[name] = strings.TrimSpace(harmed(row[at[i]]))
		}
		all = append(all, r)
	}
	return all, nil
}
