package reduction

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/internal/arg"
	"gravity.example/gravlab/quantity"
	"gravity.example/gravlab/torsion"
)

// A Window says which part of a recording is fitted, and how well its readings
// are known. Its zero value takes everything.
type Window struct {
	From, To float64 // s after the switch (negative before it). From zero means from the beginning of the recording, To zero to its end
	// Sigma is the standard uncertainty of one reading, in its unit: noise and
	// step together, sqrt(noise² + step²/12). Zero means equal and unknown: the
	// uncertainties are then scaled by the scatter of the residuals.
	Sigma float64
}

// An Estimate is a value and its standard uncertainty, in Unit. Printed, it reads
// "3.1273 ± 0.0029 mrad" or "578.04 ± 0.08 s".
type Estimate struct {
	Value, U float64
	Unit     string // "rad", "s"
}

// String writes the estimate with its unit.
func (e Estimate) String() string {
	u, err := quantity.ParseUnit(e.Unit)
	if err != nil {
		return fmt.Sprintf("%g ± %g %s", e.Value, e.U, e.Unit)
	}
	return quantity.Quantity{Value: e.Value, U: e.U, Unit: u.Suited(e.Value)}.Echo()
}

// A Swing is what a recording tells about a swing.
type Swing struct {
	Period      Estimate // T: full period of the damped swing, s
	Undamped    Estimate // the period it would have without damping, s
	DecayTime   Estimate // tau: decay time of the amplitude, s; +Inf if no decay is seen
	DecayRate   Estimate // 1/tau, 1/s; of a weak damping it may come out below zero by chance
	Start       Estimate // reading of the rest before the switch, at t = 0, as an angle, rad; with a lever place/(2 D)
	Equilibrium Estimate // reading of the rest after the switch, at t = 0, likewise, rad
	Deflection  Estimate // theta_e, half of the move from Start to Equilibrium, rad
	Drift       Estimate // of the zero, rad/s
	Correlation float64  // of Deflection and Undamped

	// Fit has chi², the residuals (rad) and the covariance of the parameters
	// equilibrium, cosine, sine, period, decay rate, drift. Residuals that run
	// on one side for long say that the model is wrong somewhere: look for a
	// knock.
	Fit *fit.Result
}

// Places of the parameters of the fit.
const (
	atEquilibrium = iota
	atCosine
	atSine
	atPeriod
	atRate
	atDrift
	parameters
)

var swingNames = []string{"equilibrium", "cosine", "sine", "period", "decay rate", "drift"}

// Fit fits the swing after the switch,
//
//	theta(t) = E + drift t + exp(-t/tau) (C cos(2 pi t/T) + S sin(2 pi t/T)),  t >= 0
//
// and, where the window holds readings before it, the rest from which it
// starts, E + C + drift t. The angle -C/2 is the deflection theta_e. The model
// is that of the linear torque. Of a swing with theta_e = 3.5 mrad in the exact
// torque, recorded for two periods or more, it gives deflection and G within
// 1e-4 of themselves and the period within 1e-5; recorded for less than two
// periods, within 1e-3 and 2e-4. The error grows as the square of the swing.
//
// A lever's spot goes with the tangent, counted from where the light falls
// square on the scale. That is the middle of the two rests (see torsion.Lever)
// wherever the scale has its zero, so Fit finds that middle first.
//
// The window must hold at least 0.6 of a period after the switch: of less the
// swing can hardly be told from a drift. Fit refuses a window that holds less than
// 0.6 of the period that it finds, and one of less than two periods from which the
// period comes with an uncertainty above a tenth of it: then the swing is not
// determined, and the uncertainties do not hold. Simulated with 60 readings a
// period and a window that begins with the switch, 0.65 of a period do for noise
// up to 0.3 % of the move of the readings, 0.7 up to 1 %, and 0.8 up to 3 %; with
// readings of the rest before it, 0.65 do for 3 % too. (At 0.34 of a period, with
// 3 % of noise, four fits in ten end, at periods of 0.3 to 1.3 of the true one.)
//
// Nothing must have disturbed the beam between the switch and the window's end,
// else Start and Deflection mean nothing (the other estimates still do when the
// window begins after the disturbance).
func Fit(rec torsion.Recording, window Window) (Swing, error) {
	times, readings, err := window.cut(rec)
	if err != nil {
		return Swing{}, err
	}
	switched := 0
	for switched < len(times) && times[switched] < 0 {
		switched++
	}
	// In proportion to the readings: good enough to start from, and for the middle.
	angles, perReading := readings, 1.0
	if rec.Lever.Distance > 0 {
		perReading = 1 / (2 * rec.Lever.Distance)
		angles = make([]float64, len(readings))
		for i, spot := range readings {
			angles[i] = spot * perReading
		}
	}
	first, err := fit.DampedOscillationDrift(times[switched:], angles[switched:], nil)
	if err != nil {
		return Swing{}, failed(times[switched:], err)
	}
	sin, cos := math.Sincos(first.P[fit.Phase])
	amplitude := first.P[fit.Amplitude]
	middle := first.P[fit.Offset] + amplitude*cos/2
	middle = max(slices.Min(angles), min(slices.Max(angles), middle)) // a window from late on only guesses it
	sigma := window.sigmas(len(readings))
	if rec.Lever.Distance > 0 {
		spot := middle / perReading
		if angles, sigma, err = window.onScale(rec.Lever, readings, spot); err != nil {
			return Swing{}, err
		}
		for i := range angles {
			angles[i] += middle
		}
	}
	result, err := fit.Curve{
		X: times, Y: angles, Sigma: sigma,
		Model: swingModel, Jacobian: swingJacobian,
		Start: []float64{first.P[fit.Offset], amplitude * cos, amplitude * sin, first.P[fit.Period], 1 / first.P[fit.DecayTime], first.P[fit.Drift]},
		Names: swingNames,
	}.Fit()
	if err != nil {
		return Swing{}, failed(times[switched:], err)
	}
	positive(result)
	if err := determined(result, times[switched:]); err != nil {
		return Swing{}, err
	}
	return estimates(result), nil
}

