package bank

import (
	"fmt"
	"math"
	"strings"

	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/quantity"
)

// Faults looks at a number of sheets of a lab for what would make the judge
// unfair or stop it, and says each once, with a sheet on which it is so: a
// function of the bank that panics, a right answer that is not finite, not in its
// Range or not judged right, a slip that cannot be told from the right answer or
// from another on any sheet, a question that cannot be answered. A lab without any may be
// handed out. It says nothing about style; the tests of this package do, for the
// labs that come with it.
func (l Lab) Faults(sheets int) []string {
	f := &faults{lab: l, told: map[string]bool{}, left: map[string]int{}, why: map[string]string{}}
	for n := range sheets {
		f.code = NumberedCode(l.ID, n)
		var s Sheet
		if f.safely("", func() { s = l.Sheet(f.code) }) {
			f.sheet(s)
		}
	}
	for _, key := range f.order {
		if question, _, _ := strings.Cut(key, "\x00"); f.left[key] == sheets && sheets >= enoughSheets {
			f.texts = append(f.texts, fmt.Sprintf("%s, sheet %s (so on all of %d sheets)", l.FullID(question), f.why[key], sheets))
		}
	}
	return f.texts
}

// Unfair says what would make the judge unfair on this very sheet, or stop it, as Faults
// does for a lab. That an answer is not in its Range is no reason: that is a check on the
// bank.
func (s Sheet) Unfair() []string {
	f := &faults{lab: s.Lab, code: s.Code, told: map[string]bool{}, left: map[string]int{}, why: map[string]string{}}
	s.Questions = append(s.Questions[:0:0], s.Questions...)
	for i := range s.Questions {
		s.Questions[i].Range = [2]float64{}
	}
	f.sheet(s)
	return f.texts
}

// enoughSheets is how many sheets have to be looked at before a slip that is left out on all of
// them counts as a fault.
const enoughSheets = 20

type faults struct {
	lab   Lab
	code  Code
	told  map[string]bool // a kind of fault of a question
	texts []string
	// The slips that are left out, in the order in which they were met: on how many
	// sheets, and why on the first of them.
	order []string
	left  map[string]int
	why   map[string]string
}

// tell says a fault of a question, or of the lab, once.
func (f *faults) tell(question, kind, format string, args ...any) {
	if f.told[question+" "+kind] {
		return
	}
	f.told[question+" "+kind] = true
	id := "lab " + f.lab.Number()
	if question != "" {
		id = f.lab.FullID(question)
	}
	f.texts = append(f.texts, fmt.Sprintf("%s, sheet %s: %s", id, f.code, fmt.Sprintf(format, args...)))
}

// safely calls a piece of the bank and reports whether it came back.
func (f *faults) safely(question string, do func()) (ok bool) {
	defer func() {
		switch r := recover().(type) {
		case nil:
			return
		case WordsError:
			f.tell(question, "words", "%v", r)
		default:
			f.tell(question, "panic", "its code panics: %v", r)
		}
		ok = false
	}()
	do()
	return true
}

func (f *faults) sheet(s Sheet) {
	if len(s.Questions) == 0 {
		f.tell("", "none", "has no questions")
	}
	right, solved := Answers{}, true // the judge solves all to judge one
	for _, q := range s.Questions {
		if q.Solve != nil && !f.safely(q.ID, func() { right[q.ID] = q.Solve(right) }) {
			solved = false
		}
	}
	before := map[string]bool{}
	for _, q := range s.Questions {
		if q.ID == "" || before[q.ID] {
			f.tell(q.ID, "id", "every question needs an id of its own")
		}
		for _, u := range q.Uses {
			if !before[u] {
				f.tell(q.ID, "uses", "builds on %q, which does not come before it", u)
			}
		}
		before[q.ID] = true
		if q.Prompt == "" || q.Marks < 1 {
			f.tell(q.ID, "prompt", "a prompt and at least 1 mark are needed")
		}
		if solved || q.Kind != judge.KindNumber && q.Kind != judge.KindMeasured {
			f.safely(q.ID, func() { f.question(s, q) })
		}
	}
	for _, r := range s.Recordings {
		f.safely("", func() {
			columns, err := r.Make()
			if err == nil && len(columns) != len(r.Columns) {
				err = fmt.Errorf("it has %d columns and names %d", len(columns), len(r.Columns))
			}
			if err != nil {
				f.tell("", "recording "+r.ID, "recording %s: %v", r.ID, err)
			}
		})
	}
}

