package sensor_test

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"gravity.example/gravlab"
	"gravity.example/gravlab/sensor"
	"gravity.example/gravlab/signal"
)

func near(t *testing.T, what string, got, want, allowed float64) {
	t.Helper()
	if !(math.Abs(got-want) <= allowed) {
		t.Errorf("%s = %.12g, want %.12g within %.2g", what, got, want, allowed)
	}
}

var spring = sensor.Suspension{Mass: 0.4e-3, Frequency: 4.7, Q: 800, Temperature: 293}

// Far below resonance x = -a/ω0², far above x = +a/ω² (the mass stays where it
// was), at resonance x lags by a quarter turn more and is Q times as large.
func TestResponseLimits(t *testing.T) {
	w0 := 2 * math.Pi * spring.Frequency
	r := gravlab.Must(spring.Response(0))
	near(t, "x/a at rest", real(r), -1/(w0*w0), 1e-15)
	near(t, "quadrature at rest", imag(r), 0, 1e-15)
	r = gravlab.Must(spring.Response(1e4))
	w := 2 * math.Pi * 1e4
	near(t, "x ω²/a far above", real(r)*w*w, 1, 1e-5)
	r = gravlab.Must(spring.Response(spring.Frequency))
	near(t, "size at resonance", cmplx.Abs(r), spring.Q/(w0*w0), 1e-12)
	near(t, "phase at resonance", cmplx.Phase(-r), -math.Pi/2, 1e-12)
}

// The step response obeys the equation of motion (numerical derivatives) for
// every kind of damping, and settles at -a/ω0².
func TestStepResponseSolvesTheEquation(t *testing.T) {
	const a = 2e-5
	for _, q := range []float64{30, 2, 0.5000001, 0.5, 0.4999999, 0.2, 0.01} {
		s := sensor.Suspension{Mass: 1, Frequency: 1.7, Q: q}
		w0 := 2 * math.Pi * s.Frequency
		x := func(t float64) float64 { return gravlab.Must(s.StepResponse(a, t)) }
		for _, tt := range []float64{0.05, 0.2, 0.7} {
			const h = 1e-4
			v := (x(tt+h) - x(tt-h)) / (2 * h)
			acc := (x(tt+h) - 2*x(tt) + x(tt-h)) / (h * h)
			// Error of the differences: h²/12 ω0⁴ x and rounding over h².
			near(t, "x'' + ω0/Q x' + ω0² x", acc+w0/q*v+w0*w0*x(tt), -a, a*1e-4*(1+1/q))
		}
		near(t, "settled", x(1e5), -a/(w0*w0), 1e-12*a)
		near(t, "start", x(0), 0, 0)
	}
	near(t, "peak is where the speed is zero", func() float64 {
		s := sensor.Suspension{Mass: 1, Frequency: 1.7, Q: 3}
		p := gravlab.Must(s.FirstPeak())
		return (gravlab.Must(s.StepResponse(a, p+1e-6)) - gravlab.Must(s.StepResponse(a, p-1e-6))) / 2e-6
	}(), 0, 1e-5*a)
}

// Thermal noise: both kinds of damping agree at resonance only, and the spectrum
// of displacement holds kB T/k altogether.
func TestThermalNoise(t *testing.T) {
	structural := spring
	structural.Damping = sensor.Structural
	v, s := gravlab.Must(spring.ThermalNoise()), gravlab.Must(structural.ThermalNoise())
	f0 := spring.Frequency
	near(t, "ratio at resonance", s.Density(f0)/v.Density(f0), 1, 1e-14)
	near(t, "ratio at a tenth", s.Density(f0/10)/v.Density(f0/10), math.Sqrt(10), 1e-13)
	b := sensor.Budget{Suspension: spring, Sources: []sensor.Noise{v}}
	var sum float64
	for _, band := range [][2]float64{{1e-4 * f0, 0.9 * f0}, {0.9 * f0, f0}, {f0, 1.1 * f0}, {1.1 * f0, 1e4 * f0}} {
		r, _, err := signal.BandRMS(func(f float64) float64 {
			x := gravlab.Must(b.Displacement(f))
			return x * x
		}, band[0], band[1])
		if err != nil {
			t.Fatal(err)
		}
		sum += r * r
	}
	want := gravlab.Must(spring.ThermalRMS())
	// What lies below the band is 4e-4·(1/Q)/π of the whole.
	near(t, "variance by the spectrum over kB T/k", sum/(want*want), 1, 1e-6)
}

