package bank

import (
	"fmt"
	"math"

	"gravity.example/gravlab/judge"
)

// RightAnswers solves all questions with numbers, each from the right answers
// of those it builds on.
func (s Sheet) RightAnswers() Answers {
	right := Answers{}
	for _, q := range s.Questions {
		if q.Solve != nil {
			right[q.ID] = q.Solve(right)
		}
	}
	return right
}

// Judge judges an answer to a question. own holds the student's earlier answers in SI
// units. Of a sealed sheet it can only say what was understood.
func (s Sheet) Judge(q Question, a judge.Answer, own Answers, telling judge.Telling) judge.Verdict {
	if s.Sealed {
		return q.Understand(a)
	}
	switch q.Kind {
	case judge.KindNumber, judge.KindMeasured:
		return judge.Number(s.NumberTask(q, own, telling), a)
	case judge.KindChoice:
		return judge.Choice(judge.ChoiceTask{Marks: q.Marks, Options: q.Options}, a)
	case judge.KindFunction:
		return judge.Function(q.FunctionTask(telling), a)
	default:
		return judge.Text(q.Marks, a)
	}
}

// Understand says how an answer was understood and nothing of what it is worth: its
// verdict is the same for every value that is written in the same way.
func (q Question) Understand(a judge.Answer) judge.Verdict {
	switch q.Kind {
	case judge.KindNumber, judge.KindMeasured:
		return judge.UnderstandNumber(q.Marks, q.Unit, q.Tol, a)
	case judge.KindChoice:
		letters := make([]string, len(q.Options))
		for i, o := range q.Options {
			letters[i] = o.Letter
		}
		return judge.UnderstandChoice(q.Marks, letters, a)
	case judge.KindFunction:
		f := q.Function
		lengths := make([]int, len(f.Calls))
		for i, c := range f.Calls {
			lengths[i] = len(f.Right(c))
		}
		return judge.UnderstandFunction(q.Marks, f.Signature, f.Calls, lengths, a)
	default:
		return judge.Text(q.Marks, a)
	}
}

// NumberTask is what the judge compares an answer to a question with. It solves the
// question twice where it builds on others: from the right answers, and from the
// student's own. It leaves out the slips that cannot be told apart (see LeftOut).
func (s Sheet) NumberTask(q Question, own Answers, telling judge.Telling) judge.NumberTask {
	right := s.RightAnswers()
	t := judge.NumberTask{
		Marks: q.Marks, Want: right[q.ID], Carried: math.NaN(), Unit: q.Unit,
		Tol: q.Tol, Hint: q.hint(telling), Telling: telling, Strict: s.Code.Sealed(),
	}
	if q.Kind == judge.KindMeasured {
		t.U = q.U()
	}
	carried, has := Answers{}, false
	for id, v := range right {
		carried[id] = v
	}
	var wrong, used []string
	for _, id := range q.Uses {
		if v, ok := own[id]; ok {
			carried[id], has = v, true
			used = append(used, id)
			if !s.right(id, v, right[id]) {
				wrong = append(wrong, id)
			}
		}
	}
	if has {
		t.Carried, t.From = q.Solve(carried), wrong
		if len(wrong) == 0 { // all within their tolerances, and together too far off
			t.From = used
		}
	}
	for _, slip := range q.Slips {
		w := judge.WrongValue{Name: slip.Name, Fix: slip.Fix, Drawing: slip.Drawing, Value: apart(t, slip.Value(right), t.Want), Carried: math.NaN()}
		if has {
			w.Carried = apart(t, slip.Value(carried), t.Want, t.Carried)
		}
		t.Slips = append(t.Slips, w)
	}
	if q.Degrees != nil {
		t.Degrees = []float64{apart(t, q.Degrees(right), t.Want)}
		if has {
			t.Degrees = append(t.Degrees, apart(t, q.Degrees(carried), t.Want, t.Carried))
		}
	}
	for _, slip := range q.USlips {
		t.USlips = append(t.USlips, judge.WrongValue{Name: slip.Name, Value: slip.Value(right), Carried: math.NaN(), Fix: slip.Fix, Drawing: slip.Drawing})
	}
	return t
}

// right reports whether a value lies within the tolerance of a question's right answer.
func (s Sheet) right(id string, v, want float64) bool {
	q, _ := s.Question(id)
	t := judge.NumberTask{Want: want, Tol: q.Tol}
	if q.Kind == judge.KindMeasured {
		t.U = q.U()
	}
	return math.Abs(v-want) <= t.Allowed(want)
}

// Apart is how far the value of a slip must lie from the right answer: so many times half the
// sum of the tolerance around the right answer and the window around the slip (see
// judge.NumberTask.Window). At 2 they touch.
const Apart = 2.05

