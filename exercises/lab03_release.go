package exercises

import (
	"fmt"
	"math"
	"sync"

	"gonum.org/v1/gonum/mat"
	"gravity.example/gravlab"
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

func drawRelease(d *Draw) releaseRecord {
	s := sensor.Suspension{
		Mass:      d.Between("proof mass", 60, 140, 1) / 1000,
		Frequency: d.Between("release frequency", 1.3, 2.2, 0.01),
		Q:         d.Between("release Q", 5, 8, 0.1),
	}
	r := releaseRecord{weight: roundTo(s.Mass*d.Between("share", 2, 3.5, 0.1)/100, 2)}
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
			t, x = append(t, clean(at)), append(x, clean(step*math.Round(v/step)))
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

func (r releaseRecord) recording() Recording {
	return Recording{
		ID: "release", Title: "The mass of a sensor, before and after a small weight was lifted off it at time 0; down is positive",
		Columns: []Column{{Name: "time", Unit: "s"}, {Name: "place", Unit: "m"}},
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

const releaseReading = "rec := sheet.Recording(\"release\")\nt, x := rec.Column(\"time\"), rec.Column(\"place\")\nvar at, ax []float64 // after the release\nfor i := range t {\n\tif t[i] > 0 {\n\t\tat, ax = append(at, t[i]), append(ax, x[i])\n\t}\n}\nf := gravlab.Must(fit.DampedOscillationDrift(at, ax, nil))\n"

const releaseF0 = "T, tau := f.P[fit.Period], f.P[fit.DecayTime]\nf0 := math.Hypot(1/T, 1/(2*math.Pi*tau)) // without the damping\n"

func (r releaseRecord) frequency() Question {
	return Question{
		ID: "frequency", Kind: judge.Measured, Marks: 3, Title: "The natural frequency, from your own recording",
		Prompt: fmt.Sprintf("`sheet.Recording(\"release\")` holds the `place` of the mass of a sensor in m (down is positive), 40 times a second. Until time 0 a small weight of %.1f g lay on the mass; then it was lifted off. What is the *natural* frequency $f_0$ of the sensor, the one without its damping, and how well do you know it?", 1000*r.weight),
		Unit:   "Hz",
		Solve:  func(Known) float64 { f0, _ := r.natural(); return f0 },
		U:      func() float64 { _, u := r.natural(); return u },
		Slips: []Slip{
			{Name: "the damped frequency for the natural one", Value: func(Known) float64 { return 1 / r.swing().P[fit.Period] }, Fix: "Damping makes a swing slower: 1/T is below f₀.\nω₀² = (2π/T)² + 1/τ²."},
			{Name: "the angular frequency for the frequency", Value: func(Known) float64 { f0, _ := r.natural(); return 2 * math.Pi * f0 }, Fix: "In Hz: full swings per second."},
			{Name: "half of a swing for a full one", Value: func(Known) float64 { f0, _ := r.natural(); return 2 * f0 }, Fix: "A full swing is there and back."},
		},
		Range:     [2]float64{1.25, 2.25},
		Hints:     [2]string{"Fit what follows the release: fit.DampedOscillationDrift. Its period is that of the damped swing.", "f₀² = (1/T)² + (1/(2πτ))²."},
		Worked:    "%%\n// The fit gives the damped period; the damping is taken out by\n// omega0² = (2 pi/T)² + 1/tau². The uncertainty is practically that of 1/T.\n" + releaseReading + releaseF0 + "sheet.Measured(\"frequency\", f0, f.U[fit.Period]/(T*T), \"Hz\")",
		Reasoning: "The swing after the release has the damped frequency $\\sqrt{\\omega_0^2 - 1/\\tau^2}/2\\pi$. With a quality factor of 5 to 8 the difference is 0.2 to 0.5 %, more than the recording leaves uncertain.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording; noise and creep are not in the model of the suspension"},
	}
}

func (r releaseRecord) quality() Question {
	q := func(factor float64) func(Known) float64 {
		return func(Known) float64 {
			f0, _ := r.natural()
			return factor * math.Pi * f0 * r.swing().P[fit.DecayTime]
		}
	}
	return Question{
		ID: "quality", Kind: judge.Measured, Marks: 2, Title: "The quality factor, from the same fit",
		Prompt: "What is the quality factor $Q$ of the sensor, with its standard uncertainty?",
		Unit:   "1",
		Solve:  q(1),
		U:      func() float64 { f := r.swing(); return q(1)(nil) * f.U[fit.DecayTime] / f.P[fit.DecayTime] },
		Slips: []Slip{
			{Name: "a factor 2 too many", Value: q(2), Fix: "τ is the decay time of the amplitude: Q = ω₀ τ/2."},
			{Name: "swings counted, without the factor π", Value: q(1 / math.Pi), Fix: "Q = π f₀ τ."},
			{Name: "the logarithm to base 10", Value: q(math.Ln10), Fix: "The decrement is a natural logarithm."},
		},
		Range:     [2]float64{4.5, 8.5},
		Hints:     [2]string{"The fit has the decay time τ of the amplitude.", "Q = π f₀ τ; its relative uncertainty is that of τ."},
		Worked:    "%%\n// Q = omega0 tau/2; tau is known far worse than f0.\n" + releaseReading + releaseF0 + "Q := math.Pi * f0 * tau\nsheet.Measured(\"quality\", Q, Q*f.U[fit.DecayTime]/tau, \"1\")",
		Reasoning: "$Q = \\omega_0\\tau/2 = \\pi f_0\\tau$.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording"},
	}
}

func (r releaseRecord) step() Question {
	step := func(Known) float64 { v, _ := r.rest(); return v }
	return Question{
		ID: "step", Kind: judge.Measured, Marks: 3, Title: "How far did the rest move?",
		Prompt: "From the same recording: by how much did the *rest* of the mass move up when the weight was lifted off, and how well do you know it? Springs creep.",
		Unit:   "mm",
		Solve:  step, U: func() float64 { _, u := r.rest(); return u },
		Slips: []Slip{
			{Name: "the mean before less the mean after, creep and all", Value: func(Known) float64 { return r.meanDifference() }, Fix: "The rest wanders all the while: compare where it is just before and just after time 0.\nThe slope is in the fit."},
			{Name: "the whole first swing", Value: func(k Known) float64 {
				f := r.swing()
				return step(k) * (1 + math.Exp(-f.P[fit.Period]/2/f.P[fit.DecayTime]))
			}, Fix: "The first swing goes beyond the new rest. Where does the mass settle?"},
			{Name: "half of the way", Value: func(k Known) float64 { return step(k) / 2 }, Fix: "From the old rest to the new one, all the way."},
		},
		Range:     [2]float64{0.8e-3, 6e-3},
		Hints:     [2]string{"Look at the record before time 0: is it level?", "Take the drift of the fit away from the readings before 0 and average them; compare with the offset of the fit."},
		Worked:    "%%\n// The line about which the mass swings, offset + drift t, is in the fit. Before\n// the release take the same drift away, and average.\n" + releaseReading + "before, n := 0.0, 0.0\nfor i := range t {\n\tif t[i] <= 0 {\n\t\tbefore += x[i] - f.P[fit.Drift]*t[i]\n\t\tn++\n\t}\n}\nbefore /= n\n// The mean before stands 10 s away, where the drift's uncertainty counts.\nu := f.U[fit.Offset] + 10*f.U[fit.Drift]\nsheet.Measured(\"step\", before-f.P[fit.Offset], u, \"m\")",
		Reasoning: "Creep moves the rest by several per cent of the step from the middle of the first part to the middle of the second, far more than the noise. A line through both parts with a step at time 0 takes it out. Offset and drift of the fit are correlated (both errors pull the same way here), so their uncertainties are rather added than squared.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording"},
	}
}

// meanDifference is the mean of all readings before the release less that of all
// after it.
func (r releaseRecord) meanDifference() float64 {
	t, x := r.make()
	_, after := r.after()
	before := x[:len(t)-len(after)]
	return sum(before)/float64(len(before)) - sum(after)/float64(len(after))
}

func (r releaseRecord) mass() Question {
	m := func(factor float64) func(Known) float64 {
		return func(k Known) float64 {
			w := 2 * math.Pi * k["frequency"]
			return factor * r.weight * 9.81 / (k["step"] * w * w)
		}
	}
	return Question{
		ID: "mass", Kind: judge.Number, Marks: 2, Title: "Weighing a mass that cannot be taken out", Uses: []string{"frequency", "step"},
		Prompt: fmt.Sprintf("The sensor is sealed. From your own $f_0$ and step, and the weight of %.1f g that was lifted off: what is the mass that hangs on its spring? Take $g = 9.81\\ \\mathrm{m/s^2}$.", 1000*r.weight),
		Unit:   "kg", Tol: judge.Tolerance{Rel: 0.006, Why: "g of 9.80 to 9.81 m/s² and three digits carried"},
		Solve: m(1),
		Slips: []Slip{
			{Name: "the frequency taken for the angular frequency", Value: m(4 * math.Pi * math.Pi), Fix: "k = m (2π f₀)²."},
			{Name: "the mass of the small weight taken for its weight", Value: m(1 / 9.81), Fix: "The spring gives way to a force: k = Δm g/x."},
			{Name: "one factor of 2π left out", Value: m(2 * math.Pi), Fix: "(2π f₀)²: the 2π is squared too."},
		},
		Range:     [2]float64{0.055, 0.145},
		Hints:     [2]string{"The step gives the spring constant: k = Δm g/x.", "The frequency gives the ratio: m = k/(2π f₀)²."},
		Worked:    "%%\n// The step and the small weight give k, the frequency gives k/m.\n" + releaseReading + releaseF0 + fmt.Sprintf("before, n := 0.0, 0.0\nfor i := range t {\n\tif t[i] <= 0 {\n\t\tbefore += x[i] - f.P[fit.Drift]*t[i]\n\t\tn++\n\t}\n}\nk := %s * 9.81 / (before/n - f.P[fit.Offset]) // N/m\nsheet.Number(\"mass\", k/math.Pow(2*math.Pi*f0, 2), \"kg\")", lit(r.weight)),
		Reasoning: "$k = \\Delta m\\,g/x$ from the step and $k/m = \\omega_0^2$ from the swing, so $m = \\Delta m\\,g/(x\\,\\omega_0^2)$. A third of the spring's own mass is in it too.",
		Source:    Source{Text: "common practice, no source: force balance and the equation of the swing"},
	}
}