// Equipartition in a simulated record that starts in equilibrium: 1000 decay
// times, so n = 2000 independent values and u = √(2/n) of the variance. (Four of
// them: one in 16,000 such records would fail.)
func TestEquipartitionInARecord(t *testing.T) {
	s := spring
	s.Q = 20
	tau := s.Q / (math.Pi * s.Frequency)
	dt := 0.11 / s.Frequency
	n := int(1000 * tau / dt)
	x, err := s.ThermalRecord(rand.New(rand.NewPCG(5, 6)), n, dt)
	if err != nil {
		t.Fatal(err)
	}
	var sum float64
	for _, v := range x {
		sum += v * v
	}
	want := gravlab.Must(s.ThermalRMS())
	near(t, "mean square over kB T/k", sum/float64(n)/(want*want), 1, 4*math.Sqrt(2.0/2000))

	// And its spectrum, as acceleration, is 4 kB T ω0/(m Q) off resonance.
	dt = 0.01 / s.Frequency
	x, err = s.ThermalRecord(rand.New(rand.NewPCG(7, 8)), 1<<18, dt)
	if err != nil {
		t.Fatal(err)
	}
	p, err := signal.Welch{Segment: 4096}.PSD(x, 1/dt)
	if err != nil {
		t.Fatal(err)
	}
	level := gravlab.Must(s.ThermalNoise()).Density(1)
	var ratio, bins float64
	for k := 10; p.Freq[k] < 3*s.Frequency; k++ {
		if math.Abs(p.Freq[k]/s.Frequency-1) < 0.3 {
			continue
		}
		r := cmplx.Abs(gravlab.Must(s.Response(p.Freq[k])))
		ratio += p.PSD[k] / (level * level * r * r)
		bins++
	}
	near(t, "spectrum over theory", ratio/bins, 1, 4*math.Sqrt(2/p.DoF/(bins/2)))
}

// Steps of any length give the same law: the covariance one step apart is that
// of the closed form.
func TestThermalRecordIsExact(t *testing.T) {
	for _, q := range []float64{5, 0.5, 0.1} {
		s := sensor.Suspension{Mass: 1, Frequency: 1, Q: q, Temperature: 300}
		x := gravlab.Must(s.ThermalRecord(rand.New(rand.NewPCG(1, 1)), 200_000, 0.3))
		w := gravlab.Must(s.ThermalRMS())
		var c, v float64
		for i := 1; i < len(x); i++ {
			c += x[i] * x[i-1]
			v += x[i] * x[i]
		}
		// The correlation of x is 1 less the step response over its end value.
		step := gravlab.Must(s.StepResponse(1, 0.3)) * -math.Pow(2*math.Pi, 2)
		near(t, "correlation", c/v, 1-step, 0.02)
		near(t, "variance", v/float64(len(x))/(w*w), 1, 0.05)
	}
}

// The same noise, stated as acceleration and as displacement, agrees through
// the transfer function.
func TestBudgetBothWays(t *testing.T) {
	amp := sensor.Amplifier{Voltage: 5e-9, Current: 1e-14, Capacitance: 80e-12, Sensitivity: 2e5}
	patch := gravlab.Must(sensor.PatchNoise(1.2, 3e-8, 30e-6, spring.Mass))
	readout := gravlab.Must(spring.ReadoutNoise(2e-13))
	amplifier := gravlab.Must(spring.FromDisplacement("amplifier", func(f float64) float64 { return gravlab.Must(amp.Displacement(f)) }))
	b := sensor.Budget{Suspension: spring, Sources: []sensor.Noise{gravlab.Must(spring.ThermalNoise()), readout, amplifier, patch}}
	for _, f := range []float64{0.01, 1, 4.7, 60} {
		var sum float64
		for _, n := range b.Sources {
			sum += math.Pow(n.Density(f), 2)
		}
		a, x := gravlab.Must(b.Acceleration(f)), gravlab.Must(b.Displacement(f))
		near(t, "quadrature", a, math.Sqrt(sum), 1e-14*a)
		near(t, "x over a", x/a, cmplx.Abs(gravlab.Must(spring.Response(f))), 1e-12*x/a)
		near(t, "readout back to displacement", readout.Density(f)*x/a, 2e-13, 1e-26)
	}
	// Patch force: bias times gradient times potential.
	near(t, "patch", patch.Density(1), 1.2*3e-8*30e-6/spring.Mass, 1e-22)
	largest, share, err := b.Largest(60)
	if err != nil || largest.Name != "readout" && largest.Name != "amplifier" || !(share > 0.4 && share <= 1) {
		t.Errorf("largest at 60 Hz: %s with %.2f, %v", largest.Name, share, err)
	}
}