// distance of a slip's value from a right one, in the measure of Apart.
func distance(t judge.NumberTask, slip, right float64) float64 {
	return 2 * math.Abs(slip-right) / (t.Window(slip) + t.Allowed(right))
}

// apart is the one rule about what can be told from the right answer: the value of a slip that
// lies too near becomes NaN, which no answer fits. So does 0 without an uncertainty, which
// counts as blank. Two slips may lead to one value: then both are told.
func apart(t judge.NumberTask, v float64, rights ...float64) float64 {
	if v == 0 && t.U == 0 {
		return math.NaN()
	}
	for _, right := range rights {
		if distance(t, v, right) <= Apart {
			return math.NaN()
		}
	}
	return v
}

// hint is what an answer that is not recognised is told: how to ask for a hint, or with the
// marks, when it is too late to ask, the first one.
func (q Question) hint(telling judge.Telling) string {
	if telling == judge.WithMarks {
		return q.Hints[0]
	}
	return fmt.Sprintf("A hint costs nothing. In code: sheet.Hint(%q)", q.ID)
}

// FunctionTask is what the judge compares a function with.
func (q Question) FunctionTask(telling judge.Telling) judge.FunctionTask {
	f := q.Function
	t := judge.FunctionTask{Marks: q.Marks, Signature: f.Signature, Calls: f.Calls, Tol: q.Tol, Hint: q.hint(telling), Telling: telling}
	for _, c := range f.Calls {
		t.Want = append(t.Want, f.Right(c))
	}
	for _, s := range f.Slips {
		w := judge.WrongFunction{Name: s.Name, Fix: s.Fix, Drawing: s.Drawing}
		for _, c := range f.Calls {
			w.Values = append(w.Values, s.F(c))
		}
		t.Slips = append(t.Slips, w)
	}
	if f.Degrees != nil {
		for _, c := range f.Calls {
			t.Degrees = append(t.Degrees, f.Degrees(c))
		}
	}
	return t
}

// A Gap are two answers of a question that must be told apart, and how far they lie from each
// other in tolerances; at 2 they cannot be told apart any more.
type Gap struct {
	Names      string // "the right answer / half a period"
	Tolerances float64
}

// Gaps are all pairs of answers of a question that must be told apart: the right one and those
// of its slips that are not left out; of functions the slips among each other too.
func (s Sheet) Gaps(q Question) []Gap {
	switch q.Kind {
	case judge.KindNumber, judge.KindMeasured:
		return numberGaps(s.NumberTask(q, nil, 0))
	case judge.KindFunction:
		return functionGaps(q.FunctionTask(0))
	}
	return nil
}

func numberGaps(task judge.NumberTask) []Gap {
	var gaps []Gap
	for _, s := range task.Slips {
		if !math.IsNaN(s.Value) {
			gaps = append(gaps, Gap{"the right answer / " + s.Name, distance(task, s.Value, task.Want)})
		}
	}
	return gaps
}

func functionGaps(task judge.FunctionTask) []Gap {
	names, values := []string{"the right function"}, [][][]float64{task.Want}
	for _, s := range task.Slips {
		names, values = append(names, s.Name), append(values, s.Values)
	}
	var gaps []Gap
	for i := range values {
		for j := range i {
			gaps = append(gaps, Gap{names[j] + " / " + names[i], farthest(task, values[i], values[j])})
		}
	}
	return gaps
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
			d := math.Abs(a[i][j]-b[i][j]) / math.Max(task.Tol.Abs, task.Tol.Rel*size)
			switch {
			case a[i][j] == b[i][j]:
				d = 0
			case math.IsNaN(d): // one of them has no bounds, as without damping at the resonance
				d = math.Inf(1)
			}
			far = math.Max(far, d)
		}
	}
	return far
}

// LeftOut says which slips of a question are left out on this sheet, by name, because they
// cannot be told from the right answer or from a blank, and why.
func (s Sheet) LeftOut(q Question) map[string]string {
	if q.Kind != judge.KindNumber && q.Kind != judge.KindMeasured {
		return nil
	}
	left := map[string]string{}
	right, task := s.RightAnswers(), s.NumberTask(q, nil, 0)
	for i, slip := range q.Slips {
		if v := slip.Value(right); !math.IsNaN(v) && math.IsNaN(task.Slips[i].Value) {
			left[slip.Name] = fmt.Sprintf("the right answer / %s lie %.2g tolerances apart", slip.Name, distance(task, v, task.Want))
			if v == 0 {
				left[slip.Name] = fmt.Sprintf("%s leads to 0, which counts as blank", slip.Name)
			}
		}
	}
	return left
}
