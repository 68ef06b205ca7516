package sensor

import (
	"fmt"
	"math"

	"gravity.example/gravlab/internal/arg"
	"gravity.example/gravlab/signal"
)

// A Noise is one source of noise, as acceleration of the frame.
type Noise struct {
	Name    string
	Density func(f float64) float64 // m/s²/√Hz at f > 0 (Hz)
}

// White is a source of the same density (m/s²/√Hz) at all frequencies.
func White(name string, density float64) (Noise, error) {
	if err := arg.NonNegative("sensor.White", "density", density, "density in m/s²/√Hz"); err != nil {
		return Noise{}, err
	}
	return Noise{name, func(float64) float64 { return density }}, nil
}

// FromDisplacement turns noise of the readout, a displacement density (m/√Hz, a
// function of frequency), into acceleration: divided by |x/a|. density must not
// be nil. It does not depend on Mass.
func (s Suspension) FromDisplacement(name string, density func(f float64) float64) (Noise, error) {
	if err := s.validateMotion(); err != nil {
		return Noise{}, err
	}
	return Noise{name, func(f float64) float64 { return density(f) * s.gain(f) }}, nil
}

// ReadoutNoise is white noise of the readout of a displacement density (m/√Hz).
// As acceleration it is ω0² times that below resonance and ω² times above.
func (s Suspension) ReadoutNoise(density float64) (Noise, error) {
	if err := arg.NonNegative("sensor.Suspension.ReadoutNoise", "density", density, "density in m/√Hz"); err != nil {
		return Noise{}, err
	}
	return s.FromDisplacement("readout", func(float64) float64 { return density })
}

// An Amplifier watches a capacitive source through a bridge.
type Amplifier struct {
	Voltage     float64 // e_n, V/√Hz
	Current     float64 // i_n, A/√Hz
	Capacitance float64 // F, of the source
	Sensitivity float64 // V/m, of the bridge
}

// Displacement returns the displacement density (m/√Hz) at f (Hz) of voltage and
// current noise, uncorrelated: √(e_n² + (i_n/(2πfC))²)/sensitivity. f is the
// frequency at the amplifier: with a carrier, that of the carrier.
func (a Amplifier) Displacement(f float64) (float64, error) {
	const fn = "sensor.Amplifier"
	if err := arg.NonNegative(fn, "Voltage", a.Voltage, "density in V/√Hz"); err != nil {
		return 0, err
	}
	if err := arg.NonNegative(fn, "Current", a.Current, "density in A/√Hz"); err != nil {
		return 0, err
	}
	if err := arg.Positive(fn, "Capacitance", a.Capacitance, "capacitance in F"); err != nil {
		return 0, err
	}
	if err := arg.Positive(fn, "Sensitivity", a.Sensitivity, "sensitivity in V/m"); err != nil {
		return 0, err
	}
	if err := arg.Positive(fn, "f", f, "frequency in Hz"); err != nil {
		return 0, err
	}
	return math.Hypot(a.Voltage, a.Current/(2*math.Pi*f*a.Capacitance)) / a.Sensitivity, nil
}

// A GenerationRecombination is the noise of a semiconductor whose carriers come
// and go with one lifetime: a Lorentzian.
type GenerationRecombination struct {
	Variance float64 // V², total
	Lifetime float64 // s
}

func (g GenerationRecombination) validate() error {
	const fn = "sensor.GenerationRecombination"
	if err := arg.NonNegative(fn, "Variance", g.Variance, "variance in V²"); err != nil {
		return err
	}
	return arg.Positive(fn, "Lifetime", g.Lifetime, "time in s")
}

// Density returns the one-sided amplitude density (V/√Hz) at f (Hz), the root of
// 4 var τ/(1 + (2πfτ)²).
func (g GenerationRecombination) Density(f float64) (float64, error) {
	if err := g.validate(); err != nil {
		return 0, err
	}
	if err := arg.NonNegative("sensor.GenerationRecombination.Density", "f", f, "frequency in Hz"); err != nil {
		return 0, err
	}
	return 2 * math.Sqrt(g.Variance*g.Lifetime) / math.Hypot(1, 2*math.Pi*f*g.Lifetime), nil
}

