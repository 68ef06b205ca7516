package lab01

import (
	"fmt"
	"math"
	"sync"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/torsion"
	"gravity.example/gravlab/torsion/reduction"
	"gravity.example/testdata"
)

// swingRecord is the sheet's own recording and what the judge makes of it.
type swingRecord struct {
	w     weighing
	zero  float64 // reading of the scale with the beam in the middle, m
	knock float64 // when somebody leans on the bench, s after the switch
	make  func() (torsion.Recording, error)
	fit   func() reduction.Swing // of the part before the knock
	whole func() float64         // period by a fit of everything, knock and all, s; NaN where none is found
	until func() [3]float64      // the same up to a round time after the knock
}

// The standard uncertainties of the dimensions, as the prompt prints them.
var dimensions = reduction.Uncertainties{
	Arm: 0.2e-3, Distance: 0.3e-3, SmallMass: 0.05e-3, LargeMass: 5e-3, BeamMass: 0.1e-3,
}

func (w weighing) record(d *bank.Draw) swingRecord {
	s := swingRecord{w: w, knock: d.Between("knock", 1650, 2350, 10)}
	s.zero = d.Between("zero", 380, 620, 1) / 1000
	drift := d.Pick("drift sign", -1, 1) * d.Between("drift", 0.6, 1.4, 0.1) * 1e-6
	balance := w.Balance
	// The amplitude falls to 1/e in about five periods.
	balance.Damping = 2 * gravlab.Must(balance.Inertia()) / (2 * w.halfPeriod * d.Between("decay", 4, 6, 0.5))
	record := func(kick float64) (torsion.Recording, error) {
		return balance.Record(torsion.Recorder{
			Interval: 10, Duration: 4800, Before: 300,
			Lever: torsion.Lever{Distance: scaleDistance},
			Zero:  s.zero, Drift: drift, Noise: 0.3e-3, Step: 0.1e-3,
			Knock: torsion.Knock{Time: s.knock, Speed: kick},
		}, d.Rand("swing"))
	}
	// What came before the knock is the same whatever the knock: so is its fit.
	s.fit = sync.OnceValue(func() reduction.Swing {
		return gravlab.Must(reduction.Fit(gravlab.Must(record(0)), reduction.Window{From: -300, To: s.knock - 10}))
	})
	s.make = sync.OnceValues(func() (torsion.Recording, error) {
		// A knock that happens to leave the phase alone would be no trap: take
		// the first one that shows in the period.
		sign, size := d.Pick("kick", -1, 1), d.Between("kick size", 40, 60, 5)
		for _, try := range []float64{sign * size, -sign * size, sign * (100 - size), -sign * (100 - size), sign * 80} {
			r, err := record(try * 1e-6)
			if err != nil {
				return r, err
			}
			if T := s.fit().Period; !(math.Abs(wholePeriod(r, reduction.Window{})-T.Value) < 10*judge.CoverageFactor*T.U) {
				return r, nil
			}
		}
		return torsion.Recording{}, fmt.Errorf("lab 01: no knock shows on sheet %s", d.Code())
	})
	s.whole = sync.OnceValue(func() float64 { return wholePeriod(gravlab.Must(s.make()), reduction.Window{}) })
	s.until = sync.OnceValue(func() (T [3]float64) {
		for i, to := range []float64{2400, 3000, 3600} {
			T[i] = wholePeriod(gravlab.Must(s.make()), reduction.Window{To: to})
		}
		return T
	})
	return s
}

// wholePeriod is the period that a fit across the knock gives; NaN where it finds
// none, since a knock can make the swing look as if it grew.
func wholePeriod(r torsion.Recording, w reduction.Window) float64 {
	fit, err := reduction.Fit(r, w)
	if err != nil {
		return math.NaN()
	}
	return fit.Period.Value
}

