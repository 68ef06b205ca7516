// Package equivalencecases holds the known answers of package equivalence.
package equivalencecases

import (
	"fmt"
	"math"
	"strconv"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/equivalence"
	"gravity.example/gravlab/internal/check"
	"gravity.example/gravlab/internal/refcases/rows"
	"gravity.example/testdata"
)

const degree = gravlab.Degree

// Cases returns every known answer of package equivalence.
func Cases() []check.Case {
	return append(append(modelChecks(), examples()...), published()...)
}

// modelChecks answers the rows of model_checks.csv.
func modelChecks() []check.Case {
	var cases []check.Case
	for _, m := range testdata.ModelChecks("equivalence") {
		c := calls.Case(m, rows.Estimate(m.ErrorEstimate, 1e-13, "closed form in float64: a few hundred roundings"))
		if m.Call == "Box.Growth" {
			c.Tol = rows.Estimate(m.ErrorEstimate, 1e-11, "Runge and Kutta's fourth order, a thousand steps a radian")
		}
		cases = append(cases, c)
	}
	return cases
}

var calls = rows.Calls{
	"EarthDrive": func(m testdata.ModelCheck) (float64, error) {
		return equivalence.EarthDrive(earth.GRS80, m.Float("lat_deg")*degree, m.Float("h"))
	},
	"SunDrive east": func(m testdata.ModelCheck) (float64, error) {
		east, _, err := equivalence.SunDrive(m.Float("distance"), m.Float("declination_deg")*degree, m.Float("lat_deg")*degree)
		return east, err
	},
	"OrbitClock": func(m testdata.ModelCheck) (float64, error) {
		return equivalence.OrbitClock(m.Float("GM"), m.Float("R"), m.Float("h"))
	},
	"Redshift": func(m testdata.ModelCheck) (float64, error) {
		return equivalence.Redshift(m.Float("g"), m.Float("h"))
	},
	"RedshiftSphere": func(m testdata.ModelCheck) (float64, error) {
		return equivalence.RedshiftSphere(m.Float("GM"), m.Float("R"), m.Float("h"))
	},
	"Box.Growth": func(m testdata.ModelCheck) (float64, error) {
		return equivalence.Box{GM: m.Float("GM"), Radius: m.Float("R"), Height: m.Float("h"), Length: m.Float("L")}.Growth(m.Float("t"))
	},
	"SmallestBox": func(m testdata.ModelCheck) (float64, error) {
		return equivalence.SmallestBox(m.Float("GM"), m.Float("R"), m.Float("h"), m.Float("asd"), m.Float("tau"))
	},
	"TiltLoss": func(m testdata.ModelCheck) (float64, error) {
		return equivalence.TiltLoss(m.Float("g"), m.Float("epsilon"))
	},
	"Turntable.SpecificForce": func(m testdata.ModelCheck) (float64, error) {
		table := equivalence.Turntable{Gravity: m.Float("g"), Rate: m.Float("omega"), Radius: m.Float("r")}
		return r3.Norm(table.SpecificForce()), table.Validate()
	},
	"Lift.Speed": func(m testdata.ModelCheck) (float64, error) {
		lift := equivalence.Lift{Gravity: m.Float("g"), Peak: m.Float("a_max"), Pulse: m.Float("t_pulse")}
		return lift.Speed(lift.Pulse), lift.Validate()
	},
	"EotvosEffect": func(m testdata.ModelCheck) (float64, error) {
		e, err := equivalence.EotvosEffect(m.Float("v"), m.Float("heading_deg")*degree, m.Float("lat_deg")*degree, m.Float("R")+m.Float("h"))
		return -e, err // the row has the correction
	},
	"Limit": func(m testdata.ModelCheck) (float64, error) {
		return equivalence.Limit(m.Float("eta"), m.Float("u"), 0.95)
	},
	"OrbitDrive": func(m testdata.ModelCheck) (float64, error) {
		return equivalence.OrbitDrive(m.Float("GM"), m.Float("R"), m.Float("h"))
	},
	"Balance.GradientTorque": func(m testdata.ModelCheck) (float64, error) {
		return equivalence.Balance{TestMass: m.Float("m"), Arm: m.Float("b"), Kappa: 1}.GradientTorque(m.Float("M"), m.Float("distance"))
	},
}

