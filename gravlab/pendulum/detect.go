package pendulum

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
	"gravity.example/gravlab/signal"
)

// An Analysis looks for a swinging bob in a recording. Everything but the bob's
// mass is taken as known; the mass in Pendulum.Bob is not looked at and may be 0
// (with a rod the ratio of the two masses matters: it is taken from there).
type Analysis struct {
	Pendulum Pendulum
	Station  Station
	// Lags is how many samples to either side the measured transfer from the
	// reference reaches; see signal.CancelReference.
	Lags int
	// Order is the number of coefficients of the noise model that whitens the
	// residual; 0 takes the noise as white.
	Order int
	// UPlace is the standard uncertainty of the distance from the swing to the
	// sensor (m, along the line from the rest position to the sensor) and
	// UAmplitude that of the amplitude (rad). Zero leaves them out.
	UPlace, UAmplitude float64
	// ULength is the standard uncertainty of Length (m), at the same distance
	// from the rest position to the sensor. With it the time scale of the swing is
	// fitted too, held by what ULength and UAmplitude let the period be (ULength
	// can stand for Gravity as well: L/g counts). At 0 the period is taken as
	// exact, whatever UAmplitude is: then a record that runs out of step with it
	// says so in Remarks.
	ULength float64
}

// A Detection is what an Analysis finds.
type Detection struct {
	Mass float64 // kg, of the bob, by G; negative when the record says the opposite
	// U is the standard uncertainty of Mass, kg, all parts together: UNoise from
	// the scatter of the record (and from the time scale, where that is fitted),
	// UPlace, UAmplitude, ULength (the width of the arc; its part in the period is
	// in UNoise), and that of G.
	U, UNoise, UPlace, UAmplitude, ULength, UG float64
	// Period is the period of the pull that was fitted, s: that of Length, Gravity
	// and Amplitude, or, with Analysis.ULength, as the record and they together
	// have it. UPeriod is its standard uncertainty; 0 where it is taken as exact.
	Period, UPeriod float64
	// Z is the matched filter's output, Mass over its standard uncertainty at the
	// period found: normal with standard deviation 1 when no bob swings and the
	// period is taken as exact. Infinite for a record without noise.
	Z float64
	// FalseAlarm is the probability that noise alone gives Z or more, one-sided,
	// for one trial; where the time scale is fitted, an upper bound that counts the
	// periods searched. With several places, times or recordings tried, use
	// signal.FalseAlarm(Z, trials). With the sign of the record reversed the same
	// data would say -Z.
	FalseAlarm float64
	// DOF is the number of degrees of freedom behind UNoise.
	DoF int
	// Before and After are the scatter (rms, m/s²) of the record after release
	// without and with the reference subtracted.
	Before, After float64
	// Lines are the lines at 1/T and 2/T in the record after subtraction, by
	// lock-in from the moment of release: their phase is near 0 or ±π for a pull,
	// and for the floor's tilt as well.
	Lines []signal.Line
	// Remarks say, a sentence each, what in the record speaks against Mass and U:
	// a swing out of step with the pull that was fitted, a period beyond what
	// ULength allows, a pull too weak to find the period by. Where there is a
	// remark, U is not the uncertainty of Mass.
	Remarks []string
}

// outOfStep is χ² of 2 degrees of freedom that noise exceeds in one of 1000
// records, -2 ln 0.001.
const outOfStep = 13.8155

// Detect subtracts what the reference saw, with a transfer measured before
// release only; whitens the rest with a noise model fitted before release only;
// and fits the bob's pull and a constant to what follows release, by least
// squares. Its uncertainty comes from the residuals after release.
//
// The answer is the mass whose pull the record shows. If the floor's tilt is in
// it too, the mass is wrong by about the floor's effect over the pull (see
// Compare), and nothing in this record says so: see the tests that are named in
// the package comment.
//
// The period follows from Length, Gravity and Amplitude. In a long record a small
// error of it makes the template run out of step: with a phase that is wrong by φ
// at the end, the mass comes out too small by about φ²/6 of it, and the scatter
// does not show that. (A length of 1 m that is 1 mm too long makes φ at
// 2/T 3.1 rad in 500 periods.) Time the swing, and adjust Length until the
// period agrees; or state ULength. Whichever is done, what is left is tested for
// the parts that a wrong period or a wrong moment of release would leave, h'(t)
// and t h'(t) beside the pull h(t), and Remarks says when they are there.
//
// The fit of the time scale takes Mass and UNoise from a model that is linear
// near the best period. That holds where Z is above about 5.
func (a Analysis) Detect(r Recording) (Detection, error) { return detect(task{a, r}) }

// A task is an analysis of one recording.
type task struct {
	Analysis  Analysis
	Recording Recording
}

