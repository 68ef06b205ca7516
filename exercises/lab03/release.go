package lab03

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/sensor"
)

// A releaseRecord is the recording of one sheet: a small weight lies on the mass
// of a sensor and is lifted off at time 0. The rest creeps all the while.
type releaseRecord struct {
	weight float64 // kg, lifted off
	make   func() (t, x []float64)
	swing  func() *fit.Result // of what follows the release
	rest   func() (step, u float64)
}

func drawRelease(d *bank.Draw) releaseRecord {
	s := sensor.Suspension{
		Mass:      d.Between("proof mass", 60, 140, 1) / 1000,
		Frequency: d.Between("release frequency", 1.3, 2.2, 0.01),
		Q:         d.Between("release Q", 5, 8, 0.1),
	}
	r := releaseRecord{weight: bank.RoundTo(s.Mass*d.Between("share", 2, 3.5, 0.1)/100, 2)}
	w0 := 2 * math.Pi * s.Frequency
	sag := r.weight * 9.81 / (s.Mass * w0 * w0) // m, by the small weight
	zero := d.Between("rest", -400, 400, 10) * 1e-6
	creep := d.Pick("creep side", -1, 1) * d.Between("creep", 0.0016, 0.0030, 0.0001) * sag // m/s
	const noise, step, rate = 6e-6, 1e-6, 40

	r.make = sync.OnceValues(func() (t, x []float64) {
		random := d.Rand("release")
		for i := -20 * rate; i <= 30*rate; i++ {
			at := float64(i) / rate
			v := sag
			if at > 0 {
				// The load of the spring gets smaller: as if the frame fell.
				v += gravlab.Must(s.StepResponse(float64(sag*w0*w0), at))
			}
			v += zero + float64(creep*at) + float64(noise*random.NormFloat64())
			t, x = append(t, bank.Clean(at)), append(x, bank.Clean(step*math.Round(v/step)))
		}
		return t, x
	})
	r.swing = sync.OnceValue(func() *fit.Result {
		t, x := r.after()
		return gravlab.Must(fit.DampedOscillationDrift(t, x, nil))
	})
	r.rest = sync.OnceValues(func() (step, u float64) {
		// One line for before and after, a step between them, and the swing with the
		// period and decay time that are known already.
		t, x := r.make()
		f := r.swing()
		a := mat.NewDense(len(t), 5, nil)
		for i, at := range t {
			row := []float64{1, at, 1, 0, 0}
			if at > 0 {
				e, p := math.Exp(-at/f.P[fit.DecayTime]), 2*math.Pi*at/f.P[fit.Period]
				row = []float64{1, at, 0, e * math.Cos(p), e * math.Sin(p)}
			}
			a.SetRow(i, row)
		}
		l := gravlab.Must(fit.Linear(a, x, nil))
		return l.P[2], l.U[2]
	})
	return r
}

// after is the part of the recording that follows the release.
func (r releaseRecord) after() (t, x []float64) {
	t, x = r.make()
	for i, at := range t {
		if at > 0 {
			return t[i:], x[i:]
		}
	}
	return nil, nil
}

func (r releaseRecord) recording() bank.Recording {
	return bank.Recording{
		ID:      "release",
		Columns: []bank.Column{{Name: "time", Unit: "s"}, {Name: "place", Unit: "m"}},
		Make: func() ([][]float64, error) {
			t, x := r.make()
			return [][]float64{t, x}, nil
		},
	}
}

// natural is f0 and its uncertainty: f0² = 1/T² + 1/(2 pi tau)².
func (r releaseRecord) natural() (f0, u float64) {
	f := r.swing()
	T, tau := f.P[fit.Period], f.P[fit.DecayTime]
	f0 = math.Hypot(1/T, 1/(2*math.Pi*tau))
	byT := -1 / (T * T * T) / f0 * f.U[fit.Period]
	byTau := -1 / (4 * math.Pi * math.Pi * tau * tau * tau) / f0 * f.U[fit.DecayTime]
	return f0, math.Sqrt(byT*byT + byTau*byTau + 2*f.Correlation(fit.Period, fit.DecayTime)*byT*byTau)
}

