package fit

import (
	"errors"
	"fmt"
	"math"

	"gravity.example/gravlab/internal/arg"
)

// A Mean is the weighted mean of several results of one quantity.
type Mean struct {
	Value float64
	// U is the standard uncertainty that follows from the stated ones,
	// (sum of 1/u²)^(-1/2). It takes the results to be independent.
	U float64
	// Chi2 is the sum of ((x - Value)/u)², with DoF degrees of freedom.
	Chi2 float64
	DoF  int
	// Birge is the Birge ratio, sqrt(Chi2/DoF): the factor by which all stated
	// uncertainties would have to grow for the results to agree as well as
	// chance lets them. Well above 1, they contradict each other. NaN for one
	// result alone.
	Birge float64
	// PValue is the probability of a Chi2 at least this large when the stated
	// uncertainties are right. NaN for one result alone.
	PValue float64
}

// ExpandedU returns U times the Birge ratio where that is above 1, else U.
// Whether to expand is the reader's decision; the ratio alone does not say
// which result is wrong.
// Source: R. T. Birge, Phys. Rev. 40 (1932) 207 (from memory).
func (m Mean) ExpandedU() float64 {
	if m.Birge > 1 {
		return m.U * m.Birge
	}
	return m.U
}

// WeightedMean combines results x of one quantity with standard uncertainties
// u, in any one unit, weighting each by 1/u². It returns an error for values
// that are not finite, uncertainties that are not above zero and slices of
// unlike length or of length 0.
func WeightedMean(x, u []float64) (Mean, error) {
	const fn = "fit.WeightedMean"
	if err := errors.Join(arg.AtLeast(fn, "x", len(x), 1), arg.SameLength(fn, "x", len(x), "u", len(u)), arg.AllFinite(fn, "x", x, "number")); err != nil {
		return Mean{}, err
	}
	smallest := math.Inf(1)
	for i, v := range u {
		if !(v > 0) || math.IsInf(v, 1) {
			return Mean{}, arg.Bad(fn, fmt.Sprintf("u[%d]", i), v, "a finite standard uncertainty above zero")
		}
		smallest = math.Min(smallest, v)
	}
	// Weights relative to the best result neither overflow nor vanish together;
	// deviations from the first value keep the digits of results that agree.
	var sum, shift float64
	for i := range x {
		w := (smallest / u[i]) * (smallest / u[i])
		sum += w
		shift += w * (x[i] - x[0])
	}
	m := Mean{Value: x[0] + shift/sum, U: smallest / math.Sqrt(sum), DoF: len(x) - 1, Birge: math.NaN(), PValue: math.NaN()}
	for i := range x {
		d := (x[i] - m.Value) / u[i]
		m.Chi2 += d * d
	}
	if math.IsNaN(m.Value) || math.IsInf(m.Value, 0) {
		return Mean{}, arg.Bad(fn, "x", "too large", "numbers whose sums a float64 can hold")
	}
	if m.DoF > 0 {
		m.Birge = math.Sqrt(m.Chi2 / float64(m.DoF))
		m.PValue = chi2Survival(m.Chi2, m.DoF)
	}
	return m, nil
}
