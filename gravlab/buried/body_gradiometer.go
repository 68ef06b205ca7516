package buried

import (
	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/internal/arg"
)

// A Pair is a gradiometer of two sensors of vertical gravity, read as the
// difference over their separation. {Z: 0.5} is a vertical pair 0.5 m apart,
// which measures g_zz; {X: 1} lies north–south and measures g_zx.
//
// A finite baseline b reads a smooth mean of the gradient: for a point on the
// pair's line at the distance r the true gradient times (1 - (b/2r)²)^-2, in
// general 1 + O(b²/r²).
type Pair struct {
	Separation r3.Vec // from the first sensor to the second, m
}

// Validate reports a separation that cannot be used.
func (p Pair) Validate() error {
	if n := r3.Norm(p.Separation); !(n > 1e-100 && n < 1e100) {
		return arg.Bad("buried.Pair", "Separation", p.Separation, "a vector in m that is not zero")
	}
	return nil
}

// Reading is what the pair reads with its middle at a point: (gz of the second
// less gz of the first)/baseline, 1/s². Rounding adds about 1e-16 gz/baseline.
func (p Pair) Reading(b Body, middle r3.Vec) (float64, error) {
	if err := p.check(b); err != nil {
		return 0, err
	}
	half := r3.Scale(0.5, p.Separation)
	first, err := b.GZ(r3.Sub(middle, half))
	if err != nil {
		return 0, err
	}
	second, err := b.GZ(r3.Add(middle, half))
	if err != nil {
		return 0, err
	}
	return finite("buried.Pair.Reading", middle, (second-first)/r3.Norm(p.Separation))
}

// True is the gradient of gz along the pair at its middle, 1/s².
func (p Pair) True(b Body, middle r3.Vec) (float64, error) {
	if err := p.check(b); err != nil {
		return 0, err
	}
	t, err := b.Gradient(middle)
	if err != nil {
		return 0, err
	}
	return finite("buried.Pair.True", middle, t.Apply(r3.Unit(p.Separation)).Z)
}

func (p Pair) check(b Body) error {
	if b == nil {
		return arg.Bad("buried.Pair", "b", nil, "a body, not nil")
	}
	return p.Validate()
}
