// Package earthcases holds the known answers of package earth.
package earthcases

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/gonum/integrate/quad"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/internal/check"
	"gravity.example/gravlab/internal/refcases/rows"
	"gravity.example/testdata"
)

const degree = gravlab.Degree

// closed is what float64 leaves of a closed form of a few dozen operations.
const (
	closed    = 1e-13
	closedWhy = "closed form in float64: a few hundred roundings"
)

// Cases returns every known answer of package earth.
func Cases() []check.Case {
	var cases []check.Case
	for _, part := range [][]check.Case{modelChecks(), ellipsoids(), heights(), caps(), reductions(), drops(), constituents(), tides(), series(), interior()} {
		cases = append(cases, part...)
	}
	return cases
}

// modelChecks answers the rows of model_checks.csv.
func modelChecks() []check.Case {
	var cases []check.Case
	for _, m := range testdata.ModelChecks("earth") {
		c := calls.Case(m, rows.Estimate(m.ErrorEstimate, closed, closedWhy))
		switch m.Call {
		case "Cap.LessSlab":
			c.Tol = check.Tolerance{Rel: 1e-9, Why: "the reference is given to ten digits"}
		case "TrendModel.Plan rate", "TrendModel.Plan acceleration", "TrendModel.Fit":
			c.Tol = rows.Estimate(m.ErrorEstimate, 1e-11, "least squares by orthogonal triangles in float64")
		case "AirColumn":
			c.Tol = rows.Estimate(m.ErrorEstimate, 1e-11, "quadrature by Gauss and Legendre")
		}
		cases = append(cases, c)
	}
	return cases
}

var calls = rows.Calls{
	"Ellipsoid.VerticalGradient": func(m testdata.ModelCheck) (float64, error) {
		return earth.GRS80.VerticalGradient(m.Float("lat_deg")*degree, m.Float("h"))
	},
	"Ellipsoid.Geocentric": func(m testdata.ModelCheck) (float64, error) {
		v, err := earth.GRS80.Geocentric(m.Float("lat_deg")*degree, 0)
		return v / degree, err
	},
	"Ellipsoid.NorthwardGradient": func(m testdata.ModelCheck) (float64, error) {
		return earth.GRS80.NorthwardGradient(m.Float("lat_deg") * degree)
	},
	"Cap.LessSlab": func(m testdata.ModelCheck) (float64, error) {
		return earth.Cap{Density: m.Float("rho"), Thickness: m.Float("h"), HalfAngle: m.Float("psi_deg") * degree, Radius: m.Float("R")}.LessSlab()
	},
	"FlatWave": func(m testdata.ModelCheck) (float64, error) {
		return earth.FlatWave(m.Float("sigma"), m.Float("wavelength"), m.Float("h"))
	},
	"SphericalWave": func(m testdata.ModelCheck) (float64, error) {
		return earth.SphericalWave(m.Float("sigma"), int(m.Float("l")), m.Float("R"), m.Float("h"))
	},
	"Disc.Effect": func(m testdata.ModelCheck) (float64, error) {
		return earth.Disc{SurfaceDensity: m.Float("sigma"), Radius: m.Float("a")}.Effect(m.Float("h"))
	},
	"TrendModel.Plan rate": func(m testdata.ModelCheck) (float64, error) {
		rate, _, err := trendPlan(m)
		return rate, err
	},
	"TrendModel.Plan acceleration": func(m testdata.ModelCheck) (float64, error) {
		_, acceleration, err := trendPlan(m)
		return acceleration, err
	},
	"TrendModel.Fit": func(m testdata.ModelCheck) (float64, error) {
		t := months(m)
		y := make([]float64, len(t))
		for i, ti := range t {
			y[i] = m.Float("A") * math.Sin(2*math.Pi*ti)
		}
		trend, err := earth.TrendModel{Year: 1}.Fit(t, y)
		if err != nil {
			return 0, err
		}
		return trend.Rate.Value, nil
	},
	"BodyTide": func(m testdata.ModelCheck) (float64, error) {
		return earth.BodyTide(m.Float("GM"), m.Float("distance"), m.Float("R"), m.Float("zenith_deg")*degree)
	},
	"BeatPeriod": func(m testdata.ModelCheck) (float64, error) {
		v, err := earth.BeatPeriod(m.Float("T1_h"), m.Float("T2_h"))
		return v / 24, err
	},
	"Interior.Mass":    func(m testdata.ModelCheck) (float64, error) { return earth.PREM.Mass(m.Float("r")) },
	"Interior.Gravity": func(m testdata.ModelCheck) (float64, error) { return earth.PREM.Gravity(m.Float("r")) },
	"Interior.Inertia": func(m testdata.ModelCheck) (float64, error) { return earth.PREM.Inertia(m.Float("r")) },
	"MineDensity": func(m testdata.ModelCheck) (float64, error) {
		return earth.MineDensity(m.Float("rho"), m.Float("c"), m.Float("R"), 1/m.Float("one_over_excess"))
	},
	"CompensatedWave bouguer": func(m testdata.ModelCheck) (float64, error) {
		_, v, err := earth.CompensatedWave(m.Float("rho"), m.Float("lambda"), m.Float("T"))
		return v, err
	},
	"AirColumn": func(m testdata.ModelCheck) (float64, error) {
		return earth.AirColumn(m.Float("dp"), m.Float("R"), m.Float("H"), m.Float("g"))
	},
}