// fewest is the part of a period that a window must hold, and widest the largest
// standard uncertainty of the period, as a part of it, for which the model is
// linear enough in windows of less than two periods. No swing has fewer than
// coarsest readings.
const (
	fewest   = 0.6
	widest   = 0.1
	coarsest = 4
)

// positive gives a swing that was fitted with a negative period, the same one with
// the sine turned round, its usual form.
func positive(r *fit.Result) {
	if r.P[atPeriod] >= 0 {
		return
	}
	r.P[atPeriod], r.P[atSine] = -r.P[atPeriod], -r.P[atSine]
	for _, turned := range []int{atPeriod, atSine} {
		for i := range parameters {
			if i != atPeriod && i != atSine {
				r.Cov.SetSym(i, turned, -r.Cov.At(i, turned))
			}
		}
	}
}

// determined refuses a fit whose window, from the first to the last of times,
// tells too little of the swing.
func determined(r *fit.Result, times []float64) error {
	span := times[len(times)-1] - times[0]
	period, u := r.P[atPeriod], r.U[atPeriod]
	switch {
	case len(r.Undetermined) > 0:
		return notDetermined(times, strings.Join(r.Undetermined, ", ")+" not determined")
	case !(period > 0) || period*float64(len(times)-1) < coarsest*span:
		return notDetermined(times, "no swing found that is slower than the readings come")
	case span < fewest*period:
		return notDetermined(times, fmt.Sprintf("that is %.2g of the period found, %.4g s", span/period, period))
	case span < 2*period && !(u <= widest*period):
		return notDetermined(times, fmt.Sprintf("the period comes out as %.4g s with a standard uncertainty of %.2g s", period, u))
	}
	return nil
}

// notDetermined is the error of a window that tells too little.
func notDetermined(times []float64, why string) error {
	return fmt.Errorf("reduction.Fit: the window's %.4g s after the switch (%d readings) do not determine the swing: %s; take a window of at least %g of a period, or 0.8 where the noise is large",
		times[len(times)-1]-times[0], len(times), why, fewest)
}

// failed is the error of a fit that ended without a result.
func failed(times []float64, err error) error {
	if errors.Is(err, fit.ErrNotConverged) {
		return fmt.Errorf("%w (%w)", notDetermined(times, "no swing found"), fit.ErrNotConverged)
	}
	return fmt.Errorf("reduction.Fit: no swing found after the switch: %w", err)
}

// cut returns the part of the recording in the window.
func (w Window) cut(rec torsion.Recording) (times, readings []float64, err error) {
	const fn = "reduction.Fit"
	if err := arg.SameLength(fn, "Times", len(rec.Times), "Readings", len(rec.Readings)); err != nil {
		return nil, nil, err
	}
	if err := arg.Rising(fn, "Times", rec.Times, "time in s"); err != nil {
		return nil, nil, err
	}
	if err := arg.NonNegative(fn, "Sigma", w.Sigma, "standard uncertainty of a reading"); err != nil {
		return nil, nil, err
	}
	if w.From == 0 {
		w.From = math.Inf(-1)
	}
	if w.To == 0 {
		w.To = math.Inf(1)
	}
	if !(w.From < w.To) {
		return nil, nil, arg.Bad(fn, "From", w.From, fmt.Sprintf("less than To, %g", w.To))
	}
	if _, err := rec.Angles(); err != nil { // refuses what is no reading
		return nil, nil, err
	}
	for i, t := range rec.Times {
		if t >= w.From && t <= w.To {
			times = append(times, t)
			readings = append(readings, rec.Readings[i])
		}
	}
	if err := arg.AtLeast(fn, "Times", len(times), parameters+2); err != nil {
		return nil, nil, fmt.Errorf("in the window: %w", err)
	}
	return times, readings, nil
}

