package gravlab_test

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/equivalence"
	"gravity.example/gravlab/pendulum"
	"gravity.example/gravlab/quantity"
	"gravity.example/gravlab/sensor"
	"gravity.example/gravlab/signal"
	"gravity.example/gravlab/survey"
)

// An accelerometer at rest reads the push of its support, upward; a gravity
// meter reads the same as a positive number; both read nothing in free fall.
func TestSpecificForceAndMeter(t *testing.T) {
	g := r3.Vec{Z: 9.81}
	rest := equivalence.SpecificForce(r3.Vec{}, g)
	if rest.Z != -9.81 || equivalence.MeterReading(rest) != 9.81 {
		t.Errorf("at rest the accelerometer reads %v and the meter %v; want 9.81 upward (z = -9.81) and +9.81", rest, equivalence.MeterReading(rest))
	}
	if fall := equivalence.SpecificForce(g, g); fall != (r3.Vec{}) || equivalence.MeterReading(fall) != 0 {
		t.Errorf("in free fall the accelerometer reads %v, want nothing", fall)
	}
}

// A correction is minus the effect and is added. The tide pulls up: it makes a
// reading smaller, and its correction is positive with it.
func TestCorrectionIsMinusTheEffect(t *testing.T) {
	site := earth.Site{Lat: 0.9, Lon: 0.1}
	at := time.Date(2026, 3, 20, 12, 0, 0, 0, time.UTC)
	up := gravlab.Must(site.Tide(at)).Upward()
	correction := gravlab.Must(site.TideCorrection(at, 1.16, earth.TideFree))
	if effect := -1.16 * up; math.Abs(correction+effect) > 1e-18 {
		t.Errorf("the tide's effect on g is %g, its correction %g: they do not cancel", effect, correction)
	}
	// The default keeps the permanent part in: the two differ by 1.16 times it.
	zero := gravlab.Must(site.TideCorrection(at, 1.16, earth.ZeroTide))
	if zero == correction {
		t.Error("zero-tide and tide-free corrections are the same: the switch does nothing")
	}
	var unset earth.PermanentTide
	if unset != earth.ZeroTide {
		t.Error("the default is not zero-tide")
	}
}

// The integral of a one-sided density from 0 is the variance, and an amplitude
// is zero to peak.
func TestSpectraAreOneSided(t *testing.T) {
	const rate, psd = 50.0, 4e-6 // Hz, unit²/Hz: variance psd·rate/2
	x := gravlab.Must(signal.WhiteNoise(rand.New(rand.NewPCG(5, 6)), 1<<17, rate, psd))
	s := gravlab.Must(signal.Welch{Segment: 1024}.PSD(x, rate))
	sum := 0.0
	for _, p := range s.PSD {
		sum += p * rate / 1024
	}
	variance, mean := 0.0, 0.0
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		variance += (v - mean) * (v - mean) / float64(len(x))
	}
	// Both estimate psd·rate/2; the spectrum's mean over 2^17 samples scatters by
	// sqrt(2/2^17) = 0.4 %, and they share most of it. 2 % is five times that.
	for name, got := range map[string]float64{"integral of the density": sum, "variance": variance} {
		if want := psd * rate / 2; math.Abs(got/want-1) > 0.02 {
			t.Errorf("%s is %g, want %g", name, got, want)
		}
	}
	for i := range x {
		x[i] = 3 * math.Cos(2*math.Pi*2.5*float64(i)/rate-0.7)
	}
	line := gravlab.Must(signal.SineFit(x, rate, 2.5))
	if math.Abs(line.Amplitude-3) > 1e-9 || math.Abs(line.Phase-0.7) > 1e-9 {
		t.Errorf("3 cos(ωt - 0.7) is read as amplitude %g and phase %g: zero to peak, and x = A cos(ωt - φ)", line.Amplitude, line.Phase)
	}
}

// Coherence is the magnitude squared: equal parts of common and own noise give
// 1/4, not 1/2.
func TestCoherenceIsSquared(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	const n, rate = 1 << 17, 10.0
	common := gravlab.Must(signal.WhiteNoise(rng, n, rate, 1))
	x := gravlab.Must(signal.WhiteNoise(rng, n, rate, 1))
	y := gravlab.Must(signal.WhiteNoise(rng, n, rate, 1))
	for i := range common {
		x[i] += common[i]
		y[i] += common[i]
	}
	gamma2 := gravlab.Must(signal.Welch{Segment: 512}.Pair(x, y, rate)).Coherence()
	mean := 0.0
	for _, v := range gamma2[1 : len(gamma2)-1] {
		mean += v / float64(len(gamma2)-2)
	}
	// 511 segments: bias (1-γ²)²/K = 0.001, scatter of the mean below 0.005.
	if math.Abs(mean-0.25) > 0.01 {
		t.Errorf("the mean coherence is %g, want 0.25", mean)
	}
}

// Below resonance a mass on a spring lags its frame: x = -a/ω0². Q = π/decrement.
func TestSpringSignAndQ(t *testing.T) {
	s := sensor.Suspension{Mass: 0.5, Frequency: 2, Q: 50}
	low := gravlab.Must(s.Response(0))
	if want := -1 / math.Pow(2*math.Pi*2, 2); cmplx.Abs(low-complex(want, 0)) > 1e-12*math.Abs(want) {
		t.Errorf("x/a at 0 Hz is %v, want %g", low, want)
	}
	if phase := cmplx.Phase(-gravlab.Must(s.Response(2))); math.Abs(phase+math.Pi/2) > 1e-9 {
		t.Errorf("with exp(+iωt) the mass lags by a quarter period at resonance; the phase is %g", phase)
	}
	if q := gravlab.Must(pendulum.QualityFromDecrement(math.Pi / 50)); math.Abs(q-50) > 1e-12 {
		t.Errorf("Q from a decrement of π/50 is %g, want 50", q)
	}
}

// A typed uncertainty is standard, and an expanded one is halved when it says so.
func TestTypedUncertaintyIsStandard(t *testing.T) {
	for text, want := range map[string]float64{"12.0(3) mrad": 0.3e-3, "12.0 ± 0.3 mrad": 0.3e-3, "12.0 ± 0.6 mrad (k = 2)": 0.3e-3} {
		q, err := quantity.Parse(text, quantity.MustUnit("mrad"))
		if err != nil || math.Abs(q.U-want) > 1e-15 {
			t.Errorf("%q has the standard uncertainty %g (%v), want %g", text, q.U, err, want)
		}
	}
}

// The acceleration of a trend is the second derivative: a t²/2.
func TestTrendAcceleration(t *testing.T) {
	var times, y []float64
	rng := rand.New(rand.NewPCG(1, 1))
	for i := range 120 {
		year := float64(i) / 12
		times = append(times, year)
		y = append(y, 0.5*3*year*year+1e-6*rng.NormFloat64())
	}
	trend := gravlab.Must(earth.TrendModel{Acceleration: true, Year: 1}.Fit(times, y))
	if math.Abs(trend.Acceleration.Value-3) > 1e-4 {
		t.Errorf("the acceleration of 3 t²/2 is %g, want 3", trend.Acceleration.Value)
	}
}

// A reduction asks which height it is given: a disturbance and an anomaly differ.
func TestReductionAsksWhichHeight(t *testing.T) {
	r := survey.Reduction{Ellipsoid: earth.GRS80, Density: 2670}
	if _, err := r.At(9.81, 0.9, 100, 0); err == nil {
		t.Error("a reduction without a kind of height was done; it must ask")
	}
}
