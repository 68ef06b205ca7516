// Package pendulumcases holds the known answers of package pendulum.
package pendulumcases

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/internal/check"
	"gravity.example/gravlab/internal/refcases/rows"
	"gravity.example/gravlab/pendulum"
	"gravity.example/testdata"
)

// Cases returns every comparison of package pendulum with a number from
// elsewhere.
func Cases() []check.Case {
	var cases []check.Case
	for _, m := range testdata.ModelChecks("pendulum") {
		cases = append(cases, calls.Case(m, tolerance(m)))
	}
	cases = append(cases, worked()...)
	cases = append(cases, periods()...)
	cases = append(cases, elliptic()...)
	cases = append(cases, ground()...)
	return cases
}

func tolerance(m testdata.ModelCheck) check.Tolerance {
	switch m.Call {
	case "Pendulum.Harmonics[0]", "Pendulum.Harmonics[1]", "Pendulum.Harmonics[2]":
		// Lines that symmetry forbids are as large as the rounding of the others.
		return check.Tolerance{Abs: 1e-22, Rel: 1e-11, Why: "Fourier sum of pulls of about 1e-9 m/s² in float64"}
	case "Pendulum.ReactionHarmonics horizontal[1]", "Pendulum.ReactionHarmonics vertical[0]":
		return check.Tolerance{Abs: 1e-12, Rel: 1e-12, Why: "Fourier sum of forces of about 100 N in float64"}
	case "Pendulum.Angle damped":
		return check.Tolerance{Abs: 2e-9, Why: "integration asked for 1e-11 in each of about 200 steps"}
	case "Pendulum.Pull of a Cylinder", "Pendulum.Pull of a Box":
		return check.Tolerance{Rel: 1e-12, Why: "quadrature that stands to 1e-13"}
	case "Pendulum.Angle", "Pendulum.Series":
		return check.Tolerance{Rel: 1e-12, Why: "elliptic functions in float64"}
	case "QualityFromDecrement":
		return check.Tolerance{Rel: 1e-6, Why: "π over the decrement is low by 1/(8Q²), 5e-7 here"}
	case "HighNoise.RMS":
		return check.Tolerance{Rel: 1e-12, Why: "closed form of each segment in float64"}
	}
	return check.Tolerance{Rel: 1e-13, Why: "closed form in float64"}
}

func has(m testdata.ModelCheck, name string) bool { _, ok := m.Inputs[name]; return ok }

func vector(m testdata.ModelCheck, name string) r3.Vec {
	v := m.Vector(name)
	return r3.Vec{X: v[0], Y: v[1], Z: v[2]}
}

// swing reads a pendulum with a bob that is a point as far as motion goes.
func swing(m testdata.ModelCheck) pendulum.Pendulum {
	p := pendulum.Pendulum{Bob: pendulum.Bob{Mass: 1}, Length: m.Float("L"), Gravity: 9.80665}
	if has(m, "g") {
		p.Gravity = m.Float("g")
	}
	if has(m, "m") {
		p.Bob.Mass = m.Float("m")
	}
	if has(m, "theta0") {
		p.Amplitude = m.Float("theta0")
	}
	return p
}

