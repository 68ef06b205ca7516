package exercises_test

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
)

// The example of README.md, letter by letter: TestReadme compares.

func ownLab() bank.Lab {
	return bank.Lab{
		ID: "91-plumb-line", Title: "The plumb line", Minutes: 10,
		Build: func(d *bank.Draw) bank.Sheet {
			length := d.Between("length", 0.6, 1.4, 0.05) // m: each sheet has its own
			period := func(l float64) float64 { return 2 * math.Pi * math.Sqrt(l/9.81) }
			return bank.Sheet{Questions: []bank.Question{{
				ID: "period", Kind: judge.Number, Marks: 2, Title: "A plumb line swings",
				Prompt: fmt.Sprintf("A small bob hangs %.2f m below its hook. How long does one full swing take? Take $g = 9.81\\ \\mathrm{m/s^2}$.", length),
				Unit:   "s",
				Tol:    judge.Tolerance{Rel: 0.005, Why: "g of 9.80 to 9.81 m/s² and three digits carried"},
				Solve:  func(bank.Answers) float64 { return period(length) },
				Slips: []bank.Slip{
					{Name: "half a swing", Value: func(bank.Answers) float64 { return period(length) / 2 },
						Fix: "A full swing is there and back."},
					{Name: "2π left out", Value: func(bank.Answers) float64 { return period(length) / (2 * math.Pi) },
						Fix: "The root of l/g is the time of one radian of phase; a full swing has 2π."},
				},
				Range: [2]float64{1.5, 2.5},
				Hints: [2]string{"T = 2π times a root.", "T = 2π √(l/g)."},
				Worked: fmt.Sprintf("%%%%\n// Small swings of a point on a thread: T = 2 pi sqrt(l/g).\n"+
					"T := 2 * math.Pi * math.Sqrt(%.2f/9.81)\nsheet.Number(\"period\", T, \"s\")", length),
				Reasoning: "For small swings $T = 2\\pi\\sqrt{l/g}$.",
				Source:    bank.Source{Text: "common practice, no source: the simple pendulum"},
			}}}
		},
	}
}

func TestReadme(t *testing.T) {
	readme, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	here, err := os.ReadFile("readme_test.go")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, ok := strings.Cut(string(readme), "```go\n")
	code, _, closed := strings.Cut(rest, "\n```")
	if !ok || !closed || !strings.Contains(string(here), code) {
		t.Error("the example of README.md does not stand in this file as it is")
	}
	p := ownLab().Sheet(bank.NumberedCode("91-plumb-line", 1))
	q, ok := p.Question("period")
	if !ok {
		t.Fatal("the example has no question")
	}
	right := p.RightAnswers()["period"]
	for _, test := range []struct {
		answer judge.Answer
		want   judge.Outcome
	}{
		{judge.Answer{Value: right, Unit: "s"}, judge.Right},
		{judge.Answer{Value: right * 1000, Unit: "ms"}, judge.Right},
		{judge.Answer{Value: right / 2, Unit: "s"}, judge.Slip},
		{judge.Answer{Value: right}, judge.Unit},
		{judge.Answer{Value: right * 1.3, Unit: "s"}, judge.Off},
	} {
		if v := p.Judge(q, test.answer, nil, 0); v.Outcome != test.want {
			t.Errorf("%+v: %s (%s), want %s", test.answer, v.Outcome, v.Message, test.want)
		}
	}
}