// RMS returns the rms (V) between f1 and f2 (Hz): the root of
// var·(2/π)(atan 2πf2τ - atan 2πf1τ).
func (g GenerationRecombination) RMS(f1, f2 float64) (float64, error) {
	const fn = "sensor.GenerationRecombination.RMS"
	if err := g.validate(); err != nil {
		return 0, err
	}
	if err := checkBand(fn, f1, f2); err != nil {
		return 0, err
	}
	a, b := 2*math.Pi*f1*g.Lifetime, 2*math.Pi*f2*g.Lifetime
	d := math.Atan(b) - math.Atan(a)
	if a*b < 1e300 { // the difference of two near arcs keeps its digits this way
		d = math.Atan2(b-a, 1+a*b)
	}
	return math.Sqrt(g.Variance * 2 / math.Pi * d), nil
}

func checkBand(fn string, f1, f2 float64) error {
	if !(f1 >= 0 && f2 > f1 && f2 <= 1e30) {
		return arg.Bad(fn, "band", fmt.Sprintf("%g to %g Hz", f1, f2), "two rising frequencies in Hz, zero or more")
	}
	return nil
}

// PatchNoise is the acceleration by a fluctuating patch potential of density
// patch (V/√Hz) next to a bias (V): the force ½V²dC/dx is linear in the patch
// only through the bias, F = bias·(dC/dx)·v. gradient is dC/dx (F/m), mass in kg.
// Without a bias (or a second patch) the force is of second order and this
// source is zero.
func PatchNoise(bias, gradient, patch, mass float64) (Noise, error) {
	const fn = "sensor.PatchNoise"
	if err := arg.Finite(fn, "bias", bias, "voltage in V"); err != nil {
		return Noise{}, err
	}
	if err := arg.Finite(fn, "gradient", gradient, "capacitance gradient in F/m"); err != nil {
		return Noise{}, err
	}
	if err := arg.NonNegative(fn, "patch", patch, "density in V/√Hz"); err != nil {
		return Noise{}, err
	}
	if err := arg.Positive(fn, "mass", mass, "mass in kg"); err != nil {
		return Noise{}, err
	}
	d := math.Abs(bias*gradient) * patch / mass
	return Noise{"patch potential", func(float64) float64 { return d }}, nil
}

// Strips are electrodes cut from one surface, with potentials of standard
// deviation Sigma whose correlation falls as exp(-distance/CorrelationLength)
// with the distance of their centres.
//
// Cutting helps only under such a model: each strip must have a potential of its
// own (a floating film, a lead) with a correlation shorter than the pitch, and
// then the mean falls as 1/√N; or neighbours must work with opposite sign, and
// then patches wider than a pair cancel. Patches smaller than a strip are
// averaged by area alone, cut or not: see PatchAverage.
type Strips struct {
	Count             int     // strips, 1 to 10000
	Pitch             float64 // m, from centre to centre
	CorrelationLength float64 // m
	Sigma             float64 // V, of one strip
}

// Mean returns the standard deviation (V) of the mean potential of the strips.
func (s Strips) Mean() (float64, error) { return s.deviation(1) }

// Alternating returns the standard deviation (V) of the sum with alternating
// signs over N: strips of opposite sign side by side.
func (s Strips) Alternating() (float64, error) { return s.deviation(-1) }

