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
// mass is taken as known; the mass in Pendulum.Bob is not looked at (with a rod
// the ratio of the two masses matters: it is taken from there).
type Analysis struct {
	Pendulum Pendulum
	Station  Station
	// Lags is how many samples to either side the measured transfer from the
	// reference reaches; see signal.Subtract.
	Lags int
	// Order is the number of coefficients of the noise model that whitens the
	// residual; 0 takes the noise as white.
	Order int
	// UPlace is the standard uncertainty of the distance from the swing to the
	// sensor (m, along the line from the rest position to the sensor) and
	// UAmplitude that of the amplitude (rad). Zero leaves them out.
	UPlace, UAmplitude float64
}

// A Detection is what an Analysis finds.
type Detection struct {
	Mass float64 // kg, of the bob, by G; negative when the record says the opposite
	// U is the standard uncertainty of Mass, kg, all parts together: UNoise from
	// the scatter of the record, UPlace, UAmplitude, and that of G.
	U, UNoise, UPlace, UAmplitude, UG float64
	// Z is Mass/UNoise: the matched filter's output, normal with standard
	// deviation 1 when no bob swings. Infinite for a record without noise.
	Z float64
	// FalseAlarm is the probability that noise alone gives Z or more, one-sided,
	// for one trial. With several places, times or recordings tried, use
	// signal.FalseAlarm(Z, trials). With the sign of the record reversed the same
	// data would say -Z.
	FalseAlarm float64
	// DOF is the number of degrees of freedom behind UNoise.
	DOF int
	// Before and After are the scatter (rms, m/s²) of the record after release
	// without and with the reference taken off.
	Before, After float64
	// Lines are the lines at 1/T and 2/T in the record after subtraction, by
	// lock-in from the moment of release: their phase is near 0 or ±π for a pull,
	// and for the floor's tilt as well.
	Lines []signal.Line
}

// Detect takes off what the reference saw, with a transfer measured before
// release only; whitens the rest with a noise model fitted before release only;
// and fits the bob's pull and a constant to what follows release, by least
// squares. Its uncertainty comes from the residuals after release.
//
// The answer is the mass whose pull the record shows. If the floor's tilt is in
// it too, the mass is wrong by about the floor's effect over the pull (see
// Compare), and nothing in this record says so: see the tests that are named in
// the package comment. The period follows from Length, Gravity and Amplitude: in
// a long record they must agree with the period as timed to a small part of one
// swing in all, else the template runs out of step; adjust Length until they do.
func (a Analysis) Detect(r Recording) (Detection, error) {
	const fn = "pendulum.Analysis.Detect"
	p := a.Pendulum
	if err := p.Validate(); err != nil {
		return Detection{}, err
	}
	if p.Bob.Mass == 0 || p.Amplitude == 0 {
		return Detection{}, arg.Bad(fn, "Pendulum", fmt.Sprintf("with a bob of %g kg and an amplitude of %g rad", p.Bob.Mass, p.Amplitude), "a bob with a mass (any) that swings")
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
	sub, err := signal.Subtract(r.Test, r.Reference, a.Lags, r.Release)
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
	times := make([]float64, len(swing))
	for i := range times {
		times[i] = float64(i) / r.Rate
	}
	template, err := p.Series(times, a.Station)
	if err != nil {
		return Detection{}, err
	}
	for i := range template {
		template[i] /= p.Bob.Mass
	}
	x, h := noise.Whiten(swing), noise.Whiten(template)
	d := Detection{Before: sub.JudgedBefore, After: sub.JudgedAfter, DOF: len(x) - 2}
	if d.DOF < 3 {
		return Detection{}, arg.AtLeast(fn, "r.Test after release", len(swing), len(noise.Coefficients)+5)
	}
	mx, mh := mean(x), mean(h)
	var hh, hx float64
	for i := range x {
		hh += (h[i] - mh) * (h[i] - mh)
		hx += (h[i] - mh) * (x[i] - mx)
	}
	if !(hh > 0) {
		return Detection{}, arg.Bad(fn, "Station", a.Station, "a place and an axis where the swing's pull varies")
	}
	d.Mass = hx / hh
	var left float64
	for i := range x {
		e := x[i] - mx - d.Mass*(h[i]-mh)
		left += e * e
	}
	d.UNoise = math.Sqrt(left / float64(d.DOF) / hh)
	d.Z = d.Mass / d.UNoise
	d.FalseAlarm = math.Erfc(d.Z/math.Sqrt2) / 2
	if err := a.systematic(&d); err != nil {
		return Detection{}, err
	}
	f := 1 / p.period()
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
	d.U = math.Sqrt(d.UNoise*d.UNoise + d.UPlace*d.UPlace + d.UAmplitude*d.UAmplitude + d.UG*d.UG)
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
	own := math.Sqrt(d.UNoise*d.UNoise + d.UPlace*d.UPlace + d.UAmplitude*d.UAmplitude)
	return g, gravlab.G / mass * math.Hypot(own, d.Mass*u/mass), nil
}

func mean(x []float64) float64 {
	var s float64
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}
