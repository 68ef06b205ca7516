package exercises

import (
	"fmt"
	"math"
	"sync"

	"gravity.example/gravlab"
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
}

// The standard uncertainties of the dimensions, as the prompt prints them.
var dimensions = reduction.Uncertainties{
	Arm: 0.2e-3, Distance: 0.3e-3, SmallMass: 0.05e-3, LargeMass: 5e-3, BeamMass: 0.1e-3,
}

func (w weighing) record(d *Draw) swingRecord {
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
			if T := s.fit().Period; !(math.Abs(wholePeriod(r)-T.Value) < 10*judge.CoverageFactor*T.U) {
				return r, nil
			}
		}
		return torsion.Recording{}, fmt.Errorf("lab 01: no knock shows on sheet %s", d.Code())
	})
	s.whole = sync.OnceValue(func() float64 { return wholePeriod(gravlab.Must(s.make())) })
	return s
}

// wholePeriod is the period that a fit of the whole recording gives, knock and
// all; NaN where it finds none, since a knock can make the swing look as if it
// grew.
func wholePeriod(r torsion.Recording) float64 {
	fit, err := reduction.Fit(r, reduction.Window{})
	if err != nil {
		return math.NaN()
	}
	return fit.Period.Value
}

func (s swingRecord) recording() Recording {
	return Recording{
		ID: "swing", Title: "The light spot after the large spheres were moved at time 0",
		Columns: []Column{{Name: "time", Unit: "s"}, {Name: "spot", Unit: "m"}},
		Make: func() ([][]float64, error) {
			r, err := s.make()
			return [][]float64{r.Times, r.Readings}, err
		},
	}
}

// reading is the code with which every worked answer about the recording starts.
func (s swingRecord) reading() string {
	return fmt.Sprintf("rec := sheet.Recording(\"swing\")\nswing := torsion.Recording{\n\tTimes: rec.Column(\"time\"), Readings: rec.Column(\"spot\"),\n\tLever: torsion.Lever{Distance: %s},\n}\n// Somebody knocked the bench at about %s s: stop before that.\nfit := gravlab.Must(reduction.Fit(swing, reduction.Window{From: -300, To: %s}))\n", lit(scaleDistance), lit(s.knock), lit(s.knock-10))
}

func (s swingRecord) period() Question {
	value := func(v func() float64) func(Known) float64 { return func(Known) float64 { return v() } }
	return Question{
		ID: "period", Kind: judge.Measured, Marks: 3, Title: "The period, from your own recording",
		Prompt: fmt.Sprintf("`sheet.Recording(\"swing\")` holds what your balance did: `time` in s, counted from the moment at which the large spheres went from one side to the other, and `spot`, the place of the light spot on the scale %.1f m away, in m. "+
			"Somebody was careless once while it ran. What is the full period of the swing (as it is, with its damping), and how well do you know it?", scaleDistance),
		Unit:  "s",
		Solve: value(func() float64 { return s.fit().Period.Value }),
		U:     func() float64 { return s.fit().Period.U },
		Slips: []Slip{
			{Name: "the time from turning point to turning point taken for the period", Value: value(func() float64 { return s.fit().Period.Value / 2 }), Fix: "A period is there and back."},
			{Name: "the stretch after the knock fitted as well", Value: value(s.whole), Fix: "Look at the residuals: something happened on the way.\nStop the fit before it."},
			{Name: "two periods taken for one", Value: value(func() float64 { return 2 * s.fit().Period.Value }), Fix: "Count the turning points again."},
		},
		Range: [2]float64{480, 680},
		Hints: [2]string{"Plot the recording first. Where does the swing lose its step?", "reduction.Fit with a Window that ends before the knock gives value and uncertainty."},
		Worked: "%%\n// A knock changes the phase, so only what came before it has one period.\n" + s.reading() +
			"sheet.Measured(\"period\", fit.Period.Value, fit.Period.U, \"s\")",
		Reasoning: "The knock gives the beam a new amplitude and phase; a fit across it forces one sinusoid on two. Before the knock the fit has residuals like the reading noise, and its covariance gives the uncertainty.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording, whose noise, drift and knock are not in the fitted model's derivation of the period"},
	}
}