func (s Strips) deviation(sign float64) (float64, error) {
	const fn = "sensor.Strips"
	if s.Count < 1 || s.Count > 10000 {
		return 0, arg.Bad(fn, "Count", s.Count, "1 to 10000 strips")
	}
	if err := arg.Positive(fn, "Pitch", s.Pitch, "length in m"); err != nil {
		return 0, err
	}
	if err := arg.Positive(fn, "CorrelationLength", s.CorrelationLength, "length in m"); err != nil {
		return 0, err
	}
	if err := arg.NonNegative(fn, "Sigma", s.Sigma, "voltage in V"); err != nil {
		return 0, err
	}
	n := float64(s.Count)
	sum := n
	parity := sign
	for m := 1; m < s.Count; m++ {
		sum += 2 * (n - float64(m)) * parity * math.Exp(-float64(m)*s.Pitch/s.CorrelationLength)
		parity *= sign
	}
	return s.Sigma * math.Sqrt(math.Max(sum, 0)) / n, nil
}

// PatchAverage returns the standard deviation (V) of the potential averaged over
// an electrode of an area (m²) that carries independent patches of an area
// patch (m²) each and standard deviation sigma (V): sigma √(patch/area). Only
// the area counts: cutting the electrode into strips wider than a patch changes
// nothing. The electrode must be larger than a patch.
func PatchAverage(sigma, patch, area float64) (float64, error) {
	const fn = "sensor.PatchAverage"
	if err := arg.NonNegative(fn, "sigma", sigma, "voltage in V"); err != nil {
		return 0, err
	}
	if err := arg.Positive(fn, "patch", patch, "area in m²"); err != nil {
		return 0, err
	}
	if !(area >= patch) || math.IsInf(area, 1) {
		return 0, arg.Bad(fn, "area", area, fmt.Sprintf("an area in m² of at least one patch, %g m²", patch))
	}
	return sigma * math.Sqrt(patch/area), nil
}

// VerticalTiltNoise is tilt noise of a density (rad/√Hz) seen by a vertical
// sensor with a static tilt (rad): to first order g sin(tilt)·density. Level the
// sensor and only the second order is left, which this leaves out.
func VerticalTiltNoise(g, tilt, density float64) (Noise, error) {
	const fn = "sensor.VerticalTiltNoise"
	if err := checkTilt(fn, g, tilt); err != nil {
		return Noise{}, err
	}
	if err := arg.NonNegative(fn, "density", density, "density in rad/√Hz"); err != nil {
		return Noise{}, err
	}
	d := math.Abs(g*math.Sin(tilt)) * density
	return Noise{"tilt, vertical axis", func(float64) float64 { return d }}, nil
}

// HorizontalTiltNoise is tilt noise of a density (rad/√Hz) seen by a horizontal
// sensor: g·density, whatever the levelling.
func HorizontalTiltNoise(g, density float64) (Noise, error) {
	const fn = "sensor.HorizontalTiltNoise"
	if err := arg.Finite(fn, "g", g, "acceleration in m/s²"); err != nil {
		return Noise{}, err
	}
	if err := arg.NonNegative(fn, "density", density, "density in rad/√Hz"); err != nil {
		return Noise{}, err
	}
	d := math.Abs(g) * density
	return Noise{"tilt, horizontal axis", func(float64) float64 { return d }}, nil
}

// TemperatureNoise is temperature noise through a coefficient (m/s²/K) and a
// housing that follows with a first-order lag (s): |coefficient|·density/
// √(1 + (2πf·lag)²). density (K/√Hz) is a function of frequency, not nil.
func TemperatureNoise(coefficient, lag float64, density func(f float64) float64) (Noise, error) {
	const fn = "sensor.TemperatureNoise"
	if err := arg.Finite(fn, "coefficient", coefficient, "coefficient in m/s²/K"); err != nil {
		return Noise{}, err
	}
	if err := arg.NonNegative(fn, "lag", lag, "time in s"); err != nil {
		return Noise{}, err
	}
	return Noise{"temperature", func(f float64) float64 {
		return math.Abs(coefficient) * density(f) / math.Hypot(1, 2*math.Pi*f*lag)
	}}, nil
}

