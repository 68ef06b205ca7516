package bank

import (
	"math"
	"strings"
	"testing"

	"gravity.example/gravlab/judge"
)

// A lab of somebody's own is told each of its faults, once, and none stops the
// telling.
func TestFaults(t *testing.T) {
	always := func(v float64) func(Answers) float64 { return func(Answers) float64 { return v } }
	sound := func() Question {
		return Question{ID: "x", Kind: judge.KindNumber, Marks: 1, Prompt: "How long?", Unit: "s", Tol: judge.Tolerance{Rel: 0.01}, Solve: always(2), Range: [2]float64{1, 3},
			Slips: []Slip{{Name: "half", Value: always(1), Fix: "Twice."}, {Name: "none here", Value: always(math.NaN())}}}
	}
	function := func(slip func(float64) float64) Question {
		return Question{ID: "x", Kind: judge.KindFunction, Marks: 1, Prompt: "Write one.", Tol: judge.Tolerance{Rel: 1e-9}, Function: &Function{Name: "f", Signature: judge.OneToOne,
			Calls: [][]float64{{1}, {2}, {1}}, Right: func(x []float64) []float64 { return x },
			Slips: []FunctionSlip{{Name: "other", F: func(x []float64) []float64 { return []float64{slip(x[0])} }}}}}
	}
	choice := func(right ...bool) Question {
		q := Question{ID: "x", Kind: judge.KindChoice, Marks: 1, Prompt: "Which?"}
		for i, r := range right {
			q.Options = append(q.Options, judge.Option{Letter: string(rune('a' + i)), Text: "this", Right: r})
		}
		return q
	}
	for name, c := range map[string]struct {
		change func(q *Question)
		want   string // "" for none
	}{
		"sound":             {func(*Question) {}, ""},
		"no range":          {func(q *Question) { q.Range = [2]float64{} }, ""},
		"panics":            {func(q *Question) { q.Solve = func(k Answers) float64 { panic("no") } }, "panics: no"},
		"slip panics":       {func(q *Question) { q.Slips[0].Value = nil }, "panics"},
		"not a number":      {func(q *Question) { q.Solve = always(math.NaN()) }, "is NaN"},
		"zero":              {func(q *Question) { q.Solve = always(0) }, "is 0"},
		"out of range":      {func(q *Question) { q.Range = [2]float64{3, 4} }, "not in its Range"},
		"slip is right":     {func(q *Question) { q.Slips[0].Value = always(2) }, "the right answer / half lie 0 tolerances apart"},
		"slip is near":      {func(q *Question) { q.Slips[0].Value = always(2.03) }, "the right answer / half lie"},
		"two slips as one":  {func(q *Question) { q.Slips[1] = Slip{Name: "like it", Value: always(1)} }, ""},
		"no tolerance":      {func(q *Question) { q.Tol = judge.Tolerance{} }, "give a Tol"},
		"unknown unit":      {func(q *Question) { q.Unit = "furlong" }, `the unit "furlong"`},
		"no solve":          {func(q *Question) { q.Solve = nil }, "a Solve is needed"},
		"no u":              {func(q *Question) { q.Kind = judge.KindMeasured }, "a U"},
		"u of zero":         {func(q *Question) { q.Kind, q.U = judge.KindMeasured, func() float64 { return 0 } }, "the uncertainty is 0"},
		"measured":          {func(q *Question) { q.Kind, q.U = judge.KindMeasured, func() float64 { return 0.01 } }, ""},
		"no marks":          {func(q *Question) { q.Marks = 0 }, "at least 1 mark"},
		"builds on nothing": {func(q *Question) { q.Uses = []string{"y"} }, `builds on "y"`},
		"no kind":           {func(q *Question) { q.Kind = "riddle" }, "of no kind"},
		"function":          {func(q *Question) { *q = function(func(x float64) float64 { return x * x }) }, ""},
		"function slip":     {func(q *Question) { *q = function(func(x float64) float64 { return x }) }, "the right function / other lie 0"},
		"no function":       {func(q *Question) { *q = function(nil); q.Function = nil }, "with Calls is needed"},
		"choice":            {func(q *Question) { *q = choice(false, true) }, ""},
		"two right":         {func(q *Question) { *q = choice(true, true) }, "2 of them right"},
		"none right":        {func(q *Question) { *q = choice(false, false) }, "0 of them right"},
		"words":             {func(q *Question) { *q = Question{ID: "x", Kind: judge.KindText, Marks: 1, Prompt: "Why?"} }, ""},
	} {
		lab := Lab{ID: "91-own", Build: func(*Draw) Sheet {
			q := sound()
			c.change(&q)
			after := sound()
			after.ID = "after"
			return Sheet{Questions: []Question{q, after}}
		}}
		got := lab.Faults(20)
		switch {
		case c.want == "" && len(got) > 0:
			t.Errorf("%s: %q", name, got)
		case c.want != "" && (len(got) != 1 || !strings.Contains(got[0], c.want) || !strings.HasPrefix(got[0], "91/x, sheet ")):
			t.Errorf("%s: %q, want one that says %q of 91/x", name, got, c.want)
		}
	}
	twice := Lab{ID: "91-own", Build: func(*Draw) Sheet { return Sheet{Questions: []Question{sound(), sound()}} }}
	if got := twice.Faults(2); len(got) != 1 || !strings.Contains(got[0], "an id of its own") {
		t.Errorf("two questions with one id: %q", got)
	}
	broken := Lab{ID: "91-own", Build: func(*Draw) Sheet { panic("no sheet") }}
	if got := broken.Faults(3); len(got) != 1 || !strings.Contains(got[0], "lab 91, sheet") {
		t.Errorf("a Build that panics: %q", got)
	}
	record := Lab{ID: "91-own", Build: func(*Draw) Sheet {
		return Sheet{Questions: []Question{sound()}, Recordings: []Recording{{ID: "r", Columns: []Column{{Name: "time", Unit: "s"}}, Make: func() ([][]float64, error) { return nil, nil }}}}
	}}
	if got := record.Faults(3); len(got) != 1 || !strings.Contains(got[0], "recording r: it has 0 columns and names 1") {
		t.Errorf("a recording without its column: %q", got)
	}
}

// A slip whose function has no bounds at a call, as a swing without damping at its
// resonance, is as far from the right one as can be.
func TestFarthestWithoutBounds(t *testing.T) {
	task := judge.FunctionTask{Tol: judge.Tolerance{Rel: 1e-3}}
	inf := math.Inf(1)
	for _, c := range []struct {
		a, b [][]float64
		want float64
	}{
		{[][]float64{{1}, {2}}, [][]float64{{1}, {inf}}, inf},
		{[][]float64{{inf}}, [][]float64{{inf}}, 0},
		{[][]float64{{1}}, [][]float64{{math.NaN()}}, inf},
		{[][]float64{{0}}, [][]float64{{0}}, 0},
	} {
		if got := farthest(task, c.a, c.b); got != c.want {
			t.Errorf("%v and %v are %g apart, want %g", c.a, c.b, got, c.want)
		}
	}
}
