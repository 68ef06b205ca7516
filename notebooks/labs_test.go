//go:build unix

// Package notebooks_test runs every lab from top to bottom.
package notebooks_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/kernel"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/sandbox"
)

// TestLabs runs each lab blank and worked, under the kernel and confined: every
// cell runs, the worked one gets full marks and the blank one none, and both ways
// agree, answer by answer.
func TestLabs(t *testing.T) {
	if testing.Short() {
		t.Skip("runs every lab four times, which takes some minutes")
	}
	pool, err := sandbox.NewPool(t.Context(), sandbox.PoolOptions{Clone: ".."})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { pool.Close() })
	if len(exercises.Labs()) < 15 {
		t.Errorf("only %d labs", len(exercises.Labs()))
	}
	for _, lab := range exercises.Labs() {
		for _, worked := range []bool{false, true} {
			name := lab.Number() + " blank"
			if worked {
				name = lab.Number() + " worked"
			}
			t.Run(name, func(t *testing.T) {
				nb, err := notebook.ReadFile(lab.ID+".ipynb", notebook.Options{NeedKernel: true})
				if err != nil {
					t.Fatal(err)
				}
				paper := lab.Sheet("")
				if _, err := paper.Fill(nb, worked); err != nil {
					t.Fatal(err)
				}
				want := 0
				if worked {
					want = paper.Marks()
				}
				alike(t, underKernel(t, nb.Clone(), paper, want), confined(t, pool, nb, paper, want))
			})
		}
	}
}

func underKernel(t *testing.T, nb *notebook.Notebook, paper bank.Sheet, want int) labserver.Summary {
	data := t.TempDir()
	result, err := kernel.Run(t.Context(), nb, kernel.RunOptions{DataDir: data, Timeout: 2 * time.Minute})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range result.Failed() {
		t.Errorf("cell %d %s: %s\n%s", c.Index+1, c.Outcome, c.Reason, c.Cell.Source)
	}
	figures, charts := 0, 0
	for _, c := range nb.Cells {
		for _, o := range c.Outputs {
			if _, ok := o.Data["image/svg+xml"]; ok {
				figures++
			}
			if _, ok := o.Data["application/vnd.gravlab.chart+json"]; ok {
				charts++
			}
			if o.Kind == notebook.Stream && strings.Contains(o.Text, "nothing was judged") {
				t.Errorf("a cell found no bench: %s", o.Text)
			}
		}
	}
	if paper.Lab.Graded && (figures < 4 || charts < 1) {
		t.Errorf("%d figures, %d of them charts: at least 4 and 1 are wanted", figures, charts)
	}
	b, err := labserver.New(labserver.Options{Data: data})
	if err != nil {
		t.Fatal(err)
	}
	sum, err := b.Summary(paper.Lab.ID, string(paper.Code), false)
	if err != nil {
		t.Fatal(err)
	}
	check(t, "under the kernel", sum, want)
	return sum
}

func confined(t *testing.T, pool *sandbox.Pool, nb *notebook.Notebook, paper bank.Sheet, want int) labserver.Summary {
	file, err := nb.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	b, err := labserver.New(labserver.Options{InMemory: true})
	if err != nil {
		t.Fatal(err)
	}
	s := b.Session(labserver.SessionOptions{Confined: true})
	out, err := pool.Run(t.Context(), sandbox.Job{Notebook: file, Exchange: s.Exchange, Limits: sandbox.Limits{Sheet: 2 * time.Minute}})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range out.Cells {
		if c.State != sandbox.Ran {
			t.Errorf("confined, cell %d: %s: %s", c.Index+1, c.State, c.Fault)
		}
	}
	sums, err := s.Summaries()
	if err != nil || len(sums) != 1 {
		t.Fatalf("confined: %d sheets were answered (%v)", len(sums), err)
	}
	check(t, "confined", sums[0], want)
	return sums[0]
}

// alike: both ways give the same verdicts, and values that agree to 1e-9.
func alike(t *testing.T, kernel, confined labserver.Summary) {
	near := func(a, b float64) bool {
		return math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) <= 1e-9*math.Abs(a)
	}
	for i, k := range kernel.Standings {
		c := confined.Standings[i]
		same := k.Verdict.Outcome == c.Verdict.Outcome && k.Verdict.Marks == c.Verdict.Marks &&
			near(k.Answer.Value, c.Answer.Value) && near(k.Answer.U, c.Answer.U) && len(k.Answer.Values) == len(c.Answer.Values)
		for j := range k.Answer.Values {
			same = same && len(k.Answer.Values[j]) == len(c.Answer.Values[j])
			for n := range k.Answer.Values[j] {
				same = same && near(k.Answer.Values[j][n], c.Answer.Values[j][n])
			}
		}
		if !same {
			t.Errorf("%s: under the kernel %+v (%s), confined %+v (%s)", k.Question.ID, k.Answer, k.Verdict.Outcome, c.Answer, c.Verdict.Outcome)
		}
	}
}

func check(t *testing.T, how string, sum labserver.Summary, want int) {
	if sum.Marks != want {
		t.Errorf("%s: %d of %d marks, want %d", how, sum.Marks, sum.Of, want)
		for _, st := range sum.Standings {
			if v := st.Verdict; want > 0 && v.Outcome != judge.OutcomeRight {
				t.Errorf("  %s: %s, %s: %s", st.Question.ID, v.Outcome, v.Understood, v.Message)
			}
		}
	}
}
