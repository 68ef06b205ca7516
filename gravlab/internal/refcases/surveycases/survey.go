// Package surveycases holds the known answers of package survey.
package surveycases

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/internal/check"
	"gravity.example/gravlab/internal/refcases/rows"
	"gravity.example/gravlab/survey"
	"gravity.example/testdata"
)

const degree = gravlab.Degree

// Cases returns every known answer of package survey.
func Cases() []check.Case { return append(modelChecks(), published()...) }

var bracket = regexp.MustCompile(`\(([^)]*)\)`)

// groups splits "(A B 1203 10) (B C -871 10)" into its fields.
func groups(text string) [][]string {
	var all [][]string
	for _, m := range bracket.FindAllStringSubmatch(text, -1) {
		all = append(all, strings.Fields(m[1]))
	}
	return all
}

func number(text string) float64 { return gravlab.Must(strconv.ParseFloat(text, 64)) }

func numbers(text string, factor float64) []float64 {
	var v []float64
	for _, f := range strings.Fields(text) {
		v = append(v, factor*number(f))
	}
	return v
}

// network adjusts the differences of a row; A is fixed at zero. A row may put a blunder into
// one of them.
func network(m testdata.ModelCheck, blunder bool) (*survey.Adjustment, error) {
	var d []survey.Difference
	for i, g := range groups(m.Inputs["differences"]) {
		v := number(g[2])
		if blunder && i+1 == int(m.Float("blunder_in")) {
			v += m.Float("blunder")
		}
		d = append(d, survey.Difference{From: g[0], To: g[1], Value: v * gravlab.MicroGal, U: number(g[3]) * gravlab.MicroGal})
	}
	return survey.AdjustNetwork(d, []survey.Tie{{Station: "A"}})
}

// adjusted returns the station that a row asks for.
func adjusted(m testdata.ModelCheck, blunder bool) (s survey.Adjusted, err error) {
	a, err := network(m, blunder)
	if err != nil {
		return s, err
	}
	return a.Station(m.Inputs["asked"])
}

// loop returns the readings of a row.
func loop(m testdata.ModelCheck) []survey.Reduced {
	start := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	var readings []survey.Reduced
	for _, g := range groups(m.Inputs["readings"]) {
		readings = append(readings, survey.Reduced{
			Reading: survey.Reading{Station: g[0], Time: start.Add(time.Duration(number(g[1]) * float64(time.Minute)))},
			Value:   number(g[2]) * 1e-9, UValue: m.Float("sigma") * 1e-9,
		})
	}
	return readings
}

// modelChecks answers the rows of model_checks.csv.
func modelChecks() []check.Case {
	var cases []check.Case
	for _, m := range testdata.ModelChecks("survey") {
		c := calls.Case(m, rows.Estimate(m.ErrorEstimate, 1e-12, "closed form in float64"))
		switch m.Call {
		case "Adjustment.Chi2", "Adjustment.Residuals.W", "Adjustment.Station.Value", "Adjustment.Station.Value by a blunder", "Adjustment.Station.U squared":
			c.Tol = check.Tolerance{Rel: 1e-11, Why: "least squares by orthogonal triangles in float64"}
		case "Adjustment.Rate", "Adjustment.Between", "LoopDifferences":
			c.Tol = check.Tolerance{Rel: 1e-9, Why: "values of 4.5e6 nm/s² leave ten digits of a difference in float64"}
		case "Reduction.At":
			c.Tol = check.Tolerance{Abs: 2e-14, Why: "the difference of two float64 near 9.8 m/s²"}
		}
		cases = append(cases, c)
	}
	return cases
}