// months returns the times of n monthly readings about their middle, in years.
func months(m testdata.ModelCheck) []float64 {
	n := int(m.Float("n"))
	t := make([]float64, n)
	for i := range t {
		t[i] = (float64(i) - float64(n-1)/2) / 12
	}
	return t
}

// trendPlan returns the uncertainties of a trend whose terms the row lists.
func trendPlan(m testdata.ModelCheck) (rate, acceleration float64, err error) {
	terms := strings.Fields(m.Inputs["fitted"])
	model := earth.TrendModel{
		Acceleration: slices.Contains(terms, "acceleration"), Annual: slices.Contains(terms, "annual"),
		Semiannual: slices.Contains(terms, "semiannual"), Year: 1,
	}
	phi := 0.0
	if _, ok := m.Inputs["phi"]; ok {
		phi = m.Float("phi")
	}
	_, rate, acceleration, err = model.Plan(months(m), m.Float("sigma"), phi)
	return rate, acceleration, err
}

// ellipsoids are the published constants of GRS80 and WGS84, to every digit.
func ellipsoids() []check.Case {
	type constant struct {
		id, unit string
		got      func(e earth.Ellipsoid) float64
	}
	somiglianaK := func(e earth.Ellipsoid) float64 { return e.B()*e.Polar()/(e.A*e.Equatorial()) - 1 }
	m := func(e earth.Ellipsoid) float64 { return e.Omega * e.Omega * e.A * e.A * e.B() / e.GM }
	constants := []constant{
		{"grs80_b", "m", earth.Ellipsoid.B}, {"grs80_e2", "1", earth.Ellipsoid.E2},
		{"grs80_invf", "1", func(e earth.Ellipsoid) float64 { return 1 / e.Flattening }},
		{"grs80_U0", "m²/s²", earth.Ellipsoid.SurfacePotential},
		{"grs80_gamma_e", "m/s²", earth.Ellipsoid.Equatorial}, {"grs80_gamma_p", "m/s²", earth.Ellipsoid.Polar},
		{"grs80_R1", "m", func(e earth.Ellipsoid) float64 { return (2*e.A + e.B()) / 3 }},
		{"grs80_R2", "m", func(e earth.Ellipsoid) float64 {
			ecc := math.Sqrt(e.E2())
			return e.A * math.Sqrt((1+(1-e.E2())/ecc*math.Atanh(ecc))/2)
		}},
		{"grs80_R3", "m", func(e earth.Ellipsoid) float64 { return math.Cbrt(e.A * e.A * e.B()) }},
		{"grs80_k", "1", somiglianaK},
		{"grs80_fstar", "1", func(e earth.Ellipsoid) float64 { return (e.Polar() - e.Equatorial()) / e.Equatorial() }},
		{"grs80_m", "1", m},
		{"grs80_gamma45", "m/s²", func(e earth.Ellipsoid) float64 { return gravlab.Must(e.NormalGravity(45*degree, 0)) }},
		{"grs80_gammamean", "m/s²", meanGravity},
		{"wgs84_b", "m", earth.Ellipsoid.B}, {"wgs84_e2", "1", earth.Ellipsoid.E2},
		{"wgs84_gamma_e", "m/s²", earth.Ellipsoid.Equatorial}, {"wgs84_gamma_p", "m/s²", earth.Ellipsoid.Polar},
		{"wgs84_k", "1", somiglianaK}, {"wgs84_gamma_mean", "m/s²", meanGravity}, {"wgs84_m", "1", m},
		{"wgs84_J2", "1", earth.Ellipsoid.J2}, {"wgs84_U0", "m²/s²", earth.Ellipsoid.SurfacePotential},
	}
	var cases []check.Case
	for _, c := range constants {
		row := testdata.Find(testdata.Values, c.id)
		e := earth.GRS80
		if strings.HasPrefix(c.id, "wgs84") {
			e = earth.WGS84
		}
		var tol *check.Tolerance
		switch c.id {
		case "grs80_R2":
			tol = &check.Tolerance{Abs: 1.5e-4, Why: "the table's last digit: the exact radius is 6371007.18088 m (mpmath), which it prints as .1810"}
		case "wgs84_gamma_mean":
			tol = &check.Tolerance{Abs: 1e-10, Why: "one unit of the last digit: the table cuts 9.79764322228 where it should round"}
		case "wgs84_gamma_p":
			tol = &check.Tolerance{Abs: 1e-10, Why: "one unit of the last digit: the table cuts 9.83218493786 where it should round"}
		case "wgs84_k":
			tol = &check.Tolerance{Abs: 1e-11, Why: "the printed value follows from equatorial and polar gravity rounded to 5e-11"}
		}
		cases = append(cases, rows.Printed("earth-"+c.id, row["quantity"], c.unit, row["value"], 1, tol, row["source"], row["how_known"],
			func() (float64, error) { return c.got(e), nil }))
	}
	return cases
}

