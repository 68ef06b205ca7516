package buried

import (
	"errors"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// Clutter returns the statistics of the rubble's gz for stations on z = 0 over
// the middle of a box that is much wider than deep.
func (r Rubble) Clutter() (Clutter, error) {
	if err := r.Validate(); err != nil {
		return Clutter{}, err
	}
	// Mean of R⁶ for radii spread evenly, (b⁷ - a⁷)/(7 (b - a)), divided out so
	// that radii which nearly agree lose no digits.
	a, b := r.Smallest, r.Largest
	mean := 0.0
	for i := range 7 {
		mean += math.Pow(a, float64(i)) * math.Pow(b, float64(6-i)) / 7
	}
	c := Clutter{Number: r.Number, Mass: 4 * math.Pi / 3 * math.Abs(r.Contrast) * math.Sqrt(mean), Top: r.Min.Z, Bottom: r.Max.Z}
	return c, c.Validate()
}

// Clutter is the random field of many small masses strewn evenly and
// independently between two depths below the stations, without end sideways.
// Neighbouring stations see much the same rocks: the clutter is correlated over
// about its depth, and a formula for white noise is then too hopeful.
//
// Source: Campbell's theorem for a Poisson process; the covariance is the
// Hankel transform of exp(-2 k z), worked out by hand:
//
//	cov(L) = pi n (G m)² [1/sqrt(4 z1² + L²) - 1/sqrt(4 z2² + L²)]
type Clutter struct {
	Number float64 // masses per m³
	Mass   float64 // excess mass of each, kg; root mean square if they differ
	Top    float64 // depth of the shallowest below the stations, m
	Bottom float64 // depth of the deepest, m
}

// Validate reports every field that cannot be used.
func (c Clutter) Validate() error {
	const fn = "buried.Clutter"
	err := errors.Join(
		arg.Between(fn, "Number", c.Number, 0, 1e12, "number per m³"),
		arg.Between(fn, "Mass", c.Mass, -1e15, 1e15, "mass in kg"),
		arg.Between(fn, "Top", c.Top, 1e-6, 1e9, "depth in m (a mass at a station has no finite variance)"),
		arg.Between(fn, "Bottom", c.Bottom, 1e-6, 1e9, "depth in m"))
	if err == nil && c.Bottom <= c.Top {
		err = arg.Bad(fn, "Bottom", c.Bottom, "a depth below Top")
	}
	return err
}

// Covariance is that of gz at two stations the distance apart, m²/s⁴.
func (c Clutter) Covariance(distance float64) (float64, error) {
	if err := errors.Join(c.Validate(), arg.Finite("buried.Clutter.Covariance", "distance", distance, "distance in m")); err != nil {
		return 0, err
	}
	return c.covariance(distance), nil
}

func (c *Clutter) covariance(distance float64) float64 {
	gm := gravlab.G * c.Mass
	return math.Pi * c.Number * gm * gm * (1/math.Hypot(2*c.Top, distance) - 1/math.Hypot(2*c.Bottom, distance))
}

// RMS is the standard deviation of gz at one station, m/s².
func (c Clutter) RMS() (float64, error) {
	v, err := c.Covariance(0)
	return math.Sqrt(v), err
}

// Correlation is Covariance over that at no distance, 0 to 1.
func (c Clutter) Correlation(distance float64) (float64, error) {
	v, err := c.Covariance(distance)
	if err != nil || v == 0 {
		return 0, err
	}
	return v / c.covariance(0), nil
}
