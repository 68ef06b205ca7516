// Package exercises is the bank: every lab's questions, and the recordings of
// its apparatus, as Go values.
//
// A lab is a function from a sheet's code to a Paper: the same questions for
// everybody, with numbers of one's own. The right answer is a call into the
// models, so that the compiler checks it, and every slip is the value that the
// wrong formula gives with the same numbers.
package exercises

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"gravity.example/gravlab/judge"
)

// A Lab is one notebook's worth of questions.
type Lab struct {
	ID       string // "01-weighing-the-earth", the notebook's file name
	Title    string
	Minutes  int      // of a student's time
	Tracks   []Track  // empty: for everybody
	BuildsOn []string // ids of other labs
	Graded   bool     // marked in a class
	// Build makes the lab with the numbers of one sheet. It is cheap: whatever takes
	// time waits until it is asked for (sync.OnceValue).
	Build func(d *Draw) Paper
}

// Number is the lab's number, the part of the id before the first hyphen.
func (l Lab) Number() string { n, _, _ := strings.Cut(l.ID, "-"); return n }

// A Track is a way through the labs.
type Track string

const (
	LaboratoryClass Track = "laboratory class"
	SurveyHire      Track = "new survey hire"
	PlanetarySpace  Track = "planetary and space"
)

// A Paper is a lab with one student's numbers.
type Paper struct {
	Lab        Lab
	Code       Code
	Questions  []Question
	Recordings []Recording
}

// Question returns the question with an id ("kappa", or "01/kappa").
func (p Paper) Question(id string) (Question, bool) {
	id = strings.TrimPrefix(id, p.Lab.Number()+"/")
	for _, q := range p.Questions {
		if q.ID == id {
			return q, true
		}
	}
	return Question{}, false
}

// Recording returns the recording with an id.
func (p Paper) Recording(id string) (Recording, bool) {
	for _, r := range p.Recordings {
		if r.ID == id {
			return r, true
		}
	}
	return Recording{}, false
}

// Marks is what the whole paper is worth.
func (p Paper) Marks() int {
	n := 0
	for _, q := range p.Questions {
		n += q.Marks
	}
	return n
}

// A Recording is what the sheet's own apparatus recorded: columns of equal
// length, made by the models from the sheet's code.
type Recording struct {
	ID      string // "swing"
	Title   string
	Columns []Column
	Make    func() ([][]float64, error) // one slice a column
}

// A Column is one quantity of a recording.
type Column struct {
	Name string // "time"
	Unit string // SI unit of the numbers that the student's program receives: "s"
}

// Known answers of earlier questions, by id, in SI units.
type Known map[string]float64

// A Question is one question with one student's numbers in it.
type Question struct {
	ID     string // "kappa": unique in the lab
	Kind   judge.Kind
	Marks  int
	Title  string // a few words
	Prompt string // Markdown with TeX, the sheet's numbers filled in

	// For Number and Measured.
	Unit   string                // the unit of the worked answer
	Tol    judge.Tolerance       // of the value
	Uses   []string              // ids of the questions whose answers this one builds on
	Solve  func(k Known) float64 // the right answer, SI, from the answers that it builds on
	U      func() float64        // Measured: the judge's own standard uncertainty, SI
	Slips  []Slip                // of the value
	USlips []Slip                // of the uncertainty
	Range  [2]float64            // where every sheet's answer lies, SI: a check on the bank itself

	// For Choice.
	Options []judge.Option

	// For Function.
	Function *Function

	Hints     [2]string
	Worked    string // the code that a good student would put into the answer cell
	Reasoning string // why, in words: Markdown
	Stub      string // what the answer cell holds before the student comes
	Source    Source
}

// A Slip is a mistake that people make: what it is called, the value that it
// leads to (NaN where it leads nowhere with a sheet's numbers), and how to put it
// right without giving the answer away.
type Slip struct {
	Name  string
	Value func(k Known) float64
	Fix   string
}

// A Function is a function that the student writes.
type Function struct {
	Name      string // in the student's code: "equilibrium"
	Signature judge.Signature
	Calls     [][]float64
	Right     func(args []float64) []float64
	Slips     []FunctionSlip
}

// A FunctionSlip is a function as people write it when they make a mistake.
type FunctionSlip struct {
	Name string
	F    func(args []float64) []float64
	Fix  string
}

// A Source says what stands behind a right answer.
type Source struct {
	// Text is the full citation, or how it was computed, or "common practice, no
	// source", or starts with "from memory".
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
	Table, ID string  // where the number stands: "worked_examples.csv", "torsion-02"
	Got, Want float64 // SI, or the table's unit if both are in it
	Within    float64 // half a unit of the last printed digit
}

