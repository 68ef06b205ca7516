package torsioncases

import (
	"fmt"
	"math"
	"strconv"

	"gravity.example/gravlab/internal/check"
	"gravity.example/gravlab/torsion"
	"gravity.example/testdata"
)

// published returns the worked examples of textbooks and of 1798.
func published() []check.Case {
	return []check.Case{
		example("cavendish-04", "density of the Earth, experiment 4 of 1798", "1", 1, func() (float64, error) {
			return torsion.Density1798(421, 6.18/2) // 6.18 is the whole movement
		}),
		example("cavendish-06", "density of the Earth, experiment 2 of 1798 (the third result)", "1", 1, func() (float64, error) {
			return torsion.Density1798(882, 14.69)
		}),
		example("cavendish-07", "G by the textbook formula", "m³ kg⁻¹ s⁻²", 1, func() (float64, error) {
			b := torsion.Balance{Arm: 0.25, Distance: 0.1, SmallMass: 0.02, LargeMass: 5, Kappa: 4.8e-8}
			return b.GSimple(0.007) // 0.4° as the source rounds it
		}),
		example("cavendish-09", "G from one pair of spheres", "m³ kg⁻¹ s⁻²", 1, func() (float64, error) {
			b := torsion.Balance{Arm: 0.08, Distance: 0.06, SmallMass: 7.5e-3, LargeMass: 1.3, Kappa: 9.3e-10}
			g, err := b.GSimple(1.5e-2)
			return 2 * g, err // one pair pulls half as hard
		}),
		example("torsion-02", "torsion constant from the period of a metre stick", "N m/rad", 1, func() (float64, error) {
			return torsion.KappaFromPeriod(2.0*1*1/12, 180, infinite)
		}),
		example("torsion-04", "torsion constant from the period of a disc", "N m/rad", 1, func() (float64, error) {
			return torsion.KappaFromPeriod(2.00e-3*0.0220*0.0220/2, 1, infinite)
		}),
		example("torsion-05", "moment of inertia from torsion constant and period", "kg m²", 1, func() (float64, error) {
			perInertia, err := torsion.KappaFromPeriod(1, 3.0, infinite)
			return 0.088 / perInertia, err
		}),
		example("earthmass-06", "mass of the Earth after Baily", "kg", 1e-3, func() (float64, error) {
			return torsion.EarthMass(6.48e-11, 9.81, 6.371e6)
		}),
		example("earthmass-07", "mean density of the Earth after Baily", "kg/m³", 1e3, func() (float64, error) {
			return torsion.EarthDensity(6.48e-11, 9.81, 6.371e6)
		}),
		example("earthmass-02", "gravity of a Moon as dense as the Earth", "m/s²", 1, func() (float64, error) {
			perG, err := torsion.EarthMass(6.67e-11, 1, 1.7e6)
			return 1.1e23 / perG, err
		}),
		example("earthmass-05", "gravity of Saturn from its density", "m/s²", 1, func() (float64, error) {
			perG, err := torsion.EarthDensity(6.67e-11, 1, 1.2e8/2)
			return 690 / perG, err
		}),
		example("damping-05", "Q from period and halving time", "1", 1, func() (float64, error) {
			tau := 100 / math.Ln2
			kappa, err := torsion.KappaFromPeriod(1, 5, tau)
			if err != nil {
				return 0, err
			}
			return torsion.Swing{Inertia: 1, Kappa: kappa, Damping: 2 / tau, Start: 1}.Q()
		}),
		loose(example("earthmass-03", "mass of the Earth from the orbit of the Moon", "kg", 1, func() (float64, error) {
			return torsion.MassFromOrbit(6.67e-11, 3.84e8, 2.36e6)
		}), 0.0015, "the published 6.01 should round to 6.02: it was computed from rounded intermediates, off by 0.12 %"),
	}
}

// ribbons returns the torsion constants of rectangular sections that handbooks
// print: kappa = k1 n w t³/l.
func ribbons() []check.Case {
	var cases []check.Case
	for _, row := range []struct {
		ratio float64
		k1    string
	}{{1, "0.1406"}, {1.5, "0.196"}, {2, "0.229"}, {3, "0.263"}, {4, "0.281"}, {10, "0.312"}} {
		cases = append(cases, check.Case{
			ID:       fmt.Sprintf("ribbon-k1-%g", row.ratio),
			Quantity: fmt.Sprintf("torsion of a rectangle %g times as wide as thick: kappa l/(n w t³)", row.ratio), Unit: "1",
			Want: number(row.k1), Tol: check.Digits(row.k1), Known: check.Memory, Published: true,
			Source: "S. P. Timoshenko, J. N. Goodier, Theory of Elasticity, 3rd ed. (McGraw-Hill 1970), table of section 109",
			Got: func() (float64, error) {
				return torsion.Ribbon{Width: row.ratio * 1e-3, Thickness: 1e-3, Length: 1, ShearModulus: 1e12 / row.ratio}.Kappa()
			},
		})
	}
	return cases
}

