package reduction

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"gravity.example/gravlab"
	"gravity.example/gravlab/quantity"
	"gravity.example/gravlab/torsion"
)

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s = %.15g, want %.15g within a relative %.1g", what, got, want, rel)
	}
}

func recorder() torsion.Recorder {
	return torsion.Recorder{
		Interval: 20, Duration: 4000, Before: 400, Lever: torsion.Lever{Distance: 3},
		Zero: 0.012, Drift: 2e-7, Noise: 2e-4, Step: 1e-4,
	}
}

func TestFitRecovers(t *testing.T) {
	b, r := torsion.Skelmire(), recorder()
	// Without noise the fit is limited by the curvature of the torque, which
	// goes as the swing: (0.01 rad)² here and a little more.
	r.Noise, r.Step = 0, 0
	rec := gravlab.Must(b.Record(r, rand.New(rand.NewPCG(1, 2))))
	f := gravlab.Must(Fit(rec, Window{}))
	swing := gravlab.Must(b.Swing())
	near(t, "period", f.Period.Value, gravlab.Must(swing.Period()), 1e-5)
	near(t, "decay time", f.DecayTime.Value, gravlab.Must(swing.DecayTime()), 1e-4)
	near(t, "deflection", f.Deflection.Value, swing.Equilibrium, 1e-4)
	near(t, "drift", f.Drift.Value, r.Drift/(2*r.Lever.Distance), 0.01)
	near(t, "start", f.Start.Value, r.Zero/6-swing.Equilibrium, 1e-3)
	near(t, "half of the move", (f.Equilibrium.Value-f.Start.Value)/2, f.Deflection.Value, 1e-12)
	near(t, "G", gravlab.Must(b.GFromSwing(f.Deflection.Value, f.Undamped.Value)), gravlab.G, 1e-4)
}

// TestZeroOfScale: the deflection does not depend on where the scale has its
// zero, though D tan(2 theta) taken from there would be 2 % out.
func TestZeroOfScale(t *testing.T) {
	b, r := torsion.Skelmire(), recorder()
	r.Noise, r.Step, r.Drift = 0, 0, 0
	theta := gravlab.Must(b.Deflection())
	for _, zero := range []float64{-0.4, 0, 0.05, 0.45} {
		r.Zero = zero
		for _, sigma := range []float64{0, 2e-4} {
			f := gravlab.Must(Fit(gravlab.Must(b.Record(r, rand.New(rand.NewPCG(1, 2)))), Window{Sigma: sigma}))
			near(t, "deflection", f.Deflection.Value, theta, 1e-4) // the curvature of the torque, as above
			if got, want := f.Start.Value, zero/6-theta; math.Abs(got-want) > 1e-4*theta {
				t.Errorf("zero at %g m: start %g, want %g", zero, got, want)
			}
		}
	}
}

// TestFitOfWeakDamping: without damping, and without readings before the
// switch, the rate of decay is zero within its uncertainty and all else is as
// good.
func TestFitOfWeakDamping(t *testing.T) {
	b, r := torsion.Skelmire(), recorder()
	b.Damping, r.Before = 0, 0
	theta := gravlab.Must(b.Deflection())
	for seed := range uint64(20) {
		f := gravlab.Must(Fit(gravlab.Must(b.Record(r, rand.New(rand.NewPCG(4, seed)))), Window{}))
		if rate := f.DecayRate; math.Abs(rate.Value) > 4*rate.U {
			t.Errorf("seed %d: decay rate %g, u = %g", seed, rate.Value, rate.U)
		}
		if infinite := math.IsInf(f.DecayTime.Value, 1); infinite != (f.DecayRate.Value <= 0) {
			t.Errorf("seed %d: decay time %g for the rate %g", seed, f.DecayTime.Value, f.DecayRate.Value)
		}
		if e := math.Abs(f.Deflection.Value - theta); e > 4*f.Deflection.U {
			t.Errorf("seed %d: deflection off by %g, u = %g", seed, e, f.Deflection.U)
		}
	}
}