func (s swingRecord) deflection() Question {
	theta := func(factor float64) func(Known) float64 {
		return func(Known) float64 { return factor * s.fit().Deflection.Value }
	}
	return Question{
		ID: "deflection", Kind: judge.Measured, Marks: 3, Title: "The deflection, from your own recording",
		Prompt: "From the same recording: by what angle does the beam stand away from its middle position at rest, and how well do you know it? With the beam in the middle the light falls square on the scale; the number there is not 0, and it drifts a little, as zeros do.",
		Unit:   "mrad",
		Solve:  theta(1),
		U:      func() float64 { return s.fit().Deflection.U },
		Slips: []Slip{
			{Name: "a factor 2 lost", Value: theta(2), Fix: "Two halvings are needed: the mirror turns the light by twice the angle,\nand from side to side is twice the deflection from the middle."},
			{Name: "two factors of 2 lost", Value: theta(4), Fix: "The mirror turns the light by twice the angle of the beam,\nand from side to side is twice the deflection from the middle."},
			{Name: "halved once too often", Value: theta(0.5), Fix: "Two halvings, not three: one for the mirror, one for the two sides."},
			{Name: "the tangent counted from the end of the scale", Value: s.fromTheEnd, Fix: "D tan 2θ counts from where the light falls square, which is between the two rests.\nThe 0 of the scale is far from there."},
		},
		Range: [2]float64{1e-3, 1.2e-2},
		Hints: [2]string{"The rest before time 0 and the rest that the swing closes in on lie 2θ apart, for the beam.", "fit.Deflection has both halvings in it; the Window must begin before time 0 to see the old rest."},
		Worked: "%%\n// Half of the way between the two rests, as an angle of the beam.\n" + s.reading() +
			"sheet.Measured(\"deflection\", fit.Deflection.Value*1000, fit.Deflection.U*1000, \"mrad\")",
		Reasoning: "Switching sides moves the rest by $2\\theta_e$. The fit follows the drift of the zero, so the old rest and the new one are compared at the same moment.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording"},
	}
}

// fromTheEnd is the deflection of somebody who takes atan(spot/D)/2 with the
// spot as the scale has it; NaN where the judge could not tell it from the right
// one, or where both are the same in two digits: it is a per cent or two off,
// and a right value that was rounded is no slip.
func (s swingRecord) fromTheEnd(Known) float64 {
	x, theta := s.zero/scaleDistance, s.fit().Deflection
	v := theta.Value / (1 + x*x)
	if theta.Value-v < 3*judge.CoverageFactor*theta.U || roundTo(v, 2) == roundTo(theta.Value, 2) {
		return math.NaN()
	}
	return v
}

