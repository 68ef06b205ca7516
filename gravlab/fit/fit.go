// Package fit finds the parameters of a model from measured points by least
// squares, and says how well the points determine them.
//
// # Which function
//
// Most people need two. [Curve.Fit] fits any smooth model of a few parameters:
// give it the points, the model and a first guess. [DampedOscillation] fits the
// swing of a balance or a pendulum and needs no guess. Beside them:
//
//   - [WeightedMean] combines several results of one quantity;
//   - [Linear] fits a model that is linear in its parameters, and
//     [LinearConstrained] does so with conditions that must hold exactly;
//   - [Damp] prepares a linear problem that the data alone do not determine
//     (many cells, few stations) for Tikhonov damping, and finds the damping
//     from the L-curve or from the discrepancy principle.
//
// # What is minimised
//
// chi² = sum over the points of ((y - model)/sigma)², where sigma is the
// standard uncertainty of each y and the errors of the points are taken to be
// independent. Errors in x are taken to be negligible. All numbers are in
// whatever units the caller uses; SI in this module.
//
// # Uncertainties
//
// The covariance of the parameters is the inverse of the information matrix
// JᵀWJ at the solution (J the Jacobian, W the weights 1/sigma²): first order,
// exact for a linear model. When sigma is given it is not scaled, whatever
// chi² turns out to be: look at chi² and its p-value instead. When sigma is
// nil, the points are taken to have equal and unknown uncertainty, the
// covariance is scaled by chi²/nu, and Result.Scaled says so; intervals then
// need Student's t (Result.CoverageFactor).
// Source: JCGM 100:2008, 8.1.2 and H.3 (from memory); W. H. Press et al.,
// Numerical Recipes, 3rd ed. (2007), section 15.4 and 15.6 (from memory).
//
// # Not determined
//
// Whether the data determine the parameters is decided on the singular values
// of the weighted Jacobian after each column was divided by its length (before
// that, a singular value would depend on the units of the parameters). A
// parameter that takes part in a direction whose singular value is lost in
// rounding is named in Result.Undetermined and has an infinite uncertainty.
package fit

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/mathext"
)

// A Result is the outcome of a fit.
type Result struct {
	// P are the parameters and U their standard uncertainties. U is +Inf for a
	// parameter that the data do not determine, NaN for one that a bound holds,
	// and 0 for one that was fixed by equal bounds.
	P, U []float64
	// Cov is the covariance matrix of P. It holds +Inf or NaN where U does.
	Cov *mat.SymDense
	// Chi2 is the sum of squared residuals, each over its sigma (over 1 when
	// sigma is unknown).
	Chi2 float64
	// DoF is the number of points less the number of free parameters.
	DoF int
	// Residuals are y - model at the solution, in the unit of y.
	Residuals []float64
	// Scaled says that sigma was unknown and Cov was scaled by Chi2/DoF.
	Scaled bool
	// Undetermined names the parameters that the data do not determine.
	Undetermined []string
	// AtBound names the parameters that a bound holds: Cov treats them as
	// fixed, and their own uncertainty is not known from this fit.
	AtBound []string
	// Names are the names of the parameters.
	Names []string
	// Iterations counts the steps of the search (0 for a linear fit).
	Iterations int
}

// Correlation returns the correlation coefficient of parameters i and j, NaN
// where one of them has no finite uncertainty above zero or does not exist.
func (r *Result) Correlation(i, j int) float64 {
	if i < 0 || j < 0 || i >= len(r.P) || j >= len(r.P) {
		return math.NaN()
	}
	return r.Cov.At(i, j) / math.Sqrt(r.Cov.At(i, i)) / math.Sqrt(r.Cov.At(j, j))
}

// ReducedChi2 returns Chi2/DoF, which is near 1 when the model and the sigmas
// are right; with unknown sigmas it is the estimated variance of a point. It
// is NaN without degrees of freedom.
func (r *Result) ReducedChi2() float64 {
	if r.DoF <= 0 {
		return math.NaN()
	}
	return r.Chi2 / float64(r.DoF)
}

// PValue returns the probability that chi² comes out at least this large when
// model and sigmas are right. It is NaN when sigma was unknown (chi² then says
// nothing about the model) and without degrees of freedom.
func (r *Result) PValue() float64 {
	if r.Scaled {
		return math.NaN()
	}
	return chi2Survival(r.Chi2, r.DoF)
}

// CoverageFactor returns the k for which P ± k U holds the true value with the
// given probability: from the normal distribution, or from Student's t with DoF
// degrees of freedom when sigma was unknown. It is NaN unless 0 < p < 1.
func (r *Result) CoverageFactor(p float64) float64 {
	if !(p > 0 && p < 1) {
		return math.NaN()
	}
	if !r.Scaled {
		return normalFactor(p)
	}
	if r.DoF <= 0 {
		return math.NaN()
	}
	return studentFactor(p, float64(r.DoF))
}

