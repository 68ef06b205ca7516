package fit

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gravity.example/gravlab"
)

// oscillationRecord returns n readings dt apart: A, tau, T, phi, offset and,
// where a sixth parameter is given, drift.
func oscillationRecord(rng *rand.Rand, p []float64, dt float64, n int, sigma float64) (t, y []float64) {
	t, y = make([]float64, n), make([]float64, n)
	for i := range t {
		t[i] = float64(i) * dt
		y[i] = p[0]*math.Exp(-t[i]/p[1])*math.Cos(2*math.Pi*t[i]/p[2]-p[3]) + p[4] + sigma*rng.NormFloat64()
		if len(p) > 5 {
			y[i] += p[5] * t[i]
		}
	}
	return t, y
}

// TestOscillationStarts finds the true swing without help: from 0.7 to 1400
// turns, decays from a third of a period to a hundred records, any phase.
func TestOscillationStarts(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	tried := 0
	for tried < 600 {
		turns := 0.7 * math.Exp(rng.Float64()*math.Log(2000))
		n := 60 + rng.IntN(3000)
		length := 100.0
		period := length / turns
		tau := 10 * length * math.Exp(-rng.Float64()*math.Log(200))
		if float64(n) < 2.5*turns || tau < period/3 {
			continue
		}
		tried++
		p := []float64{1, tau, period, 2 * math.Pi * rng.Float64(), 3 * rng.NormFloat64()}
		fit := DampedOscillation
		if tried%2 == 0 {
			p = append(p, 0.01*rng.NormFloat64())
			fit = DampedOscillationDrift
		}
		x, y := oscillationRecord(rng, p, length/float64(n-1), n, 0.01)
		r, err := fit(x, y, nil)
		if err != nil {
			t.Errorf("%v: %v", p, err)
			continue
		}
		// Six standard uncertainties: once in 1e9 by chance.
		if math.Abs(r.P[Period]-period) > 6*r.U[Period] || math.Sqrt(r.ReducedChi2()) > 0.015 {
			t.Errorf("%.3g turns, tau %.3g of the record, %d readings: true %v, found %v", turns, tau/length, n, p, r)
		}
	}
}

// TestOscillationAlias: readings at whole multiples of a step fit a swing that
// turns once more between them as well as the true one. Of a short record, even
// or with gaps, from zero or from late on, the true one is found: by the search
// of few readings, and where the spectrum leads to it.
func TestOscillationAlias(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for trial := range 3000 {
		n := 12 + rng.IntN(36)
		step := []float64{1, 0.1, 30}[trial%3]
		turns := 0.5 + rng.Float64()*(float64(n)/4-0.5)
		p := []float64{1, float64(n) * step, float64(n-1) * step / turns, 6 * rng.Float64(), 0.3}
		x, y := oscillationRecord(rng, p, step, n, 1e-3)
		if trial%2 == 1 { // a gap, before which two readings follow each other
			from := 3 + rng.IntN(n/4)
			x, y = slices.Delete(x, from, from+n/4), slices.Delete(y, from, from+n/4)
		}
		late := 0.0
		if trial%5 == 4 {
			late = 0.3 * step
			for i := range x {
				x[i] += late
			}
		}
		r, err := DampedOscillation(x, y, nil)
		if err != nil {
			t.Errorf("trial %d: %v", trial, err)
			continue
		}
		if math.Abs(r.P[Period]-p[2]) > 0.02*p[2]+6*r.U[Period] {
			t.Errorf("trial %d: %d readings, %.3g turns: period %.4g, u %.2g, want %.4g", trial, len(x), turns, r.P[Period], r.U[Period], p[2])
			continue
		}
		for i := range x { // the phase belongs to the period that is given
			model := r.P[Amplitude]*math.Exp(-x[i]/r.P[DecayTime])*math.Cos(2*math.Pi*x[i]/r.P[Period]-r.P[Phase]) + r.P[Offset]
			if math.Abs(model+r.Residuals[i]-y[i]) > 1e-9 {
				t.Errorf("trial %d: the fit is %g at %g, and its residual %g; read was %g", trial, model, x[i], r.Residuals[i], y[i])
				break
			}
		}
	}
}

