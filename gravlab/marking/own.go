package marking

import (
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/clip"
)

// An adjustment is the lecturer's own decision on one question of one student.
type adjustment struct {
	Marks  float64
	Reason string
}

// adjustments are the lecturer's own decisions, which are applied last.
type adjustments struct {
	marks  map[string]map[string]adjustment // by student and question
	chosen map[string]string                // fingerprint of the file that counts, by student
}

// fileQuestion stands in the column question of a row that names a file.
const fileQuestion = "file"

// readAdjustments reads a CSV file with the columns id, question, marks and reason.
// A row whose question is "file" says which of several files with a student's code
// is marked: marks then holds the fingerprint that remarks.csv gives it.
func readAdjustments(path string, sheet bank.Sheet, class Class) (adjustments, error) {
	out := adjustments{marks: map[string]map[string]adjustment{}, chosen: map[string]string{}}
	if path == "" {
		return out, nil
	}
	t, err := readTable(path)
	if err != nil {
		return out, err
	}
	at, err := t.columns("id", "question", "marks", "reason")
	if err != nil {
		return out, err
	}
	for k, row := range t.rows {
		question, marks, line := row[at[1]], row[at[2]], t.lines[k]
		student, err := class.student(path, line, row[at[0]])
		if err != nil {
			return out, err
		}
		id := student.ID
		if question == fileQuestion {
			print := strings.TrimPrefix(strings.ToLower(marks), printPrefix)
			if len(print) < 8 || strings.Trim(print, "0123456789abcdef") != "" {
				return out, wrong(path, line, "the marks of a row that names a file are its fingerprint, as remarks.csv has it, such as sha256:3f9a2c1b0d4e")
			}
			if _, twice := out.chosen[id]; twice {
				return out, wrong(path, line, "names a second file for %s", id)
			}
			out.chosen[id] = print
			continue
		}
		q, ok := sheet.Question(question)
		if !ok {
			return out, wrong(path, line, "lab %s has no question %q", sheet.Lab.ID, clip.Line(question, 40))
		}
		v, ok := number(marks)
		if !ok || v < 0 || v > float64(q.Marks) {
			return out, wrong(path, line, "the marks are %q; allowed: 0 to %d", clip.Line(marks, 40), q.Marks)
		}
		if out.marks[id] == nil {
			out.marks[id] = map[string]adjustment{}
		}
		if _, twice := out.marks[id][q.ID]; twice {
			return out, wrong(path, line, "gives second marks for %s of %s", q.ID, id)
		}
		out.marks[id][q.ID] = adjustment{v, harmed(row[at[3]])}
	}
	return out, nil
}

// byEye are the marks that a person gave for texts.
type byEye struct {
	marks     map[eyeKey]eyeMark
	strangers []string // ids that are not in the class list
}

// An eyeKey is a text: marks go with the text that was read.
type eyeKey struct{ student, question, text string }

type eyeMark struct {
	marks   float64
	comment string
	row     []string // as it stands in by-eye.csv
}

const byEyeName = "by-eye.csv"

var byEyeHeader = []string{"id", "name", "question", "of", "text", "text id", "marks", "comment"}

// readByEye reads the marks that were filled in to by-eye.csv; there may be none yet.
//
// A student's id is known again after a spreadsheet has taken the zeros off it. Marks for
// somebody who is not in the class list stay, in case they come back.
func readByEye(out string, sheet bank.Sheet, class Class) (byEye, error) {
	eye := byEye{marks: map[eyeKey]eyeMark{}}
	path := filepath.Join(out, byEyeName)
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return eye, nil
	}
	t, err := readTable(path)
	if err != nil {
		return eye, err
	}
	at, err := t.columns(byEyeHeader...)
	if err != nil {
		return eye, err
	}
	for k, cells := range t.rows {
		var row []string
		for _, i := range at {
			row = append(row, harmed(cells[i]))
		}
		if row[6] == "" && row[7] == "" {
			continue
		}
		if row[6] == "" {
			return eye, wrong(path, t.lines[k], "has a comment and no marks; fill in both, or the marks alone")
		}
		v, ok := number(row[6])
		if q, known := sheet.Question(row[2]); !ok || v < 0 || known && v > float64(q.Marks) {
			return eye, wrong(path, t.lines[k], "the marks are %q; allowed: 0 to %s, or empty", clip.Line(row[6], 40), row[3])
		}
		row[6] = marksText(v)
		student, err := class.student(path, t.lines[k], row[0])
		switch {
		case err == nil:
			row[0] = student.ID
		case rounded.MatchString(row[0]):
			return eye, err
		case !slices.Contains(eye.strangers, row[0]):
			eye.strangers = append(eye.strangers, row[0])
		}
		key := eyeKey{row[0], row[2], row[5]}
		if old, twice := eye.marks[key]; twice && old.marks != v {
			return eye, wrong(path, t.lines[k], "gives second marks, %s, for a text of %s for %s that has %s", row[6], clip.Line(row[0], 40), clip.Line(row[2], 40), marksText(old.marks))
		}
		eye.marks[key] = eyeMark{v, row[7], row}
	}
	return eye, nil
}

// of is the mark of a text, if somebody gave one.
func (e byEye) of(student, question, text string) (eyeMark, bool) {
	m, ok := e.marks[eyeKey{student, question, textID(text)}]
	return m, ok
}

// former are the marks for other texts of the same student.
func (e byEye) former(student, question string) []string {
	var all []string
	for k, m := range e.marks {
		if k.student == student && k.question == question {
			all = append(all, marksText(m.marks))
		}
	}
	slices.Sort(all)
	return all
}

// textID tells texts apart, so that marks go with the text that was read.
func textID(text string) string { return "text:" + fingerprint([]byte(text))[:12] }

// marksText writes marks as people do: 2, 1.5.
func marksText(v float64) string {
	return strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64)
}