// meanGravity is the mean of normal gravity over the surface of the ellipsoid.
func meanGravity(e earth.Ellipsoid) float64 {
	area := func(lat float64) float64 {
		s := math.Sin(lat)
		w := 1 - e.E2()*s*s
		return math.Cos(lat) / (w * w)
	}
	weighted := func(lat float64) float64 { return area(lat) * gravlab.Must(e.NormalGravity(lat, 0)) }
	return quad.Fixed(weighted, 0, math.Pi/2, 60, nil, 0) / quad.Fixed(area, 0, math.Pi/2, 60, nil, 0)
}

// heights compares normal gravity at height with the table computed at 60
// digits and with GeographicLib.
func heights() []check.Case {
	var cases []check.Case
	for _, row := range testdata.Table("normal_gravity.csv") {
		e := earth.GRS80
		if row["system"] == "WGS84" {
			e = earth.WGS84
		}
		lat, h := row.Float("lat_deg")*degree, row.Float("h_m")
		cases = append(cases, check.Case{
			ID:       fmt.Sprintf("earth-height-%s-%s-%s", row["system"], row["lat_deg"], row["h_m"]),
			Quantity: fmt.Sprintf("normal gravity of %s at %s°, %s m", row["system"], row["lat_deg"], row["h_m"]), Unit: "m/s²",
			Want: row.Float("gamma_closed_m_s2"), Tol: check.Digits(row["gamma_closed_m_s2"]),
			Source: "closed form at 60 digits with mpmath; GeographicLib 2.1.2 (C. F. F. Karney), NormalGravity, agrees to 5e-13", Known: check.Computed,
			Got: func() (float64, error) { return e.NormalGravity(lat, h) },
		})
	}
	row := testdata.Find(testdata.Values, "freeair_gradient")
	gradient := func() (float64, error) {
		v, err := earth.GRS80.VerticalGradient(45*degree, 0)
		return -v, err
	}
	cases = append(cases, rows.Printed("earth-freeair-gradient", "free-air gradient at 45°", "1/s²", "0.3086", 1e-5, nil, row["source"], row["how_known"], gradient))
	g3 := testdata.Find(testdata.Examples, "gradient-03")
	cases = append(cases, rows.Printed("earth-gradient-03", "free-air gradient in eotvos", "1/s²", g3["published_answer"], 1e-9, nil, g3["source"], g3["how_known"], gradient))

	hinze := testdata.Find(testdata.Values, "freeair_2nd_order")
	for _, h := range []float64{100, 300} {
		for _, lat := range []float64{0, 45, 90} {
			s := math.Sin(lat * degree)
			cases = append(cases, check.Case{
				ID: fmt.Sprintf("earth-freeair-hinze-%g-%g", h, lat), Quantity: fmt.Sprintf("free-air effect at %g m, latitude %g°", h, lat), Unit: "m/s²",
				Want:   gravlab.MilliGal * (-(0.3087691-0.0004398*s*s)*h + 7.2125e-8*h*h),
				Tol:    check.Tolerance{Abs: 0.005 * gravlab.MilliGal, Why: "half of 0.01 mGal, the step for which the published series is meant"},
				Source: hinze["source"], Known: rows.KnownAs(hinze["how_known"]), Published: true,
				Got: func() (float64, error) { return earth.GRS80.FreeAirEffect(lat*degree, h) },
			})
		}
	}
	return cases
}

