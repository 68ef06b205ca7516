// Package bank is what a bank of questions is made of: labs, sheets, questions
// and how they are judged.
//
// A lab is a package of its own (exercises/lab01, or a folder of a lecturer's).
// It has two halves. Go holds what a compiler can check: the sheet's numbers, the right
// answers, the values that known mistakes lead to, tolerances and recordings. The words
// stand in text files beside it, one for each question (see Words), so that
// someone who knows no Go can edit or translate them.
//
// Most people need three things: [Lab] with its Build, [Question], and the form of a
// text file, which exercises/README.md shows whole.
package bank

import (
	"slices"
	"strings"

	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

// A Lab is one notebook's worth of questions.
type Lab struct {
	ID       string // "01-weighing-the-earth", the notebook's file name
	Title    string
	Asks     string   // what the list of labs asks, to make a reader curious; may be empty
	Minutes  int      // of a student's time
	Tracks   []Track  // empty: for everyone
	BuildsOn []string // ids of other labs
	Graded   bool     // marked in a class
	Sealed   Weights  // how the marks of its sealed sheets are weighed
	Words    *Words   // the text files of its questions; nil if Build sets the words as well
	Ride     Ride     // what a reader may record with the device in their hand; zero: nothing
	// Build makes the lab with the numbers of one sheet. It is cheap: whatever takes
	// time waits until it is asked for (sync.OnceValue).
	Build func(d *Draw) Sheet

	key []byte // of a sealed sheet: see WithKey
}

// Number is the lab's number, the part of the id before the first hyphen.
func (l Lab) Number() string { n, _, _ := strings.Cut(l.ID, "-"); return n }

// Is reports whether id names the lab: "01-weighing-the-earth", "01" or "1".
func (l Lab) Is(id string) bool { return id == l.ID || id == l.Number() || "0"+id == l.Number() }

// A Ride is a recording of the reader's own, made with the accelerometer of the device that
// shows the page. A browser gives accelerations in steps of 0.1 m/s² (W3C, Device Orientation
// and Motion): a lab offers one only if what it looks for is ten times that.
type Ride struct {
	File     string // that it becomes: "own-ride.csv"
	After    string // the question after which it is offered
	Does     string // what to do with the device, plain text
	Cautions []string
}

// A Track is a way through the labs.
type Track string

const (
	LaboratoryClass Track = "laboratory class"
	SurveyHire      Track = "new survey hire"
	PlanetarySpace  Track = "planetary and space"
)

// A Sheet is a lab with one student's numbers.
type Sheet struct {
	Lab        Lab  // set by Lab.Sheet
	Code       Code // set by Lab.Sheet
	Sealed     bool // set by Lab.Sheet: its numbers are not known here (see Lab.WithKey)
	Fields     Fields
	Questions  []Question
	Recordings []Recording
}

// A WordsError says what does not fit between the Go and the text files of a lab.
type WordsError struct{ error }

// Sheet returns the lab with the numbers of a sheet's code. It panics with a
// WordsError where the lab's Go and its text files do not fit; Faults reports that as a fault.
//
// Of a sealed sheet without its key it returns what does not depend on the numbers.
func (l Lab) Sheet(code Code) Sheet {
	hidden := code.Sealed() && l.key == nil
	drawn := code
	if hidden {
		drawn = ""
	}
	d := l.Draw(drawn)
	s := l.Build(d)
	s.Lab, s.Code = l, code
	if l.Words != nil {
		if err := l.Words.fill(&s); err != nil {
			panic(WordsError{err})
		}
	}
	if code.Sealed() {
		if l.Graded {
			s.Questions = append(slices.Clone(s.Questions), texts(s)...)
		}
		s.weigh(l.Bases())
	} else {
		s.Questions = slices.DeleteFunc(s.Questions, func(q Question) bool { return q.SealedOnly })
	}
	if code != "" && !hidden {
		s.shuffle(d)
	}
	if hidden {
		s.strip()
	}
	return s
}

// Question returns the question with an id ("kappa", or "01/kappa").
func (s Sheet) Question(id string) (Question, bool) {
	id = strings.TrimPrefix(id, s.Lab.Number()+"/")
	for _, q := range s.Questions {
		if q.ID == id {
			return q, true
		}
	}
	return Question{}, false
}

// Recording returns the recording with an id.
func (s Sheet) Recording(id string) (Recording, bool) {
	for _, r := range s.Recordings {
		if r.ID == id {
			return r, true
		}
	}
	return Recording{}, false
}

// Marks is what the whole sheet is worth.
func (s Sheet) Marks() int {
	n := 0
	for _, q := range s.Questions {
		n += q.Marks
	}
	return n
}

// A Recording is what the sheet's own apparatus recorded: columns of equal
// length, made by the models from the sheet's code.
type Recording struct {
	ID      string // "swing"
	Title   string // from shared.md
	Columns []Column
	Shared  bool                        // all sheets have the same one
	Make    func() ([][]float64, error) // one slice per column
}

// A Column is one quantity of a recording.
type Column struct {
	Name string // "time"
	Unit string // SI unit of the numbers that the student's program receives: "s"
}

// Answers are the answers to earlier questions, by id, in SI units.
type Answers map[string]float64

// Always is an answer, or the value of a slip, that builds on no other answer.
func Always(v float64) func(Answers) float64 { return func(Answers) float64 { return v } }

// Later is Always for a value that takes time: it is worked out when it is asked for.
func Later(f func() float64) func(Answers) float64 { return func(Answers) float64 { return f() } }

// Fields are the numbers and words that a text file leaves open, by name: with
// the field "period" the file's [[.period]] reads 573.5.
type Fields map[string]any

// A Question is one question with one student's numbers in it. The fields under
// "words" are filled from the question's text file (see Words).
type Question struct {
	ID     string // "kappa": unique in the lab, and the name of the text file
	Kind   judge.Kind
	Marks  int
	Fields Fields // what the text file leaves open, besides the sheet's own fields

	// For Number and Measured.
	Unit   string                  // the unit of the worked answer
	Tol    judge.Tolerance         // of the value
	Uses   []string                // ids of the questions whose answers this one builds on
	Solve  func(a Answers) float64 // the right answer, SI, from the answers that it builds on
	U      func() float64          // Measured: the judge's own standard uncertainty, SI
	Slips  []Slip                  // of the value
	USlips []Slip                  // of the uncertainty
	// Degrees is the answer that follows where angles go into sin, cos or tan in degrees;
	// nil if there is no angle. It needs no words.
	Degrees func(a Answers) float64
	Range   [2]float64 // where every sheet's answer lies, SI: a check on the bank itself

	// For Function.
	Function *Function

	// Reads are the recordings that an answer needs, besides those that Worked reads by
	// their names.
	Reads []string

	// For Text: what earns how many marks, for who reads it; may be empty.
	Rubric []Criterion

	// SealedOnly questions stand on sealed sheets and on no others.
	SealedOnly bool

	Source Source

	// Words.
	Title     string // a few words
	Prompt    string // Markdown with TeX, the sheet's numbers filled in
	Options   []judge.Option
	Hints     [2]string
	Worked    string // the code that a good student would put into the answer cell
	Reasoning string // why, in words: Markdown
	// Compare is what others found, in a sentence, for a reader whose result is right; may be
	// empty.
	Compare string
	Stub    string // what the answer cell holds before the student comes; empty for the usual one
}

// A Slip is a mistake that people make: the value that it leads to (NaN where it leads
// nowhere with a sheet's numbers), and, from the text file's section "Slip ID", what it is
// called and how to put it right without giving the answer away.
//
// One whose value cannot be told from the right answer is left out on that sheet (see
// Sheet.NumberTask). Where two lead to one value, the verdict names both. Two values may
// share an ID, where one mistake leads to either.
//
// What can go wrong in any question needs no slip: the judge knows factors such as 2, π and 60,
// a sign, a power of ten, the complement and the reciprocal.
type Slip struct {
	ID    string // "half-period"
	Value func(a Answers) float64
	Name  string // words
	Fix   string // words
	// Sketch names a small drawing of what was confused (package internal/drawing); "" is none.
	Drawing string // words
}

// A Function is a function that the student writes.
type Function struct {
	Name      string // in the student's code: "equilibrium"
	Signature judge.Signature
	Calls     [][]float64
	Right     func(args []float64) []float64
	Slips     []FunctionSlip
	// Degrees is the function with angles in degrees in sin, cos or tan; nil if there is no
	// angle. It needs no words.
	Degrees func(args []float64) []float64
}

// A FunctionSlip is a function as people write it when they make a mistake. ID, Name, Fix and
// Drawing are those of a Slip.
type FunctionSlip struct {
	ID      string
	F       func(args []float64) []float64
	Name    string
	Fix     string
	Drawing string
}

// A Source says what stands behind a right answer.
type Source struct {
	// Text is the full citation, or how it was computed, or "common practice, no
	// source", or starts with "from memory". It comes from the question's text file.
	Text string
	// Published says that Check compares Solve's own formula with a number that
	// the source prints.
	Published bool
	// Check holds the comparison: the question's formula at the inputs of the
	// source, and the source's answer from testdata. Nil if there is none.
	Check *SourceCheck
}

// A SourceCheck is the question's own formula at published inputs.
type SourceCheck struct {
	Table, ID string  // where the number is: testdata.Examples, "torsion-02"
	Got, Want float64 // SI, or the table's unit if both are in it
	Within    float64 // half a unit of the last printed digit
}

// Published is the source of a question whose own formula, at the inputs of a row of a
// table in testdata, gives got; the row's source prints an answer. within is half a unit of
// its last digit.
func Published(table, id string, got, within float64) Source {
	s := Computed(table, id, got, within)
	s.Published = true
	return s
}

// Computed is like Published for a row that was computed by other means than ours.
func Computed(table, id string, got, within float64) Source {
	row, column := testdata.Find(table, id), "value"
	if row["published_answer"] != "" {
		column = "published_answer"
	}
	return Source{Check: &SourceCheck{Table: table, ID: id, Got: got, Want: row.Float(column), Within: within}}
}