// TestFitJacobian against differences, away from any symmetric point.
func TestFitJacobian(t *testing.T) {
	p := []float64{0.002, -0.006, 0.001, 590, 1.0 / 2100, 3e-8}
	const rounding = 2e-18 // of a model of about 0.01
	times := []float64{-200, -1, 0, 13, 444, 2222}
	jacobian := mat.NewDense(len(times), parameters, nil)
	swingJacobian(p, times, jacobian)
	up, down := make([]float64, len(times)), make([]float64, len(times))
	for j := range p {
		h := 1e-5 * math.Abs(p[j])
		q := append([]float64(nil), p...)
		q[j] = p[j] + h
		swingModel(q, times, up)
		q[j] = p[j] - h
		swingModel(q, times, down)
		for i := range times {
			want := (up[i] - down[i]) / (2 * h)
			if got := jacobian.At(i, j); math.Abs(got-want) > 1e-6*math.Abs(want)+rounding/h {
				t.Errorf("derivative at %g s by %s = %g, by difference %g", times[i], swingNames[j], got, want)
			}
		}
	}
}

// TestKnockShows: over a knock chi² is far too large, before it it is fine.
func TestKnockShows(t *testing.T) {
	b, r := torsion.Skelmire(), recorder()
	r.Knock = torsion.Knock{Time: 2010, Speed: 2e-5}
	rec := gravlab.Must(b.Record(r, rand.New(rand.NewPCG(5, 6))))
	sigma := math.Sqrt(r.Noise*r.Noise + r.Step*r.Step/12)
	whole := gravlab.Must(Fit(rec, Window{Sigma: sigma}))
	cut := gravlab.Must(Fit(rec, Window{From: -400, To: 2000, Sigma: sigma}))
	if whole.Fit.ReducedChi2() < 3 || cut.Fit.ReducedChi2() > 1.6 {
		t.Errorf("chi²/nu = %.2f over the knock and %.2f before it", whole.Fit.ReducedChi2(), cut.Fit.ReducedChi2())
	}
}

// TestFitRefuses names what is wrong.
func TestFitRefuses(t *testing.T) {
	good := gravlab.Must(torsion.Skelmire().Record(recorder(), rand.New(rand.NewPCG(1, 2))))
	tests := []struct {
		name   string
		change func(*torsion.Recording, *Window)
		want   string
	}{
		{"one reading less", func(r *torsion.Recording, _ *Window) { r.Readings = r.Readings[1:] }, "Readings"},
		{"a time twice", func(r *torsion.Recording, _ *Window) { r.Times[3] = r.Times[2] }, "Times[3]"},
		{"NaN", func(r *torsion.Recording, _ *Window) { r.Readings[5] = math.NaN() }, "spot"},
		{"window backwards", func(_ *torsion.Recording, w *Window) { w.From, w.To = 5, 1 }, "From"},
		{"window empty", func(_ *torsion.Recording, w *Window) { w.From, w.To = 9000, 9900 }, "in the window"},
		{"no swing in it", func(_ *torsion.Recording, w *Window) { w.From, w.To = -400, -1 }, "after the switch"},
		{"negative sigma", func(_ *torsion.Recording, w *Window) { w.Sigma = -1 }, "Sigma"},
	}
	for _, test := range tests {
		rec := torsion.Recording{Times: append([]float64(nil), good.Times...), Readings: append([]float64(nil), good.Readings...), Lever: good.Lever}
		var window Window
		test.change(&rec, &window)
		if _, err := Fit(rec, window); err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s: error %v, want one that says %q", test.name, err, test.want)
		}
	}
}

// TestCoverage: of many recordings of one swing, intervals of 95 % must hold
// the true value in 95 %, within what the binomial distribution allows. The
// truth is that of the balance, whose torque is exact, while the fitted model
// is linear.
func TestCoverage(t *testing.T) {
	trials := 3000
	if testing.Short() {
		trials = 400
	}
	b, r := torsion.Skelmire(), recorder()
	r.Interval, r.Duration = 40, 3600
	r.Zero = 0.001 // a spot far from the middle makes angles that are not in proportion
	quiet := r
	quiet.Noise, quiet.Step = 0, 0
	swing := gravlab.Must(b.Swing())
	theta, lever := swing.Equilibrium, 2*r.Lever.Distance
	period, tau := gravlab.Must(swing.Period()), gravlab.Must(swing.DecayTime())
	truth := []float64{period, gravlab.Must(torsion.UndampedPeriod(period, tau)), tau, r.Zero/lever - theta, r.Zero/lever + theta, theta, r.Drift / lever}
	sigma := math.Sqrt(r.Noise*r.Noise + r.Step*r.Step/12)

	// The motion is the same in every trial; only the noise is new.
	signal := gravlab.Must(b.Record(quiet, rand.New(rand.NewPCG(0, 0))))
	random := rand.New(rand.NewPCG(17, 98))
	hits := make([]int, len(truth))
	for range trials {
		rec := torsion.Recording{Times: signal.Times, Lever: signal.Lever, Readings: make([]float64, len(signal.Readings))}
		for i, v := range signal.Readings {
			rec.Readings[i] = math.Round((v+r.Noise*random.NormFloat64())/r.Step) * r.Step
		}
		f, err := Fit(rec, Window{Sigma: sigma})
		if err != nil {
			t.Fatal(err)
		}
		k := f.Fit.CoverageFactor(0.95)
		for i, e := range numbers(f) {
			if math.Abs(e.Value-truth[i]) <= k*e.U {
				hits[i]++
			}
		}
	}
	// Seven quantities: each may fail by chance in 1 of 1,000 runs, were the
	// seed not fixed.
	law := distuv.Binomial{N: float64(trials), P: 0.95}
	for i, name := range []string{"period", "undamped period", "decay time", "start", "equilibrium", "deflection", "drift"} {
		low, high := law.CDF(float64(hits[i])), 1-law.CDF(float64(hits[i]-1))
		if low < 0.0005 || high < 0.0005 {
			t.Errorf("%s: %d of %d intervals hold the truth (%.2f %%), beyond the binomial limits", name, hits[i], trials, 100*float64(hits[i])/float64(trials))
		}
	}
}

