package fit

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// ErrNotConverged is wrapped by the error of a search that ended without a
// minimum. The Result beside it holds where the search stood.
var ErrNotConverged = errors.New("the fit did not converge")

// maxIterations is generous: a well-posed fit takes 5 to 30.
const maxIterations = 500

// roundingShare is the part of chi² below which a predicted gain can no longer
// be seen in chi² itself (a sum of squares in double precision).
const roundingShare = 1e-13

// A search is a least-squares problem as the search for its minimum sees it.
type search struct {
	p            []float64
	lower, upper []float64 // never nil; ±Inf where there is no bound

	// chi2 returns the sum of squares at p; anything not finite means that the
	// model cannot be computed there.
	chi2 func(p []float64) float64
	// linearise returns R and q with |J step + f|² = |R step + q|² + constant
	// around p, where f = (model - y)/sigma and J its Jacobian.
	linearise func(p []float64) (r *mat.Dense, q []float64, err error)
	// enough is the share of chi² below which a further gain is not looked
	// for. A step that gains it moves the parameters by about
	// sqrt(enough × degrees of freedom) of their standard uncertainties.
	enough float64
	// loose is the share of the largest singular value below which a
	// direction counts as not determined.
	loose float64
	// noise is the rounding error of the residuals, 2^-53 of the length of the
	// weighted data: chi² is not known better than 2 sqrt(chi²) noise + noise².
	noise float64
	// advice is what can be done when the search ends without a minimum.
	advice string
}

// hidden is the gain of chi² that rounding hides.
func (s *search) hidden(chi2 float64) float64 {
	return roundingShare*chi2 + 2*math.Sqrt(chi2)*s.noise + s.noise*s.noise
}

// minimum runs Levenberg–Marquardt steps until they change nothing. A step
// minimises the linearised chi² within a region of trust |D step| <= delta,
// where D are the largest column lengths of the Jacobian seen so far, so that
// the step does not depend on the units of the parameters. Parameters at a
// bound that the gradient pushes against are held; a step that would cross a
// bound ends on it.
// Source: J. J. Moré, The Levenberg–Marquardt algorithm: implementation and
// theory, Lecture Notes in Mathematics 630 (1978), 105–116 (from memory); here
// the step comes from the singular values of R, which also tell what is not
// determined.
func (s *search) minimum() (r *mat.Dense, chi2 float64, iterations int, err error) {
	n := len(s.p)
	chi2 = s.chi2(s.p)
	scale := make([]float64, n)
	delta := 0.0
	polish := math.Inf(1) // length of the last step whose gain was hidden

	for iterations = 0; iterations < maxIterations; iterations++ {
		var q []float64
		if r, q, err = s.linearise(s.p); err != nil {
			return nil, chi2, iterations, err
		}
		for j, norm := range columnNorms(r) {
			if iterations == 0 || norm > scale[j] {
				scale[j] = norm
			}
		}
		if iterations == 0 {
			delta = scaledLength(scale, s.p)
			if delta == 0 {
				delta = 1
			}
		}
		for {
			step, damped := s.step(r, q, scale, delta)
			if step == nil {
				return r, chi2, iterations, fmt.Errorf("%w: the linearised problem could not be solved", ErrNotConverged)
			}
			gain := predictedGain(r, q, step)
			length := scaledLength(scale, step)
			// A step that was shortened says nothing about the way left to go.
			if !damped && (gain <= s.enough*chi2+0.01*s.noise*s.noise || negligible(s.p, step)) {
				return r, chi2, iterations, nil
			}
			trial := make([]float64, n)
			floats.AddTo(trial, s.p, step)
			for j := range trial {
				trial[j] = math.Max(s.lower[j], math.Min(s.upper[j], trial[j]))
			}
			next := s.chi2(trial)
			if hidden := s.hidden(chi2); !damped && gain <= hidden {
				// Follow the step while steps shrink.
				if !(next <= chi2+1000*hidden) || length > 0.9*polish {
					return r, chi2, iterations, nil
				}
				polish = length
				copy(s.p, trial)
				chi2 = next
				break
			}
			ratio := (chi2 - next) / gain
			switch {
			case !(ratio >= 0.25): // also when next is NaN
				delta = 0.25 * math.Min(delta, length)
			case ratio > 0.75 && damped:
				delta = math.Max(delta, 2*length)
			}
			if ratio > 1e-4 {
				copy(s.p, trial)
				chi2 = next
				break
			}
			if !(delta > 1e-15*scaledLength(scale, s.p)) || delta < 1e-300 { // also when delta is NaN, of steps beyond float64
				// No step, however short, makes chi² smaller. Where even the whole
				// step promises next to nothing, the gradient is the error of the
				// derivatives.
				if whole, _ := s.step(r, q, scale, math.MaxFloat64); whole != nil && predictedGain(r, q, whole) <= 1e-6*chi2+1e12*s.noise*s.noise {
					return r, chi2, iterations, nil
				}
				return r, chi2, iterations, fmt.Errorf("%w: chi² does not fall along its own gradient; %s", ErrNotConverged, s.advice)
			}
		}
	}
	return r, chi2, iterations, fmt.Errorf("%w in %d iterations; %s", ErrNotConverged, maxIterations, s.advice)
}

