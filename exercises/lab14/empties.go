package lab14

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat/distuv"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
)

// An emptiesRecord is the gate's trial on one sheet: what the fit gave for the
// loading space of ordinary vehicles that carried nothing to speak of.
type emptiesRecord struct {
	threshold float64          // kg
	masses    func() []float64 // kg
}

func drawEmpties(d *bank.Draw) emptiesRecord {
	e := emptiesRecord{threshold: d.Between("ring threshold", 400, 500, 50)}
	n, spread := int(d.Between("empties", 600, 900, 50)), d.Between("empties spread", 130, 170, 10)
	e.masses = sync.OnceValue(func() []float64 {
		random := d.Rand("empties")
		var m []float64
		for range n {
			v := float64(spread * random.NormFloat64())
			// Some carry a tool chest or a tank: the tail is longer than that of noise.
			if tools := random.Float64(); tools < 0.05 {
				v += 250 + 500*random.Float64()
			}
			m = append(m, 5*math.Round(v/5))
		}
		return m
	})
	return e
}

func (e emptiesRecord) recording() bank.Recording {
	return bank.Recording{
		ID:      "empties",
		Columns: []bank.Column{{Name: "mass", Unit: "kg"}},
		Make:    func() ([][]float64, error) { return [][]float64{e.masses()}, nil },
	}
}

// rings is the number of vehicles above the threshold, of how many.
func (e emptiesRecord) rings() (k, n float64) {
	for _, m := range e.masses() {
		if m > e.threshold {
			k++
		}
	}
	return k, float64(len(e.masses()))
}

func (e emptiesRecord) rate() bank.Question {
	fraction := func() float64 { k, n := e.rings(); return k / n }
	u := func() float64 { k, n := e.rings(); return math.Sqrt(k / n * (1 - k/n) / n) }
	tail := func() float64 { // of a normal distribution with the same mean and scatter
		_, n := e.rings()
		m := e.masses()
		mean := floats.Sum(m) / n
		s := 0.0
		for _, v := range m {
			s += (v - mean) * (v - mean) / (n - 1)
		}
		return distuv.Normal{Mu: mean, Sigma: math.Sqrt(s)}.Survival(e.threshold)
	}
	return bank.Question{
		ID: "trial", Kind: judge.KindMeasured, Marks: 3, Unit: "%", Tol: judge.Tolerance{Abs: 0.0006},
		Fields: bank.Fields{"threshold": e.threshold},
		Solve:  func(bank.Answers) float64 { return fraction() },
		U:      u,
		Slips: []bank.Slip{
			{ID: "number-of-rings", Value: bank.Later(func() float64 { k, _ := e.rings(); return k / 100 })},
			{ID: "no-ring", Value: bank.Later(func() float64 { return 1 - fraction() })},
			{ID: "normal-tail", Value: bank.Later(tail)},
		},
		USlips: []bank.Slip{
			{ID: "one-over-root-n", Value: func(bank.Answers) float64 { _, n := e.rings(); return 1 / math.Sqrt(n) }},
		},
		Range: [2]float64{0.004, 0.08},
	}
}
