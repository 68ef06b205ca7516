package pendulum

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/internal/arg"
	"gravity.example/gravlab/sensor"
	"gravity.example/gravlab/signal"
)

// An Experiment is a swing beside two sensors: one near the bob, and a reference
// that feels the same ground but is too far away for the pull.
type Experiment struct {
	Pendulum Pendulum
	Station  Station // of the test sensor
	Rate     float64 // samples per second
	Quiet    float64 // s that are recorded before release
	Swing    float64 // s that are recorded after it
	// Ground is the one-sided power density ((m/s²)²/Hz) of the ground's
	// acceleration along the axis, the same for both sensors, such as
	// HighNoise.PowerDensity(); nil is a ground at rest.
	Ground func(f float64) float64
	// OwnNoise and ReferenceNoise are the sensors' own white noise, m/s²/√Hz.
	OwnNoise, ReferenceNoise float64
	// Gain is what the reference makes of the ground, relative to the test
	// sensor; 0 is taken as 1.
	Gain float64
	// Floor is what the reaction does to the test sensor; the zero value does
	// nothing. ReferenceShare (0 to 1) is the part of that which the reference
	// feels too.
	Floor          Floor
	ReferenceShare float64
	// Shaker replaces the bob by a machine that pushes the support with the same
	// force and moves no mass: the floor alone.
	Shaker bool
	// Antiphase hangs a second, equal bob beside the first, swinging against it:
	// the forces on the support cancel, and the pulls do not. OtherPivot is its
	// pivot, m from the first.
	Antiphase  bool
	OtherPivot r3.Vec
}

// Validate says what about e cannot be.
func (e Experiment) Validate() error {
	const fn = "pendulum.Experiment"
	if err := e.Pendulum.Validate(); err != nil {
		return err
	}
	if err := e.Station.Validate(); err != nil {
		return err
	}
	if err := e.Floor.Validate(); err != nil {
		return err
	}
	if err := arg.Between(fn, "Rate", e.Rate, 1e-3, 1e6, "sampling rate in Hz"); err != nil {
		return err
	}
	if !(e.Quiet >= 0 && e.Swing > 0 && (e.Quiet+e.Swing)*e.Rate <= 1<<24) {
		return arg.Bad(fn, "Quiet and Swing", fmt.Sprintf("%g s and %g s", e.Quiet, e.Swing), "times in s, Swing positive, together at most 2^24 samples")
	}
	for _, a := range []struct {
		name string
		v    float64
	}{{"OwnNoise", e.OwnNoise}, {"ReferenceNoise", e.ReferenceNoise}} {
		if err := arg.NonNegative(fn, a.name, a.v, "density in m/s²/√Hz"); err != nil {
			return err
		}
	}
	if err := arg.Between(fn, "Gain", e.Gain, -1e6, 1e6, "factor"); err != nil {
		return err
	}
	if err := arg.Between(fn, "ReferenceShare", e.ReferenceShare, 0, 1, "share"); err != nil {
		return err
	}
	if e.Antiphase && !(r3.Norm(e.OtherPivot) <= 1e6) {
		return arg.Bad(fn, "OtherPivot", e.OtherPivot, "a finite place in m")
	}
	return nil
}

// A Recording holds what the two sensors wrote.
type Recording struct {
	Rate      float64   // samples per second
	Release   int       // sample at which the bob is let go
	Test      []float64 // m/s²
	Reference []float64 // m/s²
}

// Times returns the time of each sample, s after release.
func (r Recording) Times() []float64 {
	t := make([]float64, len(r.Test))
	for i := range t {
		t[i] = float64(i-r.Release) / r.Rate
	}
	return t
}