func numbers(f Swing) []Estimate {
	return []Estimate{f.Period, f.Undamped, f.DecayTime, f.Start, f.Equilibrium, f.Deflection, f.Drift}
}

func TestBudget(t *testing.T) {
	b := torsion.Skelmire()
	theta, period := gravlab.Must(b.Deflection()), gravlab.Must(b.Period(torsion.Plus))
	u := Uncertainties{
		Arm: 2e-4, Distance: 4e-4, SmallMass: 1e-5, LargeMass: 2e-3, SmallRadius: 5e-5, BeamMass: 1e-5, BeamLength: 5e-4,
		ExtraInertia: 1e-6, Deflection: 2e-5, Period: 0.8, Correlation: 0.2, OtherTorque: 1e-12,
	}
	budget := gravlab.Must(Budget(b, theta, period, u))
	near(t, "G", budget.Value, gravlab.G, 1e-11)
	sum := budget.Correlated
	exponents := map[string]float64{}
	for _, line := range budget.Lines {
		sum += line.Share
		exponents[line.Name] = line.Sensitivity * line.Value / budget.Value
	}
	near(t, "sum of the shares", sum, 1, 1e-12)
	near(t, "exponent of the period", exponents["period"], -2, 1e-8)
	near(t, "exponent of the large mass", exponents["large mass"], -1, 1e-8)
	if len(budget.Lines) != 11 {
		t.Errorf("%d lines, want 11", len(budget.Lines))
	}
	if e := exponents["distance"]; e < 1.7 || e > 2.3 {
		t.Errorf("exponent of the distance = %g, want about 2", e)
	}
	if text := budget.String(); !strings.Contains(text, "distance") || !strings.Contains(text, "share") {
		t.Errorf("table:\n%s", text)
	}

	// Monte Carlo of the same inputs through the exported formula (JCGM 101).
	b.BeamLength = 2 * b.Arm
	inputs := []quantity.Input{
		{Name: "deflection", Value: theta, U: u.Deflection}, {Name: "period", Value: period, U: u.Period},
		{Name: "arm", Value: b.Arm, U: u.Arm}, {Name: "distance", Value: b.Distance, U: u.Distance},
		{Name: "large mass", Value: b.LargeMass, U: u.LargeMass}, {Name: "beam mass", Value: b.BeamMass, U: u.BeamMass},
		{Name: "beam length", Value: b.BeamLength, U: u.BeamLength}, {Name: "extra inertia", Value: b.ExtraInertia, U: 1e-7},
		{Name: "other", Value: 0, U: u.OtherTorque / gravlab.Must(b.Torque(theta, torsion.Plus)) * gravlab.G},
	}
	u.SmallMass, u.SmallRadius, u.ExtraInertia = 0, 0, 1e-7
	budget = gravlab.Must(Budget(b, theta, period, u))
	sample := gravlab.Must(quantity.MonteCarlo(rand.New(rand.NewPCG(3, 9)), func(x []float64) float64 {
		v := b
		v.Arm, v.Distance, v.LargeMass, v.BeamMass, v.BeamLength, v.ExtraInertia = x[2], x[3], x[4], x[5], x[6], x[7]
		g, err := v.GFromSwing(x[0], x[1])
		if err != nil {
			return math.NaN()
		}
		return g + x[8]
	}, inputs, gravlab.Must(quantity.Correlations(len(inputs), [3]float64{0, 1, u.Correlation})), 40000))
	// The standard deviation of 40,000 draws has itself a relative standard
	// uncertainty of 1/sqrt(80,000) = 0.35 %; seven times that is far out, and
	// the curvature of G adds less than 0.1 %.
	near(t, "u by Monte Carlo", sample.U, budget.U, 0.015)
}

