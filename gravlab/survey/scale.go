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
// uncertainties: known = scale × reading + offset. Both sides may be uncertain;
// the weights take them together, u² = u_known² + (scale u_reading)². At least
// three stations are wanted, so that there is something to compare.
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
	c := &Calibration{Scale: 1}
	// The weights depend on the scale; it is near 1 and settles at once.
	for range 4 {
		for i := range n {
			sigma[i] = math.Hypot(uKnown[i], c.Scale*uReading[i])
		}
		r, err := fit.Linear(a, y, sigma)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", fn, err)
		}
		if len(r.Undetermined) > 0 {
			return nil, arg.Bad(fn, "reading", reading[0], "readings that differ: one gravity cannot give a scale")
		}
		c = &Calibration{Scale: r.P[0], UScale: r.U[0], Offset: r.P[1] + known[0] - r.P[0]*reading[0], Chi2: r.Chi2, DoF: r.DoF, Residuals: r.Residuals}
	}
	return c, nil
}
