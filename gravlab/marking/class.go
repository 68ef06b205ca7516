package marking

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/clip"
)

// A Class is a class list.
type Class struct {
	Students []Student
	Other    []string // names of the further columns
	// Note says what had to be guessed to read the list, empty if nothing was: a person
	// should look whether the guess is right.
	Note    string
	Dialect Dialect // of the list: the tables about the class are written in it
	file    string
}

// A Student is one row of a class list.
type Student struct {
	ID    string   // unique, and safe as the name of a folder
	Name  string   // may be empty
	Other []string // cells of the further columns
	// Members are the ids of those who share the sheet, if the row is a group: the cell
	// of a column members, with spaces, commas or semicolons between the ids.
	Members []string
}

// ReadClass reads a class list: a CSV file with a column id (or ID number, student
// ID and the like), and perhaps a column name, or one for first and one for last names,
// and others. Titles may stand above the header. A column called code is left out, so that the
// list that a handout writes can be read too.
//
// An id has to be good for the name of a folder on every system, unique whether
// capitals and zeros in front count or not, and not empty. A line of totals and a number
// that a spreadsheet has rounded are refused: either would make a student who does
// not exist.
func ReadClass(path string) (Class, error) {
	t, err := readTable(path)
	if err != nil {
		return Class{}, err
	}
	c := Class{file: path, Note: t.note, Dialect: t.dialect}
	ids, err := t.columns("id")
	if err != nil {
		return Class{}, err
	}
	var names []int // the column with the name, else those with its parts
	for _, column := range []string{"name", "first name", "last name"} {
		i, err := t.column(column)
		if err != nil {
			return Class{}, err
		}
		if i >= 0 {
			names = append(names, i)
		}
		if column == "name" && i >= 0 {
			break
		}
	}
	var others []int
	for i, h := range t.header {
		if i != ids[0] && !slices.Contains(names, i) && !strings.EqualFold(h, "code") {
			others = append(others, i)
			c.Other = append(c.Other, h)
		}
	}
	members, err := t.column("members")
	if err != nil {
		return Class{}, err
	}
	in := map[string]int{} // lines of the groups, by member
	first := map[string]int{}
	for k, row := range t.rows {
		s := Student{ID: row[ids[0]]}
		line := t.lines[k]
		if problem := badID(s.ID); problem != "" {
			return Class{}, wrong(path, line, "%s", problem)
		}
		switch twin, twice := first[folded(s.ID)]; {
		case twice && strings.EqualFold(s.ID, c.Students[twin].ID):
			return Class{}, wrong(path, line, "the id %q is in line %d too (capitals do not count); give each student an id of their own", s.ID, t.lines[twin])
		case twice:
			return Class{}, wrong(path, line, "the id %q and the id %q in line %d differ by zeros in front, which a spreadsheet removes; give the two students ids that differ by more", s.ID, c.Students[twin].ID, t.lines[twin])
		}
		first[folded(s.ID)] = k
		var words []string
		for _, i := range names {
			if word := harmed(row[i]); word != "" {
				words = append(words, word)
			}
		}
		s.Name = strings.Join(words, " ")
		for _, i := range others {
			s.Other = append(s.Other, row[i])
		}
		if members >= 0 {
			s.Members = strings.FieldsFunc(row[members], func(r rune) bool { return strings.ContainsRune(" ,;\n", r) })
		}
		for _, id := range s.Members {
			if problem := badID(id); problem != "" {
				return Class{}, wrong(path, line, "in the column members: %s", problem)
			}
			if other, twice := in[folded(id)]; twice {
				return Class{}, wrong(path, line, "the member %q is in line %d too; a student shares one sheet of a lab", id, other)
			}
			in[folded(id)] = line
		}
		c.Students = append(c.Students, s)
	}
	if len(c.Students) == 0 {
		return Class{}, wrong(path, 0, "lists no students; each has a line under the header")
	}
	return c, nil
}