// caps compares the spherical cap with quadrature and with the published
// polynomial for the curvature.
func caps() []check.Case {
	var cases []check.Case
	poly := testdata.Find(testdata.Values, "bullard_b_poly")
	for _, row := range testdata.Table("spherical_cap.csv") {
		h, g := row.Float("h_m"), row.Float("G_m3_kg-1_s-2")
		scaled := func() (float64, error) {
			v, err := earth.BouguerCap(2670, h).LessSlab()
			return v * g / gravlab.G, err
		}
		cases = append(cases, check.Case{
			ID: "earth-bullard-b-" + row["G_m3_kg-1_s-2"] + "-" + row["h_m"], Quantity: "spherical cap less slab, 2670 kg/m³, height " + row["h_m"] + " m", Unit: "m/s²",
			Want: row.Float("cap_minus_slab_mGal") * gravlab.MilliGal, Tol: check.Tolerance{Rel: 1e-8, Why: "the table is given to nine digits"},
			Source: "quadrature over the cap with scipy", Known: check.Computed, Got: scaled,
		})
		if g == 6.67e-11 {
			cases = append(cases, check.Case{
				ID: "earth-curvature-" + row["h_m"], Quantity: "curvature of the Earth by the published polynomial, height " + row["h_m"] + " m", Unit: "m/s²",
				Want:   (1.464139e-3*h - 3.533047e-7*h*h + 1.002709e-13*h*h*h + 3.002407e-18*h*h*h*h) * gravlab.MilliGal,
				Tol:    check.Tolerance{Abs: 0.001 * gravlab.MilliGal, Why: "a tenth of the 0.01 mGal that the polynomial, cut after the fourth power, is meant for"},
				Source: poly["source"] + "; with G = 6.67e-11", Known: rows.KnownAs(poly["how_known"]), Published: true, Got: scaled,
			})
		}
	}
	return cases
}