func TestOscillationCoverage(t *testing.T) {
	const trials = 5000
	rng := rand.New(rand.NewPCG(8, 0))
	p := []float64{1.3, 40, 3.3, 1.1, 0.2, 0.003}
	sigma := slices.Repeat([]float64{0.02}, 120)
	inside := make([]int, len(p))
	for range trials {
		x, y := oscillationRecord(rng, p, 0.4, len(sigma), sigma[0])
		r, err := DampedOscillationDrift(x, y, sigma)
		if err != nil {
			t.Fatal(err)
		}
		for j := range p {
			if math.Abs(r.P[j]-p[j]) <= r.CoverageFactor(0.95)*r.U[j] {
				inside[j]++
			}
		}
	}
	for j, name := range oscillationNames {
		checkCoverage(t, name, inside[j], trials)
	}
}

// TestOscillationAgainstCurve: the general fit with difference quotients gives
// the same parameters and covariance, also for times that are not evenly
// spaced, have a gap and do not begin at zero.
func TestOscillationAgainstCurve(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 0))
	p := []float64{0.8, 25, 4, 2, -0.3, 0.01}
	for _, begin := range []float64{0, 7.3, -60} {
		var x, y, sigma []float64
		for i := range 160 {
			if i > 70 && i < 100 {
				continue
			}
			at := begin + 0.25*float64(i) + 0.1*rng.Float64()
			s := 0.01 + 0.01*rng.Float64()
			x, sigma = append(x, at), append(sigma, s)
			y = append(y, p[0]*math.Exp(-at/p[1])*math.Cos(2*math.Pi*at/p[2]-p[3])+p[4]+p[5]*at+s*rng.NormFloat64())
		}
		special, err := DampedOscillationDrift(x, y, sigma)
		if err != nil {
			t.Fatal(err)
		}
		general, err := Curve{X: x, Y: y, Sigma: sigma, Start: p, Model: func(p, x, dst []float64) {
			for i, t := range x {
				dst[i] = p[0]*math.Exp(-t/p[1])*math.Cos(2*math.Pi*t/p[2]-p[3]) + p[4] + p[5]*t
			}
		}}.Fit()
		if err != nil {
			t.Fatal(err)
		}
		for j := range p {
			if math.Abs(special.P[j]-general.P[j]) > 1e-6*general.U[j] || !near(special.U[j], general.U[j], 1e-6) {
				t.Errorf("begin %g: %s = %.12g ± %.6g, generally %.12g ± %.6g", begin, oscillationNames[j], special.P[j], special.U[j], general.P[j], general.U[j])
			}
			for k := range j {
				if math.Abs(special.Correlation(j, k)-general.Correlation(j, k)) > 1e-5 {
					t.Errorf("begin %g: correlation %d %d is %g, generally %g", begin, j, k, special.Correlation(j, k), general.Correlation(j, k))
				}
			}
		}
		for i := range y {
			if math.Abs(special.Residuals[i]-general.Residuals[i]) > 1e-7 {
				t.Fatalf("begin %g: residual %d is %g, generally %g", begin, i, special.Residuals[i], general.Residuals[i])
			}
		}
	}
}

// TestSwingJacobian compares the analytic Jacobian with central differences,
// and the sums of products with the rows that they add up.
func TestSwingJacobian(t *testing.T) {
	rng := rand.New(rand.NewPCG(10, 0))
	x, y := oscillationRecord(rng, []float64{1, 9, 3, 1, 0.5, 0.1}, 0.3, 50, 0.1)
	w := make([]float64, len(x))
	for i := range w {
		w[i] = 0.5 + rng.Float64()
	}
	for _, n := range []int{5, 6} {
		s := newSwing(x, y, w, n)
		p := []float64{0.7, -0.4, 0.11, 2.2, 0.4, 0.3}[:n]
		s.evaluate(p)
		var sums [6][6]float64
		var jf [6]float64
		s.accumulate(&sums, &jf)
		rows := make([][]float64, len(x))
		for i := range x {
			rows[i] = make([]float64, n)
			s.row(i, rows[i])
		}
		for j := range n {
			sum := 0.0
			for i := range x {
				sum += rows[i][j] * s.f[i]
			}
			if !near(jf[j], sum, 1e-11) {
				t.Errorf("sum of column %d times f = %g, want %g", j, jf[j], sum)
			}
			for k := j; k < n; k++ {
				sum := 0.0
				for i := range x {
					sum += rows[i][j] * rows[i][k]
				}
				if math.Abs(sums[j][k]-sum) > 1e-12*math.Sqrt(sums[j][j]*sums[k][k]) {
					t.Errorf("sum of columns %d and %d = %g, want %g", j, k, sums[j][k], sum)
				}
			}
		}
		for j := range n {
			h := 1e-5
			up, down := slices.Clone(p), slices.Clone(p)
			up[j] += h
			down[j] -= h
			s.evaluate(up)
			high := slices.Clone(s.f)
			s.evaluate(down)
			for i := range x {
				// Error h²/6 of a third derivative of at most 15³ × 2.
				if got, want := rows[i][j], (high[i]-s.f[i])/(2*h); math.Abs(got-want) > 2e-7 {
					t.Fatalf("derivative of reading %d by parameter %d = %g, by differences %g", i, j, got, want)
				}
			}
		}
	}
}

