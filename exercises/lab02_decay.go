package exercises

import (
	"math"
	"sync"

	"gravity.example/gravlab"
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

func drawDecay(d *Draw) decayRecord {
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
			angle = append(angle, clean(math.Max(-readerRange, math.Min(readerRange, x))))
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

func (r decayRecord) recording() Recording {
	return Recording{
		ID: "decay", Title: "A pendant turned by hand, let go at time 0, as the angle reader saw it",
		Columns: []Column{{Name: "time", Unit: "s"}, {Name: "angle", Unit: "rad"}},
		Make: func() ([][]float64, error) {
			t, x := r.make()
			return [][]float64{t, x}, nil
		},
	}
}

// of is factor times a parameter of the fit of the good readings.
func (r decayRecord) of(parameter int, factor float64) func(Known) float64 {
	return func(Known) float64 { return factor * r.good().P[parameter] }
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

// reading is the code with which the worked answers about the recording start.
const decayReading = "rec := sheet.Recording(\"decay\")\nt, x := rec.Column(\"time\"), rec.Column(\"angle\")\nvar gt, gx []float64\nfor i := range x {\n\tif math.Abs(x[i]) < 0.006 { // rad: there the reader ends\n\t\tgt, gx = append(gt, t[i]), append(gx, x[i])\n\t}\n}\nf := gravlab.Must(fit.DampedOscillationDrift(gt, gx, nil))\n"

func (r decayRecord) tau() Question {
	return Question{
		ID: "tau", Kind: judge.Measured, Marks: 3, Title: "The decay time, from your own recording",
		Prompt: "`sheet.Recording(\"decay\")` holds what the angle reader wrote down after your pendant was turned by hand and let go: `time` in s, `angle` in rad, every ten seconds. The zero of the reader is not where the pendant rests, and it drifts. Not every reading is what it looks like. " +
			"In which time $\\tau$ does the amplitude fall to $1/e$, and how well do you know it?",
		Unit:  "s",
		Solve: r.of(fit.DecayTime, 1), U: func() float64 { return r.good().U[fit.DecayTime] },
		Slips: []Slip{
			{Name: "the readings at the end of the reader's range fitted as well", Value: func(Known) float64 {
				if r.whole() == nil {
					return math.NaN()
				}
				return r.whole().P[fit.DecayTime]
			}, Fix: "Look at the tops of the first swings: an instrument at its end writes down its end.\nFit what it could see."},
			{Name: "the decay time of the energy", Value: r.of(fit.DecayTime, 0.5), Fix: "The energy falls twice as fast as the amplitude. The question asks for the amplitude."},
			{Name: "the time to half taken for the time to 1/e", Value: r.of(fit.DecayTime, math.Ln2), Fix: "To 1/e, not to one half."},
		},
		Range:     [2]float64{1600, 3800},
		Hints:     [2]string{"Plot the first 2000 s. What do the tops look like?", "Leave out what stands at the end of the range; then fit.DampedOscillationDrift, and P and U at fit.DecayTime."},
		Worked:    "%%\n// A reading at the end of the range is no reading of the angle: leave it out.\n" + decayReading + "sheet.Measured(\"tau\", f.P[fit.DecayTime], f.U[fit.DecayTime], \"s\")",
		Reasoning: "A clipped top says only that the angle was larger. Fitted as if it were the angle it makes the first swings too small, so that the swing seems to die more slowly. Least squares does not need evenly spaced times, so readings may be left out.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording; noise, drift and clipping are not in the fitted model"},
	}
}

func (r decayRecord) period() Question {
	return Question{
		ID: "period", Kind: judge.Measured, Marks: 2, Title: "The period, from the same fit",
		Prompt: "And the full period of the swing, as it is with its damping: what is it, and how well do you know it?",
		Unit:   "s",
		Solve:  r.of(fit.Period, 1), U: func() float64 { return r.good().U[fit.Period] },
		Slips: []Slip{
			{Name: "half a period", Value: r.of(fit.Period, 0.5), Fix: "A period is there and back."},
			{Name: "twice the time between two passages of the reader's 0", Value: func(Known) float64 { return r.halfTurn() }, Fix: "The pendant does not rest at the reader's 0, so it is longer on one side of it.\nCount from one upward passage to the next, or fit."},
			{Name: "the time in which the angle turns by one radian of phase", Value: r.of(fit.Period, 1/(2*math.Pi)), Fix: "The period is the time of 2π of phase."},
		},
		USlips: []Slip{
			{Name: "the interval between readings taken for the uncertainty", Value: valueOf(10), Fix: "All readings together place the swing far better than one step of the clock."},
		},
		Range:     [2]float64{470, 630},
		Hints:     [2]string{"The fit of the last question has it already.", "P and U of the fit at fit.Period."},
		Worked:    "%%\n// The same fit holds the period.\n" + decayReading + "sheet.Measured(\"period\", f.P[fit.Period], f.U[fit.Period], \"s\")",
		Reasoning: "The fit uses every reading, so the period is known to a small part of the interval between two readings. Clipping hardly moves it, since it cuts both flanks of a top alike: each number of a fit has its own weak spot.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording"},
	}
}

func (r decayRecord) quality() Question {
	q := func(factor float64) func(Known) float64 {
		return func(k Known) float64 { return factor * math.Pi * k["tau"] / k["period"] }
	}
	u := func() float64 {
		f := r.good()
		a, b := f.U[fit.DecayTime]/f.P[fit.DecayTime], f.U[fit.Period]/f.P[fit.Period]
		rel := math.Sqrt(a*a + b*b - 2*f.Correlation(fit.DecayTime, fit.Period)*a*b)
		return rel * math.Pi * f.P[fit.DecayTime] / f.P[fit.Period]
	}
	return Question{
		ID: "quality", Kind: judge.Measured, Marks: 3, Title: "The quality of your pendant", Uses: []string{"tau", "period"},
		Prompt: "From your own $\\tau$ and $T$: what is the quality factor $Q$ of the pendant, and its standard uncertainty?",
		Unit:   "1",
		Solve:  q(1), U: u,
		Slips: []Slip{
			{Name: "the number of swings to 1/e", Value: q(1 / math.Pi), Fix: "Q = ω₀ τ/2, and ω₀ = 2π/T: a factor π is missing."},
			{Name: "N/π for πN", Value: q(1 / (math.Pi * math.Pi)), Fix: "After N swings to 1/e the quality factor is π N."},
			{Name: "a factor 2 too many", Value: q(2), Fix: "τ is the decay time of the amplitude: Q = ω₀ τ/2."},
		},
		USlips: []Slip{
			{Name: "the uncertainty of the period alone", Value: func(Known) float64 {
				f := r.good()
				return math.Pi * f.P[fit.DecayTime] / f.P[fit.Period] * f.U[fit.Period] / f.P[fit.Period]
			}, Fix: "The decay time is known far worse than the period, and it decides."},
		},
		Range:     [2]float64{10, 20},
		Hints:     [2]string{"Q = π τ/T.", "Relative uncertainties in quadrature; which of the two is larger?"},
		Worked:    "%%\n// Q = pi tau/T; the two relative uncertainties in quadrature. Their\n// correlation is small, and so is the part of the period.\n" + decayReading + "tau, T := f.P[fit.DecayTime], f.P[fit.Period]\nQ := math.Pi * tau / T\nu := Q * math.Hypot(f.U[fit.DecayTime]/tau, f.U[fit.Period]/T)\nsheet.Measured(\"quality\", Q, u, \"1\")",
		Reasoning: "$Q = \\omega_0\\tau/2 \\approx \\pi\\tau/T$: the difference between $\\omega_0$ and the damped $2\\pi/T$ is $1/(8Q^2)$, about 0.1 % here. The relative uncertainty is practically that of $\\tau$.",
		Source:    Source{Text: "M. Richmond, Rochester Institute of Technology, correction note on Q = π N (worked_examples.csv, damping-06)"},
	}
}
