package exercises

import (
	"fmt"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

var firstSteps = Lab{
	ID: "00-first-steps", Title: "First steps", Minutes: 30,
	Build: buildFirstSteps,
}

func buildFirstSteps(d *Draw) Paper {
	height := d.Between("height", 1.0, 2.0, 0.1)                             // m
	m1 := d.Between("m1", 2, 9, 0.5)                                         // kg
	m2 := d.Pick("m2", 0.2, 0.25, 0.3, 0.35, 0.4, 0.6, 0.65, 0.7, 0.75, 0.8) // kg
	apart := d.Between("apart", 120, 260, 10)                                // mm
	r := apart / 1000

	fall := func(g float64) float64 { return math.Sqrt(2 * height / g) }
	pull := func(g, m1, m2, r float64) float64 { return g * m1 * m2 / (r * r) }
	newton := testdata.Find("worked_examples.csv", "newton-01") // m1 = m2 = 9000 kg, r = 10.0 m, G = 6.67e-11

	return Paper{Questions: []Question{
		{
			ID: "fall-time", Kind: judge.Number, Marks: 1, Title: "A number with its unit",
			Prompt: fmt.Sprintf("A lead ball falls from rest through %.1f m in the stairwell of Skelmire College. How long does it take? "+
				"Leave the air out of it and take $g = 9.81\\ \\mathrm{m/s^2}$.", height),
			Unit: "s", Tol: judge.Tolerance{Rel: 0.005, Why: "g from 9.80 to 9.81 m/s² and three digits carried"},
			Solve: func(Known) float64 { return fall(9.81) },
			Slips: []Slip{
				{Name: "the factor 2 left out", Value: func(Known) float64 { return fall(9.81) / math.Sqrt2 }, Fix: "Start from s = ½ g t² and solve it for t."},
				{Name: "the root left out", Value: func(Known) float64 { return 2 * height / 9.81 }, Fix: "The formula gives t². Take the root: math.Sqrt."},
			},
			Range:     [2]float64{0.4, 1.0},
			Hints:     [2]string{"From rest the way is s = ½ g t². Solve it for t.", "t is the root of 2 s/g; in Go: math.Sqrt(2*s/g)."},
			Worked:    fmt.Sprintf("%%%%\n// From rest s = g t²/2, so t = sqrt(2 s/g).\ns, g := %.1f, 9.81 // m, m/s²\nt := math.Sqrt(2 * s / g)\nsheet.Number(\"fall-time\", t, \"s\")", height),
			Reasoning: "With constant acceleration from rest the way is $s = \\frac{1}{2} g t^2$, so $t = \\sqrt{2 s/g}$.",
			Source:    Source{Text: "common practice, no source: motion with constant acceleration"},
		},
		{
			ID: "pull", Kind: judge.Number, Marks: 1, Title: "Newton's law",
			Prompt: fmt.Sprintf("Two lead balls of %g kg and %g kg stand with their centres %g mm apart. With what force does each pull the other? "+
				"The constant of gravitation is `gravlab.G`.", m1, m2, apart),
			Unit: "N", Tol: judge.Tolerance{Rel: 0.005, Why: "G of 6.67e-11 (0.06 % low) and three digits carried"},
			Solve: func(Known) float64 { return pull(gravlab.G, m1, m2, r) },
			Slips: []Slip{
				{Name: "distance not squared", Value: func(Known) float64 { return gravlab.G * m1 * m2 / r }, Fix: "The force falls with the square of the distance."},
				{Name: "both forces of the pair added", Value: func(Known) float64 { return 2 * pull(gravlab.G, m1, m2, r) }, Fix: "Each ball feels one force; the other one acts on its partner."},
				{Name: "an acceleration for the force", Value: func(Known) float64 { return gravlab.G * m1 / (r * r) }, Fix: "G m/r² is an acceleration. The force is that times the mass it acts on."},
			},
			Range:     [2]float64{1e-10, 1e-7},
			Hints:     [2]string{"Newton: F = G m₁ m₂/r², r from centre to centre.", "Everything in SI: millimetres into metres first."},
			Worked:    fmt.Sprintf("%%%%\n// Newton's law: F = G m1 m2/r², r between the centres, in metres.\nm1, m2, r := %s, %s, %s // kg, kg, m\nF := gravlab.G * m1 * m2 / (r * r)\nsheet.Number(\"pull\", F, \"N\")", lit(m1), lit(m2), lit(r)),
			Reasoning: "$F = G m_1 m_2/r^2$ with $r$ from centre to centre: a sphere pulls as if its mass were in its centre.",
			Source: Source{Text: newton["source"], Published: true, Check: &SourceCheck{
				Table: "worked_examples.csv", ID: "newton-01", Got: pull(6.67e-11, 9000, 9000, 10), Want: newton.Float("published_answer"), Within: 0.05e-5}},
		},
		{
			ID: "mean", Kind: judge.Function, Marks: 2, Title: "The mean of a list",
			Prompt: "Write a function `mean` that returns the arithmetic mean of a list of numbers. The judge calls it with lists of its own.",
			Tol:    judge.Tolerance{Rel: 1e-9, Abs: 1e-12, Why: "rounding of a sum of a few numbers in double precision"},
			Function: &Function{
				Name: "mean", Signature: judge.SliceToOne, Calls: meanCalls(d),
				Right: func(x []float64) []float64 { return []float64{sum(x) / float64(len(x))} },
				Slips: []FunctionSlip{
					{Name: "the sum, not the mean", F: func(x []float64) []float64 { return []float64{sum(x)} }, Fix: "Divide the sum by how many numbers there are: float64(len(x))."},
					{Name: "divided by n − 1", F: func(x []float64) []float64 { return []float64{sum(x) / float64(len(x)-1)} }, Fix: "The n − 1 belongs to the scatter. A mean divides by n."},
				},
			},
			Hints:     [2]string{"Add them up in a loop: for _, v := range x { ... }.", "Divide the sum by float64(len(x)); len alone is a whole number."},
			Worked:    "// Add up, then divide by how many there are. len(x) is a whole number, so\n// it is turned into a float64 first.\nfunc mean(x []float64) float64 {\n\tsum := 0.0\n\tfor _, v := range x {\n\t\tsum += v\n\t}\n\treturn sum / float64(len(x))\n}\n\n%%\nsheet.Function(\"mean\", mean)",
			Reasoning: "The mean is the sum divided by the count.",
			Source:    Source{Text: "common practice, no source: the definition of the arithmetic mean"},
		},
		{
			ID: "brackets", Kind: judge.Choice, Marks: 1, Title: "What the brackets say",
			Prompt: "A result is written $12.0(3)\\ \\mathrm{mrad}$. What does that say?",
			Options: []judge.Option{
				{Letter: "a", Text: "12.0 mrad with a standard uncertainty of 0.3 mrad", Right: true},
				{Letter: "b", Text: "12.0 mrad with a standard uncertainty of 3 mrad", Idea: "The digits in brackets count in units of the last digit before them, here 0.1 mrad."},
				{Letter: "c", Text: "the value is certain to lie between 11.7 and 12.3 mrad", Idea: "A standard uncertainty is no limit: about one result in three lies further away than one of them."},
				{Letter: "d", Text: "the mean of three readings", Idea: "The number of readings is stated in words; the brackets hold an uncertainty."},
			},
			Reasoning: "The digits in brackets are the standard uncertainty in units of the last digit printed: $12.0(3)$ is $12.0 \\pm 0.3$.",
			Worked:    "%%\nsheet.Choice(\"brackets\", \"a\") // the digits in brackets: standard uncertainty in units of the last digit",
			Source:    Source{Text: "JCGM 100:2008, Evaluation of measurement data: Guide to the expression of uncertainty in measurement, 7.2.2 (from memory)"},
		},
	}}
}

func sum(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s
}

// meanCalls are lists of different lengths, one of them twice.
func meanCalls(d *Draw) [][]float64 {
	r := d.Rand("mean calls")
	var calls [][]float64
	for _, n := range []int{2, 3, 5, 8, 13} {
		list := make([]float64, n)
		for i := range list {
			list[i] = clean(math.Round(r.Float64()*2000-700) / 100)
		}
		calls = append(calls, list)
	}
	return append(calls, calls[2])
}