// TestPhasors: evenly spaced times are followed by products of phasors; they
// must give what exp, sin and cos give.
func TestPhasors(t *testing.T) {
	x, y := oscillationRecord(rand.New(rand.NewPCG(10, 0)), []float64{1, 9, 3, 1, 0.5}, 0.1, 5000, 0.1)
	w := slices.Repeat([]float64{1}, len(x))
	even, free := newSwing(x, y, w, 5), newSwing(x, y, w, 5)
	if even.step == 0 {
		t.Fatal("times 0.1 s apart do not count as evenly spaced")
	}
	free.step = 0
	p := []float64{1, 2, 0.01, 17, 0.1}
	even.evaluate(p)
	free.evaluate(p)
	for i := range x {
		if math.Abs(even.f[i]-free.f[i]) > 1e-11 { // omega t of 8500 rad has itself rounded to 1e-12
			t.Fatalf("reading %d: %g and %g", i, even.f[i], free.f[i])
		}
	}
	x[17] += 1e-7
	if s := newSwing(x, y, w, 5); s.step != 0 {
		t.Error("a time off by 0.1 µs still counts as evenly spaced")
	}
}

// TestOscillationScaling: units of y and t scale the parameters.
func TestOscillationScaling(t *testing.T) {
	p := []float64{1, 30, 5, 1, 0.5}
	x, y := oscillationRecord(rand.New(rand.NewPCG(15, 0)), p, 0.2, 300, 0.02)
	one, err := DampedOscillation(x, y, nil)
	if err != nil {
		t.Fatal(err)
	}
	const unitT, unitY = 60, 1e-9
	for i := range x {
		x[i] *= unitT
		y[i] *= unitY
	}
	other, err := DampedOscillation(x, y, nil)
	if err != nil {
		t.Fatal(err)
	}
	for j, unit := range []float64{unitY, unitT, unitT, 1, unitY} {
		if !near(other.P[j], unit*one.P[j], 1e-8) || !near(other.U[j], unit*one.U[j], 1e-6) {
			t.Errorf("%s = %g ± %g, want %g ± %g", oscillationNames[j], other.P[j], other.U[j], unit*one.P[j], unit*one.U[j])
		}
	}
}

func TestOscillationWithoutSwing(t *testing.T) {
	x := make([]float64, 50)
	for i := range x {
		x[i] = float64(i)
	}
	r, err := DampedOscillation(x, slices.Repeat([]float64{3}, 50), nil)
	if err != nil || !slices.Contains(r.Undetermined, "T") || !slices.Contains(r.Undetermined, "tau") || !near(r.P[Offset], 3, 1e-9) {
		t.Errorf("a flat record: %v, %v", r, err)
	}
}

func TestBadOscillation(t *testing.T) {
	x, y := oscillationRecord(rand.New(rand.NewPCG(16, 0)), []float64{1, 30, 5, 1, 0.5}, 0.2, 100, 0.02)
	s := slices.Repeat([]float64{0.02}, 100)
	swap := slices.Clone(x)
	swap[3], swap[4] = swap[4], swap[3]
	late := slices.Clone(x)
	for i := range late {
		late[i] += 1e6
	}
	bad := slices.Clone(y)
	bad[7] = math.NaN()
	tests := []struct {
		name        string
		t, y, sigma []float64
	}{
		{"t[4]", swap, y, s}, {"y[7]", x, bad, s}, {"y", x, y[:9], s}, {"Sigma", x, y, s[:9]}, {"t", x[:5], y[:5], nil}, {"t", nil, nil, nil},
		{"Sigma[0]", x, y, make([]float64, 100)}, {"t[0]", late, y, s},
	}
	for _, test := range tests {
		_, err := DampedOscillation(test.t, test.y, test.sigma)
		var e *gravlab.ArgumentError
		if !errors.As(err, &e) || e.Name != test.name {
			t.Errorf("%s: %v", test.name, err)
		}
	}
}