// Labs returns all labs in order.
func Labs() []Lab {
	return labs
}

// Add puts labs into the bank, as a lecturer's own bank does when the program
// starts. A lab with the id of one that is there takes its place, so that an own bank
// may change a tolerance; two labs with one number and different ids are
// refused, and then nothing is added.
func Add(own ...Lab) error {
	all := slices.Clone(labs)
	for _, l := range own {
		if !labID.MatchString(l.ID) || l.Build == nil {
			return fmt.Errorf("a lab has the id %q and needs one like 91-plumb-line: two digits, then words of small letters and digits with hyphens; and a Build", l.ID)
		}
		i := slices.IndexFunc(all, func(old Lab) bool { return old.Number() == l.Number() })
		switch {
		case i < 0:
			all = append(all, l)
		case all[i].ID != l.ID:
			return fmt.Errorf("the labs %s and %s have the same number; take another for your own", all[i].ID, l.ID)
		default:
			all[i] = l
		}
	}
	labs = all
	return nil
}

var labID = regexp.MustCompile(`^[0-9]{2}(-[a-z0-9]+)+$`)

// Find returns the lab with an id or a number: "01-weighing-the-earth", "01", "1".
func Find(id string) (Lab, error) {
	var known []string
	for _, l := range labs {
		if id == l.ID || id == l.Number() || "0"+id == l.Number() {
			return l, nil
		}
		known = append(known, l.ID)
	}
	return Lab{}, fmt.Errorf("there is no lab %q; the labs are %s", id, strings.Join(known, ", "))
}

// Paper returns the lab with the numbers of a sheet's code.
func (l Lab) Paper(code Code) Paper {
	p := l.Build(&Draw{lab: l.ID, code: code})
	p.Lab, p.Code = l, code
	return p
}

// RightAnswers solves all questions with numbers, each from the right answers
// of those it builds on.
func (p Paper) RightAnswers() Known {
	known := Known{}
	for _, q := range p.Questions {
		if q.Solve != nil {
			known[q.ID] = q.Solve(known)
		}
	}
	return known
}

// Judge judges an answer to a question. own holds the student's earlier answers
// in SI units; tries is how many answers to this question came before.
func (p Paper) Judge(q Question, a judge.Answer, own Known, tries int) judge.Verdict {
	switch q.Kind {
	case judge.Number, judge.Measured:
		return judge.JudgeNumber(p.numberTask(q, own, tries), a)
	case judge.Choice:
		return judge.JudgeChoice(judge.ChoiceTask{Marks: q.Marks, Options: q.Options}, a)
	case judge.Function:
		return judge.JudgeFunction(q.functionTask(tries), a)
	default:
		return judge.JudgeText(q.Marks, a)
	}
}

// numberTask solves the question twice where it builds on others: from the
// right answers, and from the student's own.
func (p Paper) numberTask(q Question, own Known, tries int) judge.NumberTask {
	right := p.RightAnswers()
	t := judge.NumberTask{
		Marks: q.Marks, Want: right[q.ID], Carried: math.NaN(), Unit: q.Unit,
		Tol: q.Tol, Hints: q.Hints, Tries: tries,
	}
	carried, has := Known{}, false
	for id, v := range right {
		carried[id] = v
	}
	var from []string
	for _, id := range q.Uses {
		if v, ok := own[id]; ok {
			carried[id], has = v, true
			from = append(from, id)
		}
	}
	if has {
		t.Carried, t.From = q.Solve(carried), strings.Join(from, ", ")
	}
	for _, s := range q.Slips {
		w := judge.WrongValue{Name: s.Name, Value: s.Value(right), Carried: math.NaN(), Fix: s.Fix}
		if has {
			w.Carried = s.Value(carried)
		}
		t.Slips = append(t.Slips, w)
	}
	if q.Kind == judge.Measured {
		t.U = q.U()
		for _, s := range q.USlips {
			t.USlips = append(t.USlips, judge.WrongValue{Name: s.Name, Value: s.Value(right), Carried: math.NaN(), Fix: s.Fix})
		}
	}
	return t
}

func (q Question) functionTask(tries int) judge.FunctionTask {
	f := q.Function
	t := judge.FunctionTask{Marks: q.Marks, Signature: f.Signature, Calls: f.Calls, Tol: q.Tol, Hints: q.Hints, Tries: tries}
	for _, c := range f.Calls {
		t.Want = append(t.Want, f.Right(c))
	}
	for _, s := range f.Slips {
		w := judge.WrongFunction{Name: s.Name, Fix: s.Fix}
		for _, c := range f.Calls {
			w.Values = append(w.Values, s.F(c))
		}
		t.Slips = append(t.Slips, w)
	}
	return t
}
