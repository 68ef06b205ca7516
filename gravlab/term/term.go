// Package term carries a class through a term: from the marks books of its labs and one
// table of rules to one table for the class and one page for each student, each figure with
// how it came about.
//
// Most callers need ReadRules and Total.Write. ReadRoster makes a class list from a OneRoster set
// of files; GiveBack packs the replies of a lab; Kept lists what is kept about a class, and Forget
// removes it.
//
// # The rules
//
// A table like the lecturer's other ones, with the columns rule, lab, id, value and reason:
//
//	book       lab     folder                a lab that counts, and its marks book
//	weight     lab     number                of the lab in the total; without it 1
//	best               number                so many labs count, those with the highest percentages
//	resit      lab     folder                the marks book of a resit
//	resits             replace, average, better   what a resit does
//	due        lab     time                  when the lab was due
//	late       (lab)   10 % per day          what is deducted for being late, see below
//	late most  (lab)   50 %                  the most that is deducted for it
//	extension  lab id  time      reason      when the lab is due for one student
//	handed     lab id  time      reason      when a student handed in, if the archive does not say or is wrong
//	excused    lab id            reason      the lab does not count for the student
//	marks      lab id  -2        reason      more or fewer marks for one student, a member of a group for example
//	second     lab     file                  the marks of a second marker
//	assigned   lab     date                  when the lab was handed out; for results as OneRoster
//	results            date                  the date of the results; for results as OneRoster
//
// Rules that contradict each other are refused, with both lines.
//
// # How a figure comes about
//
// The marks of a lab are those of its book, changed by what the second marker and the first
// agreed on, by marks for one student, and by the deduction for being late, in this order;
// they stay between 0 and the marks to be had. A deduction is a part of the marks to be
// had, or a number of marks, per day that has begun since the lab was due, or once. A resit
// that was handed in replaces the first percentage, is averaged with it, or counts if it is
// better. Percentages are exact fractions until they are printed. The total is their mean
// with the weights of the labs that count. An excused lab counts nowhere; nothing handed in
// counts 0.
//
// A total with a text still to be read, or with work for which it is open which file counts, is
// provisional and says so.
//
// # What is written
//
//	total.csv       one row per student, in the dialect of the class list, with the marks to be had and the weights
//	pages/ID.html   the same for one student, with how each figure came about
//	second.csv      the second marker's marks beside the first marker's, with the differences
//	changes.csv     what changed since the first call, with the reason
//	history.json    what changes.csv is made from
//	results.zip     the results as a OneRoster set, if there is a roster
//
// The same input gives the same bytes. Files are written whole, history.json first: a call that was
// killed is simply made again.
package term

import (
	"fmt"
	"math/big"
	"path/filepath"
	"strings"

	"gravity.example/gravlab/marking"
)

// A Total is what is to be added up.
type Total struct {
	Class marking.Class
	Rules Rules
	Out   string // folder to write into
	// Roster is the OneRoster set that the results are for, and Taught its class; nil: none.
	Roster *Roster
	Taught RosterClass
}

// A Result is what came out for a class.
type Result struct {
	Labs     []LabResult
	Students []StudentResult // in the order of the class list
	Remarks  []string        // what the lecturer should look at
	Changes  int             // figures that are others than at the call before
}

// A LabResult is one lab of the term.
type LabResult struct {
	ID, Title string
	Of        int // marks to be had
	Weight    *big.Rat
}

// A StudentResult is one student's term.
type StudentResult struct {
	Student marking.Student
	Labs    []Figure // one for each lab
	Total   *big.Rat // percent; nil if no lab counts
	How     string   // the total came about
	Open    []string // why the total is provisional; empty if it is final
}

// A Figure is what a student has for a lab.
type Figure struct {
	Marks   *big.Rat // after all changes; nil if the lab is excused
	Percent *big.Rat // with the resit; nil if the lab is excused
	Counts  bool     // among the best
	Late    bool
	State   marking.State
	Excused bool
	Open    []string // why it is provisional
	Steps   []string // how it came about, the first marks first
}

// Final reports whether nothing is open about a student's total.
func (s StudentResult) Final() bool { return len(s.Open) == 0 }

// wrong makes the error about a file of the lecturer's.
func wrong(file string, line int, format string, args ...any) error {
	return &marking.InputError{File: file, Line: line, What: fmt.Sprintf(format, args...)}
}

// beside is a path that a table names, from the folder of the table.
func beside(file, path string) string {
	if filepath.IsAbs(path) {
		return path
	}
	return filepath.Join(filepath.Dir(file), filepath.FromSlash(path))
}

// number is a lab's number, the part of its id before the first hyphen.
func number(lab string) string { n, _, _ := strings.Cut(lab, "-"); return n }

// figureText writes an exact number as people do, with at most so many decimals, half up.
func figureText(v *big.Rat, decimals int) string {
	text := v.FloatString(decimals)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	if text == "-0" {
		return "0"
	}
	return text
}