// A Budget is a suspension with all its independent sources of noise.
type Budget struct {
	Suspension Suspension
	Sources    []Noise // none with a nil Density
}

// Acceleration returns the density of all sources together (m/s²/√Hz) at f (Hz).
func (b Budget) Acceleration(f float64) (float64, error) {
	const fn = "sensor.Budget.Acceleration"
	if err := arg.Positive(fn, "f", f, "frequency in Hz"); err != nil {
		return 0, err
	}
	if err := b.validate(fn); err != nil {
		return 0, err
	}
	return math.Sqrt(b.power(f)), nil
}

// Displacement returns the same as displacement of the mass (m/√Hz).
func (b Budget) Displacement(f float64) (float64, error) {
	a, err := b.Acceleration(f)
	if err != nil {
		return 0, err
	}
	return a / b.Suspension.gain(f), nil
}

func (b Budget) validate(fn string) error {
	if err := b.Suspension.validateMotion(); err != nil {
		return err
	}
	if len(b.Sources) == 0 {
		return arg.AtLeast(fn, "Sources", 0, 1)
	}
	return nil
}

func (b Budget) power(f float64) float64 {
	var s float64
	for _, n := range b.Sources {
		d := n.Density(f)
		s += d * d
	}
	return s
}

// Largest returns the source with the greatest density at f (Hz) and its fraction
// of the power there.
func (b Budget) Largest(f float64) (Noise, float64, error) {
	total, err := b.Acceleration(f)
	if err != nil {
		return Noise{}, 0, err
	}
	best := 0
	for i, n := range b.Sources {
		if n.Density(f) > b.Sources[best].Density(f) {
			best = i
		}
	}
	share := b.Sources[best].Density(f) / total
	return b.Sources[best], share * share, nil
}

// RMS returns the resolution in the band f1 to f2 (Hz): the rms acceleration
// noise (m/s²) of everything in it, without any averaging beyond the band.
func (b Budget) RMS(f1, f2 float64) (float64, error) {
	const fn = "sensor.Budget.RMS"
	if err := b.validate(fn); err != nil {
		return 0, err
	}
	// A narrow resonance is given ends of its own, so that it cannot hide.
	edges := []float64{f1}
	f0 := b.Suspension.Frequency
	for _, e := range []float64{f0 * (1 - 30/b.Suspension.Q), f0, f0 * (1 + 30/b.Suspension.Q)} {
		if e > edges[len(edges)-1] && e < f2 {
			edges = append(edges, e)
		}
	}
	edges = append(edges, f2)
	var sum float64
	for i := 1; i < len(edges); i++ {
		r, _, err := signal.BandRMS(b.power, edges[i-1], edges[i])
		if err != nil {
			return 0, err
		}
		sum += r * r
	}
	return math.Sqrt(sum), nil
}

// Crossing returns the frequency (Hz) between f1 and f2 at which two sources are
// equally large. Their order at f1 and f2 must differ; with several crossings
// one of them is returned.
func Crossing(a, b Noise, f1, f2 float64) (float64, error) {
	const fn = "sensor.Crossing"
	if !(f1 > 0 && f2 > f1 && f2 <= 1e30) {
		return 0, arg.Bad(fn, "band", fmt.Sprintf("%g to %g Hz", f1, f2), "two rising positive frequencies in Hz")
	}
	above := func(f float64) bool { return a.Density(f) > b.Density(f) }
	start := above(f1)
	if start == above(f2) {
		return 0, arg.Bad(fn, "band", fmt.Sprintf("%g to %g Hz", f1, f2), "a band at whose ends a different source is the larger")
	}
	lo, hi := math.Log(f1), math.Log(f2)
	for range 200 {
		mid := (lo + hi) / 2
		if !(mid > lo && mid < hi) {
			break
		}
		if above(math.Exp(mid)) == start {
			lo = mid
		} else {
			hi = mid
		}
	}
	return math.Exp((lo + hi) / 2), nil
}