var (
	goodID   = regexp.MustCompile(`^[A-Za-z0-9](?:[A-Za-z0-9._@+-]{0,62}[A-Za-z0-9_@+-])?$`)
	reserved = regexp.MustCompile(`(?i)^(con|prn|aux|nul|com[0-9]|lpt[0-9])(\.|$)`)
	digits   = regexp.MustCompile(`^[0-9]+$`)
	// rounded is what a spreadsheet makes of a number with more digits than it
	// shows, sums what stands in front of a line of totals.
	rounded = regexp.MustCompile(`(?i)^[0-9](?:[.,][0-9]+)?E\+[0-9]{2,3}$`)
	sums    = regexp.MustCompile(`(?i)^(grand |sub)?(totals?|sum|average|mean):?$`)
)

// folded is an id without what other programs change in it: capitals, and zeros
// in front of a number.
func folded(id string) string {
	if digits.MatchString(id) {
		return "0" + strings.TrimLeft(id, "0")
	}
	return strings.ToLower(id)
}

// badID says why an id cannot be used; empty if it can.
func badID(id string) string {
	switch {
	case id == "":
		return "the id is empty; give each student one"
	case rounded.MatchString(id):
		return fmt.Sprintf("the id %q is a long number that a spreadsheet has rounded, and its digits are lost; take the ids from the original list, in a column that is formatted as text", clip.Line(id, 40))
	case sums.MatchString(id):
		return fmt.Sprintf("the id %q belongs to a line of totals and not to a student; delete the line", clip.Line(id, 40))
	case reserved.MatchString(id):
		return fmt.Sprintf("the id %q is a name that Windows keeps for devices; add a letter", clip.Line(id, 40))
	case !goodID.MatchString(id):
		return fmt.Sprintf("the id %q cannot be the name of a folder; use up to 64 of A-Z a-z 0-9 . _ @ + - and begin with a letter or digit", clip.Line(id, 40))
	}
	return ""
}

// The sheets of a class are the codes of a lab: each student has a practice sheet and a
// sealed one.
type sheets struct {
	practice, sealed []bank.Code
	owner            map[bank.Code]int
}

// sheets names the sheets of a lab; word tells those of a resit from the first ones.
func (c Class) sheets(key []byte, lab, word string) (sheets, error) {
	out := sheets{owner: map[bank.Code]int{}}
	for i, s := range c.Students {
		practice, sealed := bank.StudentCode(key, lab, s.ID, word), bank.SealedCode(key, lab, s.ID, word)
		for _, code := range []bank.Code{practice, sealed} {
			if j, twice := out.owner[code]; twice {
				return out, fmt.Errorf("%s: the students %s and %s would have the same sheet of lab %s (one class in a hundred thousand has such a pair); change one of the two ids, or take another key", c.file, c.Students[j].ID, s.ID, lab)
			}
			out.owner[code] = i
		}
		out.practice, out.sealed = append(out.practice, practice), append(out.sealed, sealed)
	}
	return out, nil
}

// codes are those of one kind, by student.
func (s sheets) codes(sealed bool) []bank.Code {
	if sealed {
		return s.sealed
	}
	return s.practice
}

// sheetOf makes a student's sheet, a sealed one from its key.
func sheetOf(lab bank.Lab, key []byte, student, word string, code bank.Code) bank.Sheet {
	if code.Sealed() {
		lab = lab.WithKey(bank.SheetKey(key, lab.ID, student, word))
	}
	return lab.Sheet(code)
}

// Find is the student with an id, as a spreadsheet may have changed it: capitals and
// zeros in front do not count.
func (c Class) Find(id string) (Student, bool) {
	if i := c.index(id); i >= 0 {
		return c.Students[i], true
	}
	return Student{}, false
}

// index finds a student by id, as other programs may have changed it (see folded);
// -1 if there is none.
func (c Class) index(id string) int {
	return slices.IndexFunc(c.Students, func(s Student) bool { return folded(s.ID) == folded(id) })
}

// student finds the student of a row in one of the lecturer's files.
func (c Class) student(file string, line int, id string) (Student, error) {
	if i := c.index(id); i >= 0 {
		return c.Students[i], nil
	}
	if rounded.MatchString(id) {
		return Student{}, wrong(file, line, "%s", badID(id))
	}
	return Student{}, wrong(file, line, "the class has no student %q", clip.Line(id, 40))
}

// number reads a number as a lecturer types it, with a decimal comma too.
func number(s string) (float64, bool) {
	v, err := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64)
	return v, err == nil && v-v == 0
}
