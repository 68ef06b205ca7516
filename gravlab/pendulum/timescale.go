package pendulum

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"

	"gravity.example/gravlab/internal/arg"
	"gravity.example/gravlab/signal"
)

// A search fits the pull of one kilogram to what follows release,
//
//	x(t) = c + M h((1+κ)t),
//
// with κ = 0, or with κ fitted too. The minimum of
//
//	|x - c - M h|²/s² + (κ/uScale)²
//
// is found from the best of a grid of κ by Gauss and Newton's steps; s² is the
// scatter left. Its second derivatives by M and κ, the residual taken for noise,
// are those of the normal equations, whose inverse is the covariance. All records
// are whitened and have no mean.
type search struct {
	pendulum Pendulum
	station  Station
	noise    signal.AR
	rate     float64
	n        int       // samples after release
	x        []float64 // the record, whitened
	uScale   float64   // of κ, from the geometry; 0 holds it at 0
}

// A point of the search.
type scaled struct {
	kappa, mass float64
	h           []float64 // pull of 1 kg
	hh, left    float64   // squares of h and of the residual
}

// template returns the pull of 1 kg at (1+kappa)t + later, whitened.
func (s *search) template(kappa, later float64) ([]float64, error) {
	times := make([]float64, s.n)
	for i := range times {
		times[i] = float64(i) / s.rate
		if kappa != 0 || later != 0 {
			times[i] = float64(times[i]*(1+kappa)) + later
		}
	}
	h, err := s.pendulum.Series(times, s.station)
	if err != nil {
		return nil, err
	}
	for i := range h {
		h[i] /= s.pendulum.Bob.Mass
	}
	return centred(s.noise.Whiten(h)), nil
}

// at fits the mass at one κ.
func (s *search) at(kappa float64) (scaled, error) {
	h, err := s.template(kappa, 0)
	if err != nil {
		return scaled{}, err
	}
	p := scaled{kappa: kappa, h: h}
	var hx float64
	for i := range h {
		p.hh += h[i] * h[i]
		hx += h[i] * s.x[i]
	}
	if !(p.hh > 0) {
		return scaled{}, arg.Bad("pendulum.Analysis.Detect", "Station", s.station, "a place and an axis where the swing's pull varies")
	}
	p.mass = hx / p.hh
	for i := range h {
		e := s.x[i] - p.mass*h[i]
		p.left += e * e
	}
	return p, nil
}

// run fills in what the fit says of the mass and the period.
func (s *search) run(d *Detection) error {
	period := s.pendulum.period()
	p, err := s.at(0)
	if err != nil {
		return err
	}
	searched := 0.0 // lobes of the filter that were tried, in radians
	if s.uScale == 0 {
		d.Period = period
		d.UNoise = math.Sqrt(p.left / float64(d.DoF) / p.hh)
		d.Z = p.mass / d.UNoise
	} else {
		var uMass, uKappa float64
		if p, uMass, uKappa, searched, err = s.fit(p, d.DoF); err != nil {
			return err
		}
		d.Period = period / (1 + p.kappa)
		d.UPeriod = d.Period * uKappa
		d.UNoise = uMass
		d.Z = p.mass / math.Sqrt(p.left/float64(d.DoF)/p.hh)
		if math.Abs(p.kappa) > 3.29*s.uScale { // one in 1000
			d.Remarks = append(d.Remarks, fmt.Sprintf("the period in the record, %.6g s, is %.1f times its uncertainty away from the %.6g s of Length, Gravity and Amplitude: ULength and UAmplitude are too small, or the swing is another", d.Period, math.Abs(p.kappa)/s.uScale, period))
		}
		if d.Z < 5 {
			d.Remarks = append(d.Remarks, fmt.Sprintf("with Z = %.1f the pull is too weak to find the period by: time the swing and leave ULength at 0", d.Z))
		}
	}
	d.Mass = p.mass
	// The chance of noise passing a level at one κ, and of crossing it upwards at
	// another (S. O. Rice, Bell Syst. Tech. J. 24 (1945) 46; R. B. Davies,
	// Biometrika 64 (1977) 247; from memory): an upper bound.
	d.FalseAlarm = min(1, math.Erfc(d.Z/math.Sqrt2)/2+searched/(2*math.Pi)*math.Exp(-max(d.Z, 0)*max(d.Z, 0)/2))
	chi2, err := s.outOfStep(p, d.DoF)
	if err != nil {
		return err
	}
	if chi2 > outOfStep {
		d.Remarks = append(d.Remarks, fmt.Sprintf("the record runs out of step with a swing of %.6g s (χ² = %.0f of 2 degrees of freedom; noise gives more than 13.8 once in 1000 records): time the swing and adjust Length until the period agrees, or state ULength; or the release is at another sample", d.Period, chi2))
	}
	return nil
}

