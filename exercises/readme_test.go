package exercises_test

import (
	"os"
	"strings"
	"testing"

	plumb "gravity.example/exercises/testdata/plumb"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
)

// TestReadme: the two files that README.md prints are those of testdata/plumb, letter by
// letter, and their question does what the README says. The tests of package marking
// compile them as a bank of one's own.
func TestReadme(t *testing.T) {
	readme, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"plumb.go", "period.md"} {
		text, err := os.ReadFile("testdata/plumb/" + name)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(readme), "\n"+string(text)+"```") {
			t.Errorf("README.md does not print testdata/plumb/%s as it is", name)
		}
	}
	lab := plumb.Labs()[0]
	for _, f := range lab.Faults(60) {
		t.Error(f)
	}
	s := lab.Sheet(bank.NumberedCode(lab.ID, 1))
	q, ok := s.Question("period")
	if !ok {
		t.Fatal("the example has no question")
	}
	right := s.RightAnswers()["period"]
	for _, test := range []struct {
		answer judge.Answer
		want   judge.Outcome
	}{
		{judge.Answer{Value: right, Unit: "s"}, judge.OutcomeRight},
		{judge.Answer{Value: right * 1000, Unit: "ms"}, judge.OutcomeRight},
		{judge.Answer{Value: right / 2, Unit: "s"}, judge.OutcomeSlip},
		{judge.Answer{Value: right}, judge.OutcomeUnit},
		{judge.Answer{Value: right * 1.3, Unit: "s"}, judge.OutcomeOff},
	} {
		if v := s.Judge(q, test.answer, nil, 0); v.Outcome != test.want {
			t.Errorf("%+v: %s (%s), want %s", test.answer, v.Outcome, v.Message, test.want)
		}
	}
}