// reductions are the published coefficients and worked examples of the field.
func reductions() []check.Case {
	example := func(id, quantity, unit, text string, factor float64, got func() (float64, error)) check.Case {
		row := testdata.Find(testdata.Examples, id)
		return rows.Printed("earth-"+id, quantity, unit, text, factor, nil, row["source"], row["how_known"], got)
	}
	value := func(id, name, quantity, unit, text string, factor float64, got func() (float64, error)) check.Case {
		row := testdata.Find(testdata.Values, id)
		return rows.Printed("earth-"+name, quantity, unit, text, factor, nil, row["source"], row["how_known"], got)
	}
	slab := func(density, thickness, g float64) func() (float64, error) {
		return func() (float64, error) {
			v, err := earth.Slab(density, thickness)
			return v * g / gravlab.G, err
		}
	}
	gradient45 := func() float64 { return -gravlab.Must(earth.GRS80.VerticalGradient(45*degree, 0)) }
	knot := 1852.0 / 3600
	// The quadratic term alone: a course due north has no other.
	north := func(speed float64) func() (float64, error) {
		return func() (float64, error) { return earth.EotvosCorrection(speed, 0, 0, 6371000) }
	}
	linear := func(speed float64) func() (float64, error) {
		return func() (float64, error) {
			east, err := earth.EotvosCorrection(speed, math.Pi/2, 0, 6371000)
			return east - speed*speed/6371000, err
		}
	}
	return []check.Case{
		value("bouguer_slab", "bouguer-1", "slab of 1 g/cm³, 1 m, with G = 6.672e-11 as then used", "m/s²", "0.0419", 1e-5, slab(1000, 1, 6.672e-11)),
		value("bouguer_slab_267", "bouguer-267", "slab of 2.67 g/cm³, 1 m", "m/s²", "0.1119", 1e-5, slab(2670, 1, 6.672e-11)),
		example("slab-03", "slab of 2.67 g/cm³, 1 m, G = 6.67e-11", "m/s²", "0.111897", 1e-5, slab(2670, 1, 6.67e-11)),
		example("slab-04", "slab of 2.67 g/cm³, 1 m, G = 6.6635e-11", "m/s²", "0.1118", 1e-5, slab(2670, 1, 6.6635e-11)),
		example("slab-05", "1 m of water", "m/s²", "42e-8", 1, slab(1000, 1, gravlab.G)),
		example("slab-06", "5 cm of water", "m/s²", "2", 1e-8, slab(1000, 0.05, gravlab.G)),
		example("reduct-02", "height accuracy for 0.01 mGal, free air", "m", "3", 0.01, func() (float64, error) { return 1e-7 / gradient45(), nil }),
		example("reduct-03", "way to the north for 0.01 mGal at 45°", "m", "12", 1, func() (float64, error) {
			v, err := earth.GRS80.NorthwardGradient(45 * degree)
			return 1e-7 / v, err
		}),
		example("reduct-05", "height accuracy for 0.01 mGal, slab", "m", "9", 0.01, func() (float64, error) {
			v, err := earth.Slab(2670, 1)
			return 1e-7 / v, err
		}),
		example("reduct-08", "Eötvös correction per knot, eastward at the equator", "m/s²", "7.503", 1e-5, linear(knot)),
		example("reduct-11", "Eötvös correction, quadratic term, 1 km/h", "m/s²", "0.001211", 1e-5, north(1/3.6)),
		example("reduct-12", "centripetal acceleration at the equator, ground speed 465 m/s", "m/s²", "0.034", 1, func() (float64, error) { return earth.EotvosCorrection(465, 0, 0, 6378000) }),
		value("eotvos_worked", "eotvos-ship", "Eötvös correction, 10 knots east at 45°, linear term", "m/s²", "53", 1e-5, func() (float64, error) {
			v, err := earth.EotvosCorrection(5.144, math.Pi/2, 45*degree, 6371000)
			return v - 5.144*5.144/6371000, err
		}),
		value("eotvos_mgd77", "eotvos-mgd77-linear", "Eötvös correction per knot in the exchange format", "m/s²", "7.5", 1e-5, linear(knot)),
		value("eotvos_mgd77", "eotvos-mgd77-square", "Eötvös correction, quadratic term, 1 knot", "m/s²", "0.0042", 1e-5, north(knot)),
		value("eotvos_knots", "eotvos-knots-linear", "Eötvös correction per knot", "m/s²", "7.503", 1e-5, linear(knot)),
		value("eotvos_knots", "eotvos-knots-square", "Eötvös correction, quadratic term, 1 knot", "m/s²", "0.004154", 1e-5, north(knot)),
		{ID: "earth-eotvos-air", Quantity: "Eötvös correction, 60 m/s due east at 45°", Unit: "m/s²", Want: 675.2625e-5,
			Tol: check.Tolerance{Abs: 0.0001e-5, Why: "the reference is given to seven digits"}, Source: "2 ω v cos φ + v²/R at 34 digits with mpmath", Known: check.Computed,
			Got: func() (float64, error) { return earth.EotvosCorrection(60, math.Pi/2, 45*degree, 6371000) }},
		value("atmos_corr", "atmosphere-0", "atmospheric correction at sea level", "m/s²", "0.874", 1e-5, func() (float64, error) { return earth.Atmosphere(0) }),
		{ID: "earth-pressure-1000", Quantity: "pressure of the standard atmosphere at 1000 m", Unit: "Pa", Want: 89874.6,
			Tol: check.Tolerance{Abs: 5, Why: "the exponent is rounded to 5.2559 and height stands for geopotential height"}, Source: "ISO 2533:1975, Standard Atmosphere", Known: check.Memory, Published: true,
			Got: func() (float64, error) { return earth.NormalPressure(1000) }},
		{ID: "earth-sealevel", Quantity: "sea level for 361.8 Gt", Unit: "m", Want: 1e-3, Tol: check.Tolerance{Rel: 5e-4, Why: "four digits are in use"},
			Source: "common practice, no source", Known: check.Practice, Got: func() (float64, error) { return earth.SeaLevel(361.8e12) }},
		{ID: "earth-latitude-pole", Quantity: "normal gravity at the pole against the formula of 1967 rounded to five digits", Unit: "m/s²", Want: 9.8322,
			Tol: check.Digits("9.8322"), Source: testdata.Find(testdata.Examples, "reduct-06")["source"], Known: check.Read, Published: true,
			Got: func() (float64, error) { return earth.GRS80.NormalGravity(math.Pi/2, 0) }},
	}
}