var calls = rows.Calls{
	"Pendulum.Period": func(m testdata.ModelCheck) (float64, error) { return swing(m).Period() },
	"Pendulum.Period with a rod": func(m testdata.ModelCheck) (float64, error) {
		p := swing(m)
		p.Bob.Shape, p.Bob.Radius = pendulum.Sphere, m.Float("R")
		p.RodMass, p.RodLength = m.Float("m_rod"), m.Float("l_rod")
		return p.Period()
	},
	"Pendulum.Angle": func(m testdata.ModelCheck) (float64, error) { return angle(m, swing(m)) },
	"Pendulum.Angle damped": func(m testdata.ModelCheck) (float64, error) {
		p := swing(m)
		p.Damping = m.Float("c")
		return angle(m, p)
	},
	"Spherical.Turn azimuth": func(m testdata.ModelCheck) (float64, error) {
		s := pendulum.Spherical{Length: m.Float("L"), Gravity: m.Float("g"), Theta: m.Float("theta0"), Speed: m.Float("v")}
		_, azimuth, _, err := s.Turn()
		return azimuth, err
	},
	"ConicalPeriod": func(m testdata.ModelCheck) (float64, error) {
		return pendulum.ConicalPeriod(m.Float("L"), m.Float("g"), m.Float("theta"))
	},
	"LogDecrement": func(m testdata.ModelCheck) (float64, error) {
		return pendulum.LogDecrement(1, m.Float("last"), m.Float("cycles"))
	},
	"QualityFromDecrement": func(m testdata.ModelCheck) (float64, error) {
		return pendulum.QualityFromDecrement(m.Float("decrement"))
	},
	"Pendulum.Harmonics[0]": harmonic(0),
	"Pendulum.Harmonics[1]": harmonic(1),
	"Pendulum.Harmonics[2]": harmonic(2),
	"Pendulum.Series": func(m testdata.ModelCheck) (float64, error) {
		v, err := swing(m).Series([]float64{m.Float("t")}, station(m))
		if err != nil {
			return 0, err
		}
		return v[0], nil
	},
	"Pendulum.Pull of a Cylinder": func(m testdata.ModelCheck) (float64, error) {
		p := swing(m)
		p.Bob = pendulum.Bob{Shape: pendulum.Cylinder, Mass: m.Float("m"), Radius: m.Float("a"), Height: m.Float("h")}
		return p.Pull(m.Float("theta"), station(m))
	},
	"Pendulum.Pull of a Box": func(m testdata.ModelCheck) (float64, error) {
		p := swing(m)
		p.Bob = pendulum.Bob{Shape: pendulum.Box, Mass: m.Float("m"), Along: m.Float("a"), Across: m.Float("b"), Height: m.Float("h")}
		return p.Pull(m.Float("theta"), station(m))
	},
	"Pendulum.ReactionHarmonics horizontal[1]": func(m testdata.ModelCheck) (float64, error) {
		horizontal, _, err := swing(m).ReactionHarmonics(2)
		if err != nil {
			return 0, err
		}
		return horizontal[1], nil
	},
	"Pendulum.ReactionHarmonics vertical[0]": func(m testdata.ModelCheck) (float64, error) {
		_, vertical, err := swing(m).ReactionHarmonics(2)
		if err != nil {
			return 0, err
		}
		return vertical[0], nil
	},
	"Pendulum.LargestTension": func(m testdata.ModelCheck) (float64, error) { return swing(m).LargestTension() },
	"Pendulum.Compare": func(m testdata.ModelCheck) (float64, error) {
		p := swing(m)
		floor := pendulum.Floor{RockingStiffness: m.Float("k_r"), PivotHeight: m.Float("h"), Share: 1}
		below := pendulum.Station{At: r3.Vec{Z: p.Length + 1}, Axis: r3.Vec{X: 1}}
		e, err := p.Compare(below, floor, 1)
		if err != nil {
			return 0, err
		}
		return e[0].Floor, nil
	},
	"Walker.Passing": func(m testdata.ModelCheck) (float64, error) {
		v, err := pendulum.Walker{Mass: m.Float("m"), Height: m.Float("height")}.Passing([]float64{0}, m.Float("v"), m.Float("y"), m.Float("z_foot"))
		if err != nil {
			return 0, err
		}
		return v[0], nil
	},
	"Pendulum.SwingsNeeded": func(m testdata.ModelCheck) (float64, error) {
		return swing(m).SwingsNeeded(m.Float("rho"), m.Float("A"), m.Float("asd"))
	},
	"HighNoise.RMS": func(m testdata.ModelCheck) (float64, error) {
		return pendulum.HighNoise.RMS(m.Float("f1"), m.Float("f2"))
	},
}