// A narrow resonance inside the band must not be missed.
func TestRMSAcrossAResonance(t *testing.T) {
	s := sensor.Suspension{Mass: 1, Frequency: 2, Q: 1e4, Temperature: 300}
	dip := gravlab.Must(s.FromDisplacement("readout", func(float64) float64 { return 1e-12 }))
	b := sensor.Budget{Suspension: s, Sources: []sensor.Noise{dip}}
	got := gravlab.Must(b.RMS(1, 3))
	// ∫((ω0²-ω²)² + (ωω0/Q)²) df in closed form.
	p := 2 * math.Pi
	w0 := p * 2
	integral := func(f float64) float64 {
		w := p * f
		return (math.Pow(w0, 4)*w - (2-1/(s.Q*s.Q))*w0*w0*w*w*w/3 + math.Pow(w, 5)/5) / p
	}
	want := 1e-12 * math.Sqrt(integral(3)-integral(1))
	near(t, "rms", got, want, 1e-9*want)
}

func TestCrossing(t *testing.T) {
	a := gravlab.Must(sensor.White("white", 3))
	b := sensor.Noise{Name: "red", Density: func(f float64) float64 { return 6 / f }}
	near(t, "crossing", gravlab.Must(sensor.Crossing(a, b, 0.01, 100)), 2, 1e-12)
	if _, err := sensor.Crossing(a, b, 3, 100); err == nil {
		t.Error("a band without a crossing was accepted")
	}
}

// Allan deviation by the spectral integral against the closed forms, and against
// a simulated record.
func TestAllanDeviation(t *testing.T) {
	for _, c := range []struct {
		exponent int
		density  func(f float64) float64
		h        float64
		rel      float64
	}{
		{0, func(float64) float64 { return 2e-9 }, 4e-18, 3e-4}, // cut at 2000/τ: 1/(π²·2000)
		{-1, func(f float64) float64 { return 2e-9 / math.Sqrt(f) }, 4e-18, 1e-5},
		{-2, func(f float64) float64 { return 2e-9 / f }, 4e-18, 1e-5},
	} {
		b := sensor.Budget{Suspension: spring, Sources: []sensor.Noise{{Name: "law", Density: c.density}}}
		for _, tau := range []float64{0.3, 40} {
			want := gravlab.Must(sensor.AllanPowerLaw(c.h, c.exponent, tau))
			got := gravlab.Must(b.AllanDeviation(tau, 2000/tau))
			near(t, "spectral integral", got, want, c.rel*want)
		}
	}
	x := gravlab.Must(signal.Noise(rand.New(rand.NewPCG(3, 4)), 1<<17, 1, func(f float64) float64 { return 4e-18 / f }))
	got := gravlab.Must(signal.OverlappingAllan(x, 64))
	near(t, "record of flicker noise", got, gravlab.Must(sensor.AllanPowerLaw(4e-18, -1, 64)), 0.1e-9*math.Sqrt(5))
}

// A spring that softens when warm lets the mass sink: the reading of g rises.
func TestTemperatureAndMagnetism(t *testing.T) {
	near(t, "temperature", gravlab.Must(sensor.SpringTemperature(9.8, -2e-5)), 1.96e-4, 1e-18)
	n := gravlab.Must(sensor.TemperatureNoise(-2e-4, 100, func(float64) float64 { return 1e-3 }))
	near(t, "slow", n.Density(1e-6), 2e-7, 1e-12)
	near(t, "fast", n.Density(1), 2e-7/(2*math.Pi*100), 1e-14)
	near(t, "moment", gravlab.Must(sensor.MagneticMoment(1e-6, 1e-4, 1e-3)), 1e-7, 1e-20)
	up := gravlab.Must(sensor.MagneticSusceptibility(1e-5, 5e-5, 1e-6, 8000))
	near(t, "susceptibility", up, 1e-5*5e-5*1e-6/(4e-7*math.Pi*8000), 1e-9*up)
	if _, err := sensor.MagneticSusceptibility(1e-5, 5e-5, 1e-6, 2.67); err == nil {
		t.Error("a density of 2.67 was accepted")
	}
}

