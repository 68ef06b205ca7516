package lab02

import (
	"math"
	"sync"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/torsion"
)

// readerRange is where the angle reader of the basement laboratory ends, on
// either side, rad: beyond it writes down its end.
const readerRange = 6e-3

// A decayRecord is the recording of one sheet: a pendant was turned by hand, let
// go, and settles. The first swings are beyond the reader's range.
type decayRecord struct {
	make  func() (t, angle []float64)
	good  func() *fit.Result // of what was read inside the range
	whole func() *fit.Result // of everything, the clipped readings too; nil where the search finds no minimum
}

func drawDecay(d *bank.Draw) decayRecord {
	period := d.Between("period", 480, 620, 0.5)
	tau := period * d.Between("decay", 3.5, 6, 0.1)
	const inertia = 2.2e-3 // kg m², of the pendant; the motion does not depend on it
	w := 2 * math.Pi / period
	swing := torsion.Swing{
		Inertia: inertia, Kappa: inertia * (w*w + 1/(tau*tau)), Damping: 2 * inertia / tau,
		Start: d.Pick("side", -1, 1) * d.Between("start", 8.5, 11, 0.1) * 1e-3,
	}
	zero := d.Pick("zero side", -1, 1) * d.Between("zero", 0.7, 1.3, 0.05) * 1e-3 // of the reader, rad
	drift := d.Pick("drift side", -1, 1) * d.Between("drift", 1, 3, 0.1) * 1e-8   // rad/s
	const noise, step = 50e-6, 10e-6

	var r decayRecord
	r.make = sync.OnceValues(func() (t, angle []float64) {
		random := d.Rand("decay")
		for i := range 601 {
			t = append(t, 10*float64(i))
		}
		for i, x := range gravlab.Must(swing.Angles(t)) {
			x += zero + float64(drift*t[i]) + float64(noise*random.NormFloat64())
			x = step * math.Round(x/step)
			angle = append(angle, bank.Clean(math.Max(-readerRange, math.Min(readerRange, x))))
		}
		return t, angle
	})
	r.good = sync.OnceValue(func() *fit.Result {
		var gt, gx []float64
		t, x := r.make()
		for i := range x {
			if math.Abs(x[i]) < readerRange {
				gt, gx = append(gt, t[i]), append(gx, x[i])
			}
		}
		return gravlab.Must(fit.DampedOscillationDrift(gt, gx, nil))
	})
	r.whole = sync.OnceValue(func() *fit.Result {
		t, x := r.make()
		f, err := fit.DampedOscillationDrift(t, x, nil)
		if err != nil {
			return nil
		}
		return f
	})
	return r
}

func (r decayRecord) recording() bank.Recording {
	return bank.Recording{
		ID:      "decay",
		Columns: []bank.Column{{Name: "time", Unit: "s"}, {Name: "angle", Unit: "rad"}},
		Make: func() ([][]float64, error) {
			t, x := r.make()
			return [][]float64{t, x}, nil
		},
	}
}

// of is factor times a parameter of the fit of the good readings.
func (r decayRecord) of(parameter int, factor float64) func(bank.Answers) float64 {
	return func(bank.Answers) float64 { return factor * r.good().P[parameter] }
}

// halfTurn is twice the time between the first two passages of the reader's 0
// after the first swing, which is no period when the rest lies elsewhere.
func (r decayRecord) halfTurn() float64 {
	t, x := r.make()
	var passages []float64
	for i := 60; i+1 < len(x) && len(passages) < 2; i++ {
		if (x[i] > 0) != (x[i+1] > 0) {
			passages = append(passages, t[i]+(t[i+1]-t[i])*x[i]/(x[i]-x[i+1]))
		}
	}
	return 2 * (passages[1] - passages[0])
}

func (r decayRecord) tau() bank.Question {
	return bank.Question{
		ID: "tau", Kind: judge.KindMeasured, Marks: 3, Unit: "s",
		Solve: r.of(fit.DecayTime, 1),
		U:     func() float64 { return r.good().U[fit.DecayTime] },
		Slips: []bank.Slip{
			{ID: "clipped", Value: func(bank.Answers) float64 {
				if r.whole() == nil {
					return math.NaN()
				}
				return r.whole().P[fit.DecayTime]
			}},
			{ID: "energy", Value: r.of(fit.DecayTime, 0.5)},
			{ID: "half-time", Value: r.of(fit.DecayTime, math.Ln2)},
			{ID: "doubled", Value: r.of(fit.DecayTime, 2)},
			{ID: "swings", Value: func(bank.Answers) float64 { return r.good().P[fit.DecayTime] / r.good().P[fit.Period] }},
		},
		Range: [2]float64{1600, 3800},
	}
}

func (r decayRecord) period() bank.Question {
	return bank.Question{
		ID: "period", Kind: judge.KindMeasured, Marks: 2, Unit: "s",
		Solve: r.of(fit.Period, 1),
		U:     func() float64 { return r.good().U[fit.Period] },
		Slips: []bank.Slip{
			{ID: "half-period", Value: r.of(fit.Period, 0.5)},
			{ID: "zero-passages", Value: func(bank.Answers) float64 { return r.halfTurn() }},
			{ID: "radian", Value: r.of(fit.Period, 1/(2*math.Pi))},
			{ID: "frequency", Value: func(bank.Answers) float64 { return 1 / r.good().P[fit.Period] }},
		},
		USlips: []bank.Slip{
			{ID: "interval", Value: bank.Always(10)},
		},
		Range: [2]float64{470, 630},
	}
}

func (r decayRecord) quality() bank.Question {
	q := func(factor float64) func(bank.Answers) float64 {
		return func(k bank.Answers) float64 { return factor * math.Pi * k["tau"] / k["period"] }
	}
	u := func() float64 {
		f := r.good()
		a, b := f.U[fit.DecayTime]/f.P[fit.DecayTime], f.U[fit.Period]/f.P[fit.Period]
		rel := math.Sqrt(a*a + b*b - 2*f.Correlation(fit.DecayTime, fit.Period)*a*b)
		return rel * math.Pi * f.P[fit.DecayTime] / f.P[fit.Period]
	}
	return bank.Question{
		ID: "quality", Kind: judge.KindMeasured, Marks: 3, Unit: "1", Uses: []string{"tau", "period"},
		Solve: q(1),
		U:     u,
		Slips: []bank.Slip{
			{ID: "swings", Value: q(1 / math.Pi)},
			{ID: "n-over-pi", Value: q(1 / (math.Pi * math.Pi))},
			{ID: "factor-2", Value: q(2)},
			{ID: "half", Value: q(0.5)},
			{ID: "frequency", Value: q(1 / (2 * math.Pi))},
		},
		USlips: []bank.Slip{
			{ID: "period-only", Value: func(bank.Answers) float64 {
				f := r.good()
				return math.Pi * f.P[fit.DecayTime] / f.P[fit.Period] * f.U[fit.Period] / f.P[fit.Period]
			}},
		},
		Range: [2]float64{10, 20},
	}
}
