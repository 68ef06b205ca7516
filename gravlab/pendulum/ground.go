package pendulum

import (
	"fmt"
	"math"

	"gravity.example/gravlab/internal/arg"
	"gravity.example/gravlab/signal"
)

// A NoiseModel is a level of ground noise: one-sided acceleration density, the
// same for all directions.
type NoiseModel int

const (
	// LowNoise is the new low noise model (NLNM), the quiet limit of permanent
	// stations, and HighNoise the new high noise model (NHNM), their noisy limit:
	// J. Peterson, U.S. Geological Survey Open-File Report 93-322 (1993).
	LowNoise NoiseModel = iota
	HighNoise
	// Basement is a level of ours for a building in use, since the models
	// describe chosen sites: HighNoise raised by 20 dB at periods up to 1 s, less
	// beyond, and not at all from 4 s (from memory: cellars can lie above the
	// high model between 1 and 20 Hz). Measure your own.
	Basement
)

// String returns the name of the model.
func (m NoiseModel) String() string {
	switch m {
	case LowNoise:
		return "new low noise model 1993"
	case HighNoise:
		return "new high noise model 1993"
	case Basement:
		return "basement (assumed)"
	}
	return fmt.Sprintf("NoiseModel(%d)", int(m))
}

// A segment of a noise model: level A + B log10(T) dB relative to 1 (m/s²)²/Hz
// from the period start (s) to that of the next segment.
type segment struct{ start, a, b float64 }

// longest is the period at which both models end, s.
const longest = 1e5

// Peterson 1993, tables 3 and 4; a test holds them to the published table.
var (
	nlnm = []segment{
		{0.10, -162.36, 5.64}, {0.17, -166.70, 0}, {0.40, -170.00, -8.30}, {0.80, -166.40, 28.90},
		{1.24, -168.60, 52.48}, {2.40, -159.98, 29.81}, {4.30, -141.10, 0}, {5.00, -71.36, -99.77},
		{6.00, -97.26, -66.49}, {10.00, -132.18, -31.57}, {12.00, -205.27, 36.16}, {15.60, -37.65, -104.33},
		{21.90, -114.37, -47.10}, {31.60, -160.58, -16.28}, {45.00, -187.50, 0}, {70.00, -216.47, 15.70},
		{101.00, -185.00, 0}, {154.00, -168.34, -7.61}, {328.00, -217.43, 11.90}, {600.00, -258.28, 26.60},
		{10000.00, -346.88, 48.75},
	}
	nhnm = []segment{
		{0.10, -108.73, -17.23}, {0.22, -150.34, -80.50}, {0.32, -122.31, -23.87}, {0.80, -116.85, 32.51},
		{3.80, -108.48, 18.08}, {4.60, -74.66, -32.95}, {6.30, 0.66, -127.18}, {7.90, -93.37, -22.42},
		{15.40, 73.54, -162.98}, {20.00, -151.52, 10.01}, {354.80, -206.66, 31.63},
	}
)

func (m NoiseModel) segments() []segment {
	if m == LowNoise {
		return nlnm
	}
	return nhnm
}

func (m NoiseModel) validate(fn string) error {
	if m < LowNoise || m > Basement {
		return arg.Bad(fn, "model", int(m), "LowNoise, HighNoise or Basement")
	}
	return nil
}

// level returns the density at a period inside the model, dB.
func (m NoiseModel) level(period float64) float64 {
	s := m.segments()
	i := len(s) - 1
	for i > 0 && period < s[i].start {
		i--
	}
	l := math.Log10(period)
	db := s[i].a + s[i].b*l
	if m == Basement {
		db += 20 * math.Max(0, math.Min(1, 1-l/math.Log10(4)))
	}
	return db
}

// Density returns the amplitude density of the ground's acceleration (m/s²/√Hz)
// at f (Hz), 1e-5 to 10 Hz: where the models are defined.
func (m NoiseModel) Density(f float64) (float64, error) {
	const fn = "pendulum.NoiseModel.Density"
	if err := m.validate(fn); err != nil {
		return 0, err
	}
	if err := arg.Between(fn, "f", f, 1/longest*(1-1e-12), 10*(1+1e-12), "frequency in Hz"); err != nil {
		return 0, err
	}
	return math.Pow(10, m.level(1/f)/20), nil
}

// PowerDensity returns the power density ((m/s²)²/Hz) as a function of frequency
// (Hz) for use with signal.Noise. Outside the model's range, 1e-5 to 10 Hz, it
// goes on at the level of the end: an assumption. An unknown model gives NaN.
func (m NoiseModel) PowerDensity() func(f float64) float64 {
	if m.validate("") != nil {
		return func(float64) float64 { return math.NaN() }
	}
	return func(f float64) float64 {
		return math.Exp(math.Ln10 / 10 * m.level(math.Max(0.1, math.Min(longest, 1/f))))
	}
}

// RMS returns the rms acceleration of the ground (m/s²) between f1 and f2 (Hz),
// both from 1e-5 to 10: the root of the density's integral, segment by segment
// in closed form.
func (m NoiseModel) RMS(f1, f2 float64) (float64, error) {
	const fn = "pendulum.NoiseModel.RMS"
	if err := m.validate(fn); err != nil {
		return 0, err
	}
	if !(f1 >= 1/longest*(1-1e-12) && f2 > f1 && f2 <= 10*(1+1e-12)) {
		return 0, arg.Bad(fn, "band", fmt.Sprintf("%g to %g Hz", f1, f2), "a band from 1e-5 to 10 Hz")
	}
	var sum float64
	add := func(a, b, lo, hi float64) error { // frequencies lo to hi
		if hi <= lo {
			return nil
		}
		if m == Basement {
			r, _, err := signal.BandRMS(m.PowerDensity(), lo, hi)
			sum += r * r
			return err
		}
		p := 1 - b/10 // ∫ f^(-b/10) df
		scale := math.Pow(10, a/10)
		// (hi^p - lo^p)/p, also for p near zero.
		sum += scale * math.Pow(lo, p) * math.Log(hi/lo) * expRatio(p*math.Log(hi/lo))
		return nil
	}
	s := m.segments()
	for i, seg := range s {
		lo := 0.0
		if i+1 < len(s) {
			lo = 1 / s[i+1].start
		}
		hi := 1 / seg.start
		if i == 0 {
			hi = math.Inf(1)
		}
		if m == Basement { // the extra level bends at 1 s and 4 s
			for _, cut := range [][2]float64{{0, 0.25}, {0.25, 1}, {1, math.Inf(1)}} {
				if err := add(seg.a, seg.b, math.Max(math.Max(lo, f1), cut[0]), math.Min(math.Min(hi, f2), cut[1])); err != nil {
					return 0, err
				}
			}
			continue
		}
		if err := add(seg.a, seg.b, math.Max(lo, f1), math.Min(hi, f2)); err != nil {
			return 0, err
		}
	}
	return math.Sqrt(sum), nil
}

// expRatio is (exp(x)-1)/x.
func expRatio(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Expm1(x) / x
}
