package exercises

import (
	"fmt"
	"math"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/notebook"
)

// seeds is how many sheets of each lab the tests look at.
func seeds(t *testing.T) int {
	if testing.Short() {
		return 50
	}
	return 1000
}

// TestSlipsAreTellable proves for every question over many sheets that no slip
// lies near the right answer or near another slip: their distance is at least
// twice the tolerance, so that no answer fits both. It records the smallest
// distance.
func TestSlipsAreTellable(t *testing.T) {
	for _, lab := range Labs() {
		t.Run(lab.Number(), func(t *testing.T) {
			t.Parallel()
			smallest, where := math.Inf(1), ""
			compared := 0
			for n := range seeds(t) {
				code := NumberedCode(lab.ID, n)
				p := lab.Paper(code)
				for _, q := range p.Questions {
					for _, c := range candidates(p, q) {
						compared++
						if c.gap < smallest {
							smallest, where = c.gap, fmt.Sprintf("%s on sheet %s: %s", lab.FullID(q.ID), code, c.names)
						}
						if c.gap < 2 {
							t.Errorf("%s on sheet %s: %s lie only %.2f tolerances apart", lab.FullID(q.ID), code, c.names, c.gap)
						}
					}
				}
				if t.Failed() {
					return
				}
			}
			if compared == 0 {
				t.Fatal("nothing was compared")
			}
			t.Logf("smallest distance: %.2f tolerances (%s); %d compared", smallest, where, compared)
		})
	}
}

// candidates are all pairs of answers of a question that must be told apart.
func candidates(p Paper, q Question) []pair {
	switch q.Kind {
	case judge.Number, judge.Measured:
		return numberPairs(p.numberTask(q, nil, 0))
	case judge.Function:
		return functionPairs(q.functionTask(0))
	}
	return nil
}

// TestAnswersInRange looks at every sheet's right answers: finite, not the 0
// that means blank, and where the question says that they lie.
func TestAnswersInRange(t *testing.T) {
	for _, lab := range Labs() {
		t.Run(lab.Number(), func(t *testing.T) {
			t.Parallel()
			for n := range min(200, seeds(t)) {
				code := NumberedCode(lab.ID, n)
				p := lab.Paper(code)
				right := p.RightAnswers()
				for _, q := range p.Questions {
					if q.Solve == nil {
						continue
					}
					v := right[q.ID]
					if !(v >= q.Range[0] && v <= q.Range[1]) || v == 0 {
						t.Errorf("%s on sheet %s: the answer %g is not from %g to %g", lab.FullID(q.ID), code, v, q.Range[0], q.Range[1])
					}
					if q.Kind == judge.Measured {
						if u := q.U(); !(u > 0) || math.IsInf(u, 0) {
							t.Errorf("%s on sheet %s: the uncertainty is %g", lab.FullID(q.ID), code, u)
						}
					}
				}
			}
		})
	}
}

