package bank

import (
	"embed"
	"math"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
)

//go:embed *.md
var files embed.FS

// Labs is what this bank adds.
func Labs() []bank.Lab {
	return []bank.Lab{{
		ID: "91-plumb-line", Title: "The plumb line", Minutes: 10,
		Words: bank.ReadWords(files),
		Build: build,
	}}
}

func build(d *bank.Draw) bank.Sheet {
	length := d.Between("length", 0.6, 1.4, 0.05) // m: each sheet has its own
	period := 2 * math.Pi * math.Sqrt(length/9.81)
	return bank.Sheet{Questions: []bank.Question{{
		ID: "period", Kind: judge.KindNumber, Marks: 2, Unit: "s", Tol: judge.Tolerance{Rel: 0.005},
		Fields: bank.Fields{"length": length},
		Solve:  bank.Always(period),
		Slips: []bank.Slip{
			{ID: "half-swing", Value: bank.Always(period / 2)},
			{ID: "no-2pi", Value: bank.Always(period / (2 * math.Pi))},
		},
		Range: [2]float64{1.5, 2.5},
	}}}
}