var calls = rows.Calls{
	"Adjustment.Chi2": func(m testdata.ModelCheck) (float64, error) {
		a, err := network(m, false)
		if err != nil {
			return 0, err
		}
		return a.Chi2, nil
	},
	"Adjustment.Residuals.W": func(m testdata.ModelCheck) (float64, error) {
		a, err := network(m, true)
		if err != nil {
			return 0, err
		}
		return a.Residuals[int(m.Float("asked"))-1].W, nil
	},
	"Adjustment.Station.Value": func(m testdata.ModelCheck) (float64, error) {
		s, err := adjusted(m, false)
		return s.Value / gravlab.MicroGal, err
	},
	"Adjustment.Station.Value by a blunder": func(m testdata.ModelCheck) (float64, error) {
		with, err := adjusted(m, true)
		if err != nil {
			return 0, err
		}
		without, err := adjusted(m, false)
		return (with.Value - without.Value) / gravlab.MicroGal, err
	},
	"Adjustment.Station.U squared": func(m testdata.ModelCheck) (float64, error) {
		s, err := adjusted(m, false)
		return s.U * s.U / gravlab.MicroGal / gravlab.MicroGal, err
	},
	"Adjustment.Rate": func(m testdata.ModelCheck) (float64, error) {
		a, err := survey.Adjust(loop(m), nil, survey.Drift{Degree: 1})
		if err != nil {
			return 0, err
		}
		return a.Rate * (1e9 * 60), nil
	},
	"Adjustment.Between": func(m testdata.ModelCheck) (float64, error) {
		a, err := survey.Adjust(loop(m), nil, survey.Drift{Degree: 1})
		if err != nil {
			return 0, err
		}
		difference, _, err := a.Between("base", m.Inputs["asked"])
		return difference * 1e9, err
	},
	"LoopDifferences": func(m testdata.ModelCheck) (float64, error) {
		differences, err := survey.LoopDifferences(loop(m), "base")
		if err != nil {
			return 0, err
		}
		sum, n := 0.0, 0.0
		for _, d := range differences {
			if d.Station == m.Inputs["asked"] {
				sum, n = sum+d.Value, n+1
			}
		}
		return sum / n * 1e9, nil
	},
	"Reduction.At": func(m testdata.ModelCheck) (float64, error) {
		r := survey.Reduction{Ellipsoid: earth.GRS80, Heights: survey.Ellipsoidal, Density: m.Float("rho"), Plate: survey.FlatPlate}
		a, err := r.At(m.Float("g_obs"), m.Float("lat_deg")*degree, m.Float("h"), 0)
		return a.Value, err
	},
	"Reduction.PerMetre": func(m testdata.ModelCheck) (float64, error) {
		r := survey.Reduction{Ellipsoid: earth.GRS80, Heights: survey.Ellipsoidal, Density: 2670, Plate: survey.FlatPlate}
		v, err := r.PerMetre(45 * degree)
		return v * m.Float("dh"), err
	},
	"Sector.Correction": func(m testdata.ModelCheck) (float64, error) {
		return survey.Sector{Inner: m.Float("r1"), Outer: m.Float("r2"), Parts: int(m.Float("sectors")), Height: m.Float("h"), Density: m.Float("rho")}.Correction()
	},
	"Cone": func(m testdata.ModelCheck) (float64, error) {
		return survey.Cone(m.Float("alpha_deg")*degree, m.Float("R"), m.Float("rho"))
	},
	"Slope": func(m testdata.ModelCheck) (float64, error) {
		return survey.Slope(m.Float("alpha_deg")*degree, m.Float("R"), m.Float("rho"))
	},
	"DensityOfTopography": func(m testdata.ModelCheck) (float64, error) {
		d, err := survey.DensityOfTopography(numbers(m.Inputs["h"], 1), numbers(m.Inputs["free_air"], 1e-7))
		return d.Density, err
	},
	"TiltCorrection": func(m testdata.ModelCheck) (float64, error) {
		return survey.TiltCorrection(m.Float("g"), m.Float("epsilon"), 0)
	},
}

