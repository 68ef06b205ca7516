package lab00

import (
	"embed"
	"math"

	"gonum.org/v1/gonum/floats"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

//go:embed *.md
var files embed.FS

// Lab is lab 00.
var Lab = bank.Lab{
	ID: "00-first-steps", Title: "First steps", Minutes: 30,
	Asks:  "Two people stand a metre apart. How hard do they pull each other?",
	Words: bank.ReadWords(files),
	Build: build,
}

func build(d *bank.Draw) bank.Sheet {
	height := d.Between("height", 1.0, 2.0, 0.1)                             // m
	m1 := d.Between("m1", 2, 9, 0.5)                                         // kg
	m2 := d.Pick("m2", 0.2, 0.45, 0.3, 0.35, 0.4, 0.6, 0.65, 0.7, 0.75, 0.8) // kg
	apart := d.Between("apart", 120, 260, 10)                                // mm
	r := apart / 1000

	fall := func(g float64) float64 { return math.Sqrt(2 * height / g) }
	pull := func(g, m1, m2, r float64) float64 { return g * m1 * m2 / (r * r) }

	return bank.Sheet{Questions: []bank.Question{
		{
			ID: "fall-time", Kind: judge.KindNumber, Marks: 2, Unit: "s", Tol: judge.Tolerance{Rel: 0.005},
			Fields: bank.Fields{"height": height},
			Solve:  bank.Always(fall(9.81)),
			Slips: []bank.Slip{
				{ID: "no-factor-2", Value: bank.Always(fall(9.81) / math.Sqrt2)},
				{ID: "no-root", Value: bank.Always(2 * height / 9.81)},
				{ID: "speed", Value: bank.Always(math.Sqrt(2 * 9.81 * height))},
				{ID: "steady-speed", Value: bank.Always(height / 9.81)},
			},
			Range: [2]float64{0.4, 1.0},
		},
		{
			ID: "pull", Kind: judge.KindNumber, Marks: 2, Unit: "N", Tol: judge.Tolerance{Rel: 0.005},
			Fields: bank.Fields{"m1": m1, "m2": m2, "apart": apart, "r": r},
			Solve:  bank.Always(pull(gravlab.G, m1, m2, r)),
			Slips: []bank.Slip{
				{ID: "not-squared", Value: bank.Always(gravlab.G * m1 * m2 / r)},
				{ID: "both-forces", Value: bank.Always(2 * pull(gravlab.G, m1, m2, r))},
				{ID: "acceleration", Value: bank.Always(gravlab.G * m1 / (r * r))},
				{ID: "millimetres", Value: bank.Always(gravlab.G * m1 * m2 / (apart * apart))},
				{ID: "half-distance", Value: bank.Always(pull(gravlab.G, m1, m2, r/2))},
				{ID: "masses-added", Value: bank.Always(gravlab.G * (m1 + m2) / (r * r))},
				{ID: "other-acceleration", Value: bank.Always(gravlab.G * m2 / (r * r))},
				{ID: "weight", Value: bank.Always(9.81 * m1 * m2 / (r * r))},
			},
			Range: [2]float64{1e-10, 1e-7},
			// m1 = m2 = 9000 kg, r = 10.0 m, G = 6.67e-11
			Source: bank.Published(testdata.Examples, "newton-01", pull(6.67e-11, 9000, 9000, 10), 0.05e-5),
		},
		{
			ID: "mean", Kind: judge.KindFunction, Marks: 2, Tol: judge.Tolerance{Rel: 1e-9, Abs: 1e-12},
			Function: &bank.Function{
				Name: "mean", Signature: judge.SliceToOne, Calls: meanCalls(d),
				Right: func(x []float64) []float64 { return []float64{floats.Sum(x) / float64(len(x))} },
				Slips: []bank.FunctionSlip{
					{ID: "sum", F: func(x []float64) []float64 { return []float64{floats.Sum(x)} }},
					{ID: "n-minus-1", F: func(x []float64) []float64 { return []float64{floats.Sum(x) / float64(len(x)-1)} }},
					{ID: "two", F: func(x []float64) []float64 { return []float64{floats.Sum(x) / 2} }},
					{ID: "first-missed", F: func(x []float64) []float64 { return []float64{floats.Sum(x[1:]) / float64(len(x))} }},
					{ID: "last-missed", F: func(x []float64) []float64 { return []float64{floats.Sum(x[:len(x)-1]) / float64(len(x))} }},
					{ID: "rms", F: func(x []float64) []float64 { return []float64{floats.Norm(x, 2) / math.Sqrt(float64(len(x)))} }},
				},
			},
		},
		{
			ID: "brackets", Kind: judge.KindChoice, Marks: 1,
		},
	}}
}

// meanCalls are lists of different lengths, one of them twice.
func meanCalls(d *bank.Draw) [][]float64 {
	r := d.Rand("mean calls")
	var calls [][]float64
	for _, n := range []int{2, 3, 5, 8, 13} {
		list := make([]float64, n)
		for i := range list {
			list[i] = bank.Clean(math.Round(r.Float64()*2000-700) / 100)
		}
		calls = append(calls, list)
	}
	return append(calls, calls[2])
}