func TestTilt(t *testing.T) {
	near(t, "the tilt that fakes 1 µGal", gravlab.Must(sensor.VerticalTilt(9.8, math.Sqrt(2e-8/9.8))), 1e-8, 1e-15)
	near(t, "500 µrad", gravlab.Must(sensor.VerticalTilt(9.8, 500e-6))/gravlab.MicroGal, 122.5, 0.01)
	near(t, "horizontal", gravlab.Must(sensor.HorizontalTilt(9.8, 1e-6)), 9.8e-6, 1e-15)
	near(t, "cross axis", gravlab.Must(sensor.CrossAxis(0, 1, 1e-3)), 1e-3, 1e-9)
	near(t, "horizontal tilt noise", gravlab.Must(sensor.HorizontalTiltNoise(9.8, 1e-9)).Density(1), 9.8e-9, 1e-22)
}

// Pull-in of one plate is at a third of the gap; the equilibrium is one.
func TestDeflection(t *testing.T) {
	p := sensor.Plates{Area: 2e-4, Gap: 50e-6}
	const k = 11.0
	v := gravlab.Must(p.PullIn(k))
	near(t, "at pull-in", gravlab.Must(p.Deflection(k, v))/p.Gap, 1.0/3, 1e-7)
	for _, part := range []float64{0, 0.1, 0.5, 0.9, 0.999} {
		x := gravlab.Must(p.Deflection(k, part*v))
		c, _, err := p.Capacitances(x)
		if err != nil {
			t.Fatal(err)
		}
		// k x = ½V²dC/dx = ½V²C/(gap - x)
		near(t, "balance of forces", k*x, 0.5*part*part*v*v*c/(p.Gap-x), 1e-12*k*p.Gap)
	}
	if _, err := p.Deflection(k, 1.001*v); err == nil {
		t.Error("an equilibrium beyond pull-in was found")
	}
}

// The gradient of the pair is the derivative of its capacitances.
func TestCapacitanceGradient(t *testing.T) {
	p := sensor.Plates{Area: 2e-4, Gap: 50e-6}
	diff := func(x float64) float64 {
		a, b, err := p.Capacitances(x)
		if err != nil {
			t.Fatal(err)
		}
		return a - b
	}
	const h = 1e-9
	want := gravlab.Must(p.PairGradient())
	near(t, "gradient", (diff(h)-diff(-h))/(2*h), want, 1e-8*want)
	// Charge-free output of the bridge is linear: V(C1-C2)/(C1+C2) = V x/gap.
	a, b, _ := p.Capacitances(20e-6)
	near(t, "bridge", 3*(a-b)/(a+b)/20e-6, gravlab.Must(p.BridgeSensitivity(3)), 1e-7)
}

// Close discs tend to Kirchhoff's formula, far ones to two discs alone, each of
// capacitance 8εR.
func TestDiscFringe(t *testing.T) {
	exact := gravlab.Must(sensor.DiscFringe(1, 0.02))
	h := 0.02 / math.Pi
	near(t, "joint of the two routes", exact, 1+h*(math.Log(16/h)-1), 1e-3)
	// C = 4εR over επR²/gap.
	near(t, "far discs", gravlab.Must(sensor.DiscFringe(1, 1e4)), 4e4/math.Pi, 4e4/math.Pi*1e-4)
}

// Strips: without correlation the mean falls as 1/√N and so does the alternating
// sum; with full correlation the mean stays and the alternating sum vanishes.
func TestStripLimits(t *testing.T) {
	free := sensor.Strips{Count: 16, Pitch: 1e-3, CorrelationLength: 1e-9, Sigma: 0.04}
	near(t, "mean, uncorrelated", gravlab.Must(free.Mean()), 0.01, 1e-12)
	near(t, "alternating, uncorrelated", gravlab.Must(free.Alternating()), 0.01, 1e-12)
	tied := free
	tied.CorrelationLength = 1e6
	near(t, "mean, one patch", gravlab.Must(tied.Mean()), 0.04, 1e-9)
	near(t, "alternating, one patch", gravlab.Must(tied.Alternating()), 0, 1e-6)
	near(t, "area alone", gravlab.Must(sensor.PatchAverage(0.04, 1e-6, 16e-6)), 0.01, 1e-15)
}