// step returns the step of the region of trust within the bounds, and whether
// the region shortened it.
func (s *search) step(r *mat.Dense, q, scale []float64, delta float64) (step []float64, damped bool) {
	n := len(s.p)
	step = make([]float64, n)
	held := make([]bool, n)
	for j := range held {
		// Downhill along p_j is minus the gradient (Rᵀq)_j.
		gradient := 0.0
		for i := 0; i <= j; i++ {
			gradient += r.At(i, j) * q[i]
		}
		held[j] = s.lower[j] == s.upper[j] ||
			s.p[j] <= s.lower[j] && gradient >= 0 ||
			s.p[j] >= s.upper[j] && gradient <= 0
	}
	for {
		free := columnsOf(held)
		if len(free) == 0 {
			return step, damped
		}
		sub := mat.NewDense(n, len(free), nil)
		subScale := make([]float64, len(free))
		for k, j := range free {
			for i := range n {
				sub.Set(i, k, r.At(i, j))
			}
			subScale[k] = scale[j]
		}
		// Steps that already ended on a bound move the right-hand side.
		rest := make([]float64, n)
		used := 0.0
		for i := range n {
			rest[i] = -q[i]
			for j := range n {
				if held[j] {
					rest[i] -= r.At(i, j) * step[j]
				}
			}
		}
		for j := range n {
			if held[j] {
				used = math.Hypot(used, scale[j]*step[j])
			}
		}
		svd, ok := newScaledSVD(sub, subScale)
		if !ok {
			return nil, false
		}
		radius := math.Sqrt(math.Max(delta*delta-used*used, 0.01*delta*delta))
		c, shortened := trustStep(svd.s, svd.uTimes(rest), radius, s.loose)
		damped = damped || shortened
		part := svd.vTimes(c)
		crossed := false
		for k, j := range free {
			step[j] = part[k]
			if to := s.p[j] + part[k]; to < s.lower[j] || to > s.upper[j] {
				step[j] = math.Max(s.lower[j], math.Min(s.upper[j], to)) - s.p[j]
				held[j] = true
				crossed = true
			}
		}
		if !crossed {
			return step, damped
		}
	}
}

// trustStep returns the coefficients s b/(s²+lambda) with the smallest
// lambda >= 0 that makes their length at most radius, and whether lambda > 0.
// Directions with a singular value below the share loose are left alone: what
// the data say about them is lost in rounding.
func trustStep(s, b []float64, radius, loose float64) (c []float64, shortened bool) {
	at := func(lambda float64) ([]float64, float64) {
		c := make([]float64, len(s))
		for k := range s {
			if s[k] > loose*s[0] {
				c[k] = b[k] * (s[k] / (s[k]*s[k] + lambda))
			}
		}
		return c, floats.Norm(c, 2)
	}
	c, length := at(0)
	if length <= radius || s[0] == 0 {
		return c, false
	}
	// |c| <= |b| s/(s²+lambda) <= |b| s[0]/lambda bounds lambda from above; the
	// length falls monotonically, so bisection in log lambda is safe.
	high := floats.Norm(b, 2) * s[0] / radius
	low := high * 1e-32
	for range 60 {
		mid := math.Sqrt(low) * math.Sqrt(high)
		if _, length = at(mid); length > radius {
			low = mid
		} else if high = mid; length > 0.9*radius {
			break
		}
	}
	c, _ = at(high)
	return c, true
}

// predictedGain is |q|² - |q + R step|², the fall of chi² if the model were linear.
func predictedGain(r *mat.Dense, q, step []float64) float64 {
	gain := 0.0
	for i := range q {
		move := 0.0
		for j := i; j < len(step); j++ {
			move += r.At(i, j) * step[j]
		}
		gain -= move * (2*q[i] + move)
	}
	return gain
}

func scaledLength(scale, v []float64) float64 {
	sum := 0.0
	for j := range v {
		sum = math.Hypot(sum, scale[j]*v[j])
	}
	return sum
}

// negligible reports whether a step is below the spacing of the numbers.
func negligible(p, step []float64) bool {
	for j := range p {
		if math.Abs(step[j]) > 0x1p-52*math.Abs(p[j]) {
			return false
		}
	}
	return true
}

func columnsOf(held []bool) []int {
	var free []int
	for j, h := range held {
		if !h {
			free = append(free, j)
		}
	}
	return free
}
