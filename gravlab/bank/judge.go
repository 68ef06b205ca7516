package bank

import (
	"fmt"
	"math"
	"strings"

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
// units; tries is how many answers to this question came before. Of a sealed sheet it can
// only say what was understood.
func (s Sheet) Judge(q Question, a judge.Answer, own Answers, tries int) judge.Verdict {
	if s.Sealed {
		return q.Understand(a)
	}
	switch q.Kind {
	case judge.KindNumber, judge.KindMeasured:
		return judge.Number(s.NumberTask(q, own, tries), a)
	case judge.KindChoice:
		return judge.Choice(judge.ChoiceTask{Marks: q.Marks, Options: q.Options}, a)
	case judge.KindFunction:
		return judge.Function(q.FunctionTask(tries), a)
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
func (s Sheet) NumberTask(q Question, own Answers, tries int) judge.NumberTask {
	right := s.RightAnswers()
	t := judge.NumberTask{
		Marks: q.Marks, Want: right[q.ID], Carried: math.NaN(), Unit: q.Unit,
		Tol: q.Tol, Hints: q.Hints, Tries: tries, Strict: s.Code.Sealed(),
	}
	if q.Kind == judge.KindMeasured {
		t.U = q.U()
	}
	carried, has := Answers{}, false
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
	taken := []float64{t.Want}
	takenCarried := []float64{t.Want, t.Carried}
	for _, slip := range q.Slips {
		w := judge.WrongValue{Name: slip.Name, Fix: slip.Fix, Value: math.NaN(), Carried: math.NaN()}
		w.Value, taken = apart(t, slip.Value(right), taken)
		if has {
			w.Carried, takenCarried = apart(t, slip.Value(carried), takenCarried)
		}
		t.Slips = append(t.Slips, w)
	}
	for _, slip := range q.USlips {
		t.USlips = append(t.USlips, judge.WrongValue{Name: slip.Name, Value: slip.Value(right), Carried: math.NaN(), Fix: slip.Fix})
	}
	return t
}

// Apart is how far from each other, in tolerances, the right answer and the
// values of slips must lie at least. Around each lies a window of one tolerance to
// either side in which an answer counts as it; at 2 the windows touch.
const Apart = 2.05

// apart is the one rule about what can be told apart: the value of a slip that lies less than
// Apart tolerances from one that is taken already, the right answer first,
// becomes NaN, which no answer fits. The larger tolerance of the two counts.
func apart(t judge.NumberTask, v float64, taken []float64) (float64, []float64) {
	if math.IsNaN(v) {
		return v, taken
	}
	for _, other := range taken {
		if math.Abs(v-other) <= Apart*math.Max(t.Allowed(v), t.Allowed(other)) {
			return math.NaN(), taken
		}
	}
	return v, append(taken, v)
}

// FunctionTask is what the judge compares a function with.
func (q Question) FunctionTask(tries int) judge.FunctionTask {
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

// A Gap are two answers of a question that must be told apart, and how many
// tolerances lie between them.
type Gap struct {
	Names      string // "the right answer / half a period"
	Tolerances float64
}

// Gaps are all pairs of answers of a question that must be told apart: the right
// one and those of its slips that are not left out.
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
	names, values := []string{"the right answer"}, []float64{task.Want}
	for _, s := range task.Slips {
		if !math.IsNaN(s.Value) {
			names, values = append(names, s.Name), append(values, s.Value)
		}
	}
	var gaps []Gap
	for i := range values {
		for j := range i {
			yard := math.Max(task.Allowed(values[i]), task.Allowed(values[j]))
			gaps = append(gaps, Gap{names[j] + " / " + names[i], math.Abs(values[i]-values[j]) / yard})
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
			far = math.Max(far, math.Abs(a[i][j]-b[i][j])/math.Max(task.Tol.Abs, task.Tol.Rel*size))
		}
	}
	return far
}

// LeftOut says which slips of a question are left out on this sheet, by name, and what each
// cannot be told from.
func (s Sheet) LeftOut(q Question) map[string]string {
	if q.Kind != judge.KindNumber && q.Kind != judge.KindMeasured {
		return nil
	}
	left := map[string]string{}
	right, task := s.RightAnswers(), s.NumberTask(q, nil, 0)
	for i, slip := range q.Slips {
		v := slip.Value(right)
		if math.IsNaN(v) || !math.IsNaN(task.Slips[i].Value) {
			continue
		}
		near, gap := "the right answer", math.Abs(v-task.Want)/math.Max(task.Allowed(v), task.Allowed(task.Want))
		for _, other := range task.Slips[:i] {
			if g := math.Abs(v-other.Value) / math.Max(task.Allowed(v), task.Allowed(other.Value)); g < gap {
				near, gap = other.Name, g
			}
		}
		left[slip.Name] = fmt.Sprintf("%s / %s lie %.2g tolerances apart", near, slip.Name, gap)
	}
	return left
}