func (s swingRecord) recording() bank.Recording {
	return bank.Recording{
		ID:      "swing",
		Columns: []bank.Column{{Name: "time", Unit: "s"}, {Name: "spot", Unit: "m"}},
		Make: func() ([][]float64, error) {
			r, err := s.make()
			return [][]float64{r.Times, r.Readings}, err
		},
	}
}

func (s swingRecord) period() bank.Question {
	return bank.Question{
		ID: "period", Kind: judge.KindMeasured, Marks: 3, Unit: "s",
		Solve: bank.Later(func() float64 { return s.fit().Period.Value }),
		U:     func() float64 { return s.fit().Period.U },
		Slips: []bank.Slip{
			{ID: "half-period", Value: bank.Later(func() float64 { return s.fit().Period.Value / 2 })},
			{ID: "across-the-knock", Value: bank.Later(s.whole)},
			{ID: "two-periods", Value: bank.Later(func() float64 { return 2 * s.fit().Period.Value })},
			{ID: "undamped", Value: bank.Later(func() float64 {
				// No nearer than can be told from the right answer.
				T := s.fit().Period
				return T.Value - max(T.Value-s.fit().Undamped.Value, 1.01*bank.Apart*judge.CoverageFactor*T.U)
			})},
			{ID: "across-the-knock", Value: bank.Later(func() float64 { return s.until()[0] })},
			{ID: "across-the-knock", Value: bank.Later(func() float64 { return s.until()[1] })},
			{ID: "across-the-knock", Value: bank.Later(func() float64 { return s.until()[2] })},
		},
		Range: [2]float64{480, 680},
	}
}

func (s swingRecord) deflection() bank.Question {
	theta := func(factor float64) func(bank.Answers) float64 {
		return func(bank.Answers) float64 { return factor * s.fit().Deflection.Value }
	}
	return bank.Question{
		ID: "deflection", Kind: judge.KindMeasured, Marks: 3, Unit: "mrad",
		Solve: theta(1),
		U:     func() float64 { return s.fit().Deflection.U },
		Slips: []bank.Slip{
			{ID: "one-halving", Value: theta(2)},
			{ID: "no-halving", Value: theta(4)},
			{ID: "three-halvings", Value: theta(0.5)},
			{ID: "from-the-end", Value: s.fromTheEnd},
		},
		USlips: []bank.Slip{
			{ID: "rad", Value: bank.Later(func() float64 { return s.fit().Deflection.U / 1000 })},
		},
		Range: [2]float64{1e-3, 1.2e-2},
	}
}

// fromTheEnd is the deflection of somebody who takes atan(spot/D)/2 with the
// spot as the scale has it; NaN where the judge could not tell it from the right
// one, or where both are the same in two digits: it is a per cent or two off,
// and a right value that was rounded is no slip.
func (s swingRecord) fromTheEnd(bank.Answers) float64 {
	x, theta := s.zero/scaleDistance, s.fit().Deflection
	v := theta.Value / (1 + x*x)
	if theta.Value-v < 3*judge.CoverageFactor*theta.U || bank.RoundTo(v, 2) == bank.RoundTo(theta.Value, 2) {
		return math.NaN()
	}
	return v
}

