package marking

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"gravity.example/exercises"
)

// A Class is a class list.
type Class struct {
	Students []Student
	Other    []string // names of the further columns
	file     string
}

// A Student is one row of a class list.
type Student struct {
	ID    string   // unique, and safe as the name of a folder
	Name  string   // may be empty
	Other []string // cells of the further columns
}

// ReadClass reads a class list: a CSV file with a column id, and perhaps a
// column name and others. A column called code is left out, so that the list that
// a handout writes can be read too.
//
// An id has to be good for the name of a folder on every system, unique whether
// capitals count or not, and not empty.
func ReadClass(path string) (Class, error) {
	t, err := readTable(path)
	if err != nil {
		return Class{}, err
	}
	c := Class{file: path}
	ids, err := t.columns("id")
	if err != nil {
		return Class{}, err
	}
	names, err := t.column("name")
	if err != nil {
		return Class{}, err
	}
	var others []int
	for i, h := range t.header {
		if i != ids[0] && i != names && !strings.EqualFold(h, "code") {
			others = append(others, i)
			c.Other = append(c.Other, h)
		}
	}
	first := map[string]int{}
	for k, row := range t.rows {
		s := Student{ID: row[ids[0]]}
		line := t.lines[k]
		if problem := badID(s.ID); problem != "" {
			return Class{}, wrong(path, line, "%s", problem)
		}
		key := strings.ToLower(s.ID)
		if at, twice := first[key]; twice {
			return Class{}, wrong(path, line, "the id %q stands in line %d too (capitals do not count); give each student an id of their own", s.ID, at)
		}
		first[key] = line
		if names >= 0 {
			s.Name = harmed(row[names])
		}
		for _, i := range others {
			s.Other = append(s.Other, row[i])
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
)

// badID says why an id cannot be used; empty if it can.
func badID(id string) string {
	switch {
	case id == "":
		return "the id is empty; give each student one"
	case reserved.MatchString(id):
		return fmt.Sprintf("the id %q is a name that Windows keeps for devices; add a letter", clip(id, 40))
	case !goodID.MatchString(id):
		return fmt.Sprintf("the id %q cannot be the name of a folder; use up to 64 of A-Z a-z 0-9 . _ @ + - and begin with a letter or digit", clip(id, 40))
	}
	return ""
}

// codes returns the code of each student's sheet of a lab.
func (c Class) codes(key []byte, lab string) (byStudent []exercises.Code, owner map[exercises.Code]int, err error) {
	owner = map[exercises.Code]int{}
	for i, s := range c.Students {
		code := exercises.StudentCode(key, lab, s.ID)
		if j, twice := owner[code]; twice {
			return nil, nil, fmt.Errorf("%s: the students %s and %s would have the same sheet of lab %s (one class in a hundred thousand has such a pair); change one of the two ids, or take another key", c.file, c.Students[j].ID, s.ID, lab)
		}
		owner[code] = i
		byStudent = append(byStudent, code)
	}
	return byStudent, owner, nil
}

// index finds a student by id.
func (c Class) index(id string) int {
	return slices.IndexFunc(c.Students, func(s Student) bool { return s.ID == id })
}

// number reads a number as a lecturer types it, with a decimal comma too.
func number(s string) (float64, bool) {
	v, err := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64)
	return v, err == nil && v-v == 0
}

// clip shortens a text for a message or a cell of a table.
func clip(s string, most int) string {
	s = strings.Join(strings.Fields(strings.ToValidUTF8(s, "\ufffd")), " ")
	if r := []rune(s); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return s
}
