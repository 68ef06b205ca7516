// Package banktest holds a lab of a bank to what every lab must be: fair, complete,
// readable, and the same as yesterday. A lab's test is one line:
//
//	func TestLab(t *testing.T) { banktest.Check(t, lab01.Lab) }
package banktest

import (
	"fmt"
	"math"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/quantity"
)

// Sheets is how many sheets of a lab the tests look at: 100; 20 with -short; 1,000 with
// GRAVLAB_LONG=1 in the environment.
func Sheets() int {
	switch {
	case os.Getenv("GRAVLAB_LONG") == "1":
		return 1000
	case testing.Short():
		return 20
	}
	return 100
}

// Check holds a lab to all that this package knows about labs. It runs in the lab's own
// folder, where testdata/golden.txt is.
func Check(t *testing.T, lab bank.Lab) {
	t.Run("golden", func(t *testing.T) { golden(t, lab, goldenPath(lab)) })
	t.Run("complete", func(t *testing.T) { complete(t, lab) })
	t.Run("worked", func(t *testing.T) { t.Parallel(); worked(t, lab) })
	t.Run("sheets", func(t *testing.T) { t.Parallel(); sheets(t, lab) })
	t.Run("rounded", func(t *testing.T) { t.Parallel(); rounded(t, lab) })
	t.Run("carried", func(t *testing.T) { t.Parallel(); carriedFromAnything(t, lab) })
	for _, f := range lab.Faults(3) {
		t.Error(f)
	}
}

// sheets looks at many sheets of a lab: every right answer is right and in its range,
// every slip is told from it, and named, alone or with another that leads to the same
// value, every mistake of an uncertainty is named on some sheet, and no prompt holds a number
// that a person would not write. It logs the smallest distance of two answers.
func sheets(t *testing.T, lab bank.Lab) {
	smallest, where := math.Inf(1), ""
	met, left := map[string]int{}, map[string]int{}    // slips, by question and name
	metU, allU := map[string]bool{}, map[string]bool{} // those of uncertainties
	n := Sheets()
	for i := range n {
		s := lab.Sheet(bank.NumberedCode(lab.ID, i))
		right := s.RightAnswers()
		for _, q := range s.Questions {
			id := fmt.Sprintf("%s on sheet %s", lab.FullID(q.ID), s.Code)
			if m := ugly.FindString(q.Text()); m != "" {
				t.Errorf("%s reads %q in:\n%s", id, m, q.Text())
			}
			for _, g := range s.Gaps(q) {
				if g.Tolerances < smallest {
					smallest, where = g.Tolerances, id+": "+g.Names
				}
				if g.Tolerances < 2 {
					t.Errorf("%s: %s lie only %.2f tolerances apart", id, g.Names, g.Tolerances)
				}
			}
			if q.Solve == nil {
				continue
			}
			want := right[q.ID]
			if !(want >= q.Range[0] && want <= q.Range[1]) || want == 0 {
				t.Errorf("%s: the answer %g is not from %g to %g", id, want, q.Range[0], q.Range[1])
			}
			if q.Kind == judge.KindMeasured {
				if u := q.U(); !(u > 0) || math.IsInf(u, 0) {
					t.Errorf("%s: the uncertainty is %g", id, u)
				}
			}
			if v := s.Judge(q, answer(q, want), nil, 0); v.Outcome != judge.OutcomeRight || v.Marks != q.Marks {
				t.Errorf("%s: the right answer gets %s, %d of %d: %s", id, v.Outcome, v.Marks, v.Of, v.Message)
			}
			for _, slip := range s.NumberTask(q, nil, 0).Slips {
				key := lab.FullID(q.ID) + ": " + slip.Name
				if math.IsNaN(slip.Value) {
					continue // it leads nowhere with these numbers, or is left out
				}
				met[key]++
				if v := s.Judge(q, answer(q, slip.Value), nil, 0); v.Outcome != judge.OutcomeSlip || v.Slip != slip.Name && !strings.Contains(v.Message, slip.Name) {
					t.Errorf("%s: the slip %q (%g) gets %s %q: %s", id, slip.Name, slip.Value, v.Outcome, v.Slip, v.Message)
				}
			}
			for _, slip := range q.USlips {
				key := lab.FullID(q.ID) + ": " + slip.Name
				a := answer(q, want)
				a.U = slip.Value(right) / quantity.MustUnit(q.Unit).SI()
				allU[key] = true
				metU[key] = metU[key] || s.Judge(q, a, nil, 0).Slip == slip.Name
			}
			for name := range s.LeftOut(q) {
				left[lab.FullID(q.ID)+": "+name]++
			}
		}
		if t.Failed() {
			return
		}
	}
	if len(met) == 0 {
		t.Error("no slip was met")
	}
	for _, key := range slices.Sorted(keys(left)) {
		t.Logf("left out on %d of %d sheets: %s", left[key], n, key)
		if met[key] == 0 && left[key] == n {
			t.Errorf("%s is left out on every sheet: it can never be told from the right answer", key)
		}
	}
	for key := range allU {
		if !metU[key] {
			t.Errorf("%s: the uncertainty is told from the right one on no sheet", key)
		}
	}
	t.Logf("smallest distance: %.2f tolerances (%s)", smallest, where)
}

func keys(m map[string]int) func(yield func(string) bool) {
	return func(yield func(string) bool) {
		for k := range m {
			if !yield(k) {
				return
			}
		}
	}
}

// answer is a value in SI units, submitted in the question's own unit.
func answer(q bank.Question, v float64) judge.Answer {
	unit := quantity.MustUnit(q.Unit)
	a := judge.Answer{Value: v / unit.SI(), Unit: q.Unit}
	if q.Kind == judge.KindMeasured {
		a.U = q.U() / unit.SI()
	}
	return a
}