func (s swingRecord) bigG() Question {
	g := func(k Known, change func(*torsion.Balance, *float64, *float64)) float64 {
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
	with := func(change func(b *torsion.Balance, theta, period *float64)) func(Known) float64 {
		return func(k Known) float64 { return g(k, change) }
	}
	u := sync.OnceValue(func() float64 {
		fit, all := s.fit(), dimensions
		all.Deflection, all.Period, all.Correlation = fit.Deflection.U, fit.Undamped.U, fit.Correlation
		return gravlab.Must(reduction.Budget(s.w.Balance, fit.Deflection.Value, fit.Undamped.Value, all)).U
	})
	gap := s.w.Distance - s.w.SmallRadius - s.w.LargeRadius
	return Question{
		ID: "g-swing", Kind: judge.Measured, Marks: 4, Title: "G with its uncertainty", Uses: []string{"period", "deflection"},
		Prompt: fmt.Sprintf("Now all of it, with your own period and deflection: what is $G$, and what is its standard uncertainty? The balance has %s; the beam is a thin rod of 12.0 g from end to end ($2b$), mirror and clamp add $4\\times10^{-6}\\ \\mathrm{kg\\,m^2}$. "+
			"The standard uncertainties are 0.2 mm of $b$, 0.3 mm of $d$, 0.05 g of $m$, 5 g of $M$ and 0.1 g of the beam's mass.", s.w.apparatus()),
		Unit:  "m³/(kg s²)",
		Solve: with(nil),
		U:     u,
		Slips: []Slip{
			{Name: "a factor 2 too many", Value: with(func(_ *torsion.Balance, theta, _ *float64) { *theta *= 2 }), Fix: "Is the deflection counted from the middle, and as an angle of the beam?"},
			{Name: "half a period taken for the period", Value: with(func(_ *torsion.Balance, _, period *float64) { *period /= 2 }), Fix: "κ = I (2π/T)² wants the full period, there and back."},
			{Name: "the gap between the surfaces for the distance of the centres", Value: func(k Known) float64 { return g(k, nil) * gap * gap / (s.w.Distance * s.w.Distance) }, Fix: "A sphere pulls as if its mass were in its centre: d is from centre to centre."},
		},
		USlips: []Slip{
			{Name: "only the scatter of the swing counted", Value: func(Known) float64 {
				return gravlab.Must(reduction.Budget(s.w.Balance, s.fit().Deflection.Value, s.fit().Undamped.Value, reduction.Uncertainties{Deflection: s.fit().Deflection.U, Period: s.fit().Undamped.U})).U
			}, Fix: "The distance d enters squared, and a ruler is far worse than the fit."},
		},
		Range: [2]float64{6.3e-11, 7.1e-11},
		Hints: [2]string{"Balance.GFromSwing takes the deflection and the undamped period; it counts far spheres and beam.", "reduction.Budget gives G, its uncertainty and the share of each term."},
		Worked: "%%\n// The balance as it stands on the bench; the budget propagates everything.\n" + s.reading() +
			fmt.Sprintf("balance := torsion.Balance{\n\tArm: %s, Distance: %s, SmallMass: %s, LargeMass: %s,\n\tBeamMass: 0.012, ExtraInertia: 4e-6,\n}\nu := reduction.Uncertainties{\n\tArm: 0.2e-3, Distance: 0.3e-3, SmallMass: 0.05e-3, LargeMass: 5e-3, BeamMass: 0.1e-3,\n\tDeflection: fit.Deflection.U, Period: fit.Undamped.U, Correlation: fit.Correlation,\n}\nbudget := gravlab.Must(reduction.Budget(balance, fit.Deflection.Value, fit.Undamped.Value, u))\nsheet.Measured(\"g-swing\", budget.Value, budget.U, \"m³/(kg s²)\")", lit(s.w.Arm), lit(s.w.Distance), lit(s.w.SmallMass), lit(s.w.LargeMass)),
		Reasoning: "The distance $d$ enters squared and is known to 0.4 %, so it alone makes about 0.8 % of $G$; the fit of the swing adds far less. Measure $d$ better before you record longer.",
		Source:    Source{Text: "G. the CODATA 2018 value, 6.674 30(15) × 10⁻¹¹ m³ kg⁻¹ s⁻² (E. Tiesinga et al., Rev. Mod. Phys. 93, 025010, 2021), made the recording; the uncertainty by JCGM 100:2008, 5.1 and 5.2"},
	}
}

// earthMass builds on the student's own G.
func (s swingRecord) earthMass() Question {
	const g, radius = 9.81, 6.371e6
	tol := judge.Tolerance{Rel: 0.005, Why: "g of 9.80 to 9.81 m/s² and three digits carried; your own G is carried forward"}
	of := func(bigG, g, radius float64) float64 {
		v, err := torsion.EarthMass(bigG, g, radius)
		if err != nil {
			return math.NaN() // a student's G of any sign and size
		}
		return v
	}
	mass := func(g, radius float64) func(Known) float64 {
		return func(k Known) float64 { return of(k["g-swing"], g, radius) }
	}
	// An earlier question has a G too, without far spheres and beam. Where that is
	// near the recording's nobody could tell which one was taken.
	earlier := func(k Known) float64 {
		return tellApart(tol, mass(g, radius)(k), of(k["big-g"], g, radius))[0]
	}
	baily := testdata.Find("worked_examples.csv", "earthmass-06") // cgs: G = 6.48e-8, g = 981, R = 6.371e8
	return Question{
		ID: "earth-mass", Kind: judge.Number, Marks: 2, Title: "The Earth on the scales", Uses: []string{"g-swing"},
		Prompt: "A pendulum gives $g = 9.81\\ \\mathrm{m/s^2}$, surveyors give a radius of 6371 km. With the $G$ of your own recording (the question *G with its uncertainty*), what is the mass of the Earth?",
		Unit:   "kg", Tol: tol,
		Solve: mass(g, radius),
		Slips: []Slip{
			{Name: "kilometres taken for metres", Value: mass(g, radius/1000), Fix: "The radius in metres: 6.371 × 10⁶."},
			{Name: "the diameter taken for the radius", Value: mass(g, 2*radius), Fix: "g = G M/R², with the distance from the centre."},
			{Name: "the G of an earlier question", Value: earlier, Fix: "That G counts the near pairs only, with printed numbers.\nTake the one of your own recording."},
			{Name: "the radius not squared", Value: func(k Known) float64 { return mass(g, radius)(k) / radius }, Fix: "g falls with the square of the distance: M = g R²/G."},
		},
		Range:     [2]float64{5.6e24, 6.4e24},
		Hints:     [2]string{"The Earth pulls as if its mass were in its centre: g = G M/R².", "M = g R²/G, everything in SI units."},
		Worked:    "%%\n// g = G M/R², solved for M. G is the one that the swing gave.\n" + s.reading() + fmt.Sprintf("balance := torsion.Balance{\n\tArm: %s, Distance: %s, SmallMass: %s, LargeMass: %s,\n\tBeamMass: 0.012, ExtraInertia: 4e-6,\n}\nG := gravlab.Must(balance.GFromSwing(fit.Deflection.Value, fit.Undamped.Value))\n", lit(s.w.Arm), lit(s.w.Distance), lit(s.w.SmallMass), lit(s.w.LargeMass)) + "M := 9.81 * math.Pow(6.371e6, 2) / G\nsheet.Number(\"earth-mass\", M, \"kg\")",
		Reasoning: "$g = GM/R^2$. The balance gives $G$; the Earth's mass needs $g$ and $R$ from elsewhere too.",
		Source: Source{Text: baily["source"], Published: true, Check: &SourceCheck{
			Table: "worked_examples.csv", ID: "earthmass-06",
			// The printed digits allow for a G of 6.48e-8, rounded by the source.
			Got: 981 * math.Pow(6.371e8, 2) / 6.48e-8, Want: baily.Float("published_answer"), Within: 0.005e27}},
	}
}