// examples are the published worked examples.
func examples() []check.Case {
	example := func(id, quantity, unit, text string, factor float64, tol *check.Tolerance, got func() (float64, error)) check.Case {
		row := testdata.Find(testdata.Examples, id)
		return rows.Printed("equivalence-"+id, quantity, unit, text, factor, tol, row["source"], row["how_known"], got)
	}
	budapest := 47.5 * degree
	return []check.Case{
		example("equiv-02", "scale under 75.0 kg at constant speed, g = 9.80", "N", "735", 1, nil, func() (float64, error) { return equivalence.Weight(75, 9.80, 0) }),
		example("equiv-03", "mass from 60 N going down at 3.8 m/s²", "kg", "10", 1, nil, func() (float64, error) {
			w, err := equivalence.Weight(1, 9.80, -3.8)
			return 60 / w, err
		}),
		example("equiv-04", "the same bag, upward at 3.8 m/s²", "N", "1.4e2", 1, nil, func() (float64, error) { return equivalence.Weight(10, 9.80, 3.8) }),
		example("equiv-05", "the same bag, cable broken", "N", "0", 1, &check.Tolerance{Abs: 1e-12, Why: "exact"}, func() (float64, error) { return equivalence.Weight(10, 9.80, -9.80) }),
		example("equiv-06", "scale under 75.0 kg, to 30.0 m/s in 2.00 s upward", "N", "1860", 1, nil, func() (float64, error) { return equivalence.Weight(75, 9.80, 15) }),
		example("equiv-07", "cable under 1700 kg at 1.20 m/s² upward, g = 9.80", "N", "1.87e4", 1, nil, func() (float64, error) { return equivalence.Weight(1700, 9.80, 1.20) }),
		example("equiv-08", "speed for no weight at the equator, R = 6.37e6 m, g = 9.80", "m/s", "7.91e3", 1,
			&check.Tolerance{Abs: 10, Why: "one unit of the last digit: the inputs give 7901, which the book prints as 7.91e3"}, func() (float64, error) {
				return equivalence.OrbitSpeed(9.80*6.37e6*6.37e6, 6.37e6, 0)
			}),
		example("equiv-10", "redshift over 22.5 m, g = 9.81", "1", "2.46e-15", 1, nil, func() (float64, error) { return equivalence.Redshift(9.81, 22.5) }),
		example("equiv-11", "height for a clock of 3e-18, g = 9.8", "m", "2.8", 0.01, &check.Tolerance{Rel: 0.02, Why: "two digits, from c = 3e8 and g = 9.8"}, func() (float64, error) {
			h, _, err := equivalence.HeightOf(3e-18, 0, 9.8)
			return h, err
		}),
		example("equiv-13", "redshift over 0.33 m", "1", "3.6e-17", 1, nil, func() (float64, error) { return equivalence.Redshift(9.80665, 0.33) }),
		example("equiv-14", "redshift up and down over 74 ft", "1", "4.92e-15", 1, nil, func() (float64, error) {
			v, err := equivalence.Redshift(9.804, 74*0.3048)
			return 2 * v, err
		}),
		example("equiv-15", "angle between the plumb lines of two bodies that differ by 1e-3", "rad", "0.356", degree/3600,
			&check.Tolerance{Abs: 0.003 * degree / 3600, Why: "the quotation does not state the latitude: 0.3547 at 47.5°, at most 0.3573 at 45°"}, func() (float64, error) {
				d, err := equivalence.EarthDrive(earth.GRS80, budapest, 0)
				return 1e-3 * d / gravlab.Must(earth.GRS80.NormalGravity(budapest, 0)), err
			}),
		example("equiv-16", "the same for 1 in 20,000,000 (1/60,000 of a second of arc)", "rad", strconv.FormatFloat(1.0/60000, 'g', 3, 64), degree/3600,
			&check.Tolerance{Rel: 0.1, Why: "printed as a little more than 1/60000"}, func() (float64, error) {
				d, err := equivalence.EarthDrive(earth.GRS80, budapest, 0)
				return 1 / 2e7 * d / gravlab.Must(earth.GRS80.NormalGravity(budapest, 0)), err
			}),
		example("equiv-18", "η from a difference of 0.6e-15 m/s² at 47.66°", "1", "0.3e-13", 1,
			&check.Tolerance{Abs: 0.08e-13, Why: "half a unit of the one printed digit and of the difference, 0.05e-15 m/s²"}, func() (float64, error) {
				d, err := equivalence.EarthDrive(earth.GRS80, 47.66*degree, 0)
				return 0.6e-15 / d, err
			}),
		example("equiv-19", "statistical and systematic uncertainty of the last satellite result together", "1", "2.7e-15", 1, nil, func() (float64, error) {
			for _, r := range equivalence.Results() {
				if r.Year == 2022 {
					return r.U, nil
				}
			}
			return 0, fmt.Errorf("no result of 2022")
		}),
		example("equiv-20", "orbital speed at 400 km, R = 6.36e6 m as used", "m/s", "7.67e3", 1, nil, func() (float64, error) {
			return equivalence.OrbitSpeed(6.67e-11*5.96e24, 6.36e6, 4e5)
		}),
		example("equiv-21", "period of that orbit", "s", "5.55e3", 1, nil, func() (float64, error) {
			v, err := equivalence.OrbitSpeed(6.67e-11*5.96e24, 6.37e6, 4e5)
			return 2 * math.Pi * 6.77e6 / v, err
		}),
		example("tide-05", "pull over 2 m of a body near a star of 1.99e30 kg at 300 km", "m/s²", "19800", 1,
			&check.Tolerance{Rel: 0.01, Why: "the height of the person is about 2 m; 2.00 m gives 19664"}, func() (float64, error) {
				return equivalence.Box{GM: 6.67e-11 * 1.99e30, Radius: 3e5, Height: 0, Length: 2}.Difference()
			}),
		example("gradient-01", "vertical gradient above a spherical Earth", "1/s²", "3.08e3", 1e-9, nil, func() (float64, error) {
			d, err := equivalence.Box{GM: 3.986004418e14, Radius: 6371000, Height: 0, Length: 1e-3}.Difference()
			return d / 1e-3, err
		}),
		example("gradient-04", "gradient of a person of 75 kg at 2 m", "1/s²", "1", 1e-9, &check.Tolerance{Abs: 0.5e-9, Why: "printed as about 1 E"}, func() (float64, error) {
			d, err := equivalence.Box{GM: gravlab.G * 75, Radius: 2, Height: 0, Length: 1e-4}.Difference()
			return d / 1e-4, err
		}),
		example("reduct-14", "scale under 100 kg at the equator of an Earth with polar gravity 9.83", "N", "9.80e2", 1, nil, func() (float64, error) {
			table := equivalence.Turntable{Rate: 7.292115e-5, Radius: 6.37e6}
			f := table.SpecificForce()
			return equivalence.Weight(100, 9.83, -f.X)
		}),
		example("reduct-13", "centripetal acceleration at the equator", "m/s²", "0.0337", 1, nil, func() (float64, error) {
			table := equivalence.Turntable{Rate: 7.27e-5, Radius: 6.37e6}
			return table.SpecificForce().X, table.Validate()
		}),
	}
}