// With an integrator the loop reads acceleration exactly at rest; without any
// gain the displacement is that of the bare suspension; reading is C·(-x).
func TestFeedback(t *testing.T) {
	s := sensor.Suspension{Mass: 1, Frequency: 2, Q: 3}
	fb := sensor.Feedback{Suspension: s, P: 4000, D: 120, I: 9000}
	near(t, "reading at rest", cmplx.Abs(gravlab.Must(fb.Reading(0))-1), 0, 1e-15)
	for _, f := range []float64{0.01, 1, 2, 30} {
		x, r := gravlab.Must(fb.Displacement(f)), gravlab.Must(fb.Reading(f))
		iw := complex(0, 2*math.Pi*f)
		c := complex(fb.P, 0) + complex(fb.D, 0)*iw + complex(fb.I, 0)/iw
		near(t, "reading is force over mass", cmplx.Abs(r+c*x), 0, 1e-12)
		// The balance of forces on the mass in the moving frame.
		near(t, "what the spring does", cmplx.Abs(x/gravlab.Must(s.Response(f))+r-1), 0, 1e-12)
		open := gravlab.Must(sensor.Feedback{Suspension: s}.Displacement(f))
		near(t, "without gain", cmplx.Abs(open-gravlab.Must(s.Response(f))), 0, 1e-12)
	}
	fb.I = (2*math.Pi*2/3+120)*(math.Pow(4*math.Pi, 2)+4000) + 1
	if err := fb.Validate(); err == nil {
		t.Error("a loop that runs away was accepted")
	}
}

func TestGenerationRecombination(t *testing.T) {
	g := sensor.GenerationRecombination{Variance: 4e-12, Lifetime: 0.02}
	near(t, "all of it", gravlab.Must(g.RMS(0, 1e9)), 2e-6, 1e-13)
	r, _, err := signal.BandRMS(func(f float64) float64 { return math.Pow(gravlab.Must(g.Density(f)), 2) }, 0.5, 80)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "band by quadrature", gravlab.Must(g.RMS(0.5, 80)), r, 1e-9*r)
}

// The motion depends on frequency and quality alone, the sag on the frequency
// alone: nobody has to invent a mass for them. What depends on the mass asks for
// it.
func TestWithoutMass(t *testing.T) {
	with, without := sensor.Suspension{Mass: 0.3, Frequency: 3.1, Q: 20, Temperature: 300}, sensor.Suspension{Frequency: 3.1, Q: 20, Temperature: 300}
	if got, want := gravlab.Must(sensor.Suspension{Frequency: 3.1}.Sag(9.81)), gravlab.Must(with.Sag(9.81)); got != want {
		t.Errorf("sag %g, want %g", got, want)
	}
	if got, want := gravlab.Must(without.Response(2)), gravlab.Must(with.Response(2)); got != want {
		t.Errorf("response %g, want %g", got, want)
	}
	if got, want := gravlab.Must(without.StepResponse(1, 0.2)), gravlab.Must(with.StepResponse(1, 0.2)); got != want {
		t.Errorf("step response %g, want %g", got, want)
	}
	if got, want := gravlab.Must(without.FirstPeak()), gravlab.Must(with.FirstPeak()); got != want {
		t.Errorf("first peak %g, want %g", got, want)
	}
	_, err := without.ReadoutNoise(1e-12)
	if err != nil {
		t.Error(err)
	}
	_, stiffness := without.Stiffness()
	_, rms := without.ThermalRMS()
	_, noise := without.ThermalNoise()
	_, record := without.ThermalRecord(rand.New(rand.NewPCG(1, 1)), 10, 0.1)
	for _, err := range []error{stiffness, rms, noise, record} {
		if err == nil || !strings.Contains(err.Error(), "Mass") {
			t.Errorf("without a mass: %v, want an error about Mass", err)
		}
	}
	for _, s := range []sensor.Suspension{{Mass: -1, Frequency: 3.1}, {Mass: math.NaN(), Frequency: 3.1}, {Frequency: 3.1, Q: -2}, {}} {
		if _, err := s.Sag(9.81); err == nil {
			t.Errorf("sag of %+v", s)
		}
	}
}

// A step so long ago that its phase is beyond the range of numbers has settled.
func TestStepResponseLongAgo(t *testing.T) {
	s := sensor.Suspension{Mass: 1, Frequency: 1, Q: 1}
	w0 := 2 * math.Pi
	if x := gravlab.Must(s.StepResponse(1, math.MaxFloat64)); x != -1/w0/w0 {
		t.Errorf("%v, want %v", x, -1/w0/w0)
	}
}