// published are the coefficients of the field as printed.
func published() []check.Case {
	example := func(id, quantity, unit, text string, factor float64, tol *check.Tolerance, got func() (float64, error)) check.Case {
		row := testdata.Find(testdata.Examples, id)
		return rows.Printed("survey-"+id, quantity, unit, text, factor, tol, row["source"], row["how_known"], got)
	}
	reduction := func(plate survey.Plate, density float64) survey.Reduction {
		return survey.Reduction{Ellipsoid: earth.GRS80, Heights: survey.Ellipsoidal, Plate: plate, Density: density}
	}
	per := func(plate survey.Plate, density float64) float64 {
		return gravlab.Must(reduction(plate, density).PerMetre(45 * degree))
	}
	atmosphere := testdata.Find(testdata.Values, "atmos_corr")
	return []check.Case{
		example("reduct-02", "height accuracy for 0.01 mGal, free air", "m", "3", 0.01, nil, func() (float64, error) { return 1e-7 / per(survey.NoPlate, 0), nil }),
		example("reduct-04", "height accuracy for 0.01 mGal, free air", "m", "4", 0.01, &check.Tolerance{Abs: 0.01, Why: "the page rounds 3.24 cm up to 4"}, func() (float64, error) { return 1e-7 / per(survey.NoPlate, 0), nil }),
		example("reduct-05", "height accuracy for 0.01 mGal, slab", "m", "9", 0.01, nil, func() (float64, error) {
			return 1e-7 / (per(survey.NoPlate, 0) - per(survey.FlatPlate, 2670)), nil
		}),
		example("slab-06", "25 cm of water table at a storage coefficient of 0.2", "m/s²", "2", 1e-8, nil, func() (float64, error) {
			v, err := survey.WaterCorrection(0.25, 0.2)
			return -v, err
		}),
		example("slab-05", "1 m of water", "m/s²", "42e-8", 1, nil, func() (float64, error) {
			v, err := survey.WaterCorrection(1, 1)
			return -v, err
		}),
		example("slab-03", "slab of a Bouguer value, 2.67 g/cm³, G = 6.67e-11", "m/s²", "0.111897", 1e-5, nil, func() (float64, error) {
			a, err := reduction(survey.FlatPlate, 2670).At(9.8, 45*degree, 1, 0)
			return a.Rock * 6.67e-11 / gravlab.G, err
		}),
		{ID: "survey-combined", Quantity: "free air and slab of 2670 kg/m³ for a metre of height", Unit: "1/s²", Want: 0.1967e-5,
			Tol: check.Tolerance{Abs: 0.0002e-5, Why: "0.3086 and 0.1119 are each rounded to the fourth decimal"}, Source: "common practice, no source", Known: check.Practice,
			Got: func() (float64, error) { return per(survey.FlatPlate, 2670), nil }},
		{ID: "survey-atmosphere-3000", Quantity: "atmospheric correction of a disturbance at 3000 m", Unit: "m/s²", Want: 0.60904e-5, Tol: check.Digits("0.60904e-5"),
			Source: atmosphere["source"] + "; evaluated at 3000 m", Known: check.Computed,
			Got: func() (float64, error) {
				r := reduction(survey.NoPlate, 0)
				r.Atmosphere = true
				a, err := r.At(9.8, 0.7, 3000, 0)
				return a.Air, err
			}},
		{ID: "survey-geoid-30", Quantity: "30 m of geoid, free air", Unit: "m/s²", Want: 9.3e-5, Tol: check.Digits("9.3e-5"), Source: "common practice, no source", Known: check.Practice,
			Got: func() (float64, error) { return 30 * per(survey.NoPlate, 0), nil }},
		{ID: "survey-level-100", Quantity: "reading lost at 100 µrad", Unit: "m/s²", Want: 4.9e-8, Tol: check.Digits("4.9e-8"), Source: "cosine at 34 digits with mpmath", Known: check.Computed,
			Got: func() (float64, error) { return survey.TiltCorrection(9.80665, 100e-6, 0) }},
		{ID: "survey-plane-12", Quantity: "near zone of a plane of 12 degrees, 30 m, 2300 kg/m³", Unit: "m/s²", Want: planeReference(12*degree, 30, 2300),
			Tol: check.Tolerance{Rel: 1e-11, Why: "both ways are good to twelve digits"}, Source: "complete elliptic integral: Gρ R (2π − 4 cos α K(sin²α)), K by the arithmetic-geometric mean", Known: check.Computed,
			Got: func() (float64, error) { return survey.Slope(12*degree, 30, 2300) }},
	}
}

// planeReference is the plane's correction by the elliptic integral, whose K is
// π/2 over the arithmetic-geometric mean of 1 and cos α.
func planeReference(slope, radius, density float64) float64 {
	a, b := 1.0, math.Cos(slope)
	for range 8 {
		a, b = (a+b)/2, math.Sqrt(a*b)
	}
	return gravlab.G * density * radius * (2*math.Pi - 4*math.Cos(slope)*math.Pi/(2*a))
}
