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
	"gravity.example/testdata"
)

// Cases returns all known answers of package fit.
func Cases() []check.Case {
	cases := append(certified(), bigG()...)
	for _, m := range testdata.ModelChecks("fit") {
		cases = append(cases, check.Case{
			ID: m.ID, Quantity: m.Quantity, Unit: m.Unit, Want: m.Value, Tol: tolerance(m),
			Source: "model_checks.csv: " + m.Route + " (" + m.Source + ")", Known: check.Computed,
			Got: func() (float64, error) { return answer(m) },
		})
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
					panic(fmt.Sprintf("knownfit: %s: %q is no number", s.Name, want))
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
	switch {
	case strings.HasPrefix(m.ID, "fit-damped"):
		return check.Tolerance{Rel: 1e-9, Why: "covariance from JᵀJ: rounding times the square of a condition number below 1e3"}
	case strings.HasPrefix(m.ID, "fit-discrepancy"):
		return check.Tolerance{Rel: 1e-12, Why: "reference to 16 digits; bisection to rounding times a condition number of about 10"}
	}
	if strings.HasPrefix(m.ID, "fit-mean") && m.Quantity != "weighted mean" {
		return check.Tolerance{Rel: 1e-11, Why: "differences of 1e-3 between inputs of 6.7 hold 13 digits; chi² doubles their error, its probability multiplies it by chi²/2"}
	}
	return check.Tolerance{Rel: 1e-13, Why: "exact up to rounding times a condition number of about 100"}
}

func answer(m testdata.ModelCheck) (float64, error) {
	switch kind := m.ID[:strings.LastIndexByte(m.ID, '-')]; kind {
	case "fit-linear":
		return linear(m)
	case "fit-tikhonov", "fit-discrepancy":
		return damped(m)
	case "fit-constraint":
		return constrained(m)
	case "fit-damped":
		return oscillation(m)
	case "fit-mean":
		return mean(m)
	}
	return 0, fmt.Errorf("no way to compute this row")
}

// linear fits a polynomial a + b x + c x².
func linear(m testdata.ModelCheck) (float64, error) {
	x, y, sigma := numbers(m.Inputs["x"]), numbers(m.Inputs["y"]), numbers(m.Inputs["sigma"])
	a := mat.NewDense(len(x), 3, nil)
	for i, x := range x {
		a.SetRow(i, []float64{1, x, x * x})
	}
	r, err := fit.Linear(a, y, sigma)
	if err != nil {
		return 0, err
	}
	_, asked, _ := strings.Cut(m.Quantity, ": ")
	place := func(s string) int { return strings.Index("abc", s) }
	switch f := strings.Fields(asked); {
	case len(f) == 2 && f[0] == "parameter":
		return r.P[place(f[1])], nil
	case len(f) == 5 && f[0] == "covariance":
		return r.Cov.At(place(f[2]), place(f[4])), nil
	case len(f) == 3 && f[0] == "variance":
		return r.Cov.At(place(f[2]), place(f[2])), nil
	case strings.HasPrefix(asked, "chi"):
		return r.Chi2, nil
	}
	return 0, fmt.Errorf("no way to compute %q", asked)
}

func damped(m testdata.ModelCheck) (float64, error) {
	var rows [][]float64
	for _, row := range strings.Split(strings.Trim(m.Inputs["A"], "[]"), " / ") {
		rows = append(rows, numbers(row))
	}
	a := mat.NewDense(len(rows), len(rows[0]), nil)
	for i, row := range rows {
		a.SetRow(i, row)
	}
	d, err := fit.Damp(a, numbers(strings.Trim(m.Inputs["b"], "[]")), nil)
	if err != nil {
		return 0, err
	}
	if m.Inputs["delta"] != "" {
		s, err := d.Discrepancy(numbers(m.Inputs["delta"])[0])
		if err != nil {
			return 0, err
		}
		return s.Lambda, nil
	}
	s, err := d.Solve(numbers(m.Inputs["lambda"])[0])
	if err != nil {
		return 0, err
	}
	for i, word := range []string{"first", "second", "third"} {
		if strings.Contains(m.Quantity, word+" element") {
			return s.X[i], nil
		}
	}
	return 0, fmt.Errorf("no way to compute %q", m.Quantity)
}

// constrained fits the line through (0 1) (1 3) (2 2) (3 5) with p + 2 q = c.
func constrained(m testdata.ModelCheck) (float64, error) {
	a := mat.NewDense(4, 2, []float64{1, 0, 1, 1, 1, 2, 1, 3})
	r, err := fit.LinearConstrained(a, []float64{1, 3, 2, 5}, nil, mat.NewDense(1, 2, []float64{1, 2}), numbers(m.Inputs["c"]))
	if err != nil {
		return 0, err
	}
	if strings.HasSuffix(m.Quantity, ": q") {
		return r.P[1], nil
	}
	return r.P[0], nil
}

// oscillation fits the readings that the true parameters give without noise:
// the fit ends on them, and its uncertainties are those of the true Jacobian.
func oscillation(m testdata.ModelCheck) (float64, error) {
	t, y, sigma := swing(m)
	r, err := fit.DampedOscillation(t, y, sigma)
	if err != nil {
		return 0, err
	}
	places := map[string]int{"A": fit.Amplitude, "tau": fit.DecayTime, "T": fit.Period, "phase": fit.Phase, "offset": fit.Offset}
	words := strings.FieldsFunc(m.Quantity, func(r rune) bool { return strings.ContainsRune(" ;,", r) })
	var asked []int
	for _, w := range words {
		if place, ok := places[w]; ok {
			asked = append(asked, place)
		}
	}
	switch {
	case strings.HasPrefix(m.Quantity, "standard uncertainty") && len(asked) == 1:
		return r.U[asked[0]], nil
	case strings.HasPrefix(m.Quantity, "correlation") && len(asked) == 2:
		return r.Correlation(asked[0], asked[1]), nil
	}
	return 0, fmt.Errorf("no way to compute %q", m.Quantity)
}

func mean(m testdata.ModelCheck) (float64, error) {
	r, err := fit.WeightedMean(numbers(m.Inputs["x"]), numbers(m.Inputs["u"]))
	if err != nil {
		return 0, err
	}
	switch {
	case m.Quantity == "weighted mean":
		return r.Value, nil
	case strings.HasPrefix(m.Quantity, "probability"):
		return r.PValue, nil
	case strings.Contains(m.Quantity, "Birge"):
		return r.Birge, nil
	case strings.HasPrefix(m.Quantity, "chi"):
		return r.Chi2, nil
	case strings.Contains(m.Quantity, "uncertainty"):
		return r.U, nil
	}
	return 0, fmt.Errorf("no way to compute %q", m.Quantity)
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
			panic(fmt.Sprintf("knownfit: %q is no list of numbers", text))
		}
		out = append(out, v)
	}
	return out
}