// TestQuestionsAreComplete holds every question to the form that its kind asks
// for.
func TestQuestionsAreComplete(t *testing.T) {
	for _, lab := range Labs() {
		p := lab.Paper("")
		ids := map[string]bool{}
		kinds := map[judge.Kind]int{}
		published, checked := 0, 0
		for _, q := range p.Questions {
			id := lab.FullID(q.ID)
			bad := func(format string, args ...any) { t.Errorf("%s: %s", id, fmt.Sprintf(format, args...)) }
			kinds[q.Kind]++
			if ids[q.ID] {
				bad("the id stands twice")
			}
			for _, u := range q.Uses {
				if !ids[u] {
					bad("builds on %q, which does not come before it", u)
				}
			}
			ids[q.ID] = true
			if q.Title == "" || q.Prompt == "" || q.Marks < 1 || q.Worked == "" || q.Reasoning == "" || q.Source.Text == "" {
				bad("title, prompt, marks, worked solution, reasoning and source must be there")
			}
			if !strings.Contains(q.Worked, `("`+q.ID+`"`) {
				bad("the worked solution does not give in %q", q.ID)
			}
			if q.Kind != judge.Choice && q.Kind != judge.Text && (q.Hints[0] == "" || q.Hints[1] == "") {
				bad("two hints are wanted")
			}
			switch q.Kind {
			case judge.Number, judge.Measured:
				if len(q.Slips) < 2 {
					bad("has %d slips; at least 2 are wanted", len(q.Slips))
				}
				for _, s := range append(q.Slips, q.USlips...) {
					if s.Name == "" || s.Fix == "" || strings.Count(s.Fix, "\n") > 1 {
						bad("slip %q: a name and a way out of at most two lines are wanted", s.Name)
					}
				}
				if q.Kind == judge.Number && (q.Tol.Why == "" || q.Tol.Abs == 0 && q.Tol.Rel == 0) {
					bad("the tolerance needs a size and a reason")
				}
				if q.Kind == judge.Measured && q.U == nil {
					bad("the judge's own uncertainty is missing")
				}
			case judge.Choice:
				right := 0
				for i, o := range q.Options {
					if o.Letter != string(rune('a'+i)) {
						bad("option %d has the letter %q", i+1, o.Letter)
					}
					if o.Right {
						right++
					} else if o.Idea == "" {
						bad("option %s does not say which idea leads there", o.Letter)
					}
				}
				if right != 1 || len(q.Options) < 3 {
					bad("has %d options, %d of them right", len(q.Options), right)
				}
			case judge.Function:
				if len(q.Function.Slips) < 2 {
					bad("has %d slips; at least 2 are wanted", len(q.Function.Slips))
				}
				twice := false
				for i := range q.Function.Calls {
					for j := range i {
						twice = twice || fmt.Sprint(q.Function.Calls[i]) == fmt.Sprint(q.Function.Calls[j])
					}
				}
				if !twice {
					bad("no call stands twice: a function that answers differently each time would pass")
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
			continue
		}
		if len(p.Questions) < 8 || kinds[judge.Function] == 0 || kinds[judge.Choice] == 0 || kinds[judge.Number] == 0 || kinds[judge.Measured] == 0 {
			t.Errorf("lab %s has %d questions, by kind %v: at least 8 and every kind are wanted", lab.ID, len(p.Questions), kinds)
		}
		if checked < 3 || published < 1 {
			t.Errorf("lab %s compares %d questions with a number from elsewhere, %d of them published: at least 3 and 1 are wanted", lab.ID, checked, published)
		}
	}
}

// ugly finds numbers that no textbook would print.
var ugly = regexp.MustCompile(`\de[+-]?\d|0\.000\d*[1-9]|\d\.\d{7,}|NaN|Inf|%!|<nil>`)

// TestPromptsReadWell looks for numbers that a person would not write.
func TestPromptsReadWell(t *testing.T) {
	for _, lab := range Labs() {
		for n := range 200 {
			code := NumberedCode(lab.ID, n)
			for _, q := range lab.Paper(code).Questions {
				if m := ugly.FindString(q.Text()); m != "" {
					t.Errorf("%s on sheet %s reads %q in:\n%s", lab.FullID(q.ID), code, m, q.Text())
				}
			}
			if t.Failed() {
				return
			}
		}
	}
}

// TestNotebooksCarryTheBank renders the question cells of the repository's
// notebooks again: nothing may change.
func TestNotebooksCarryTheBank(t *testing.T) {
	for _, lab := range Labs() {
		path := filepath.Join("..", "notebooks", lab.ID+".ipynb")
		nb, err := notebook.ReadFile(path, notebook.Options{NeedKernel: true})
		if err != nil {
			t.Error(err)
			continue
		}
		before, err := nb.Bytes()
		if err != nil {
			t.Error(err)
			continue
		}
		kept, err := lab.Paper("").Fill(nb, false)
		if err != nil {
			t.Error(err)
			continue
		}
		after, err := nb.Bytes()
		if err != nil {
			t.Error(err)
		}
		if len(kept) > 0 {
			t.Errorf("%s: the answer cells of %s hold something else than the stub", path, strings.Join(kept, ", "))
		}
		if string(before) != string(after) {
			t.Errorf("%s does not carry the bank's questions; run: go run ./gravlab/cmd/gravlab questions --into notebooks/%s.ipynb", path, lab.ID)
		}
		for i, c := range nb.Cells {
			if len(c.Outputs) > 0 || c.Run != 0 {
				t.Errorf("%s: cell %d holds outputs", path, i+1)
			}
		}
	}
}

// TestStreamsStandAlone pins a few draws: a new number in a lab must leave the
// others, and with them every sheet that was handed out, as they were.
func TestStreamsStandAlone(t *testing.T) {
	d := &Draw{lab: "01-weighing-the-earth", code: "K7QF-3M2P"}
	first := d.Between("arm", 100, 130, 1)
	d.Between("something new", 0, 1, 0.1)
	if again := d.Between("arm", 100, 130, 1); again != first {
		t.Errorf("the same name gave %g and then %g", first, again)
	}
	if got, want := d.Between("pinned", 0, 1e6, 1), 915043.0; got != want {
		t.Errorf("the stream of sheets has changed: %v, want %v; sheets that were handed out would change", got, want)
	}
}
