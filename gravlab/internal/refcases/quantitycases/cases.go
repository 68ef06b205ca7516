// Package quantitycases holds the known answers of package quantity: the
// worked example of JCGM 100 with correlated inputs, published exercises on
// uncertainty, definitions of units, and rows of testdata/model_checks.csv.
package quantitycases

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

	"gravity.example/gravlab/internal/check"
	"gravity.example/gravlab/internal/refcases/rows"
	"gravity.example/gravlab/quantity"
	"gravity.example/testdata"
)

// Cases returns all known answers of package quantity.
func Cases() []check.Case {
	var cases []check.Case
	for _, m := range testdata.ModelChecks("quantity") {
		var tol check.Tolerance
		switch m.Call {
		case "Budget.U", "Budget.U uncorrelated", "Budget.Lines.Share uncorrelated":
			tol = check.Tolerance{Rel: 1e-9, Why: "numerical derivatives, each good to about 1e-11"}
		case "Parse":
			tol = check.Tolerance{Rel: 4e-16, Why: "two roundings of a float64"}
		default:
			tol = spread(m)
		}
		cases = append(cases, calls.Case(m, tol))
	}
	cases = append(cases, example()...)
	cases = append(cases, exercises()...)
	return append(cases, units()...)
}

var calls = rows.Calls{
	"Budget.U": func(m testdata.ModelCheck) (float64, error) {
		b, err := budget(m, m.Float("r_theta_T"))
		return b.U, err
	},
	"Budget.U uncorrelated": func(m testdata.ModelCheck) (float64, error) {
		b, err := budget(m, 0)
		return b.U, err
	},
	"Budget.Lines.Share uncorrelated": func(m testdata.ModelCheck) (float64, error) {
		b, err := budget(m, 0)
		for _, l := range b.Lines {
			if l.Name == m.Inputs["asked"] {
				return l.Share, err
			}
		}
		return 0, errors.Join(err, fmt.Errorf("the budget has no line %q", m.Inputs["asked"]))
	},
	"Parse": typed,
	"Distribution.U": func(m testdata.ModelCheck) (float64, error) {
		d, err := sample(m)
		if err != nil {
			return 0, err
		}
		return d.U, nil
	},
	"Distribution.Symmetric lower": func(m testdata.ModelCheck) (float64, error) {
		d, err := sample(m)
		if err != nil {
			return 0, err
		}
		low, _, err := d.Symmetric(0.95)
		return low, err
	},
	"Distribution.Symmetric upper": func(m testdata.ModelCheck) (float64, error) {
		d, err := sample(m)
		if err != nil {
			return 0, err
		}
		_, high, err := d.Symmetric(0.95)
		return high, err
	},
	"Distribution.Shortest upper": func(m testdata.ModelCheck) (float64, error) {
		d, err := sample(m)
		if err != nil {
			return 0, err
		}
		_, high, err := d.Shortest(0.95)
		return high, err
	},
}

// budget is that of a row on G from a torsion balance, angle and period correlated by r.
func budget(m testdata.ModelCheck, r float64) (quantity.Budget, error) {
	names := []string{"theta", "T", "d", "M", "b"}
	inputs := make([]quantity.Input, len(names))
	for i, n := range names {
		inputs[i] = quantity.Input{Name: n, Value: m.Float(n), U: m.Float("u_" + n)}
	}
	f := func(x []float64) float64 {
		omega := 2 * math.Pi / x[1]
		return omega * omega * x[0] * x[2] * x[2] * x[4] / x[3]
	}
	correlation, err := quantity.Correlations(len(names), [3]float64{0, 1, r})
	if err != nil {
		return quantity.Budget{}, err
	}
	b, err := quantity.Propagate(f, inputs, correlation)
	if err != nil {
		return quantity.Budget{}, err
	}
	return *b, nil
}

// typed reads "0.25 ng (acceleration)" or "3.2 E" as a value of the row's unit.
func typed(m testdata.ModelCheck) (float64, error) {
	text, _, _ := strings.Cut(m.Inputs["text"], " (")
	want, err := quantity.ParseUnit(m.Unit)
	if err != nil {
		return 0, err
	}
	r, err := quantity.Parse(text, want)
	return r.Value, err
}

const (
	trials = 1_000_000
	seed   = 20260301
)