func (s swingRecord) bigG() bank.Question {
	g := func(k bank.Answers, change func(*torsion.Balance, *float64, *float64)) float64 {
		b, theta := s.w.Balance, k["deflection"]
		period, err := torsion.UndampedPeriod(k["period"], s.fit().DecayTime.Value)
		if err != nil {
			return math.NaN() // a student's period of any sign and size
		}
		if change != nil {
			change(&b, &theta, &period)
		}
		v, err := b.GFromSwing(theta, period)
		if err != nil {
			return math.NaN()
		}
		return v
	}
	with := func(change func(b *torsion.Balance, theta, period *float64)) func(bank.Answers) float64 {
		return func(k bank.Answers) float64 { return g(k, change) }
	}
	u := sync.OnceValue(func() float64 {
		fit, all := s.fit(), dimensions
		all.Deflection, all.Period, all.Correlation = fit.Deflection.U, fit.Undamped.U, fit.Correlation
		return gravlab.Must(reduction.Budget(s.w.Balance, fit.Deflection.Value, fit.Undamped.Value, all)).U
	})
	gap := s.w.Distance - s.w.SmallRadius - s.w.LargeRadius
	return bank.Question{
		ID: "g-swing", Kind: judge.KindMeasured, Marks: 4, Unit: "m³/(kg s²)", Uses: []string{"period", "deflection"},
		// CODATA 2018, as in package gravlab.
		Compare: "CODATA 2018, from sixteen experiments: 6.674 30(15) × 10⁻¹¹ m³/(kg s²).",
		Solve:   with(nil),
		U:       u,
		Slips: []bank.Slip{
			{ID: "twice", Value: with(func(_ *torsion.Balance, theta, _ *float64) { *theta *= 2 })},
			{ID: "half-period", Value: with(func(_ *torsion.Balance, _, period *float64) { *period /= 2 })},
			{ID: "gap", Value: func(k bank.Answers) float64 { return g(k, nil) * gap * gap / (s.w.Distance * s.w.Distance) }},
			{ID: "half", Value: with(func(_ *torsion.Balance, theta, _ *float64) { *theta /= 2 })},
			{ID: "not-squared", Value: func(k bank.Answers) float64 { return g(k, nil) / s.w.Distance }},
		},
		USlips: []bank.Slip{
			{ID: "swing-only", Value: func(bank.Answers) float64 {
				return gravlab.Must(reduction.Budget(s.w.Balance, s.fit().Deflection.Value, s.fit().Undamped.Value, reduction.Uncertainties{Deflection: s.fit().Deflection.U, Period: s.fit().Undamped.U})).U
			}},
		},
		Range: [2]float64{6.3e-11, 7.1e-11},
	}
}

// earthMass builds on the student's own G.
func (s swingRecord) earthMass() bank.Question {
	const g, radius = 9.81, 6.371e6
	of := func(bigG, g, radius float64) float64 {
		v, err := torsion.EarthMass(bigG, g, radius)
		if err != nil {
			return math.NaN() // a student's G of any sign and size
		}
		return v
	}
	mass := func(g, radius float64) func(bank.Answers) float64 {
		return func(k bank.Answers) float64 { return of(k["g-swing"], g, radius) }
	}
	// An earlier question has a G too, without far spheres and beam.
	earlier := func(k bank.Answers) float64 { return of(k["big-g"], g, radius) }
	return bank.Question{
		ID: "earth-mass", Kind: judge.KindNumber, Marks: 2, Unit: "kg", Tol: judge.Tolerance{Rel: 0.005}, Uses: []string{"g-swing"},
		// GM = 3.986004418e14 m³/s² (IERS Conventions 2010, from memory), divided by the G of
		// CODATA 2018.
		Compare: "From the orbits of satellites and the G of CODATA 2018: 5.972 × 10²⁴ kg.",
		Solve:   mass(g, radius),
		Slips: []bank.Slip{
			{ID: "kilometres", Value: mass(g, radius/1000)},
			{ID: "diameter", Value: mass(g, 2*radius)},
			{ID: "earlier-g", Value: earlier},
			{ID: "not-squared", Value: func(k bank.Answers) float64 { return mass(g, radius)(k) / radius }},
			{ID: "surface", Value: func(k bank.Answers) float64 { return mass(g, radius)(k) * k["g-swing"] }},
			{ID: "inverted", Value: func(k bank.Answers) float64 { return mass(g, radius)(k) * k["g-swing"] * k["g-swing"] }},
		},
		Range: [2]float64{5.6e24, 6.4e24},
		// 1.1e23 kg and 1.7e6 m give 2.5 m/s²
		Source: bank.Published(testdata.Examples, "earthmass-02", 1.1e23/(math.Pow(1.7e6, 2)/6.67e-11), 0.05),
	}
}