// studentFactor returns the k that |t| with nu degrees of freedom stays within
// with probability p, by bisection: with many degrees of freedom the inverse of
// the incomplete beta function is lost in the far tail.
// Source: Abramowitz and Stegun (1964), 26.7.1 (from memory).
func studentFactor(p, nu float64) float64 {
	// Whichever of the two probabilities is the smaller keeps its digits.
	within := func(k float64) bool {
		if share := k / nu * k; p < 0.5 {
			return mathext.RegIncBeta(0.5, nu/2, share/(1+share)) < p
		} else {
			return mathext.RegIncBeta(nu/2, 0.5, 1/(1+share)) > 1-p
		}
	}
	low := normalFactor(p) // Student's t has the wider tails
	high := math.Max(2*low, 1)
	for within(high) && high < 1e300 {
		low, high = high, 2*high
	}
	for range 60 {
		mid := low + (high-low)/2
		if !(mid > low && mid < high) {
			break
		}
		if within(mid) {
			low = mid
		} else {
			high = mid
		}
	}
	return low + (high-low)/2
}

// normalFactor does the same for the normal distribution.
func normalFactor(p float64) float64 {
	if p < 0.5 {
		return mathext.NormalQuantile((1 + p) / 2)
	}
	return -mathext.NormalQuantile((1 - p) / 2) // 1-p is exact, 1+p is not
}

// String tells the result in words: each parameter with its standard
// uncertainty, chi², and what should be known before the numbers are used.
func (r *Result) String() string {
	var b strings.Builder
	for i, name := range r.Names {
		switch u := r.U[i]; {
		case math.IsInf(u, 1):
			fmt.Fprintf(&b, "%s: not determined by these data\n", name)
		case math.IsNaN(u):
			fmt.Fprintf(&b, "%s = %.6g, held by its bound\n", name, r.P[i])
		default:
			fmt.Fprintf(&b, "%s = %s ± %.2g\n", name, toPlace(r.P[i], u), u)
		}
	}
	if r.Scaled {
		// With no sigma chi² is a sum of squares in the unit of the data: the scatter says more.
		fmt.Fprintf(&b, "scatter about the fit %.4g, %d degrees of freedom\n(uncertainties from this scatter)", math.Sqrt(r.ReducedChi2()), r.DoF)
		return b.String()
	}
	fmt.Fprintf(&b, "chi² = %.4g for %d degrees of freedom", r.Chi2, r.DoF)
	if r.DoF > 0 {
		fmt.Fprintf(&b, " (p = %.2g)", r.PValue())
	}
	return b.String()
}

// toPlace writes v to the second significant digit of u.
func toPlace(v, u float64) string {
	if !(u > 0) || v == 0 {
		return fmt.Sprintf("%.6g", v)
	}
	digits := int(math.Floor(math.Log10(math.Abs(v)))-math.Floor(math.Log10(u))) + 2
	return fmt.Sprintf("%.*g", max(1, min(digits, 17)), v)
}

// chi2Survival is the probability of a chi² at least as large as x.
// Source: Abramowitz and Stegun (1964), 26.4.19 (from memory).
func chi2Survival(x float64, dof int) float64 {
	if dof <= 0 || math.IsNaN(x) || x < 0 {
		return math.NaN()
	}
	if math.IsInf(x, 1) {
		return 0
	}
	return mathext.GammaIncRegComp(float64(dof)/2, x/2)
}

// names returns the names given, or p[0], p[1]...
func names(given []string, n int) []string {
	if len(given) == n {
		return append([]string(nil), given...)
	}
	out := make([]string, n)
	for i := range out {
		out[i] = fmt.Sprintf("p[%d]", i)
	}
	return out
}

// lists is a Result but for its names, as numbers; resultOf is the inverse.
func (r *Result) lists() [][]float64 {
	n := len(r.P)
	cov := make([]float64, 0, n*n)
	for i := range n {
		for j := range n {
			cov = append(cov, r.Cov.At(i, j))
		}
	}
	loose := make([]float64, n)
	for i := range loose {
		if slices.Contains(r.Undetermined, r.Names[i]) {
			loose[i] = 1
		}
	}
	return [][]float64{r.P, r.U, cov, r.Residuals, loose, {r.Chi2, float64(r.DoF), float64(r.Iterations)}, boolean(r.Scaled)}
}

func resultOf(l [][]float64, names []string) *Result {
	n := len(names)
	r := &Result{P: l[0], U: l[1], Cov: mat.NewSymDense(n, l[2]), Residuals: l[3], Chi2: l[5][0], DoF: int(l[5][1]), Iterations: int(l[5][2]), Scaled: len(l[6]) > 0, Names: names}
	for i, v := range l[4] {
		if v != 0 {
			r.Undetermined = append(r.Undetermined, names[i])
		}
	}
	return r
}

// boolean is a list with something in it, or an empty one.
func boolean(b bool) []float64 {
	if b {
		return []float64{1}
	}
	return nil
}