// sample draws the row's result.
func sample(m testdata.ModelCheck) (*quantity.Distribution, error) {
	rng := rand.New(rand.NewPCG(seed, 0))
	width := func(half float64) float64 { return half / math.Sqrt(3) }
	switch {
	case m.Inputs["s"] != "" && m.Inputs["mu"] == "":
		return quantity.MonteCarlo(rng, func(x []float64) float64 { return x[0] + x[1] }, []quantity.Input{
			{Name: "X1", U: m.Float("s")},
			{Name: "X2", U: width(m.Float("a")), Shape: quantity.Rectangular}}, nil, trials)
	case m.Inputs["mu"] != "":
		return quantity.MonteCarlo(rng, func(x []float64) float64 { return x[0] * x[0] }, []quantity.Input{
			{Name: "X", Value: m.Float("mu"), U: m.Float("s")}}, nil, trials)
	case m.Inputs["c"] != "":
		return quantity.MonteCarlo(rng, func(x []float64) float64 { return x[0] / x[1] }, []quantity.Input{
			{Name: "X", Value: m.Float("a"), U: width(m.Float("c")), Shape: quantity.Rectangular},
			{Name: "Y", Value: 3.5, U: width(0.5), Shape: quantity.Rectangular}}, nil, trials)
	}
	return nil, fmt.Errorf("no way to draw %v", m.Inputs)
}

// spread is the tolerance of a random number: five standard errors. The ends
// of an interval are quantiles, whose standard error is sqrt(p (1-p)/n) over
// the density of the result there. p (1-p) is at most 0.05 for a 95 % interval.
func spread(m testdata.ModelCheck) check.Tolerance {
	const why = "five standard errors of a sample of a million"
	density := 0.0
	switch y := m.Value; {
	case m.Call == "Distribution.U":
		return check.Tolerance{Rel: 5 / math.Sqrt(2*trials), Why: why}
	case m.Inputs["a"] != "": // normal plus rectangular
		s, a := m.Float("s"), m.Float("a")
		density = (math.Erf((y+a)/s/math.Sqrt2) - math.Erf((y-a)/s/math.Sqrt2)) / (4 * a)
	case m.Inputs["mu"] != "": // square of a normal
		s, mu := m.Float("s"), m.Float("mu")
		bell := func(x float64) float64 {
			z := (x - mu) / s
			return math.Exp(-z*z/2) / (s * math.Sqrt(2*math.Pi))
		}
		density = (bell(math.Sqrt(y)) + bell(-math.Sqrt(y))) / (2 * math.Sqrt(y))
	}
	return check.Tolerance{Abs: 5 * math.Sqrt(0.05/trials) / density, Why: why}
}

