// Package surveycases holds the known answers of package survey.
package surveycases

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/internal/check"
	knownearth "gravity.example/gravlab/internal/refcases/earthcases"
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

// network adjusts the differences of a row; A is fixed at zero.
func network(m testdata.ModelCheck, blunder float64) (*survey.Adjustment, error) {
	var d []survey.Difference
	for i, g := range groups(m.Inputs["differences"]) {
		v := number(g[2])
		if i == 4 {
			v += blunder
		}
		d = append(d, survey.Difference{From: g[0], To: g[1], Value: v * gravlab.MicroGal, U: number(g[3]) * gravlab.MicroGal})
	}
	return survey.AdjustNetwork(d, []survey.Tie{{Station: "A"}})
}

var (
	stationOf = regexp.MustCompile(`(?:value of|variance of|uncertainty of) ([A-Z])\b`)
	whichOne  = regexp.MustCompile(`difference (\d+)`)
	minusBase = regexp.MustCompile(`(S\d) minus base`)
)

func networkCheck(m testdata.ModelCheck) (float64, error) {
	blunder := 0.0
	if strings.Contains(m.Inputs["note"], "90 added to the fifth") {
		blunder = 90
	}
	a, err := network(m, blunder)
	if err != nil {
		return 0, err
	}
	q := m.Quantity
	switch {
	case strings.HasPrefix(q, "chi-square"):
		return a.Chi2, nil
	case strings.HasPrefix(q, "normalised residual"):
		return a.Residuals[int(number(whichOne.FindStringSubmatch(q)[1]))-1].W, nil
	}
	name := stationOf.FindStringSubmatch(q)
	if name == nil {
		return 0, fmt.Errorf("no answer to %q", q)
	}
	s, err := a.Station(name[1])
	if err != nil {
		return 0, err
	}
	switch {
	case strings.HasPrefix(q, "change"):
		clean, err := network(m, 0)
		if err != nil {
			return 0, err
		}
		return (s.Value - gravlab.Must(clean.Station(name[1])).Value) / gravlab.MicroGal, nil
	case strings.HasPrefix(q, "variance"):
		return s.U * s.U / gravlab.MicroGal / gravlab.MicroGal, nil
	case strings.Contains(q, "uncertainty"):
		return s.U / gravlab.MicroGal, nil
	}
	return s.Value / gravlab.MicroGal, nil
}

func driftCheck(m testdata.ModelCheck) (float64, error) {
	start := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	var readings []survey.Reduced
	for _, g := range groups(m.Inputs["readings"]) {
		readings = append(readings, survey.Reduced{
			Reading: survey.Reading{Station: g[0], Time: start.Add(time.Duration(number(g[1]) * float64(time.Minute)))},
			Value:   number(g[2]) * 1e-9, UValue: m.Float("sigma") * 1e-9,
		})
	}
	q := m.Quantity
	name := minusBase.FindStringSubmatch(q)
	if strings.Contains(q, "interpolation") {
		differences, err := survey.LoopDifferences(readings, "base")
		if err != nil {
			return 0, err
		}
		sum, n := 0.0, 0.0
		for _, d := range differences {
			if d.Station == name[1] {
				sum, n = sum+d.Value, n+1
			}
		}
		return sum / n * 1e9, nil
	}
	a, err := survey.Adjust(readings, nil, survey.Drift{Degree: 1})
	if err != nil {
		return 0, err
	}
	if name == nil {
		v, factor := a.Rate, 1e9
		if strings.Contains(q, "uncertainty") {
			v = a.URate
		}
		if strings.HasSuffix(m.Unit, "/min") {
			factor *= 60
		}
		return v * factor, nil
	}
	difference, u, err := a.Between("base", name[1])
	if strings.Contains(q, "uncertainty") {
		return u * 1e9, err
	}
	return difference * 1e9, err
}

// modelChecks answers the rows of model_checks.csv by topic and quantity.
func modelChecks() []check.Case {
	var cases []check.Case
	for _, m := range testdata.ModelChecks("survey") {
		c := knownearth.Computed(m, 1e-12, "closed form in float64", nil)
		topic := m.ID[len("survey-"):strings.LastIndex(m.ID, "-")]
		is := func(text string) bool { return strings.Contains(m.Quantity, text) }
		switch topic {
		case "network", "outlier":
			c.Tol = check.Tolerance{Rel: 1e-11, Why: "least squares by orthogonal triangles in float64"}
			c.Got = func() (float64, error) { return networkCheck(m) }
		case "drift":
			c.Tol = check.Tolerance{Rel: 1e-9, Why: "values of 4.5e6 nm/s² leave ten digits of a difference in float64"}
			c.Got = func() (float64, error) { return driftCheck(m) }
		case "bouguer":
			c.Tol = check.Tolerance{Abs: 2e-14, Why: "the difference of two float64 near 9.8 m/s²"}
			r := survey.Reduction{Ellipsoid: earth.GRS80, Heights: survey.Ellipsoidal, Density: m.Float("rho"), Plate: survey.FlatPlate}
			if !is("slab") {
				r.Plate = survey.NoPlate
			}
			c.Got = func() (float64, error) {
				a, err := r.At(m.Float("g_obs"), m.Float("lat_deg")*degree, m.Float("h"), 0)
				return a.Value, err
			}
		case "terrain":
			switch {
			case is("sectors"):
				c.Got = survey.Sector{Inner: m.Float("r1"), Outer: m.Float("r2"), Parts: int(m.Float("sectors")), Height: m.Float("h"), Density: m.Float("rho")}.Correction
			case is("cone"):
				c.Got = func() (float64, error) {
					return survey.Cone(m.Float("alpha_deg")*degree, m.Float("R"), m.Float("rho"))
				}
			default:
				c.Got = func() (float64, error) {
					return survey.Slope(m.Float("alpha_deg")*degree, m.Float("R"), m.Float("rho"))
				}
			}
		case "nettleton":
			heights := numbers(m.Inputs["h"], 1)
			_, list, _ := strings.Cut(m.Inputs["note"], "=")
			freeAir := numbers(list, 1e-7)
			c.Got = func() (float64, error) {
				d, err := survey.DensityOfTopography(heights, freeAir)
				if is("density") {
					return d.Density, err
				}
				return d.Slope, err
			}
		case "height":
			r := survey.Reduction{Ellipsoid: earth.GRS80, Heights: survey.Ellipsoidal, Density: 2670, Plate: survey.FlatPlate}
			if !is("slab") {
				r.Plate = survey.NoPlate
			}
			c.Got = func() (float64, error) {
				v, err := r.PerMetre(45 * degree)
				return v * m.Float("dh"), err
			}
		case "level":
			c.Got = func() (float64, error) { return survey.TiltCorrection(m.Float("g"), m.Float("epsilon"), 0) }
		}
		if c.Got == nil {
			c.Got = func() (float64, error) { return 0, fmt.Errorf("no model answers topic %q", topic) }
		}
		cases = append(cases, c)
	}
	return cases
}

// published are the coefficients of the field as printed.
func published() []check.Case {
	example := func(id, quantity, unit, text string, factor float64, tol *check.Tolerance, got func() (float64, error)) check.Case {
		row := testdata.Find(testdata.Examples, id)
		return knownearth.Printed("survey-"+id, quantity, unit, text, factor, tol, row["source"], row["how_known"], got)
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