// Signal returns, without noise, the pull along the axis and what the floor does
// along it (both m/s²), at each time (s after release). The steady tilt of the
// slab under the weight of the bob while it is held to one side is left out of
// the floor's part: before release that is zero.
func (e Experiment) Signal(times []float64) (pull, floor []float64, err error) {
	if err := e.Validate(); err != nil {
		return nil, nil, err
	}
	const fn = "pendulum.Experiment.Signal"
	states, err := e.Pendulum.states(fn, times)
	if err != nil {
		return nil, nil, err
	}
	axis := e.Station.axis()
	other := r3.Sub(e.Station.At, e.OtherPivot)
	w := 4 * math.Pi / e.Pendulum.period() // the vertical force is at 2/T
	perH, perV := e.Floor.along(axis.X, axis.Z, e.Pendulum.Gravity, w)
	pull, floor = make([]float64, len(times)), make([]float64, len(times))
	for i, s := range states {
		if !e.Shaker {
			v, _, err := e.Pendulum.attraction(s.theta, e.Station.At)
			if err != nil {
				return nil, nil, err
			}
			if e.Antiphase {
				u, _, err := e.Pendulum.attraction(-s.theta, other)
				if err != nil {
					return nil, nil, err
				}
				v = r3.Add(v, u)
			}
			pull[i] = r3.Dot(v, axis)
		}
		if times[i] <= 0 {
			continue // held by a thread tied to the same slab: no force beside the weight
		}
		h, v := e.Pendulum.reaction(s.theta, s.rate)
		if e.Antiphase {
			h, v = 0, 2*v // only the horizontal forces cancel
		}
		floor[i] = float64(perH*h) + float64(perV*v)
	}
	return pull, floor, nil
}

// Record makes a recording. The ground is the same in both sensors (times Gain
// in the reference). While the bob is held before release, the test sensor feels
// its steady pull. The vertical motion of the floor is worked out for its line
// at 2/T. rng must not be nil; the same seed gives the same recording.
func (e Experiment) Record(rng *rand.Rand) (Recording, error) {
	if err := e.Validate(); err != nil {
		return Recording{}, err
	}
	r := Recording{Rate: e.Rate, Release: int(math.Round(e.Quiet * e.Rate))}
	n := r.Release + int(math.Round(e.Swing*e.Rate))
	if n < 2 {
		return Recording{}, arg.Bad("pendulum.Experiment.Record", "Swing", e.Swing, "a time in s that holds samples")
	}
	r.Test = make([]float64, n)
	pull, floor, err := e.Signal(r.Times())
	if err != nil {
		return Recording{}, err
	}
	ground := make([]float64, n)
	if e.Ground != nil {
		if ground, err = signal.Noise(rng, n, e.Rate, e.Ground); err != nil {
			return Recording{}, err
		}
	}
	if r.Test, err = signal.WhiteNoise(rng, n, e.Rate, float64(e.OwnNoise*e.OwnNoise)); err != nil {
		return Recording{}, err
	}
	if r.Reference, err = signal.WhiteNoise(rng, n, e.Rate, float64(e.ReferenceNoise*e.ReferenceNoise)); err != nil {
		return Recording{}, err
	}
	gain := e.Gain
	if gain == 0 {
		gain = 1
	}
	for i := range n {
		r.Test[i] += pull[i] + floor[i] + ground[i]
		r.Reference[i] += float64(gain*ground[i]) + float64(e.ReferenceShare*floor[i])
	}
	return r, nil
}

// SensorNoise returns the white noise (m/s²/√Hz) that stands for a sensor's noise
// budget between f1 and f2 (Hz): its rms there over the root of the width. A
// shortcut for OwnNoise when the budget is nearly flat over the lines.
func SensorNoise(b sensor.Budget, f1, f2 float64) (float64, error) {
	r, err := b.RMS(f1, f2)
	if err != nil {
		return 0, err
	}
	return r / math.Sqrt(f2-f1), nil
}

// SwingsNeeded returns how many periods (not rounded) a line of the given
// amplitude (m/s², zero to peak) must be watched for a signal-to-noise ratio rho
// in white noise of density asd (m/s²/√Hz): time = rho²·asd²/amplitude², over the
// exact period of p.
func (p Pendulum) SwingsNeeded(rho, amplitude, asd float64) (float64, error) {
	const fn = "pendulum.Pendulum.SwingsNeeded"
	if err := p.Validate(); err != nil {
		return 0, err
	}
	if err := arg.Positive(fn, "rho", rho, "signal-to-noise ratio"); err != nil {
		return 0, err
	}
	if err := arg.Positive(fn, "amplitude", amplitude, "acceleration in m/s²"); err != nil {
		return 0, err
	}
	if err := arg.Positive(fn, "asd", asd, "density in m/s²/√Hz"); err != nil {
		return 0, err
	}
	q := rho * (asd / amplitude)
	return q * q / p.period(), nil
}
