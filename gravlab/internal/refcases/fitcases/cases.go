// Package fitcases holds the known answers of package fit: the certified
// nonlinear-regression sets of NIST, and rows of testdata/model_checks.csv that
// were computed exactly or to many digits by other routes.
package fitcases

import (
	"fmt"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/internal/check"
	"gravity.example/gravlab/internal/refcases/rows"
	"gravity.example/testdata"
)

// Cases returns all known answers of package fit.
func Cases() []check.Case {
	cases := append(certified(), bigG()...)
	for _, m := range testdata.ModelChecks("fit") {
		cases = append(cases, calls.Case(m, tolerance(m)))
	}
	return cases
}

// certified compares every certified number, reached from both certified
// starts with the analytic derivatives.
func certified() []check.Case {
	var cases []check.Case
	for _, s := range StRDs() {
		for k, start := range s.Starts {
			c := s.Curve
			c.Start = start
			// One fit serves all cases of a set.
			var result *fit.Result
			once := func() (*fit.Result, error) {
				var err error
				if result == nil {
					result, err = c.Fit()
				}
				return result, err
			}
			add := func(name, quantity, want string, got func(*fit.Result) float64) {
				v, err := strconv.ParseFloat(want, 64)
				if err != nil {
					panic(fmt.Sprintf("fitcases: %s: %q is not a number", s.Name, want))
				}
				cases = append(cases, check.Case{
					ID:       fmt.Sprintf("strd-%s-%s-start%d", s.Name, name, k+1),
					Quantity: fmt.Sprintf("%s, difficulty %s, from start %d: %s", s.Name, strings.ToLower(s.Difficulty), k+1, quantity),
					Unit:     "1", Want: v, Tol: check.Digits(want), Source: s.Source, Known: check.Read, Published: true,
					Got: func() (float64, error) {
						r, err := once()
						if err != nil {
							return 0, err
						}
						return got(r), nil
					},
				})
			}
			for j, name := range c.Names {
				add(name, "parameter "+name, s.Value[j], func(r *fit.Result) float64 { return r.P[j] })
				add("sd-"+name, "standard deviation of "+name, s.SD[j], func(r *fit.Result) float64 { return r.U[j] })
			}
			add("rss", "residual sum of squares", s.RSS, func(r *fit.Result) float64 { return r.Chi2 })
		}
	}
	return cases
}

// tolerance is the error of the reference, or of our method where that is
// larger: all but the damped oscillation are exact up to rounding.
func tolerance(m testdata.ModelCheck) check.Tolerance {
	switch m.Call {
	case "DampedOscillation.U":
		return check.Tolerance{Rel: 1e-9, Why: "covariance from JᵀJ: rounding times the square of a condition number below 1e3"}
	case "Damping.Discrepancy":
		return check.Tolerance{Rel: 1e-12, Why: "reference to 16 digits; bisection to rounding times a condition number of about 10"}
	case "WeightedMean.PValue":
		return check.Tolerance{Rel: 1e-11, Why: "differences of 1e-3 between inputs of 6.7 hold 13 digits; chi² doubles their error, its probability multiplies it by chi²/2"}
	}
	return check.Tolerance{Rel: 1e-13, Why: "exact up to rounding times a condition number of about 100"}
}