func BenchmarkDampedOscillation(b *testing.B) {
	for _, times := range []string{"even", "uneven"} {
		b.Run("times="+times, func(b *testing.B) {
			rng := rand.New(rand.NewPCG(1, 0))
			t, y := oscillationRecord(rng, []float64{1.3, 400, 33, 0.7, 0.2}, 0.1, 10000, 0.02)
			if times == "uneven" {
				t[17] += 1e-6
			}
			sigma := slices.Repeat([]float64{0.02}, len(t))
			for b.Loop() {
				if _, err := DampedOscillation(t, y, sigma); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// TestOscillationBeyondFloat: readings whose squares no float64 holds end the
// search with an error; its region of trust once became NaN, and it never ended.
func TestOscillationBeyondFloat(t *testing.T) {
	y := []float64{-0.6, 0.46, 6e-7, 0.15, -2e-7, 0.54, 0, 2e-14, 0, 1e308, 8e-77, 1e-308, 4e-154, 1e308, -2e-6, 0.06, 0, 0, 0, 0, -0.2, 0.05, 1, 0, 0, 0.47}
	var x []float64
	for i := range y {
		x = append(x, 10*float64(i+1))
	}
	if f, err := DampedOscillationDrift(x, y, nil); err == nil && !(f.Chi2 >= 0) {
		t.Errorf("chi² = %g without an error", f.Chi2)
	}
}

// TestBursts: readings in bursts with long gaps between them. The mean step is
// then longer than half a period, and a spectrum on it shows the line elsewhere.
func TestBursts(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 1))
	for trial := range 60 {
		period := 1 + 4*rng.Float64()
		tau := period * (30 + 70*rng.Float64())
		step := period / (2.5 + 6*rng.Float64())
		var times, y []float64
		at := 0.0
		for i := range 150 {
			times = append(times, at)
			y = append(y, math.Exp(-at/tau)*math.Cos(2*math.Pi*at/period-1)+0.3+0.005*rng.NormFloat64())
			if at += step; i%15 == 14 {
				at += period * (5 + 15*rng.Float64())
			}
		}
		r, err := DampedOscillation(times, y, nil)
		if err != nil {
			t.Errorf("trial %d: %v", trial, err)
			continue
		}
		if s := math.Sqrt(r.ReducedChi2()); s > 0.008 || math.Abs(r.P[Period]-period) > 6*r.U[Period] {
			t.Errorf("trial %d: period %.6g ± %.2g s with a scatter of %.2g; it is %.6g s with 0.005", trial, r.P[Period], r.U[Period], s, period)
		}
	}
}

// TestOnePeriodWithoutDecay: of a record of one period without decay the search
// finds the period, where a start at nearly no frequency would take it to a period
// of millions of seconds.
func TestOnePeriodWithoutDecay(t *testing.T) {
	for _, seed := range []uint64{1385, 1413, 1902, 2552, 5657, 8173} {
		rng := rand.New(rand.NewPCG(5, seed))
		n := 50 + rng.IntN(150)
		noise := math.Pow(10, -4+3*rng.Float64())
		phase := 2 * math.Pi * rng.Float64()
		var x, y []float64
		for i := range n {
			x = append(x, 600*float64(i)/float64(n-1))
			y = append(y, math.Cos(2*math.Pi*x[i]/600-phase)+noise*rng.NormFloat64())
		}
		r, err := DampedOscillation(x, y, nil)
		if err != nil {
			t.Errorf("record %d: %v", seed, err)
			continue
		}
		if off := math.Abs(r.P[Period] - 600); off > 4*r.U[Period] {
			t.Errorf("record %d: period %g s, u = %g", seed, r.P[Period], r.U[Period])
		}
	}
}