// interior compares the radial model with what it was made from, and Airy's formula with Airy.
func interior() []check.Case {
	printed := func(id, quantity, unit string, tol *check.Tolerance, got func() (float64, error)) check.Case {
		row := testdata.Find(testdata.Values, id)
		return rows.Printed("earth-"+id, quantity, unit, row["value"], 1, tol, row["source"], row["how_known"], got)
	}
	airy := testdata.Find(testdata.Examples, "earthmass-12")
	return []check.Case{
		printed("prem_mass", "mass of the Earth by PREM", "kg",
			&check.Tolerance{Abs: 0.001e24, Why: "one unit of the last digit: densities are fitted to four digits, and the model has 5.9732"},
			func() (float64, error) { return earth.PREM.Mass(earth.PREM.Radius) }),
		printed("prem_inertia", "moment of inertia of PREM over M R²", "1", nil, func() (float64, error) {
			r := earth.PREM.Radius
			m, err := earth.PREM.Mass(r)
			if err != nil {
				return 0, err
			}
			i, err := earth.PREM.Inertia(r)
			return i / (m * r * r), err
		}),
		printed("prem_gmax", "gravity at the top of the core by PREM", "m/s²", nil, func() (float64, error) { return earth.PREM.Gravity(3480e3) }),
		{ID: "earth-airy-1856", Quantity: "mean density of the Earth from the mine at Harton, 1854", Unit: "kg/m³", Want: 1000 * airy.Float("published_answer"),
			Tol:    check.Tolerance{Rel: 0.002, Why: "the density of the rock, 2.50, has three digits"},
			Source: "G. B. Airy, Phil. Trans. R. Soc. 146, 297 (1856): " + airy["source"], Known: check.Read, Published: true,
			Got: func() (float64, error) {
				v, err := earth.MineDensity(2500, 1256*0.3048, 6371e3, 1/testdata.Find(testdata.Values, "airy_excess").Float("value"))
				// His art. 60 has 0.00017984 where a shell of one density has 0.00018048: the
				// hollows of the ground about the mine.
				return v * 0.00017984 / 0.00018048, err
			}},
	}
}