// example is H.2 of JCGM 100: resistance, reactance and impedance from five
// sets of simultaneous readings.
func example() []check.Case {
	columns := [3][]float64{}
	for _, row := range testdata.Table("gum_h2.csv") {
		columns[0] = append(columns[0], row.Float("V_volt"))
		columns[1] = append(columns[1], row.Float("I_mA")*1e-3)
		columns[2] = append(columns[2], row.Float("phi_rad"))
	}
	models := map[string]func(x []float64) float64{
		"R": func(x []float64) float64 { return x[0] / x[1] * math.Cos(x[2]) },
		"X": func(x []float64) float64 { return x[0] / x[1] * math.Sin(x[2]) },
		"Z": func(x []float64) float64 { return x[0] / x[1] },
	}
	const source = "JCGM 100:2008 (GUM), example H.2, tables H.2 to H.4"
	var cases []check.Case
	add := func(id, what, unit, want string, got func() (float64, error)) {
		v := testdata.Row{"v": want}.Float("v")
		tol := check.Digits(want)
		if id == "u-X" {
			tol = check.Tolerance{Abs: 0.001, Why: "one unit of the last digit: the readings give 0.2956 exactly, the example works with rounded intermediate values"}
		}
		cases = append(cases, check.Case{ID: "gum-h2-" + id, Quantity: what, Unit: unit, Want: v, Tol: tol,
			Source: source, Known: check.Memory, Published: true, Got: got})
	}
	budget := func(name string, correlated bool) (*quantity.Budget, error) {
		inputs, r, err := quantity.Repeated(columns[:]...)
		if err != nil {
			return nil, err
		}
		if !correlated {
			return quantity.Propagate(models[name], inputs, nil)
		}
		return quantity.Propagate(models[name], inputs, r)
	}
	for _, row := range []struct{ name, value, u string }{
		{"R", testdata.Find(testdata.Examples, "unc-09")["published_answer"], testdata.Find(testdata.Examples, "unc-10")["published_answer"]},
		{"X", "219.847", "0.295"},
		{"Z", "254.260", "0.236"},
	} {
		add(row.name, row.name+" from the mean readings", "ohm", row.value, func() (float64, error) {
			b, err := budget(row.name, true)
			if err != nil {
				return 0, err
			}
			return b.Value, nil
		})
		add("u-"+row.name, "standard uncertainty of "+row.name+", inputs correlated", "ohm", row.u, func() (float64, error) {
			b, err := budget(row.name, true)
			if err != nil {
				return 0, err
			}
			return b.U, nil
		})
	}
	for i, row := range []struct{ name, unit, value, u string }{{"V", "V", "4.9990", "0.0032"}, {"I", "A", "19.6610e-3", "0.0095e-3"}, {"phi", "rad", "1.04446", "0.00075"}} {
		add("mean-"+row.name, "mean of five readings of "+row.name, row.unit, row.value, func() (float64, error) {
			inputs, _, err := quantity.Repeated(columns[:]...)
			if err != nil {
				return 0, err
			}
			return inputs[i].Value, nil
		})
		add("u-mean-"+row.name, "standard uncertainty of the mean of "+row.name, row.unit, row.u, func() (float64, error) {
			inputs, _, err := quantity.Repeated(columns[:]...)
			if err != nil {
				return 0, err
			}
			return inputs[i].U, nil
		})
	}
	for _, row := range []struct {
		name, want string
		i, j       int
	}{{"V, I", "-0.36", 0, 1}, {"V, phi", "0.86", 0, 2}, {"I, phi", "-0.65", 1, 2}} {
		add("r-"+strings.ReplaceAll(row.name, ", ", "-"), "correlation coefficient of the means "+row.name, "1", row.want, func() (float64, error) {
			_, r, err := quantity.Repeated(columns[:]...)
			if err != nil {
				return 0, err
			}
			return r.At(row.i, row.j), nil
		})
	}
	return cases
}

// exercises are published ones that add the parts of the inputs where the GUM
// adds their squares: they check sensitivities, part by part.
func exercises() []check.Case {
	sum := func(b *quantity.Budget) float64 {
		total := 0.0
		for _, l := range b.Lines {
			total += l.Part
		}
		return total
	}
	product := func(powers ...float64) func([]float64) float64 {
		return func(x []float64) float64 {
			v := 1.0
			for i := range x {
				v *= math.Pow(x[i], powers[i])
			}
			return v
		}
	}
	const added = "the book adds the parts; printed to one digit"
	rows := []struct {
		id, what, unit, want string
		tol                  check.Tolerance
		f                    func([]float64) float64
		inputs               []quantity.Input
		got                  func(*quantity.Budget) float64
	}{
		{"unc-01", "pulse rate, sum of the parts", "1/min", "3", check.Tolerance{Abs: 0.5, Why: added}, product(1, -1),
			[]quantity.Input{{Value: 40, U: 1}, {Value: 0.5, U: 0.5 / 60}}, sum},
		{"unc-02", "volume of a block, sum of the parts", "cm^3", "0.6", check.Tolerance{Abs: 0.1, Why: "the book adds the parts and rounds 0.54 up to one digit"}, product(1, 1, 1),
			[]quantity.Input{{Value: 1.80, U: 0.01}, {Value: 2.05, U: 0.02}, {Value: 3.1, U: 0.1}}, sum},
		{"unc-03", "area of a floor, sum of the parts", "m^2", "0.04", check.Tolerance{Abs: 0.005, Why: added}, product(1, 1),
			[]quantity.Input{{Value: 3.955, U: 0.005}, {Value: 3.050, U: 0.005}}, sum},
		{"unc-06", "mean speed of a run", "m/s", "4.681", check.Digits("4.681"), product(1, -1),
			[]quantity.Input{{Value: 42188, U: 25}, {Value: 9012, U: 1}}, func(b *quantity.Budget) float64 { return b.Value }},
		{"unc-07", "mean speed of a run, sum of the parts", "m/s", "0.003", check.Tolerance{Abs: 0.0005, Why: added}, product(1, -1),
			[]quantity.Input{{Value: 42188, U: 25}, {Value: 9012, U: 1}}, sum},
		{"unc-08", "power from m a s/t, sum of the parts in per cent", "%", "3.1", check.Digits("3.1"), product(1, 1, 1, -1),
			[]quantity.Input{{Value: 1, U: 0.001}, {Value: 1, U: 0.01}, {Value: 1, U: 0.015}, {Value: 1, U: 0.005}},
			func(b *quantity.Budget) float64 { return 100 * sum(b) / b.Value }},
	}
	var cases []check.Case
	for _, row := range rows {
		source := testdata.Find(testdata.Examples, row.id)
		if !strings.Contains(source["published_answer"], row.want) {
			panic(fmt.Sprintf("quantitycases: %s: %q is not in %q", row.id, row.want, source["published_answer"]))
		}
		known := check.Read
		if strings.HasPrefix(source["how_known"], "from memory") {
			known = check.Memory
		}
		cases = append(cases, check.Case{ID: row.id, Quantity: row.what, Unit: row.unit, Want: testdata.Row{"v": row.want}.Float("v"), Tol: row.tol,
			Source: source["source"], Known: known, Published: true,
			Got: func() (float64, error) {
				b, err := quantity.Propagate(row.f, row.inputs, nil)
				if err != nil {
					return 0, err
				}
				return row.got(b), nil
			}})
	}
	return cases
}