func (f *faults) question(s Sheet, q Question) {
	switch q.Kind {
	case judge.KindNumber, judge.KindMeasured:
		f.number(s, q)
	case judge.KindChoice:
		right := 0
		for i, o := range q.Options {
			if o.Letter != string(rune('a'+i)) {
				f.tell(q.ID, "letter", "option %d has the letter %q; they are a, b, c and so on", i+1, o.Letter)
			}
			if o.Right {
				right++
			}
		}
		if right != 1 || len(q.Options) < 2 {
			f.tell(q.ID, "options", "has %d options, %d of them right; one has to be", len(q.Options), right)
		}
	case judge.KindFunction:
		if q.Function == nil || len(q.Function.Calls) == 0 {
			f.tell(q.ID, "calls", "a Function with Calls is needed")
			return
		}
		f.function(q)
	case judge.KindText:
	default:
		f.tell(q.ID, "kind", "is of no kind that the judge knows")
	}
}

func (f *faults) number(s Sheet, q Question) {
	unit, err := quantity.ParseUnit(q.Unit)
	if err != nil {
		f.tell(q.ID, "unit", "the unit %q: %v", q.Unit, err)
		return
	}
	if q.Solve == nil || q.Kind == judge.KindMeasured && q.U == nil {
		f.tell(q.ID, "solve", "a Solve is needed, and for a measured value a U")
		return
	}
	task := s.NumberTask(q, nil, 0)
	if v := task.Want; math.IsNaN(v) || math.IsInf(v, 0) || v == 0 {
		f.tell(q.ID, "answer", "the right answer is %g; 0 means blank, and the others cannot be given", v)
		return
	} else if q.Range != [2]float64{} && !(v >= q.Range[0] && v <= q.Range[1]) {
		f.tell(q.ID, "range", "the right answer %g is not in its Range, %g to %g", v, q.Range[0], q.Range[1])
	}
	if q.Kind == judge.KindMeasured && !(task.U > 0 && !math.IsInf(task.U, 1)) {
		f.tell(q.ID, "u", "the uncertainty is %g", task.U)
		return
	}
	if !(task.Allowed(task.Want) > 0) {
		f.tell(q.ID, "tolerance", "nothing but the very number would be right: give a Tol")
		return
	}
	if v := s.Judge(q, judge.Answer{Value: task.Want / unit.SI(), U: task.U / unit.SI(), Unit: q.Unit}, Answers{}, 0); v.Outcome != judge.OutcomeRight {
		f.tell(q.ID, "judged", "the right answer is judged %s", v.Outcome)
	}
	f.leftOut(s, q)
}

func (f *faults) function(q Question) {
	task := q.FunctionTask(0)
	for i, c := range task.Want {
		for _, v := range c {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				f.tell(q.ID, "answer", "the right function gives %g at the call %v", v, task.Calls[i])
				return
			}
		}
	}
	for _, g := range functionGaps(task) {
		if !(g.Tolerances >= 2) {
			f.tell(q.ID, "apart "+g.Names, "%s lie %.2g tolerances apart; less than 2 cannot be distinguished", g.Names, g.Tolerances)
		}
	}
}

// leftOut counts the sheets on which a slip is left out.
func (f *faults) leftOut(s Sheet, q Question) {
	for name, why := range s.LeftOut(q) {
		key := q.ID + "\x00" + name
		if f.left[key]++; f.left[key] == 1 {
			f.why[key] = fmt.Sprintf("%s: %s; less than %g cannot be distinguished", s.Code, why, Apart)
			f.order = append(f.order, key)
		}
	}
}