// constituents compares speeds and periods with published ones.
func constituents() []check.Case {
	var cases []check.Case
	source := "P. Schureman, Manual of Harmonic Analysis and Prediction of Tides, C&GS Spec. Publ. 98 (1940), as read in public harmonic-analysis sources"
	perHour := degree / 3600
	for _, row := range testdata.Table("tide_constituents.csv") {
		name := row["name"]
		line := gravlab.Must(earth.ConstituentsNamed(name))[0]
		tol := check.Tolerance{Abs: 1e-7 * perHour, Why: "one unit of the seventh decimal of a degree per hour: the tables use the rates of 1900"}
		if name == "Sa" || name == "S1" {
			tol = check.Tolerance{Abs: 2.0e-6 * perHour, Why: "the published speed leaves out the turning of the Sun's perigee, 1.96e-6 degree per hour"}
		}
		cases = append(cases, rows.Printed("earth-speed-"+name, "speed of "+name, "rad/s", row["published_speed_deg_per_h"], perHour, &tol, source, "read",
			func() (float64, error) { return line.Speed, nil }))
		cases = append(cases, check.Case{ID: "earth-period-J2000-" + name, Quantity: "period of " + name + " at J2000", Unit: "s", Want: row.Float("computed_period_h_J2000") * 3600,
			Tol: check.Tolerance{Rel: 1e-10, Why: "the table is given to twelve digits"}, Source: "linear terms of the Delaunay arguments, IERS Conventions 2010, with mpmath", Known: check.Computed,
			Got: func() (float64, error) { return line.Period(), nil }})
		if row["published_period_h"] == "" {
			continue
		}
		periodTol := check.Tolerance{Rel: 5e-7, Why: "usual tables differ among themselves in the seventh digit; they stand on the rates of 1900"}
		if name == "Mm" {
			periodTol = check.Tolerance{Rel: 5e-6, Why: "the usual 661.3112 h stands on an older motion of the perigee"}
		}
		if name == "Mf" {
			periodTol = check.Tolerance{Rel: 5e-6, Why: "the usual 327.8599 h comes from the tropical month of 1900 with fewer digits"}
		}
		cases = append(cases, rows.Printed("earth-period-"+name, "period of "+name, "s", row["published_period_h"], 3600, &periodTol, source, "read",
			func() (float64, error) { return line.Period(), nil }))
	}
	return cases
}

// tides are worked examples of the pull of Moon and Sun.
func tides() []check.Case {
	example := func(id, quantity, unit, text string, got func() (float64, error)) check.Case {
		row := testdata.Find(testdata.Examples, id)
		return rows.Printed("earth-worked-"+id, quantity, unit, text, 1, nil, row["source"], row["how_known"], got)
	}
	const gmEarth, radius = 3.986004418e14, 6378137.0
	gmMoon, gmSun := 0.0123000371*gmEarth, 1.32712440041e20
	g := 9.80665
	overhead := func(gm, d float64) float64 { return gravlab.Must(earth.BodyTide(gm, d, radius, 0)) }
	moonRow, sunRow := testdata.Find(testdata.Values, "tide_moon"), testdata.Find(testdata.Values, "tide_sun")
	firstOrder := func(gm, d float64) (float64, error) {
		// A radius a thousand times smaller, scaled up: the limit 2 GM r/d³.
		v, err := earth.BodyTide(gm, d, radius/1e4, 0)
		return v * 1e4, err
	}
	return []check.Case{
		example("tide-03", "pull of the Moon on 1 kg, near side less far side", "m/s²", "0.22e-5", func() (float64, error) {
			near, err := earth.BodyTide(6.67e-11*7.35e22, 3.84e8, 6.37e6, 0)
			far := gravlab.Must(earth.BodyTide(6.67e-11*7.35e22, 3.84e8, 6.37e6, math.Pi))
			return near + far, err
		}),
		example("tide-10", "largest tide of the Moon over g, at mean distance, first order", "1", "1.1e-7", func() (float64, error) {
			v, err := firstOrder(gmMoon, 3.844e8)
			return v / g, err
		}),
		example("tide-11", "largest tide of Moon and Sun over g, first order", "1", "1.6e-7", func() (float64, error) {
			v, err := firstOrder(gmMoon, 3.844e8)
			return (v + overhead(gmSun, 149597870700)) / g, err
		}),
		rows.Printed("earth-tide-moon", "tide of the Moon overhead at mean distance, first order", "m/s²", "1.10e-6", 1, nil, moonRow["source"], moonRow["how_known"],
			func() (float64, error) { return firstOrder(gmMoon, 3.844e8) }),
		rows.Printed("earth-tide-sun", "tide of the Sun overhead at 1 au", "m/s²", "5.05e-7", 1,
			&check.Tolerance{Abs: 1e-9, Why: "the printed number follows from a rounded GM of the Sun and radius of the Earth (6371 km gives 505.1, 6378 km 505.7 nm/s²)"}, sunRow["source"], sunRow["how_known"],
			func() (float64, error) { return firstOrder(gmSun, 149597870700) }),
		{ID: "earth-tide-moon-exact", Quantity: "tide of the Moon overhead at mean distance, exact difference", Unit: "m/s²", Want: 1129.10e-9,
			Tol: check.Tolerance{Abs: 0.005e-9, Why: "the reference is given to six digits"}, Source: "difference of the two pulls at 34 digits with mpmath", Known: check.Computed,
			Got: func() (float64, error) { return overhead(gmMoon, 3.844e8), nil }},
		{ID: "earth-tide-sun-exact", Quantity: "tide of the Sun overhead at 1 au, exact difference", Unit: "m/s²", Want: 505.69e-9,
			Tol: check.Tolerance{Abs: 0.005e-9, Why: "the reference is given to five digits"}, Source: "difference of the two pulls at 34 digits with mpmath", Known: check.Computed,
			Got: func() (float64, error) { return overhead(gmSun, 149597870700), nil }},
	}
}