func station(m testdata.ModelCheck) pendulum.Station {
	return pendulum.Station{At: vector(m, "P"), Axis: vector(m, "axis")}
}

// angle is where a pendulum stands at the time of a row.
func angle(m testdata.ModelCheck, p pendulum.Pendulum) (float64, error) {
	a, err := p.Angle([]float64{m.Float("t")})
	if err != nil {
		return 0, err
	}
	return a[0], nil
}

// harmonic returns the call for one line of the pull's spectrum.
func harmonic(n int) func(m testdata.ModelCheck) (float64, error) {
	return func(m testdata.ModelCheck) (float64, error) {
		c, err := swing(m).Harmonics(station(m), n)
		if err != nil {
			return 0, err
		}
		return c[n], nil
	}
}

// simple returns a point pendulum.
func simple(length, g, degrees float64) pendulum.Pendulum {
	return pendulum.Pendulum{Bob: pendulum.Bob{Mass: 1}, Length: length, Gravity: g, Amplitude: degrees * math.Pi / 180}
}

// worked holds the printed exercises on pendulums and on damping.
func worked() []check.Case {
	var cases []check.Case
	row := func(id, unit string, scale float64, got func() (float64, error)) {
		r := testdata.Find(testdata.Examples, id)
		how := check.Read
		if strings.HasPrefix(r["how_known"], "from memory") {
			how = check.Memory
		}
		tol := check.Digits(r["published_answer"])
		tol.Abs *= scale
		cases = append(cases, check.Case{
			ID: id, Quantity: r["asked"] + ": " + r["inputs"], Unit: unit, Want: r.Float("published_answer") * scale,
			Tol: tol, Source: r["source"], Known: how, Published: how == check.Read, Got: got,
		})
	}
	period := func(p pendulum.Pendulum) func() (float64, error) {
		return func() (float64, error) { return p.Period() }
	}
	// A period goes as √(L/g): one at L = 1 m, g = 1 m/s² gives the rest.
	unit, err := simple(1, 1, 0).Period()
	if err != nil {
		panic(err)
	}
	sq := func(x float64) float64 { return x * x }
	row("pendulum-01", "m/s²", 1, func() (float64, error) { return 0.75 * sq(unit/1.7357), nil })
	row("pendulum-02", "m", 1e-2, func() (float64, error) { return 9.80 * sq(1.00/unit), nil })
	row("pendulum-03", "s", 1, period(simple(4, 9.80, 0)))
	row("pendulum-05", "m/s²", 1, func() (float64, error) { return 9.80 * sq(2.00000/1.99796), nil })
	row("pendulum-06", "s", 1, func() (float64, error) { return simple(9.79*sq(3/unit), 9.82, 0).Period() })
	row("pendulum-07", "m", 1e-2, func() (float64, error) { return 9.80 * sq(0.500/unit), nil })
	row("pendulum-08", "Hz", 1, func() (float64, error) {
		t, err := simple(0.05, 9.80, 0).Period()
		return 1 / t, err
	})
	row("pendulum-09", "1", 1, func() (float64, error) {
		moon, err := simple(1, 1.63, 0).Period()
		if err != nil {
			return 0, err
		}
		earth, err := simple(1, 9.80, 0).Period()
		return moon / earth, err
	})
	row("pendulum-10", "1", 1e-2, func() (float64, error) { return sq(1+5.00/86400) - 1, nil })
	row("pendulum-11", "m", 1, func() (float64, error) {
		p := pendulum.Pendulum{Length: 1, RodMass: 1, RodLength: 1, Gravity: 9.80}
		t, err := p.Period()
		return sq(1 / 0.50 / t), err
	})
	for i, degrees := range []float64{20, 30, 40, 50, 60, 70, 80} {
		row(fmt.Sprintf("pendulum-%d", 13+i), "s", 1, period(simple(1, 9.81, degrees)))
	}
	row("pendulum-21", "rad", 1, func() (float64, error) { return amplitude(0.01) })
	row("pendulum-22", "rad", 1, func() (float64, error) { return amplitude(0.10) })
	row("pendulum-24", "s", 1, period(simple(1, 9.80665, 10)))
	const inch = 0.0254
	air := func(swing float64) func() (float64, error) {
		return func() (float64, error) {
			return pendulum.SphereAirInertia(2.143/2*inch, 2*swing, sq(0.116*inch))
		}
	}
	row("air-01", "1", 1, air(1))
	row("air-02", "1", 1, air(1.721))

	row("damping-01", "1", 1e-2, func() (float64, error) {
		d, err := pendulum.LogDecrement(1, 0.97, 1)
		return -math.Expm1(-2 * d), err
	})
	row("damping-02", "1", 1, func() (float64, error) { return pendulum.LogDecrement(1, 0.75, 300) })
	row("damping-03", "1/s", 1, func() (float64, error) {
		d, err := pendulum.LogDecrement(1, 0.75, 300)
		return d * 10e3, err
	})
	row("damping-05", "1", 1, func() (float64, error) {
		d, err := pendulum.LogDecrement(2, 1, 100.0/5)
		if err != nil {
			return 0, err
		}
		return pendulum.QualityFromDecrement(d)
	})
	r := testdata.Find(testdata.Examples, "damping-06")
	cases = append(cases, check.Case{
		ID: "damping-06", Quantity: "Q from 25 cycles to 1/e: π N", Unit: "1", Want: math.Pi * 25,
		Tol: check.Tolerance{Rel: 1e-12, Why: "exact for small damping"}, Source: r["source"], Known: check.Read, Published: true,
		Got: func() (float64, error) {
			d, err := pendulum.LogDecrement(math.E, 1, 25)
			if err != nil {
				return 0, err
			}
			return pendulum.QualityFromDecrement(d)
		},
	})
	return cases
}