func BenchmarkFit(b *testing.B) {
	rec := gravlab.Must(torsion.Skelmire().Record(recorder(), rand.New(rand.NewPCG(1, 2))))
	for b.Loop() {
		if _, err := Fit(rec, Window{}); err != nil {
			b.Fatal(err)
		}
	}
}

// TestLinearModel holds what the comment of Fit says about a swing in the exact
// torque: how far the linear model is out, and that it goes as the square of the
// swing.
func TestLinearModel(t *testing.T) {
	worst := func(kappa float64, durations ...float64) (deflection, period, g float64) {
		b := torsion.Skelmire()
		b.Kappa, b.Clearance = kappa, 0
		theta := gravlab.Must(b.Deflection())
		for _, damping := range []float64{1.5e-7, 1.5e-6, 4e-6} {
			b.Damping = damping
			swing := gravlab.Must(b.Swing())
			undamped := 2 * math.Pi * math.Sqrt(swing.Inertia/swing.Kappa)
			for _, before := range []float64{0, 0.5, 2} {
				for _, duration := range durations {
					rec := gravlab.Must(b.Record(torsion.Recorder{Interval: undamped / 50, Duration: duration * undamped, Before: before * undamped}, rand.New(rand.NewPCG(1, 2))))
					f := gravlab.Must(Fit(rec, Window{}))
					deflection = math.Max(deflection, math.Abs(f.Deflection.Value/theta-1))
					period = math.Max(period, math.Abs(f.Undamped.Value/undamped-1))
					g = math.Max(g, math.Abs(gravlab.Must(b.GFromSwing(f.Deflection.Value, f.Undamped.Value))/gravlab.G-1))
				}
			}
		}
		return deflection, period, g
	}
	within := func(what string, got, least, most float64) {
		t.Helper()
		if !(got >= least && got <= most) {
			t.Errorf("%s is out by %.3g, want %g to %g", what, got, least, most)
		}
	}
	kappa := torsion.Skelmire().Kappa // theta_e = 3.53 mrad
	d, p, g := worst(kappa, 2, 3, 6, 10)
	within("deflection", d, 2e-5, 1e-4)
	within("period", p, 2e-6, 1e-5)
	within("G", g, 2e-5, 1e-4)
	d, p, g = worst(kappa, 0.7, 0.8, 1, 1.5)
	within("deflection of a short recording", d, 1e-4, 1e-3)
	within("period of a short recording", p, 2e-5, 2e-4)
	within("G of a short recording", g, 1e-4, 1e-3)
	large, _, _ := worst(kappa, 3)
	small, _, _ := worst(2*kappa, 3)
	within("growth with the square of the swing:", large/small, 3.6, 4.6)
}

// TestNoAlias: readings at equal steps fit a period below two steps as well as
// the true one. Of a short recording, and one with gaps, Fit gives the true one.
func TestNoAlias(t *testing.T) {
	for _, damping := range []float64{1.5e-6, 6e-6} {
		b := torsion.Skelmire()
		b.Damping = damping
		swing := gravlab.Must(b.Swing())
		undamped := 2 * math.Pi * math.Sqrt(swing.Inertia/swing.Kappa)
		for _, perPeriod := range []float64{10, 20, 50} {
			for _, duration := range []float64{0.4, 0.7} {
				for _, before := range []float64{0, 0.5, 2} {
					r := torsion.Recorder{Interval: undamped / perPeriod, Duration: duration * undamped, Before: before * undamped, Noise: 1e-6}
					rec := gravlab.Must(b.Record(r, rand.New(rand.NewPCG(1, 2))))
					for _, from := range []float64{0, 0.03 * undamped} {
						f, err := Fit(rec, Window{From: from})
						if err == nil && math.Abs(f.Undamped.Value-undamped) > 0.05*undamped+5*f.Undamped.U {
							t.Errorf("damping %g, %g readings a period, %g periods, %g before, from %g s: period %g s, uncertainty %g s, want %g s",
								damping, perPeriod, duration, before, from, f.Undamped.Value, f.Undamped.U, undamped)
						}
					}
				}
			}
		}
	}
}