func (t task) detect() (Detection, error) {
	a, r := t.Analysis, t.Recording
	const fn = "pendulum.Analysis.Detect"
	a.Pendulum = a.Pendulum.weighed()
	p := a.Pendulum
	if err := p.Validate(); err != nil {
		return Detection{}, err
	}
	if p.Bob.Mass == 0 || p.Amplitude == 0 {
		return Detection{}, arg.Bad(fn, "Pendulum", fmt.Sprintf("with a bob of %g kg and an amplitude of %g rad", p.Bob.Mass, p.Amplitude), "a bob that swings, with a mass where the rod has one")
	}
	if err := a.Station.Validate(); err != nil {
		return Detection{}, err
	}
	if err := arg.Between(fn, "Rate", r.Rate, 1e-3, 1e6, "sampling rate in Hz"); err != nil {
		return Detection{}, err
	}
	if a.Order < 0 || a.Order > 1000 {
		return Detection{}, arg.Bad(fn, "Order", a.Order, "0 to 1000 coefficients")
	}
	if err := arg.Between(fn, "UPlace", a.UPlace, 0, 1e3, "standard uncertainty in m"); err != nil {
		return Detection{}, err
	}
	if err := arg.Between(fn, "UAmplitude", a.UAmplitude, 0, 1, "standard uncertainty in rad"); err != nil {
		return Detection{}, err
	}
	if err := arg.Between(fn, "ULength", a.ULength, 0, p.Length/10, "standard uncertainty in m, at most a tenth of Length"); err != nil {
		return Detection{}, err
	}
	sub, err := signal.CancelReference(r.Test, r.Reference, a.Lags, r.Release)
	if err != nil {
		return Detection{}, err
	}
	quiet := sub.Residual[:r.Release-sub.First]
	swing := sub.Residual[r.Release-sub.First:]
	noise := signal.AR{}
	if a.Order > 0 {
		if noise, err = signal.FitAR(quiet, a.Order); err != nil {
			return Detection{}, err
		}
	}
	d := Detection{Before: sub.JudgedBefore, After: sub.JudgedAfter}
	fit := search{
		pendulum: p, station: a.Station, noise: noise, rate: r.Rate, n: len(swing),
		x: centred(noise.Whiten(swing)), uScale: a.uScale(),
	}
	d.DoF = len(fit.x) - 2
	if fit.uScale > 0 {
		d.DoF--
	}
	if d.DoF < 3 {
		return Detection{}, arg.AtLeast(fn, "r.Test after release", len(swing), len(noise.Coefficients)+5)
	}
	if err := fit.run(&d); err != nil {
		return Detection{}, err
	}
	if err := a.systematic(&d); err != nil {
		return Detection{}, err
	}
	f := 1 / d.Period
	if 2*f < r.Rate/2 {
		if d.Lines, err = signal.Lines(swing, r.Rate, f, 2*f); err != nil {
			return Detection{}, err
		}
	}
	return d, nil
}

// systematic adds the parts of the uncertainty that do not come from noise. The
// largest line of the pull stands for its size.
func (a Analysis) systematic(d *Detection) error {
	p := a.Pendulum
	size := func(p Pendulum, s Station) (float64, error) {
		c, err := p.Harmonics(s, 4)
		if err != nil {
			return 0, err
		}
		var q float64
		for _, v := range c[1:] {
			q += v * v
		}
		return math.Sqrt(q), nil
	}
	mass := math.Abs(d.Mass)
	d.UG = mass * gravlab.UG / gravlab.G
	whole, err := size(p, a.Station)
	if err != nil {
		return err
	}
	if a.UPlace > 0 {
		rest := r3.Vec{Z: p.Length}
		away := r3.Sub(a.Station.At, rest)
		distance := r3.Norm(away)
		if distance == 0 {
			return arg.Bad("pendulum.Analysis", "Station.At", a.Station.At, "a place outside the swing")
		}
		step := distance * 1e-4
		moved := a.Station
		moved.At = r3.Add(a.Station.At, r3.Scale(step/distance, away))
		farther, err := size(p, moved)
		if err != nil {
			return err
		}
		d.UPlace = mass * math.Abs(farther/whole-1) / step * a.UPlace
	}
	if a.UAmplitude > 0 {
		step := 1e-4 * p.Amplitude
		p.Amplitude -= step
		smaller, err := size(p, a.Station)
		if err != nil {
			return err
		}
		d.UAmplitude = mass * math.Abs(smaller/whole-1) / step * a.UAmplitude
	}
	if a.ULength > 0 {
		step := 1e-4 * a.Pendulum.Length
		p := a.Pendulum
		p.Length -= step
		moved := a.Station
		moved.At.Z -= step // the rest position and the sensor move together
		shorter, err := size(p, moved)
		if err != nil {
			return err
		}
		d.ULength = mass * math.Abs(shorter/whole-1) / step * a.ULength
	}
	d.U = math.Hypot(d.own(), d.UG)
	return nil
}

// G returns the constant of gravitation that the detection implies when the bob's
// mass is weighed (kg, with its standard uncertainty), and its standard
// uncertainty: G·Mass/mass, without the uncertainty of G in it (m³ kg⁻¹ s⁻²).
func (d Detection) G(mass, u float64) (g, uG float64, err error) {
	const fn = "pendulum.Detection.G"
	if err := arg.Positive(fn, "mass", mass, "mass in kg"); err != nil {
		return 0, 0, err
	}
	if err := arg.NonNegative(fn, "u", u, "standard uncertainty in kg"); err != nil {
		return 0, 0, err
	}
	g = gravlab.G * d.Mass / mass
	return g, gravlab.G / mass * math.Hypot(d.own(), d.Mass*u/mass), nil
}

// own is the uncertainty without that of G.
func (d Detection) own() float64 {
	return math.Sqrt(d.UNoise*d.UNoise + d.UPlace*d.UPlace + d.UAmplitude*d.UAmplitude + d.ULength*d.ULength)
}