// units are conversions that sources print.
func units() []check.Case {
	read := func(text, unit string) func() (float64, error) {
		return func() (float64, error) {
			u, err := quantity.ParseUnit(unit)
			if err != nil {
				return 0, err
			}
			r, err := quantity.Parse(text, u)
			if err != nil {
				return 0, err
			}
			v, _ := r.In(u)
			return v, nil
		}
	}
	gradient := testdata.Find(testdata.Examples, "gradient-03")
	const brochure = "The International System of Units (SI Brochure), 9th ed., BIPM 2019, "
	exact := check.Tolerance{Rel: 4e-16, Why: "exact by definition; two roundings of a float64"}
	cases := []check.Case{
		{ID: "gradient-03", Quantity: "0.3086 mGal/m in eotvos", Unit: "E", Want: gradient.Float("published_answer"), Tol: check.Digits(gradient["published_answer"]),
			Source: gradient["source"], Known: check.Read, Published: true, Got: read("0.3086 mGal/m", "E")},
		{ID: "unit-g", Quantity: "standard gravity", Unit: "m/s²", Want: testdata.Find(testdata.Values, "codata2018_gn").Float("value"), Tol: exact,
			Source: testdata.Find(testdata.Values, "codata2018_gn")["source"], Known: check.Read, Published: true, Got: read("1 g", "m/s²")},
		{ID: "unit-ev", Quantity: "electronvolt", Unit: "J", Want: testdata.Find(testdata.Values, "codata2018_e").Float("value"), Tol: exact,
			Source: testdata.Find(testdata.Values, "codata2018_e")["source"], Known: check.Read, Published: true, Got: read("1 eV", "J")},
		{ID: "unit-dyn", Quantity: "1 dyn", Unit: "N", Want: 1e-5, Tol: exact,
			Source: "The International System of Units (SI Brochure), 8th ed., BIPM 2006, table 9", Known: check.Memory, Published: true, Got: read("1 dyn", "N")},
		{ID: "unit-erg", Quantity: "1 erg", Unit: "J", Want: 1e-7, Tol: exact,
			Source: "The International System of Units (SI Brochure), 8th ed., BIPM 2006, table 9", Known: check.Memory, Published: true, Got: read("1 erg", "J")},
	}
	for _, row := range []struct {
		text, unit string
		want       float64
		where      string
	}{
		{"1 min", "s", 60, "table 8"}, {"1 h", "s", 3600, "table 8"}, {"1 d", "s", 86400, "table 8"},
		{"1 deg", "rad", math.Pi / 180, "table 8"}, {"1 arcmin", "rad", math.Pi / 10800, "table 8"}, {"1 arcsec", "rad", math.Pi / 648000, "table 8"},
		{"1 L", "m³", 1e-3, "table 8"}, {"1 t", "kg", 1000, "table 8"}, {"1 Gal", "m/s²", 1e-2, "section 4"}, {"1 bar", "Pa", 1e5, "section 4"},
	} {
		cases = append(cases, check.Case{ID: "unit-" + strings.TrimPrefix(row.text, "1 "), Quantity: row.text, Unit: row.unit, Want: row.want, Tol: exact,
			Source: brochure + row.where, Known: check.Memory, Published: true, Got: read(row.text, row.unit)})
	}
	return cases
}