// amplitude returns the amplitude at which (T-T0)/T has the given value.
func amplitude(share float64) (float64, error) {
	lo, hi := 0.0, 3.0
	for range 100 {
		mid := (lo + hi) / 2
		r, err := pendulum.PeriodRatio(mid)
		if err != nil {
			return 0, err
		}
		if 1-1/r < share {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo, nil
}

// periods holds the table of period ratios.
func periods() []check.Case {
	var cases []check.Case
	for _, r := range testdata.Table("pendulum_period.csv") {
		degrees := r.Float("theta0_deg")
		ratio := func() (float64, error) { return pendulum.PeriodRatio(degrees * math.Pi / 180) }
		if printed := r["published_T_over_T0"]; printed != "" {
			cases = append(cases, check.Case{
				ID: fmt.Sprintf("pendulum-ratio-%g", degrees), Quantity: fmt.Sprintf("period at %g° over that of a small swing", degrees), Unit: "1",
				Want: r.Float("published_T_over_T0"), Tol: check.Digits(printed),
				Source: "table of period ratios printed on a public web page (pendulum_period.csv)", Known: check.Read, Published: true, Got: ratio,
			})
		}
		cases = append(cases, check.Case{
			ID: fmt.Sprintf("pendulum-ratio-computed-%g", degrees), Quantity: fmt.Sprintf("period at %g° over that of a small swing", degrees), Unit: "1",
			Want: r.Float("T_over_T0_computed"), Tol: check.Tolerance{Rel: 1e-13, Why: "closed form in float64"},
			Source: "complete elliptic integral to 30 digits (mpmath; pendulum_period.csv)", Known: check.Computed, Got: ratio,
		})
	}
	return cases
}

// elliptic holds the complete integral K(m), which is π/2 times the ratio.
func elliptic() []check.Case {
	var cases []check.Case
	for _, r := range testdata.Table("elliptic_K.csv") {
		m := r.Float("m_parameter")
		k := func() (float64, error) {
			ratio, err := pendulum.PeriodRatio(2 * math.Asin(math.Sqrt(m)))
			return math.Pi / 2 * ratio, err
		}
		if printed := r["K_read_elsewhere"]; printed != "" {
			tol := check.Digits(printed)
			tol.Rel, tol.Why = 4e-15, "half a unit of the last published digit, or the rounding of the angle in float64"
			cases = append(cases, check.Case{
				ID: fmt.Sprintf("pendulum-K-%g", m), Quantity: fmt.Sprintf("complete elliptic integral K(m = %g) by the period", m), Unit: "1",
				Want: r.Float("K_read_elsewhere"), Tol: tol,
				Source: "table of K(m) printed elsewhere (elliptic_K.csv)", Known: check.Read, Published: true, Got: k,
			})
			continue
		}
		cases = append(cases, check.Case{
			ID: fmt.Sprintf("pendulum-K-%g", m), Quantity: fmt.Sprintf("complete elliptic integral K(m = %g) by the period", m), Unit: "1",
			Want: r.Float("K_computed"), Tol: check.Tolerance{Rel: 1e-13, Why: "closed form in float64; the angle near π costs a digit"},
			Source: "mpmath (elliptic_K.csv)", Known: check.Computed, Got: k,
		})
	}
	return cases
}

// ground holds the levels of the noise models at the start of each segment, and
// one pull that is quoted for two small gold spheres.
func ground() []check.Case {
	var cases []check.Case
	const source = "J. Peterson, USGS Open-File Report 93-322 (1993), constants A and B of the segment (peterson1993.csv)"
	for i, r := range testdata.Table("peterson1993.csv") {
		model := pendulum.LowNoise
		if r["model"] == "NHNM" {
			model = pendulum.HighNoise
		}
		// A little inside the segment, so that rounding cannot choose the one before.
		start, end := r.Float("period_start_s"), r.Float("period_end_s")
		period := math.Sqrt(start * end)
		cases = append(cases, check.Case{
			ID: fmt.Sprintf("pendulum-ground-%s-%d", r["model"], i), Quantity: fmt.Sprintf("%s at a period of %.4g s, dB relative to 1 (m/s²)²/Hz", r["model"], period), Unit: "dB",
			Want: r.Float("A_dB") + r.Float("B_dB_per_decade")*math.Log10(period),
			Tol:  check.Tolerance{Abs: 1e-9, Why: "published constants, float64"}, Source: source, Known: check.Read, Published: true,
			Got: func() (float64, error) {
				d, err := model.Density(1 / period)
				return 20 * math.Log10(d), err
			},
		})
		cases = append(cases, check.Case{
			ID: fmt.Sprintf("pendulum-ground-asd-%s-%d", r["model"], i), Quantity: fmt.Sprintf("%s, amplitude density where a segment begins (%g s)", r["model"], start), Unit: "m/s²/√Hz",
			Want: r.Float("computed_accel_asd_at_start_m_s2_rtHz"),
			Tol:  check.Tolerance{Rel: 1e-6, Why: "seven digits in the table"}, Source: source + ", evaluated apart", Known: check.Computed,
			Got: func() (float64, error) { return model.Density(1 / (start * (1 + 1e-12))) },
		})
	}
	w := testdata.Find(testdata.Values, "westphal_static")
	cases = append(cases, check.Case{
		ID: "pendulum-westphal-static", Quantity: "pull of a gold sphere of 92.1 mg at 2.5 mm", Unit: "m/s²",
		Want: w.Float("value"), Tol: check.Digits(w["value"]), Source: w["source"] + "; mass and distance from memory, G M/r² evaluated apart", Known: check.Computed,
		Got: func() (float64, error) {
			v, _, err := pendulum.Bob{Shape: pendulum.Sphere, Mass: 92.1e-6, Radius: 1e-3}.Attraction(r3.Vec{X: 2.5e-3})
			return r3.Norm(v), err
		},
	})
	return cases
}