// example is a row of worked_examples.csv; factor turns its unit into ours.
func example(id, quantity, unit string, factor float64, got func() (float64, error)) check.Case {
	row := testdata.Find(testdata.Examples, id)
	tol := check.Digits(row["published_answer"])
	tol.Abs *= factor
	known := check.Read
	if row["how_known"] == "from memory" {
		known = check.Memory
	}
	return check.Case{
		ID: id, Quantity: quantity, Unit: unit, Want: row.Float("published_answer") * factor, Tol: tol,
		Source: row["source"], Known: known, Published: true, Got: got,
	}
}

func loose(c check.Case, rel float64, why string) check.Case {
	c.Tol = check.Tolerance{Rel: rel, Why: why}
	return c
}

// cavendish returns what the 29 results of 1798 give today, and what was
// printed.
func cavendish() []check.Case {
	summary := func(r torsion.Reading1798, pick func(torsion.Summary) float64) func() (float64, error) {
		return func() (float64, error) {
			s, err := torsion.Summarise(r.Densities())
			return pick(s), err
		}
	}
	mean := func(s torsion.Summary) float64 { return s.Mean }
	median := func(s torsion.Summary) float64 { return s.Median }
	spread := func(s torsion.Summary) float64 { return s.Spread }
	u := func(s torsion.Summary) float64 { return s.U }

	const recomputed = "recomputed from the 29 printed results (H. Cavendish, Phil. Trans. 88, 469, 1798; data as in S. M. Stigler, Ann. Statist. 5, 1055, 1977)"
	note := func(id, quantity, digits string, got func() (float64, error)) check.Case {
		return check.Case{ID: id, Quantity: quantity, Unit: "1", Want: number(digits), Tol: check.Digits(digits),
			Source: recomputed, Known: check.Computed, Got: got}
	}
	value := func(id, quantity string, got func() (float64, error)) check.Case {
		row := testdata.Find(testdata.Values, id)
		return check.Case{ID: id, Quantity: quantity, Unit: "1", Want: row.Float("value"), Tol: check.Digits(row["value"]),
			Source: row["source"], Known: check.Read, Published: true, Got: got}
	}
	asPrinted, as588 := torsion.Reading1798{}, torsion.Reading1798{ThirdAs588: true}
	stiffer := torsion.Reading1798{StifferWire: true}
	return []check.Case{
		example("cavendish-01", "mean of the 29 densities of 1798 as printed", "1", 1, summary(asPrinted, mean)),
		example("cavendish-02", "their mean with 5.88 for 4.88, the mean printed in 1798", "1", 1, summary(as588, mean)),
		value("cav_mean_29", "mean of the 29 densities", summary(asPrinted, mean)),
		value("cav_mean_588", "mean with 5.88 for 4.88", summary(as588, mean)),
		value("cav_mean_23", "mean of the 23 with the stiffer wire", summary(stiffer, mean)),
		note("cav-s-29", "standard deviation of the 29", "0.220946", summary(asPrinted, spread)),
		note("cav-u-29", "standard uncertainty of their mean", "0.041029", summary(asPrinted, u)),
		note("cav-median-29", "median of the 29", "5.46", summary(asPrinted, median)),
		note("cav-median-588", "median with 5.88 for 4.88", "5.47", summary(as588, median)),
		note("cav-median-23", "median of the 23 with the stiffer wire", "5.46", summary(stiffer, median)),
		note("cav-s-588", "standard deviation with 5.88 for 4.88", "0.2067", summary(as588, spread)),
		note("cav-s-23", "standard deviation of the 23", "0.1904", summary(stiffer, spread)),
		{
			ID: "cav_G", Quantity: "G that the mean of 1798 implies", Unit: "m³ kg⁻¹ s⁻²", Want: 6.745e-11, Tol: check.Digits("6.745e-11"),
			Source: testdata.Find(testdata.Values, "cav_G")["conditions"], Known: check.Computed,
			Got: func() (float64, error) {
				perG, err := torsion.EarthDensity(1, 9.80665, 6371e3)
				return perG / 5448, err
			},
		},
	}
}

var infinite = math.Inf(1)

// number reads a literal of this file.
func number(text string) float64 {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		panic(fmt.Sprintf("known/torsion: %q is not a number", text))
	}
	return v
}
