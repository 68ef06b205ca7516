package fit

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/internal/arg"
)

// A Damping is a linear problem ready to be solved with Tikhonov damping of
// any strength: minimise
//
//	|(A x - y)/sigma|² + lambda² |x|²
//
// Divide the columns of A by weights first to damp weight·x instead of x.
// Sources: A. N. Tikhonov, V. Y. Arsenin, Solutions of Ill-Posed Problems
// (1977); P. C. Hansen, Rank-Deficient and Discrete Ill-Posed Problems (SIAM
// 1998), chapters 4 and 7 (both from memory).
type Damping struct {
	w       *mat.Dense // A/sigma
	y       []float64  // y/sigma
	weights []float64
	u, v    mat.Dense
	s       []float64
	b       []float64 // Uᵀy
	beyond  float64   // part of |y/sigma| that no x reaches
}

// Damp prepares the problem A x = y with standard uncertainties sigma of y
// (nil: all 1, in the unit of y). A may have more columns than rows. It
// returns an error for an empty A, unlike lengths and numbers that are not
// finite.
func Damp(a mat.Matrix, y, sigma []float64) (*Damping, error) {
	const fn = "fit.Damp"
	w, weights, err := weighted(fn, a, y, sigma)
	if err != nil {
		return nil, err
	}
	d := &Damping{w: w, weights: weights, y: make([]float64, len(y))}
	for i := range y {
		d.y[i] = y[i] * weights[i]
	}
	if math.IsInf(floats.Norm(d.y, 2), 0) || math.IsInf(mat.Norm(w, 2), 0) {
		return nil, arg.Bad(fn, "a/sigma, y/sigma", "too large", "values whose squares a float64 can hold")
	}
	u, v, values, ok := factorise(w, mat.SVDThin)
	if !ok {
		return nil, fmt.Errorf("%s: %w", fn, ErrNotConverged)
	}
	d.s = values
	if d.s[0] == 0 {
		return nil, arg.Bad(fn, "a", "all zero", "a matrix with a number other than zero")
	}
	d.u, d.v = *u, *v
	d.b = make([]float64, len(d.s))
	beyond := append([]float64(nil), d.y...)
	for k := range d.b {
		for i, yi := range d.y {
			d.b[k] += d.u.At(i, k) * yi
		}
		for i := range beyond {
			beyond[i] -= d.b[k] * d.u.At(i, k)
		}
	}
	if len(d.s) < len(d.y) {
		d.beyond = floats.Norm(beyond, 2)
	}
	return d, nil
}

// A Damped is the solution of a damped problem. It is not an unbiased
// estimate: damping pulls X towards 0 wherever the data say little.
type Damped struct {
	Lambda float64
	X      []float64
	// U is the part of the standard uncertainty of X that comes from the
	// errors of y. It says nothing about the bias: U falls as Lambda grows.
	U []float64
	// ResidualNorm is |(A x - y)/sigma| and SolutionNorm |x|.
	ResidualNorm, SolutionNorm float64
	// Effective is the number of parameters that the data rather than the
	// damping decide: the sum of s²/(s²+lambda²) over the singular values s.
	Effective float64
	// Residuals are y - A x in the unit of y.
	Residuals []float64
}

// Solve returns the solution for a damping lambda above zero.
func (d *Damping) Solve(lambda float64) (*Damped, error) {
	if err := arg.Positive("fit.Damping.Solve", "lambda", lambda, "damping"); err != nil {
		return nil, err
	}
	_, n := d.w.Dims()
	out := &Damped{Lambda: lambda, X: make([]float64, n), U: make([]float64, n), Residuals: make([]float64, len(d.y))}
	for k, s := range d.s {
		filter := filterOf(s, lambda)
		out.Effective += filter
		if s == 0 {
			continue
		}
		for j := range n {
			v := d.v.At(j, k) * (filter / s)
			out.X[j] += v * d.b[k]
			out.U[j] = math.Hypot(out.U[j], v)
		}
	}
	out.ResidualNorm, out.SolutionNorm = d.norms(lambda)
	for i := range d.y {
		out.Residuals[i] = (d.y[i] - floats.Dot(d.w.RawRowView(i), out.X)) / d.weights[i]
	}
	return out, nil
}

// filterOf is s²/(s²+lambda²), safe for all sizes.
func filterOf(s, lambda float64) float64 {
	if s == 0 {
		return 0
	}
	ratio := lambda / s
	return 1 / (1 + ratio*ratio)
}

func (d *Damping) norms(lambda float64) (residual, solution float64) {
	residual = d.beyond
	for k, s := range d.s {
		filter := filterOf(s, lambda)
		residual = math.Hypot(residual, (1-filter)*d.b[k])
		if s > 0 {
			solution = math.Hypot(solution, filter/s*d.b[k])
		}
	}
	return residual, solution
}

