package survey

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/internal/arg"
)

// A Calibration is a line between what a meter reads and what is known.
type Calibration struct {
	Scale, UScale float64
	Offset        float64 // m/s²
	Chi2          float64
	DoF           int
	Residuals     []float64 // m/s²
}

// Calibrate finds the scale factor of a meter from readings (after table and
// drift, m/s²) at stations of known gravity (m/s²), each with its standard
// uncertainties: known = scale × reading + offset. Both sides may be uncertain:
// chi² is the sum of (known − scale × reading − offset)² over
// u_known² + (scale u_reading)², and the line is where it is smallest (D. York,
// Can. J. Phys. 44, 1079 (1966), and Am. J. Phys. 72, 367 (2004); from memory).
// Readings that differ by no more than their uncertainties determine no line,
// which is an error. At least three stations are wanted, so that there is
// something to compare. UScale stands on the stated uncertainties and is not scaled
// by chi², so look at chi² first.
func Calibrate(known, uKnown, reading, uReading []float64) (*Calibration, error) {
	const fn = "survey.Calibrate"
	if err := errors.Join(
		arg.AtLeast(fn, "known", len(known), 3),
		arg.SameLength(fn, "known", len(known), "uKnown", len(uKnown)),
		arg.SameLength(fn, "known", len(known), "reading", len(reading)),
		arg.SameLength(fn, "known", len(known), "uReading", len(uReading)),
		arg.AllFinite(fn, "known", known, "gravity in m/s²"),
		arg.AllFinite(fn, "reading", reading, "reading in m/s²"),
	); err != nil {
		return nil, err
	}
	for i := range known {
		if err := errors.Join(
			arg.NonNegative(fn, fmt.Sprintf("uKnown[%d]", i), uKnown[i], "standard uncertainty in m/s²"),
			arg.Positive(fn, fmt.Sprintf("uReading[%d]", i), uReading[i], "standard uncertainty in m/s²"),
		); err != nil {
			return nil, err
		}
	}
	n := len(known)
	a, y, sigma := mat.NewDense(n, 2, nil), make([]float64, n), make([]float64, n)
	for i := range n {
		a.Set(i, 0, reading[i]-reading[0])
		a.Set(i, 1, 1)
		y[i] = known[i] - known[0]
	}
	// The readings as if they were exact: a start, too small by (u/spread)².
	for i := range n {
		sigma[i] = math.Hypot(uKnown[i], uReading[i])
	}
	r, err := fit.Linear(a, y, sigma)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", fn, err)
	}
	noLine := arg.Bad(fn, "reading", reading[0], "readings that differ, by more than their uncertainties: one gravity cannot give a scale")
	if len(r.Undetermined) > 0 {
		return nil, noLine
	}
	scale := r.P[0]
	var c *Calibration
	for range 200 {
		var next float64
		if c, next = york(known, uKnown, reading, uReading, scale); !(math.Abs(next) <= math.MaxFloat64) {
			return nil, noLine
		}
		if math.Abs(next-scale) <= 1e-15*math.Abs(scale) {
			return c, nil
		}
		scale = next
	}
	if math.Abs(c.Scale-scale) > 1e-3*c.UScale {
		return nil, noLine
	}
	return c, nil
}

// york returns the calibration with a given scale, and a better scale. All sums
// are about the weighted means; the place of each point along the line is
// shared between known and reading by their variances.
func york(known, uKnown, reading, uReading []float64, scale float64) (c *Calibration, next float64) {
	n := len(known)
	w := make([]float64, n)
	var sum, x, y float64
	for i := range n {
		u := math.Hypot(uKnown[i], scale*uReading[i])
		w[i] = 1 / u / u
		sum += w[i]
		x += w[i] * (reading[i] - reading[0])
		y += w[i] * (known[i] - known[0])
	}
	x, y = reading[0]+x/sum, known[0]+y/sum
	c = &Calibration{Scale: scale, Offset: y - scale*x, DoF: n - 2, Residuals: make([]float64, n)}
	along := make([]float64, n)
	var above, below, middle, spread float64
	for i := range n {
		dx, dy := reading[i]-x, known[i]-y
		along[i] = w[i] * (uKnown[i]*uKnown[i]*dx + scale*uReading[i]*uReading[i]*dy)
		above += w[i] * along[i] * dy
		below += w[i] * along[i] * dx
		middle += w[i] * along[i] / sum
		c.Residuals[i] = dy - scale*dx
		c.Chi2 += w[i] * c.Residuals[i] * c.Residuals[i]
	}
	for i := range n {
		spread += w[i] * (along[i] - middle) * (along[i] - middle)
	}
	c.UScale = 1 / math.Sqrt(spread)
	return c, above / below
}