// sigmas is the uncertainty of each of n readings that are angles, or nil when
// it is unknown.
func (w Window) sigmas(n int) []float64 {
	if w.Sigma == 0 {
		return nil
	}
	return slices.Repeat([]float64{w.Sigma}, n)
}

// onScale turns spots into angles from the middle, where the light falls square
// on the scale, with the uncertainty of each or nil.
func (w Window) onScale(lever torsion.Lever, spots []float64, middle float64) (angles, sigma []float64, err error) {
	angles, sigma = make([]float64, len(spots)), w.sigmas(len(spots))
	for i, spot := range spots {
		if angles[i], err = lever.Angle(spot - middle); err != nil {
			return nil, nil, err
		}
		if sigma != nil { // derivative of atan(spot/D)/2
			x := (spot - middle) / lever.Distance
			sigma[i] /= 2 * lever.Distance * (1 + x*x)
		}
	}
	return angles, sigma, nil
}

func swingModel(p, times, dst []float64) {
	omega := 2 * math.Pi / p[atPeriod]
	for i, t := range times {
		dst[i] = p[atEquilibrium] + p[atDrift]*t
		if t < 0 {
			dst[i] += p[atCosine]
			continue
		}
		sin, cos := math.Sincos(omega * t)
		dst[i] += math.Exp(-t*p[atRate]) * (p[atCosine]*cos + p[atSine]*sin)
	}
}

func swingJacobian(p, times []float64, dst *mat.Dense) {
	omega, rate := 2*math.Pi/p[atPeriod], p[atRate]
	for i, t := range times {
		row := dst.RawRowView(i)
		row[atEquilibrium], row[atDrift] = 1, t
		if t < 0 {
			row[atCosine], row[atSine], row[atPeriod], row[atRate] = 1, 0, 0, 0
			continue
		}
		sin, cos := math.Sincos(omega * t)
		decay := math.Exp(-t * rate)
		row[atCosine], row[atSine] = decay*cos, decay*sin
		row[atPeriod] = decay * (p[atCosine]*sin - p[atSine]*cos) * omega * t / p[atPeriod]
		row[atRate] = -decay * (p[atCosine]*cos + p[atSine]*sin) * t
	}
}

// estimates turns the parameters of the fit into what they are for.
func estimates(r *fit.Result) Swing {
	period, rate := r.P[atPeriod], r.P[atRate]
	plain := func(i int, unit string) Estimate { return Estimate{r.P[i], r.U[i], unit} }
	s := Swing{
		Period: plain(atPeriod, "s"), Undamped: Estimate{Unit: "s"}, DecayRate: plain(atRate, "1/s"),
		Start: Estimate{Unit: "rad"}, Equilibrium: plain(atEquilibrium, "rad"), Drift: plain(atDrift, "rad/s"),
		Fit: r,
	}
	c := r.Cov
	s.Start.Value = r.P[atEquilibrium] + r.P[atCosine]
	s.Start.U = math.Sqrt(c.At(atEquilibrium, atEquilibrium) + c.At(atCosine, atCosine) + 2*c.At(atEquilibrium, atCosine))
	s.Deflection = Estimate{-r.P[atCosine] / 2, r.U[atCosine] / 2, "rad"}

	s.DecayTime = Estimate{math.Inf(1), math.Inf(1), "s"}
	if rate > 0 {
		s.DecayTime = Estimate{1 / rate, r.U[atRate] / (rate * rate), "s"}
	}

	// From (2 pi/T0)² = (2 pi/T)² + rate².
	omega := 2 * math.Pi / period
	undamped := 2 * math.Pi / math.Hypot(omega, rate)
	byPeriod := math.Pow(undamped/period, 3)
	byRate := -math.Pow(undamped, 3) * rate / (4 * math.Pi * math.Pi)
	s.Undamped.Value = undamped
	s.Undamped.U = math.Sqrt(byPeriod*byPeriod*c.At(atPeriod, atPeriod) + byRate*byRate*c.At(atRate, atRate) +
		2*byPeriod*byRate*c.At(atPeriod, atRate))
	s.Correlation = -(byPeriod*c.At(atPeriod, atCosine) + byRate*c.At(atRate, atCosine)) / (s.Undamped.U * r.U[atCosine])
	return s
}