func (r releaseRecord) frequency() bank.Question {
	return bank.Question{
		ID: "frequency", Kind: judge.KindMeasured, Marks: 3, Unit: "Hz",
		Fields: bank.Fields{"weightSI": 1000 * r.weight},
		Solve:  func(bank.Answers) float64 { f0, _ := r.natural(); return f0 },
		U:      func() float64 { _, u := r.natural(); return u },
		Slips: []bank.Slip{
			{ID: "damped", Value: func(bank.Answers) float64 { return 1 / r.swing().P[fit.Period] }},
			{ID: "angular", Value: func(bank.Answers) float64 { f0, _ := r.natural(); return 2 * math.Pi * f0 }},
			{ID: "half-swing", Value: func(bank.Answers) float64 { f0, _ := r.natural(); return 2 * f0 }},
			{ID: "period", Value: func(bank.Answers) float64 { return r.swing().P[fit.Period] }},
		},
		Range: [2]float64{1.25, 2.25},
	}
}

func (r releaseRecord) quality() bank.Question {
	q := func(factor float64) func(bank.Answers) float64 {
		return func(bank.Answers) float64 {
			f0, _ := r.natural()
			return factor * math.Pi * f0 * r.swing().P[fit.DecayTime]
		}
	}
	return bank.Question{
		ID: "quality", Kind: judge.KindMeasured, Marks: 2, Unit: "1",
		Solve: q(1),
		U:     func() float64 { f := r.swing(); return q(1)(nil) * f.U[fit.DecayTime] / f.P[fit.DecayTime] },
		Slips: []bank.Slip{
			{ID: "factor-2", Value: q(2)},
			{ID: "swings", Value: q(1 / math.Pi)},
			{ID: "log10", Value: q(math.Ln10)},
			{ID: "frequency", Value: q(1 / (2 * math.Pi))},
			{ID: "half", Value: q(0.5)},
		},
		Range: [2]float64{4.5, 8.5},
	}
}

func (r releaseRecord) step() bank.Question {
	step := func(bank.Answers) float64 { v, _ := r.rest(); return v }
	return bank.Question{
		ID: "step", Kind: judge.KindMeasured, Marks: 3, Unit: "mm",
		Solve: step,
		U:     func() float64 { _, u := r.rest(); return u },
		Slips: []bank.Slip{
			{ID: "creep", Value: func(bank.Answers) float64 { return r.meanDifference() }},
			{ID: "first-swing", Value: func(k bank.Answers) float64 {
				f := r.swing()
				return step(k) * (1 + math.Exp(-f.P[fit.Period]/2/f.P[fit.DecayTime]))
			}},
			{ID: "half", Value: func(k bank.Answers) float64 { return step(k) / 2 }},
			{ID: "doubled", Value: func(k bank.Answers) float64 { return 2 * step(k) }},
		},
		Range: [2]float64{0.8e-3, 6e-3},
	}
}

// meanDifference is the mean of all readings before the release less that of all
// after it.
func (r releaseRecord) meanDifference() float64 {
	t, x := r.make()
	_, after := r.after()
	before := x[:len(t)-len(after)]
	return floats.Sum(before)/float64(len(before)) - floats.Sum(after)/float64(len(after))
}

func (r releaseRecord) mass() bank.Question {
	m := func(factor float64) func(bank.Answers) float64 {
		return func(k bank.Answers) float64 {
			w := 2 * math.Pi * k["frequency"]
			return factor * r.weight * 9.81 / (k["step"] * w * w)
		}
	}
	return bank.Question{
		ID: "mass", Kind: judge.KindNumber, Marks: 2, Unit: "kg", Tol: judge.Tolerance{Rel: 0.006}, Uses: []string{"frequency", "step"},
		Fields: bank.Fields{"weightSI": 1000 * r.weight, "weight": r.weight},
		Solve:  m(1),
		Slips: []bank.Slip{
			{ID: "frequency", Value: m(4 * math.Pi * math.Pi)},
			{ID: "mass-for-weight", Value: m(1 / 9.81)},
			{ID: "one-2pi", Value: m(2 * math.Pi)},
			{ID: "weight-itself", Value: func(bank.Answers) float64 { return r.weight }},
			{ID: "in-newtons", Value: m(9.81)},
		},
		Range: [2]float64{0.055, 0.145},
	}
}
