package fitcases

import (
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/internal/check"
	"gravity.example/testdata"
)

// bigG combines the sixteen determinations of G on which CODATA 2018 and 2022
// rest. The results disagree by more than their uncertainties allow, which is the
// lesson: the Birge ratio says so.
func bigG() []check.Case {
	mean := func() (fit.Mean, error) {
		var x, u []float64
		for _, row := range testdata.Table("big_g.csv") {
			if row["in_codata_2018_2022_table"] == "yes" {
				x, u = append(x, row.Float("G_1e-11_m3_kg-1_s-2")), append(u, row.Float("u_1e-11"))
			}
		}
		return fit.WeightedMean(x, u)
	}
	const source = "the 16 inputs of E. Tiesinga et al., Rev. Mod. Phys. 93, 025010 (2021), combined without their correlations in double precision, independently of this program"
	one := func(id, quantity, unit, want string, f func(fit.Mean) float64) check.Case {
		return check.Case{
			ID: id, Quantity: quantity, Unit: unit, Want: numbers(want)[0], Tol: check.Digits(want),
			Source: source, Known: check.Computed,
			Got: func() (float64, error) {
				m, err := mean()
				return f(m), err
			},
		}
	}
	return []check.Case{
		one("big-g-mean", "weighted mean of 16 determinations of G, 1e-11", "m³ kg⁻¹ s⁻²", "6.674290", func(m fit.Mean) float64 { return m.Value }),
		one("big-g-u", "its internal standard uncertainty, 1e-11", "m³ kg⁻¹ s⁻²", "0.000038", func(m fit.Mean) float64 { return m.U }),
		one("big-g-chi2", "chi-square of the 16 determinations (15 degrees of freedom)", "1", "197.84", func(m fit.Mean) float64 { return m.Chi2 }),
		one("big-g-birge", "Birge ratio of the 16 determinations", "1", "3.63", func(m fit.Mean) float64 { return m.Birge }),
	}
}