// ephemerisTolerance is the sum of what our series and the reference leave out.
var ephemerisTolerance = check.Tolerance{Abs: 0.3e-9, Why: "Sun good to 0.01 degree (0.1 nm/s²), UT1 taken as UTC (0.1), reference ephemeris of the Moon (0.1)"}

// series compares the tide with the ephemeris-based series, and looks for the
// lines in 400 days of it.
func series() []check.Case {
	var cases []check.Case
	site := earth.Site{Lat: -33.625 * degree, Lon: 149.25 * degree, Height: 845}
	for i, row := range testdata.Table("tide_check.csv") {
		if i%6 != 0 {
			continue
		}
		at := gravlab.Must(time.Parse(time.RFC3339, row["utc"]))
		for _, body := range []string{"Moon", "Sun"} {
			column := strings.ToLower(body) + "_nm_s2"
			cases = append(cases, check.Case{ID: "earth-series-" + body + "-" + row["utc"], Quantity: "vertical tide of the " + body + " at " + row["utc"], Unit: "m/s²",
				Want: row.Float(column) * 1e-9, Tol: ephemerisTolerance,
				Source: "astropy 5.2.1 and ERFA 2.0.0.1: eraMoon98, eraEpv00, IAU 2006/2000A, IERS-B", Known: check.Computed,
				Got: func() (float64, error) {
					tide, err := site.Tide(at)
					if body == "Moon" {
						return tide.Moon, err
					}
					return tide.Sun, err
				}})
		}
	}
	return append(cases, lines()...)
}

// lines fits the constituents to the 400-day series. Companions of a line that
// stand one turn of the Moon's node (6798 days) away cannot be parted from it
// in 400 days; a companion of relative size r moves the line by up to r/6798
// cycles a day. Lines that are not among the named ones are allowed a hundredth
// of the Rayleigh width, 1/400 of a cycle a day.
func lines() []check.Case {
	var t, y []float64
	load := func() {
		if t != nil {
			return
		}
		for i, row := range testdata.Table("tide_400d.csv") {
			t = append(t, 3600*float64(i))
			y = append(y, row.Float("moon_nm_s2")+row.Float("sun_nm_s2"))
		}
	}
	var cases []check.Case
	all := earth.Constituents()[1:] // without Sa, which is but one turn long
	for _, want := range []struct {
		name      string
		companion float64 // size of the companions one turn of the node away
	}{{"Mf", 0.41}, {"O1", 0.189}, {"K1", 0.136}, {"N2", 0.037}, {"M2", 0.037}, {"S2", 0.003}, {"K2", 0.298}} {
		row := func() testdata.Row {
			for _, r := range testdata.Table("tide_constituents.csv") {
				if r["name"] == want.name {
					return r
				}
			}
			panic("earthcases: no constituent " + want.name)
		}()
		hours := row.Float("published_period_h")
		shift := hours * hours / 24 * (want.companion/6798 + 0.01/400)
		cases = append(cases, check.Case{
			ID: "earth-line-" + want.name, Quantity: "period of " + want.name + " found in 400 days of tide", Unit: "s", Want: hours * 3600,
			Tol:    check.Tolerance{Abs: shift * 3600, Why: fmt.Sprintf("companions one turn of the node away (%g of the line) cannot be parted in 400 days; a hundredth of the Rayleigh width for lines not named", want.companion)},
			Source: "published periods (Schureman 1940 and later tables); series by astropy 5.2.1", Known: check.Read, Published: true,
			Got: func() (float64, error) {
				load()
				period, _, err := earth.RefinePeriod(t, y, all, want.name)
				return period, err
			},
		})
	}
	return cases
}
