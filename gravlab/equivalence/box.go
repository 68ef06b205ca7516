package equivalence

import (
	"errors"
	"math"

	"gravity.example/gravlab/internal/arg"
)

// A Box falls freely, upright, above a spherical body: its middle is at
// Radius + Height from the centre, its ends half a Length below and above.
// Inside it gravity is gone but for what differs from end to end. The field is
// that of a point mass, also where the lower end would be in the ground.
type Box struct {
	GM     float64 // m³/s²
	Radius float64 // of the body, m
	Height float64 // of the middle above it, m
	Length float64 // m
}

// Validate reports what cannot be used.
func (b Box) Validate() error {
	const fn = "equivalence.Box"
	return errors.Join(
		arg.Between(fn, "GM", b.GM, 1e-12, 1e30, "GM in m³/s²"),
		arg.Between(fn, "Radius", b.Radius, 1e-3, 1e15, "radius in m"),
		arg.Between(fn, "Height", b.Height, 0, 1e15, "height in m"),
		arg.Between(fn, "Length", b.Length, 1e-9, 1.9*(b.Radius+b.Height), "length in m, shorter than twice the distance from the centre"),
	)
}

// validateOrbit checks a place above a spherical body.
func validateOrbit(fn string, gm, radius, height float64) error {
	return errors.Join(
		arg.Between(fn, "gm", gm, 1e-12, 1e30, "GM in m³/s²"),
		arg.Between(fn, "radius", radius, 1e-3, 1e15, "radius in m"),
		arg.Between(fn, "height", height, 0, 1e15, "height in m"),
	)
}

// Difference is how much stronger gravity is at the lower end than at the
// upper one, m/s², exactly: about 2GM L/r³.
func (b Box) Difference() (float64, error) {
	if err := b.Validate(); err != nil {
		return 0, err
	}
	r := b.Radius + b.Height
	l := b.Length / r
	return b.GM / r / r * 2 * l / ((1 - l*l/4) * (1 - l*l/4)), nil
}

// Growth is by how much two bodies, let go at rest at the two ends, have moved
// apart after t seconds, m. The lower one falls faster. The motion of the gap
// is integrated by itself, so that no digits are lost; good to 1e-12. t may be
// no longer than 0.8 of the time the lower body takes to fall to the centre.
func (b Box) Growth(t float64) (float64, error) {
	const fn = "equivalence.Box.Growth"
	if err := b.Validate(); err != nil {
		return 0, err
	}
	r0 := b.Radius + b.Height - b.Length/2
	fall := math.Pi / 2 * math.Sqrt(r0/(2*b.GM)) * r0
	if err := arg.Between(fn, "t", t, 0, 0.8*fall, "time in s, shorter than the fall to the centre"); err != nil {
		return 0, err
	}
	if t == 0 {
		return 0, nil
	}
	// Units of r0 and of sqrt(r0³/GM): x the fallen way of the lower body, d the
	// growth. Runge and Kutta's fourth order with steps of 1/2000.
	l := b.Length / r0
	tau := t * math.Sqrt(b.GM/r0) / r0
	n := int(math.Ceil(tau*2000)) + 20
	h := tau / float64(n)
	accelerate := func(x, d float64) (ax, ad float64) {
		r := 1 - x
		gap := l + d
		s := r + gap
		return 1 / (r * r), gap * (2*r + gap) / (r * r * s * s)
	}
	var x, v, d, w float64
	for range n {
		ax1, ad1 := accelerate(x, d)
		ax2, ad2 := accelerate(x+h/2*v, d+h/2*w)
		ax3, ad3 := accelerate(x+h/2*v+h*h/4*ax1, d+h/2*w+h*h/4*ad1)
		ax4, ad4 := accelerate(x+h*v+h*h/2*ax2, d+h*w+h*h/2*ad2)
		x, d = x+h*v+h*h/6*(ax1+ax2+ax3), d+h*w+h*h/6*(ad1+ad2+ad3)
		v, w = v+h/6*(ax1+2*ax2+2*ax3+ax4), w+h/6*(ad1+2*ad2+2*ad3+ad4)
	}
	return d * r0, nil
}

// SmallestBox is the length, m, at which the difference from end to end equals
// one standard uncertainty of the difference of two sensors that each have
// white noise of one-sided amplitude density asd (m/s²/√Hz) and are averaged
// for tau (s): asd/√(2τ) each, asd/√τ together. gm in m³/s²; radius, and height
// of the middle, in m. It is an error when the box would reach the centre.
func SmallestBox(gm, radius, height, asd, tau float64) (float64, error) {
	const fn = "equivalence.SmallestBox"
	if err := errors.Join(
		validateOrbit(fn, gm, radius, height),
		arg.Between(fn, "asd", asd, 1e-30, 1e6, "amplitude density in m/s²/√Hz"),
		arg.Between(fn, "tau", tau, 1e-9, 1e12, "time in s"),
	); err != nil {
		return 0, err
	}
	r := radius + height
	share := asd / math.Sqrt(tau) * (r / gm) * r
	// 2l/(1−l²/4)² = share, l = length over r, rises steadily: halve the interval.
	lo, hi := 0.0, math.Min(1.9, share)
	excess := func(l float64) float64 { return 2*l/((1-l*l/4)*(1-l*l/4)) - share }
	if !(excess(hi) >= 0) {
		return 0, arg.Bad(fn, "asd", asd, "less noise: no box as long as the distance from the centre would do")
	}
	for range 200 {
		mid := (lo + hi) / 2
		if mid == lo || mid == hi {
			break
		}
		if excess(mid) < 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return r * hi, nil
}

// TimeToTell is how long, s, two sensors at the ends of the box must be
// averaged until the difference between the ends equals k standard
// uncertainties; asd as in [SmallestBox]. It must be shorter than the fall for
// the box to tell.
func (b Box) TimeToTell(asd, k float64) (float64, error) {
	const fn = "equivalence.Box.TimeToTell"
	difference, err := b.Difference()
	if err := errors.Join(err,
		arg.Between(fn, "asd", asd, 0, 1e6, "amplitude density in m/s²/√Hz"),
		arg.Between(fn, "k", k, 0, 100, "number of standard uncertainties")); err != nil {
		return 0, err
	}
	root := k * asd / difference
	if math.IsInf(root*root, 0) || math.IsNaN(root) {
		return 0, arg.Bad(fn, "asd", asd, "less noise: no time would do")
	}
	return root * root, nil
}