var calls = rows.Calls{
	"Linear.P": func(m testdata.ModelCheck) (float64, error) {
		r, err := polynomial(m)
		if err != nil {
			return 0, err
		}
		return r.P[coefficient(m.Inputs["asked"])], nil
	},
	"Linear.Cov": func(m testdata.ModelCheck) (float64, error) {
		r, err := polynomial(m)
		if err != nil {
			return 0, err
		}
		one, other, _ := strings.Cut(m.Inputs["asked"], " ")
		return r.Cov.At(coefficient(one), coefficient(other)), nil
	},
	"Damping.Solve": func(m testdata.ModelCheck) (float64, error) {
		d, err := damping(m)
		if err != nil {
			return 0, err
		}
		s, err := d.Solve(numbers(m.Inputs["lambda"])[0])
		if err != nil {
			return 0, err
		}
		return s.X[int(m.Float("asked"))-1], nil
	},
	"Damping.Discrepancy": func(m testdata.ModelCheck) (float64, error) {
		d, err := damping(m)
		if err != nil {
			return 0, err
		}
		s, err := d.Discrepancy(m.Float("delta"))
		if err != nil {
			return 0, err
		}
		return s.Lambda, nil
	},
	// The line p + q x through (0 1) (1 3) (2 2) (3 5) with p + 2 q = c.
	"LinearConstrained.P": func(m testdata.ModelCheck) (float64, error) {
		a := mat.NewDense(4, 2, []float64{1, 0, 1, 1, 1, 2, 1, 3})
		r, err := fit.LinearConstrained(a, []float64{1, 3, 2, 5}, nil, mat.NewDense(1, 2, []float64{1, 2}), numbers(m.Inputs["c"]))
		if err != nil {
			return 0, err
		}
		return r.P[strings.Index("pq", m.Inputs["asked"])], nil
	},
	// The readings are those that the true parameters give without noise: the fit ends on
	// them, and its uncertainties are those of the true Jacobian.
	"DampedOscillation.U": func(m testdata.ModelCheck) (float64, error) {
		t, y, sigma := swing(m)
		r, err := fit.DampedOscillation(t, y, sigma)
		if err != nil {
			return 0, err
		}
		place, ok := map[string]int{"T": fit.Period, "offset": fit.Offset}[m.Inputs["asked"]]
		if !ok {
			return 0, fmt.Errorf("no parameter %q", m.Inputs["asked"])
		}
		return r.U[place], nil
	},
	"WeightedMean.Value": func(m testdata.ModelCheck) (float64, error) {
		r, err := fit.WeightedMean(numbers(m.Inputs["x"]), numbers(m.Inputs["u"]))
		if err != nil {
			return 0, err
		}
		return r.Value, nil
	},
	"WeightedMean.PValue": func(m testdata.ModelCheck) (float64, error) {
		r, err := fit.WeightedMean(numbers(m.Inputs["x"]), numbers(m.Inputs["u"]))
		if err != nil {
			return 0, err
		}
		return r.PValue, nil
	},
}

// polynomial fits a + b x + c x².
func polynomial(m testdata.ModelCheck) (*fit.Result, error) {
	x := numbers(m.Inputs["x"])
	a := mat.NewDense(len(x), 3, nil)
	for i, x := range x {
		a.SetRow(i, []float64{1, x, x * x})
	}
	return fit.Linear(a, numbers(m.Inputs["y"]), numbers(m.Inputs["sigma"]))
}

// coefficient returns the place of a, b or c.
func coefficient(name string) int { return strings.Index("abc", name) }

// damping makes the damped problem of a row.
func damping(m testdata.ModelCheck) (*fit.Damping, error) {
	var rows [][]float64
	for _, row := range strings.Split(strings.Trim(m.Inputs["A"], "[]"), " / ") {
		rows = append(rows, numbers(row))
	}
	a := mat.NewDense(len(rows), len(rows[0]), nil)
	for i, row := range rows {
		a.SetRow(i, row)
	}
	return fit.Damp(a, numbers(strings.Trim(m.Inputs["b"], "[]")), nil)
}

// numbers reads "1 1/2 3.5".
func numbers(text string) []float64 {
	var out []float64
	for _, f := range strings.Fields(text) {
		top, bottom, isRatio := strings.Cut(f, "/")
		v, err := strconv.ParseFloat(top, 64)
		if err == nil && isRatio {
			var d float64
			d, err = strconv.ParseFloat(bottom, 64)
			v /= d
		}
		if err != nil {
			panic(fmt.Sprintf("fitcases: %q is not a list of numbers", text))
		}
		out = append(out, v)
	}
	return out
}