// ugly finds numbers that no textbook would print.
var ugly = regexp.MustCompile(`\de[+-]?\d|0\.000\d*[1-9]|\d\.\d{7,}|NaN|Inf|%!|<nil>|<no value>`)

// complete holds every question to the form that its kind asks for.
func complete(t *testing.T, lab bank.Lab) {
	s := lab.Sheet("")
	ids := map[string]bool{}
	kinds := map[judge.Kind]int{}
	published, checked := 0, 0
	for _, q := range s.Questions {
		bad := func(format string, args ...any) {
			t.Errorf("%s: %s", lab.FullID(q.ID), fmt.Sprintf(format, args...))
		}
		kinds[q.Kind]++
		ids[q.ID] = true
		if q.Title == "" || q.Prompt == "" || q.Marks < 1 || q.Worked == "" || q.Reasoning == "" || q.Source.Text == "" {
			bad("title, prompt, marks, worked solution, reasoning and source must be there")
		}
		if !strings.Contains(q.Worked, `("`+q.ID+`"`) {
			bad("the worked solution does not answer %q", q.ID)
		}
		if q.Unit == "%" && !strings.Contains(q.Prompt, "in per cent") {
			bad("the unit is %% and the prompt does not say \"in per cent\"")
		}
		if q.Kind != judge.KindChoice && q.Kind != judge.KindText && (q.Hints[0] == "" || q.Hints[1] == "") {
			bad("needs two hints")
		}
		switch q.Kind {
		case judge.KindNumber, judge.KindMeasured:
			if len(q.Slips) < 2 {
				bad("has %d slips; it needs at least 2", len(q.Slips))
			}
			for _, slip := range slices.Concat(q.Slips, q.USlips) {
				if slip.Name == "" || slip.Fix == "" || strings.Count(slip.Fix, "\n") > 1 {
					bad("slip %q: needs a name, and a fix of at most two lines", slip.Name)
				}
			}
			if q.Unit != "1" && q.Marks < 2 {
				bad("needs 2 marks: a right number without its unit earns half of them")
			}
			if q.Kind == judge.KindNumber && (q.Tol.Why == "" || q.Tol.Abs == 0 && q.Tol.Rel == 0) {
				bad("the tolerance needs a size and a reason")
			}
		case judge.KindChoice:
			if len(q.Options) < 3 {
				bad("has %d options; it needs at least 3", len(q.Options))
			}
			for _, o := range q.Options {
				if !o.Right && o.Idea == "" {
					bad("option %s does not say which idea leads there", o.Letter)
				}
			}
		case judge.KindFunction:
			if len(q.Function.Slips) < 2 {
				bad("has %d slips; it needs at least 2", len(q.Function.Slips))
			}
			twice := false
			for i := range q.Function.Calls {
				for j := range i {
					twice = twice || slices.Equal(q.Function.Calls[i], q.Function.Calls[j])
				}
			}
			if !twice {
				bad("no call comes twice: a function that answers differently each time would pass")
			}
		}
		if c := q.Source.Check; c != nil {
			checked++
			if !(math.Abs(c.Got-c.Want) <= c.Within) || c.Within <= 0 {
				bad("the formula gives %g at the inputs of %s; the source has %g, within %g", c.Got, c.ID, c.Want, c.Within)
			}
			if q.Source.Published {
				published++
			}
		} else if q.Source.Published {
			bad("is said to be published, but nothing compares it with the source")
		}
	}
	if !lab.Graded {
		return
	}
	if len(s.Questions) < 8 || kinds[judge.KindFunction] == 0 || kinds[judge.KindChoice] == 0 || kinds[judge.KindNumber] == 0 || kinds[judge.KindMeasured] == 0 {
		t.Errorf("lab %s has %d questions, by kind %v: it needs at least 8 and every kind", lab.ID, len(s.Questions), kinds)
	}
	if checked < 3 || published < 1 {
		t.Errorf("lab %s compares %d questions with a number from elsewhere, %d of them published: it needs at least 3 and 1", lab.ID, checked, published)
	}
}

// rounded: an answer that is rounded as the head of its lab says is right. A question
// that needs more digits says so.
func rounded(t *testing.T, lab bank.Lab) {
	for n := range 20 {
		s := lab.Sheet(bank.NumberedCode(lab.ID, n))
		right := s.RightAnswers()
		for _, q := range s.Questions {
			if q.Solve == nil || strings.Contains(q.Prompt, "or better") {
				continue
			}
			a := answer(q, right[q.ID])
			value := a.Value
			a.Value = bank.RoundTo(value, 4)
			if q.Kind == judge.KindMeasured {
				a.U = bank.RoundTo(a.U, 2)
				place := math.Pow(10, math.Floor(math.Log10(a.U))-1)
				a.Value = math.Round(value/place) * place
			}
			if v := s.Judge(q, a, nil, 0); v.Outcome != judge.OutcomeRight {
				t.Errorf("%s on sheet %s: %g ± %g, rounded from %g, is %s: %s", lab.FullID(q.ID), s.Code, a.Value, a.U, value, v.Outcome, v.Message)
			}
		}
	}
}

// carriedFromAnything: whatever somebody answered before, the judge has a verdict on
// what builds on it.
func carriedFromAnything(t *testing.T, lab bank.Lab) {
	s := lab.Sheet("")
	for _, q := range s.Questions {
		for _, earlier := range []float64{0, -1, 1e-300, -1e300, math.MaxFloat64, math.Inf(1), math.NaN()} {
			own := bank.Answers{}
			for _, id := range q.Uses {
				own[id] = earlier
			}
			if len(own) > 0 {
				s.Judge(q, judge.Answer{Value: 1, U: 0.1, Unit: q.Unit}, own, 0)
			}
		}
	}
}