// fit finds the κ of the least sum of squares; start is the fit at κ = 0. It
// returns how far the search went, as the length of the path that h/|h| takes.
func (s *search) fit(start scaled, dof int) (best scaled, uMass, uKappa, searched float64, err error) {
	// Steps of 1 rad in the phase of 2/T at the end find the lobe: half a step
	// from its middle the filter loses 1 % of the mass.
	reach := 5 * s.uScale
	step := s.pendulum.period() * s.rate / (4 * math.Pi * float64(s.n))
	m := int(math.Ceil(reach / step))
	if m > 500 {
		return scaled{}, 0, 0, 0, arg.Bad("pendulum.Analysis.Detect", "ULength and UAmplitude", fmt.Sprintf("let the period be off by a part of %.2g", s.uScale),
			fmt.Sprintf("a period known to %.2g of itself in a record of this length: time the swing and adjust Length until the period agrees", 100*step))
	}
	points := []scaled{start}
	least := start.left
	for j := -m; j <= m; j++ {
		if j == 0 {
			continue
		}
		p, err := s.at(reach * float64(j) / float64(m))
		if err != nil {
			return scaled{}, 0, 0, 0, err
		}
		p.h = nil // the grid keeps numbers only
		points = append(points, p)
		least = min(least, p.left)
	}
	variance := max(least/float64(dof), math.SmallestNonzeroFloat64)
	cost := func(p scaled) float64 { return p.left/variance + p.kappa*p.kappa/(s.uScale*s.uScale) }
	best = points[0]
	for _, p := range points[1:] {
		if cost(p) < cost(best) {
			best = p
		}
	}
	if best, err = s.at(best.kappa); err != nil {
		return scaled{}, 0, 0, 0, err
	}
	for range 30 {
		d, err := s.slope(best.kappa, step)
		if err != nil {
			return scaled{}, 0, 0, 0, err
		}
		hd, dd := floats.Dot(best.h, d), floats.Dot(d, d)
		var de float64 // the slope with the residual
		for i := range d {
			de += d[i] * (s.x[i] - best.mass*best.h[i])
		}
		prior := variance / (s.uScale * s.uScale)
		across := dd - hd*hd/best.hh // of the slope, square to h
		curve := best.mass*best.mass*across + prior
		uKappa = math.Sqrt(variance / curve)
		uMass = math.Sqrt(variance / best.hh * (1 + best.mass*best.mass*hd*hd/best.hh/curve))
		searched = 2 * reach * math.Sqrt(max(across, 0)/best.hh)
		move := (best.mass*de - prior*best.kappa) / curve
		move = min(max(move, -step), step)
		if math.Abs(move) < 1e-6*uKappa {
			return best, uMass, uKappa, searched, nil
		}
		for {
			next, err := s.at(best.kappa + move)
			if err != nil {
				return scaled{}, 0, 0, 0, err
			}
			if cost(next) <= cost(best) {
				best = next
				break
			}
			if move /= 2; math.Abs(move) < 1e-6*uKappa {
				return best, uMass, uKappa, searched, nil
			}
		}
	}
	return best, uMass, uKappa, searched, nil
}

// slope returns dh/dκ, by central differences of a thousandth of a step: their
// error is 1e-7 of it.
func (s *search) slope(kappa, step float64) ([]float64, error) {
	e := 1e-3 * step
	up, err := s.template(kappa+e, 0)
	if err != nil {
		return nil, err
	}
	down, err := s.template(kappa-e, 0)
	if err != nil {
		return nil, err
	}
	floats.Sub(up, down)
	floats.Scale(1/(2*e), up)
	return up, nil
}

// outOfStep returns χ² of 2 degrees of freedom for h'(t) and t h'(t) in what the
// fit left: what a wrong moment of release and a wrong period put there. They
// have the quadrature phase, so that neither a wrong mass nor a floor that follows
// the swing at once shows in them.
func (s *search) outOfStep(p scaled, dof int) (float64, error) {
	// A difference forward in time: its error is along h'', which for each line
	// has the phase of h.
	e := 1e-4 * s.pendulum.period()
	quadrature, err := s.template(p.kappa, e)
	if err != nil {
		return 0, err
	}
	floats.Sub(quadrature, p.h)
	along := make([]float64, len(quadrature))
	for i, v := range quadrature {
		along[i] = v * float64(i)
	}
	residual := make([]float64, len(s.x))
	for i := range residual {
		residual[i] = s.x[i] - p.mass*p.h[i]
	}
	basis := [][]float64{p.h}
	drop := 0.0
	for _, v := range [][]float64{quadrature, along} {
		v = centred(v)
		before := floats.Dot(v, v)
		for _, b := range basis {
			floats.AddScaled(v, -floats.Dot(v, b)/floats.Dot(b, b), b)
		}
		size := floats.Dot(v, v)
		if !(size > 1e-9*before) { // a record too short to tell
			continue
		}
		basis = append(basis, v)
		part := floats.Dot(v, residual)
		drop += part * part / size
	}
	return drop / (max(p.left-drop, math.SmallestNonzeroFloat64) / float64(max(dof-2, 1))), nil
}

// uScale is the standard uncertainty of the period as a part of it, 0 when it is
// taken for exact.
func (a Analysis) uScale() float64 {
	if a.ULength == 0 {
		return 0
	}
	part := func(change func(p *Pendulum, by float64), of float64) float64 {
		up, down := a.Pendulum, a.Pendulum
		change(&up, 1e-5*of)
		change(&down, -1e-5*of)
		return math.Log(up.period()/down.period()) / (2e-5 * of)
	}
	length := part(func(p *Pendulum, by float64) { p.Length += by }, a.Pendulum.Length)
	amplitude := part(func(p *Pendulum, by float64) { p.Amplitude += by }, min(a.Pendulum.Amplitude, math.Pi-a.Pendulum.Amplitude))
	return math.Hypot(length*a.ULength, amplitude*a.UAmplitude)
}

// centred takes the mean off, in place.
func centred(x []float64) []float64 {
	var sum float64
	for _, v := range x {
		sum += v
	}
	mean := sum / float64(len(x))
	for i := range x {
		x[i] -= mean
	}
	return x
}
