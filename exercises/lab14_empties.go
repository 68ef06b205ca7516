package exercises

import (
	"fmt"
	"math"
	"sync"

	"gonum.org/v1/gonum/stat/distuv"

	"gravity.example/gravlab/judge"
)

// An emptiesRecord is the gate's trial on one sheet: what the fit gave for the
// loading space of ordinary vehicles that carried nothing to speak of.
type emptiesRecord struct {
	threshold float64          // kg
	masses    func() []float64 // kg
}

func drawEmpties(d *Draw) emptiesRecord {
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

func (e emptiesRecord) recording() Recording {
	return Recording{
		ID: "empties", Title: "The gate's trial: mass in the loading space of ordinary empty vehicles, as fitted",
		Columns: []Column{{Name: "mass", Unit: "kg"}},
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

func (e emptiesRecord) rate() Question {
	share := func() float64 { k, n := e.rings(); return k / n }
	u := func() float64 { k, n := e.rings(); return math.Sqrt(k / n * (1 - k/n) / n) }
	wrong := sync.OnceValue(func() []float64 {
		k, n := e.rings()
		m := e.masses()
		mean := sum(m) / n
		s := 0.0
		for _, v := range m {
			s += (v - mean) * (v - mean) / (n - 1)
		}
		return apartFrom(share(), 0.002, k/100, 1-share(), distuv.Normal{Mu: mean, Sigma: math.Sqrt(s)}.Survival(e.threshold))
	})
	slip := func(i int) func(Known) float64 { return func(Known) float64 { return wrong()[i] } }
	return Question{
		ID: "trial", Kind: judge.Measured, Marks: 3, Title: "How often does an empty one ring?",
		Prompt: fmt.Sprintf("Before the gate is used, ordinary vehicles drove over it with nothing in them to speak of. `sheet.Recording(\"empties\")` holds the mass in the loading space that the fit gave for each: `mass` in kg. The gate is to ring above %g kg. Estimate the probability that an empty vehicle rings, with its standard uncertainty, by counting. Give it in per cent, to one decimal or better.", e.threshold),
		Unit:   "%",
		Tol:    judge.Tolerance{Abs: 0.0006, Why: "one decimal in per cent: the count itself is exact"},
		Solve:  func(Known) float64 { return share() }, U: u,
		Slips: []Slip{
			{Name: "the number of rings given as per cent", Value: slip(0), Fix: "Divide by the number of vehicles."},
			{Name: "the share that does not ring", Value: slip(1), Fix: "Asked are those above the threshold."},
			{Name: "the tail of a normal distribution", Value: slip(2), Fix: "The masses of empty vehicles are not normally distributed: some carry tools. Count."},
		},
		USlips: []Slip{
			{Name: "the uncertainty of one part in the root of all vehicles", Value: func(Known) float64 { _, n := e.rings(); return 1 / math.Sqrt(n) }, Fix: "What scatters is the number of rings k, by about its own root: u = √k over the number of vehicles."},
		},
		Range:     [2]float64{0.004, 0.08},
		Hints:     [2]string{"Count the masses above the threshold and divide by how many there are.", "A count of k scatters by about √k: u(p) = √(p (1 − p)/n)."},
		Worked:    fmt.Sprintf("%%%%\n// A share by counting; a count k scatters by about its root.\nk, n := 0.0, 0.0\nfor _, m := range sheet.Recording(\"empties\").Column(\"mass\") {\n\tn++\n\tif m > %s {\n\t\tk++\n\t}\n}\np := k / n\nsheet.Measured(\"trial\", 100*p, 100*math.Sqrt(p*(1-p)/n), \"%%\")", lit(e.threshold)),
		Reasoning: "$p = k/n$ with $u(p) = \\sqrt{p(1-p)/n}$. With a dozen rings the rate is known to a third of itself at best: a rate of 0.1 % cannot be shown with a thousand vehicles. And it holds for vehicles like those of the trial.",
		Source:    Source{Text: "common practice, no source: the binomial distribution"},
	}
}