// Discrepancy solves with the lambda for which |(A x - y)/sigma| is delta: as
// much misfit as the errors of y explain and no more. With sigma given, delta
// is about the square root of the number of points. It returns an error when
// no damping reaches delta: delta must lie above the misfit without damping
// and below |y/sigma|, the misfit of x = 0.
// Source: V. A. Morozov, Soviet Math. Dokl. 7 (1966) 414 (from memory).
func (d *Damping) Discrepancy(delta float64) (*Damped, error) {
	low, high := d.s[0]*1e-15, d.s[0]*1e15
	least, _ := d.norms(low)
	most := floats.Norm(d.y, 2)
	if !(delta > least && delta < most) {
		return nil, arg.Bad("fit.Damping.Discrepancy", "delta", delta, fmt.Sprintf("a misfit above %.6g, which no damping at all leaves, and below %.6g, which x = 0 leaves", least, most))
	}
	// The misfit grows with lambda: bisection of its logarithm.
	for range 200 {
		mid := math.Sqrt(low) * math.Sqrt(high)
		if mid <= low || mid >= high {
			break
		}
		if misfit, _ := d.norms(mid); misfit > delta {
			high = mid
		} else {
			low = mid
		}
	}
	return d.Solve(low)
}

// LCurve returns the damped solutions at count values of lambda, evenly spaced
// in its logarithm over the range of the singular values that rounding leaves
// meaningful. Plotted as log SolutionNorm against log ResidualNorm they
// form an L.
func (d *Damping) LCurve(count int) ([]*Damped, error) {
	if count < 3 || count > 100000 {
		return nil, arg.Bad("fit.Damping.LCurve", "count", count, "3 to 100000")
	}
	low, high := d.usefulRange()
	curve := make([]*Damped, count)
	for i := range curve {
		var err error
		if curve[i], err = d.Solve(low * math.Pow(high/low, float64(i)/float64(count-1))); err != nil {
			return nil, err
		}
	}
	return curve, nil
}

func (d *Damping) usefulRange() (low, high float64) {
	low = d.s[0]
	for _, s := range d.s {
		if s > 1e-12*d.s[0] {
			low = s
		}
	}
	return low / 10, d.s[0] * 10
}

// Corner solves with the lambda at the corner of the L-curve, the point of
// largest curvature in log-log: beyond it more damping costs misfit, before it
// less damping only makes x larger. The corner is a rule of thumb and may
// fail when the errors of y are not independent. It returns an error when the
// curve has no corner (no positive curvature), and for a problem whose misfit
// or solution is zero.
// Source: P. C. Hansen, D. P. O'Leary, SIAM J. Sci. Comput. 14 (1993) 1487
// (from memory).
func (d *Damping) Corner() (*Damped, error) {
	low, high := d.usefulRange()
	const count = 200
	at := func(i float64) float64 { return low * math.Pow(high/low, i/count) }
	best, top := 0.0, 0.0
	for i := range count + 1 {
		if c := d.curvature(at(float64(i))); c > top {
			best, top = float64(i), c
		}
	}
	if top == 0 {
		return nil, errors.New("fit.Damping.Corner: the L-curve has no corner; choose the damping by Discrepancy")
	}
	// Golden section between the neighbours.
	left, right := math.Max(0, best-1), math.Min(count, best+1)
	const golden = 0.6180339887498949
	for range 60 {
		a, b := right-golden*(right-left), left+golden*(right-left)
		if d.curvature(at(a)) > d.curvature(at(b)) {
			right = b
		} else {
			left = a
		}
	}
	return d.Solve(at((left + right) / 2))
}

// curvature returns that of (log misfit, log solution) as a function of log
// lambda. With r² = sum of ((1-f) b)² + beyond², x² = sum of (f b/s)² and
// f = s²/(s²+lambda²), df/dlog lambda = -2 f (1-f); hence, per log lambda,
// (r²)' = 4 sum of f (1-f)² b², and (x²)' = -(r²)'/lambda².
func (d *Damping) curvature(lambda float64) float64 {
	r2, x2 := d.beyond*d.beyond, 0.0
	var dr2, ddr2 float64
	for k, s := range d.s {
		f := filterOf(s, lambda)
		b2 := d.b[k] * d.b[k]
		r2 += (1 - f) * (1 - f) * b2
		if s > 0 {
			x2 += f / s * (f / s) * b2
		}
		dr2 += 4 * f * (1 - f) * (1 - f) * b2
		// d/dlog lambda of f (1-f)² is -2 f (1-f)² (1 - 3 f).
		ddr2 += -8 * f * (1 - f) * (1 - f) * (1 - 3*f) * b2
	}
	if !(r2 > 0 && x2 > 0) {
		return 0
	}
	l2 := lambda * lambda
	dx2 := -dr2 / l2
	ddx2 := -ddr2/l2 + 2*dr2/l2
	// Half the logarithms of r² and x² are the coordinates.
	ru, xu := dr2/r2/2, dx2/x2/2
	ruu, xuu := (ddr2/r2-(dr2/r2)*(dr2/r2))/2, (ddx2/x2-(dx2/x2)*(dx2/x2))/2
	c := (ru*xuu - xu*ruu) / math.Pow(ru*ru+xu*xu, 1.5)
	if math.IsNaN(c) {
		return 0
	}
	return c
}
