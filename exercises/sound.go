package exercises

import (
	"fmt"
	"math"

	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/quantity"
)

// Faults looks at a number of sheets of a lab for what would make the judge
// unfair or stop it, and says each once, with a sheet on which it is so: a
// function of the bank that panics, a right answer that is not finite, not in its
// Range or not judged right, a slip that cannot be told from the right answer or
// from another slip, a question that cannot be answered. A lab without any may be
// handed out. It says nothing about style; the tests of this package do, for the
// labs that come with it.
func (l Lab) Faults(sheets int) []string {
	f := &faults{lab: l, told: map[string]bool{}}
	for n := range sheets {
		f.code = NumberedCode(l.ID, n)
		var p Paper
		if f.safely("", func() { p = l.Paper(f.code) }) {
			f.paper(p)
		}
	}
	return f.texts
}

type faults struct {
	lab   Lab
	code  Code
	told  map[string]bool // a kind of fault of a question
	texts []string
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

// safely calls a piece of the bank and says whether it came back.
func (f *faults) safely(question string, do func()) (ok bool) {
	defer func() {
		if r := recover(); r != nil {
			f.tell(question, "panic", "its code panics: %v", r)
			ok = false
		}
	}()
	do()
	return true
}

func (f *faults) paper(p Paper) {
	if len(p.Questions) == 0 {
		f.tell("", "none", "has no questions")
	}
	known, solved := Known{}, true // the judge solves all to judge one
	for _, q := range p.Questions {
		if q.Solve != nil && !f.safely(q.ID, func() { known[q.ID] = q.Solve(known) }) {
			solved = false
		}
	}
	before := map[string]bool{}
	for _, q := range p.Questions {
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
		if solved || q.Kind != judge.Number && q.Kind != judge.Measured {
			f.safely(q.ID, func() { f.question(p, q) })
		}
	}
	for _, r := range p.Recordings {
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

func (f *faults) question(p Paper, q Question) {
	switch q.Kind {
	case judge.Number, judge.Measured:
		f.number(p, q)
	case judge.Choice:
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
	case judge.Function:
		if q.Function == nil || len(q.Function.Calls) == 0 {
			f.tell(q.ID, "calls", "a Function with Calls is needed")
			return
		}
		f.function(q)
	case judge.Text:
	default:
		f.tell(q.ID, "kind", "is of no kind that the judge knows")
	}
}

func (f *faults) number(p Paper, q Question) {
	unit, err := quantity.ParseUnit(q.Unit)
	if err != nil {
		f.tell(q.ID, "unit", "the unit %q: %v", q.Unit, err)
		return
	}
	if q.Solve == nil || q.Kind == judge.Measured && q.U == nil {
		f.tell(q.ID, "solve", "a Solve is needed, and for a measured value a U")
		return
	}
	task := p.numberTask(q, nil, 0)
	if v := task.Want; math.IsNaN(v) || math.IsInf(v, 0) || v == 0 {
		f.tell(q.ID, "answer", "the right answer is %g; 0 means blank, and the others cannot be given", v)
		return
	} else if q.Range != [2]float64{} && !(v >= q.Range[0] && v <= q.Range[1]) {
		f.tell(q.ID, "range", "the right answer %g is not in its Range, %g to %g", v, q.Range[0], q.Range[1])
	}
	if q.Kind == judge.Measured && !(task.U > 0 && !math.IsInf(task.U, 1)) {
		f.tell(q.ID, "u", "the uncertainty is %g", task.U)
		return
	}
	if !(task.Allowed(task.Want) > 0) {
		f.tell(q.ID, "tolerance", "nothing but the very number would be right: give a Tol")
		return
	}
	if v := p.Judge(q, judge.Answer{Value: task.Want / unit.SI(), U: task.U / unit.SI(), Unit: q.Unit}, Known{}, 0); v.Outcome != judge.Right {
		f.tell(q.ID, "judged", "the right answer is judged %s", v.Outcome)
	}
	f.apart(q, numberPairs(task))
}

func (f *faults) function(q Question) {
	task := q.functionTask(0)
	for i, c := range task.Want {
		for _, v := range c {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				f.tell(q.ID, "answer", "the right function gives %g at the call %v", v, task.Calls[i])
				return
			}
		}
	}
	f.apart(q, functionPairs(task))
}

func (f *faults) apart(q Question, pairs []pair) {
	for _, p := range pairs {
		if !(p.gap >= 2) {
			f.tell(q.ID, "apart "+p.names, "%s lie %.2g tolerances apart; less than 2 cannot be told apart", p.names, p.gap)
		}
	}
}

// A pair are two answers of a question that must be told apart, and how many
// tolerances lie between them.
type pair struct {
	names string
	gap   float64
}

func numberPairs(task judge.NumberTask) []pair {
	names, values := []string{"the right answer"}, []float64{task.Want}
	for _, s := range task.Slips {
		// A slip may lead nowhere with some numbers.
		if !math.IsNaN(s.Value) {
			names, values = append(names, s.Name), append(values, s.Value)
		}
	}
	var pairs []pair
	for i := range values {
		for j := range i {
			// Two windows must not touch: the larger one is the yardstick.
			yard := math.Max(task.Allowed(values[i]), task.Allowed(values[j]))
			pairs = append(pairs, pair{names[j] + " / " + names[i], math.Abs(values[i]-values[j]) / yard})
		}
	}
	return pairs
}

func functionPairs(task judge.FunctionTask) []pair {
	names, values := []string{"the right function"}, [][][]float64{task.Want}
	for _, s := range task.Slips {
		names, values = append(names, s.Name), append(values, s.Values)
	}
	var pairs []pair
	for i := range values {
		for j := range i {
			pairs = append(pairs, pair{names[j] + " / " + names[i], farthest(task, values[i], values[j])})
		}
	}
	return pairs
}

// farthest is the largest distance at any call, in tolerances.
func farthest(task judge.FunctionTask, a, b [][]float64) float64 {
	far := 0.0
	for i := range a {
		size := 0.0
		for j := range a[i] {
			size = math.Max(size, math.Max(math.Abs(a[i][j]), math.Abs(b[i][j])))
		}
		for j := range a[i] {
			far = math.Max(far, math.Abs(a[i][j]-b[i][j])/math.Max(task.Tol.Abs, task.Tol.Rel*size))
		}
	}
	return far
}
