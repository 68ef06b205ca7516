package lab15

import (
	"math"
	"sync"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/judge"
)

// The drops of the absolute meter: wavelength is that of its laser, m, and each
// fringe is half of it. pierGradient is that of the pier, s⁻².
const (
	wavelength   = 632.99121e-9
	pierGradient = 3.0e-6
	dropCount    = 25
	readings     = 21
	fringeStep   = 30000 // fringes from one reading to the next
)

// A dropRecord is the recording of one sheet: drops of a mirror, of which one lost
// some fringes.
type dropRecord struct {
	g    float64             // of the pier, m/s²
	lost int                 // the drop that lost fringes
	make func() [3][]float64 // drop, fringe, after
	mean func(wavelength, gradient float64, all bool) dropMean
}

// A dropMean is the mean g of the drops, the scatter of one drop, and the
// uncertainty of the mean that the fits of the drops claim.
type dropMean struct{ g, scatter, formal float64 }

func drawDrops(d *bank.Draw) dropRecord {
	g := d.Between("gravity of the pier", 9.7805, 9.8305, 0.0001)
	g += d.Between("rest of it", -49, 49, 0.01) * 1e-6
	r := dropRecord{g: g, lost: int(d.Between("drop with lost fringes", 4, 22, 1))}
	from, fringes := int(d.Between("place of the loss", 8, 12, 1)), d.Between("fringes lost", 2, 5, 1)
	r.make = sync.OnceValue(func() [3][]float64 {
		var drop, fringe, t []float64
		random := d.Rand("drops")
		const noise, step, floor = 1e-10, 1e-11, 12 * gravlab.MicroGal
		for n := range dropCount {
			speed := 0.18 + 0.04*random.Float64()
			// The floor's slow swaying is one acceleration for the whole of a drop.
			fall := earth.Drop{Speed: speed, Gravity: g + float64(floor*random.NormFloat64()), Gradient: pierGradient}
			for i := range readings {
				counted := float64(i * fringeStep)
				passed := counted
				if n+1 == r.lost && i >= from {
					passed += fringes
				}
				at := timeOf(fall, float64(passed*wavelength/2)) + float64(noise*random.NormFloat64())
				drop, fringe = append(drop, float64(n+1)), append(fringe, counted)
				t = append(t, bank.Clean(step*math.Round(at/step)))
			}
		}
		return [3][]float64{drop, fringe, t}
	})
	r.mean = func(wavelength, gradient float64, all bool) dropMean {
		rows := r.make()
		fringe, t := rows[1], rows[2]
		var mean, scatter, formal float64
		var gs, us []float64
		for n := range dropCount {
			if n+1 == r.lost && !all {
				continue
			}
			of := fitDrop(t[n*readings:(n+1)*readings], fringe[n*readings:(n+1)*readings], wavelength, gradient)
			gs, us = append(gs, of.P[2]), append(us, of.U[2])
		}
		k := float64(len(gs))
		for i := range gs {
			mean += gs[i] / k
			formal += us[i] * us[i] / (k * k)
		}
		for _, v := range gs {
			scatter += (v - mean) * (v - mean) / (k - 1)
		}
		return dropMean{mean, math.Sqrt(scatter), math.Sqrt(formal)}
	}
	return r
}

// timeOf is when a fall has come to a depth.
func timeOf(fall earth.Drop, depth float64) float64 {
	t := 2 * depth / (fall.Speed + math.Sqrt(fall.Speed*fall.Speed+2*fall.Gravity*depth))
	for range 3 { // Newton; the gradient moves t by some nanoseconds
		z := gravlab.Must(fall.Depth([]float64{t}))[0]
		t -= (z - depth) / (fall.Speed + fall.Gravity*t)
	}
	return t
}

// fitDrop fits start, speed and g at the first reading to one drop.
func fitDrop(t, fringe []float64, wavelength, gradient float64) *fit.Result {
	z := make([]float64, len(fringe))
	for i := range z {
		z[i] = fringe[i] * wavelength / 2
	}
	return gravlab.Must(fit.Curve{X: t, Y: z, Start: []float64{0, 0.2, 9.8}, Model: func(p, t, dst []float64) {
		for i, x := range t {
			dst[i] = p[0] + p[1]*x + p[2]*x*x/2 + gradient*(p[1]*x*x*x/6+p[2]*x*x*x*x/24)
		}
	}}.Fit())
}

func (r dropRecord) recording() bank.Recording {
	return bank.Recording{
		ID:      "drops",
		Columns: []bank.Column{{Name: "drop", Unit: "1"}, {Name: "fringe", Unit: "1"}, {Name: "after", Unit: "s"}},
		Make: func() ([][]float64, error) {
			rows := r.make()
			return rows[:], nil
		},
	}
}

func (r dropRecord) gravity() bank.Question {
	of := func(wavelength, gradient float64, all bool) func() dropMean {
		return sync.OnceValue(func() dropMean { return r.mean(wavelength, gradient, all) })
	}
	right, kept := of(wavelength, pierGradient, false), of(wavelength, pierGradient, true)
	parabola, reversed, double := of(wavelength, 0, false), of(wavelength, -pierGradient, false), of(2*wavelength, pierGradient, false)
	g := func(f func() dropMean) func(bank.Answers) float64 {
		return func(bank.Answers) float64 { return f().g }
	}
	const n = dropCount - 1
	return bank.Question{
		ID: "drop-g", Kind: judge.KindMeasured, Marks: 4, Unit: "m/s²",
		Solve: g(right),
		U:     func() float64 { return right().scatter / math.Sqrt(n) },
		Slips: []bank.Slip{
			{ID: "lost-kept", Value: g(kept)},
			{ID: "whole-wavelength", Value: g(double)},
			{ID: "parabola", Value: g(parabola)},
			{ID: "gradient-reversed", Value: g(reversed)},
			{ID: "half-g", Value: func(bank.Answers) float64 { return right().g / 2 }},
		},
		USlips: []bank.Slip{
			{ID: "formal", Value: func(bank.Answers) float64 { return right().formal }},
			{ID: "scatter", Value: func(bank.Answers) float64 { return right().scatter }},
		},
		Range: [2]float64{9.78, 9.831},
	}
}