// published compares with results of experiments.
func published() []check.Case {
	var cases []check.Case
	value := func(id, name, quantity, unit, text string, tol *check.Tolerance, got func() (float64, error)) {
		row := testdata.Find(testdata.Values, id)
		cases = append(cases, rows.Printed("equivalence-"+name, quantity, unit, text, 1, tol, row["source"], row["how_known"], got))
	}
	tower := func(ways float64) func() (float64, error) {
		return func() (float64, error) {
			v, err := equivalence.Redshift(9.804, 22.5)
			return ways * v, err
		}
	}
	value("poundrebka_pred", "tower-predicted", "redshift predicted for the tower of 22.5 m", "1", "2.46e-15",
		&check.Tolerance{Abs: 0.01e-15, Why: "printed from 74 ft, 22.56 m; 22.5 m gives 2.455e-15"}, tower(1))
	value("poundrebka_meas", "tower-measured", "redshift measured in 1960", "1", "2.57e-15", &check.Tolerance{Abs: 0.26e-15, Why: "the measurement's own standard uncertainty"}, tower(1))
	cases = append(cases, check.Case{ID: "equivalence-tower-ratio", Quantity: "redshift measured over predicted in 1965", Unit: "1", Want: 0.9990,
		Tol:    check.Tolerance{Abs: 2 * math.Hypot(0.0076, 0.010), Why: "twice the measurement's statistical and systematic uncertainty"},
		Source: testdata.Find(testdata.Values, "poundsnider_ratio")["source"], Known: check.Read, Published: true,
		Got: func() (float64, error) {
			v, err := tower(2)()
			return v / 4.905e-15, err
		}})
	// The torsion test of 1964 used 0.59 cm/s² for the pull of the Sun.
	cases = append(cases, check.Case{ID: "equivalence-sun-pull", Quantity: "pull of the Sun at mean distance", Unit: "m/s²", Want: 0.59e-2, Tol: check.Digits("0.59e-2"),
		Source: "P. G. Roll, R. Krotkov, R. H. Dicke, Ann. Phys. (N.Y.) 26, 442 (1964)", Known: check.Read, Published: true,
		Got: func() (float64, error) { return equivalence.SunMean(), nil }})
	cases = append(cases, check.Case{ID: "equivalence-limit-zero", Quantity: "95 % limit of an estimate of 0", Unit: "1", Want: 1.959963984540054, Tol: check.Tolerance{Rel: 1e-14, Why: "float64"},
		Source: "quantile 0.975 of the normal distribution, M. Abramowitz and I. Stegun (1964), table 26.5, as scipy gives it", Known: check.Computed,
		Got: func() (float64, error) { return equivalence.Limit(0, 1, 0.95) }})
	cases = append(cases, check.Case{ID: "equivalence-peak", Quantity: "latitude at which the Earth drives a balance most", Unit: "deg", Want: 45.048, Tol: check.Digits("45.048"),
		Source: "root of the derivative of ω²N cos φ sin φ on GRS80, mpmath", Known: check.Computed,
		Got: func() (float64, error) {
			drive := func(lat float64) float64 { return gravlab.Must(equivalence.EarthDrive(earth.GRS80, lat*degree, 0)) }
			lo, hi := 44.0, 46.0
			for range 60 {
				a, b := lo+(hi-lo)/3, hi-(hi-lo)/3
				if drive(a) < drive(b) {
					lo = a
				} else {
					hi = b
				}
			}
			return (lo + hi) / 2, nil
		}})
	return cases
}
