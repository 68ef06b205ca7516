package lab09

import (
	"embed"
	"math"
	"sync"
	"time"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

//go:embed *.md
var files embed.FS

// Lab is lab 09.
var Lab = bank.Lab{
	ID: "09-the-earth-breathes", Title: "The Earth breathes", Minutes: 75,
	Asks:   "The ground under you rises and sinks twice a day. Why does nobody notice, and how do you measure it?",
	Tracks: []bank.Track{bank.SurveyHire}, BuildsOn: []string{"03-mass-on-a-spring"}, Graded: true,
	Sealed: bank.Weights{Times: 3, Constants: []string{"overhead", "size", "sun-moon", "spring", "line", "delta", "pressure"}},
	Words:  bank.ReadWords(files),
	Build:  build,
}

// Moon and Sun, and the Earth they pull at, as the prompts print them.
const (
	tideMoonGM  = 4.903e12 // m³/s²
	tideSunGM   = 1.327e20 // m³/s²
	tideSunDist = 1.496e11 // m
	tideRadius  = 6.371e6  // m
)

func build(d *bank.Draw) bank.Sheet {
	meter := drawTideMeter(d)
	return bank.Sheet{
		Fields:     meter.fields(),
		Recordings: []bank.Recording{tideYear(), meter.recording()},
		Questions: []bank.Question{
			tideOverhead(d), tideTwice(), tideSize(d), tidePull(d), tideSunAndMoon(d), tideSign(),
			tideSpring(), tidePart(), tideLine(d), tideEquator(),
			meter.deltaQuestion(), tideFactor(), meter.calibrationQuestion(d), meter.driftQuestion(), meter.pressureQuestion(), tideCorrect(d),
		},
	}
}

// tideUpward is the exact vertical tide of a body over a sphere, m/s².
func tideUpward(gm, distance, radius, zenith float64) float64 {
	return gravlab.Must(earth.BodyTide(gm, distance, radius, zenith))
}

// meanMoon is the Moon's mean distance, which people have from memory, m.
const meanMoon = 3.844e8

// notMeanMoon moves a distance of the Moon in Mm away from the mean one, so that it
// matters which of the two is in a calculation.
func notMeanMoon(mm float64) float64 {
	if mm > 378 {
		mm += 13
	}
	return mm * 1e6
}

// tideEither is between the exact tide and its first term: either is right.
func tideEither(gm, distance, radius, zenith float64) float64 {
	return (tideUpward(gm, distance, radius, zenith) + tideFirstOrder(gm, distance, radius, zenith)) / 2
}

// tideFirstOrder is its first term in the radius over the distance.
func tideFirstOrder(gm, distance, radius, zenith float64) float64 {
	c := math.Cos(zenith)
	return gm * radius / math.Pow(distance, 3) * (3*c*c - 1)
}

func tideOverhead(d *bank.Draw) bank.Question {
	distance := notMeanMoon(d.Between("moon distance", 357, 393, 1)) // m
	near, far := tideUpward(tideMoonGM, distance, tideRadius, 0), tideUpward(tideMoonGM, distance, tideRadius, math.Pi)
	first := tideFirstOrder(tideMoonGM, distance, tideRadius, 0)
	x := tideRadius / distance

	gm := 6.67e-11 * 7.35e22
	return bank.Question{
		ID: "overhead", Kind: judge.KindNumber, Marks: 2, Unit: "%", Tol: judge.Tolerance{Rel: 0.015},
		Fields: bank.Fields{"distanceSI": distance / 1000, "distance": distance},
		Solve:  bank.Always(near/far - 1),
		Slips: []bank.Slip{
			{ID: "pulls", Value: bank.Always(math.Pow((1+x)/(1-x), 2) - 1)},
			{ID: "over-the-first-term", Value: bank.Always(near/first - 1)},
			{ID: "far-over-near", Value: bank.Always(1 - far/near)},
			{ID: "cubes", Value: bank.Always(math.Pow((1+x)/(1-x), 3) - 1)},
			{ID: "centre", Value: bank.Always(math.Pow(1/(1-x), 2) - 1)},
		},
		Range: [2]float64{0.046, 0.057},
		// near side less far side, M = 7.35e22 kg
		Source: bank.Published(testdata.Examples, "tide-03",
			// Printed is the difference from the near side to the far one: both tides.
			tideUpward(gm, 3.84e8, 6.37e6, 0)+tideUpward(gm, 3.84e8, 6.37e6, math.Pi), 0.005e-5),
	}
}

func tideTwice() bank.Question {
	return bank.Question{
		ID: "twice", Kind: judge.KindChoice, Marks: 1,
	}
}

func tideSize(d *bank.Draw) bank.Question {
	zenith := d.Between("zenith", 70, 86, 1) // degrees
	distance := notMeanMoon(d.Between("size distance", 362, 388, 1))
	at := func(f func(gm, distance, radius, zenith float64) float64, degrees float64) float64 {
		return f(tideMoonGM, distance, tideRadius, degrees*math.Pi/180)
	}
	right := at(tideEither, zenith)
	return bank.Question{
		ID: "size", Kind: judge.KindNumber, Marks: 2, Unit: "nm/s²", Tol: judge.Tolerance{Rel: 0.02},
		Fields: bank.Fields{"zenith": zenith, "distanceSI": distance / 1000, "distance": distance},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "altitude", Value: bank.Always(at(tideFirstOrder, 90-zenith))},
			{ID: "minus-1-ignored", Value: bank.Always(at(tideFirstOrder, zenith) + tideMoonGM*tideRadius/math.Pow(distance, 3))},
			{ID: "pull-itself", Value: bank.Always(tideMoonGM / (distance * distance) * math.Cos(zenith*math.Pi/180))},
			{ID: "mean-distance", Value: bank.Always(right * math.Pow(distance/meanMoon, 3))},
			{ID: "not-squared", Value: bank.Always(tideMoonGM * tideRadius / math.Pow(distance, 3) * (3*math.Cos(zenith*math.Pi/180) - 1))},
			{ID: "doubled", Value: bank.Always(2 * right)},
			{ID: "degrees", Value: bank.Always(at(tideFirstOrder, zenith*180/math.Pi))},
		},
		Range: [2]float64{-7e-7, -2.5e-7},
		// Sun at 71 degrees
		Source: bank.Computed(testdata.Checks, "earth-tide-03", tideFirstOrder(1.32712440041e20, 1.482e11, 6371000, 71*math.Pi/180), 3e-11),
	}
}

func tidePull(d *bank.Draw) bank.Question {
	r := d.Rand("pull calls")
	var calls [][]float64
	for range 8 {
		calls = append(calls, []float64{bank.Clean(math.Round(r.Float64()*3.1*100) / 100), bank.Clean(3.57e8 + math.Round(r.Float64()*49)*1e6)})
	}
	calls = append(calls, []float64{0, 3.844e8}, []float64{3.1, 3.6e8}, calls[3])
	two := func(f func(z, d float64) float64) func([]float64) []float64 {
		return func(a []float64) []float64 { return []float64{f(a[0], a[1])} }
	}
	pull := func(z, d float64) float64 { // of the Moon at the station, its upward part
		r := math.Sqrt(d*d + tideRadius*tideRadius - 2*d*tideRadius*math.Cos(z))
		return tideMoonGM * (d*math.Cos(z) - tideRadius) / (r * r * r)
	}
	return bank.Question{
		ID: "pull", Kind: judge.KindFunction, Marks: 3, Tol: judge.Tolerance{Rel: 1e-3, Abs: 1e-10},
		Function: &bank.Function{
			Name: "upward", Signature: judge.TwoToOne, Calls: calls,
			Right: two(func(z, d float64) float64 { return tideUpward(tideMoonGM, d, tideRadius, z) }),
			Degrees: two(func(z, d float64) float64 {
				return tideUpward(tideMoonGM, d, tideRadius, math.Remainder(z/gravlab.Degree, 2*math.Pi))
			}),
			Slips: []bank.FunctionSlip{
				{ID: "first-term-only", F: two(func(z, d float64) float64 { return tideFirstOrder(tideMoonGM, d, tideRadius, z) })},
				{ID: "no-centre", F: two(pull)},
				{ID: "downward", F: two(func(z, d float64) float64 { return -tideUpward(tideMoonGM, d, tideRadius, z) })},
				{ID: "from-station", F: two(func(z, d float64) float64 {
					return tideMoonGM * (math.Cos(z)/math.Pow(d-tideRadius*math.Cos(z), 2) - math.Cos(z)/(d*d))
				})},
				{ID: "sizes", F: two(func(z, d float64) float64 {
					r2 := d*d + tideRadius*tideRadius - 2*d*tideRadius*math.Cos(z)
					return tideMoonGM * (1/r2 - 1/(d*d))
				})},
				{ID: "doubled", F: two(func(z, d float64) float64 { return 2 * tideUpward(tideMoonGM, d, tideRadius, z) })},
			},
		},
		Source: bank.Computed(testdata.Checks, "earth-tide-01", tideUpward(4.9028e12, 3.72e8, 6371000, 38*math.Pi/180), 1e-19),
	}
}

func tideSunAndMoon(d *bank.Draw) bank.Question {
	// Where both discs look alike the powers of their ratio could not be told apart.
	distance := d.Pick("disc distance", 357, 358, 359, 360, 361, 388, 390, 391, 400, 404) * 1e6 // m
	degrees := func(distance float64) float64 { return 2 * math.Asin(1.7374e6/distance) * 180 / math.Pi }
	angle := math.Round(1000*degrees(distance)) / 1000
	ratio := func(angle, power float64) float64 {
		return sunDensity / moonDensity * math.Pow(sunAngle/angle, power)
	}
	right := ratio(angle, 3)
	return bank.Question{
		ID: "sun-moon", Kind: judge.KindNumber, Marks: 2, Unit: "1", Tol: judge.Tolerance{Rel: 0.012},
		Fields: bank.Fields{"angle": angle},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "square", Value: bank.Always(ratio(angle, 2))},
			{ID: "moon-over-sun", Value: bank.Always(1 / right)},
			{ID: "densities-ignored", Value: bank.Always(math.Pow(sunAngle/angle, 3))},
			{ID: "upside-down", Value: bank.Always(ratio(angle, -3))},
			{ID: "discs-ignored", Value: bank.Always(ratio(angle, 0))},
		},
		Range: [2]float64{0.34, 0.56},
		// At mean distance. The book does not print its constants: two digits compare.
		Source: bank.Published(testdata.Examples, "tide-12", ratio(degrees(meanMoon), 3), 0.005),
	}
}

// Mean densities of Sun and Moon, kg/m³, and the Sun's angular diameter at its mean distance,
// degrees, as the prompt prints them.
const (
	sunDensity  = 1408.0
	moonDensity = 3344.0
	sunAngle    = 0.533
)

func tideSign() bank.Question {
	return bank.Question{
		ID: "sign", Kind: judge.KindChoice, Marks: 1,
	}
}

// tideBeat is 1/|1/t1 − 1/t2|.
func tideBeat(t1, t2 float64) float64 { return gravlab.Must(earth.BeatPeriod(t1, t2)) }

func tideSpring() bank.Question {
	const moon, sun = 12.4206, 12.0 // h
	right := tideBeat(moon, sun) * 3600
	return bank.Question{
		ID: "spring", Kind: judge.KindNumber, Marks: 2, Unit: "d", Tol: judge.Tolerance{Rel: 0.004},
		Solve: bank.Always(right),
		Slips: []bank.Slip{
			{ID: "twice", Value: bank.Always(2 * right)},
			{ID: "period-difference", Value: bank.Always((moon - sun) * 3600)},
			{ID: "sum", Value: bank.Always(3600 / (1/moon + 1/sun))},
			{ID: "hours", Value: bank.Always(24 * right)},
			{ID: "half", Value: bank.Always(right / 2)},
		},
		Range:  [2]float64{14.5 * 86400, 15 * 86400},
		Source: bank.Computed(testdata.Checks, "earth-tide-05", tideBeat(12.4206012, 12)/24, 1e-9),
	}
}

func tidePart() bank.Question {
	return bank.Question{ID: "part", Kind: judge.KindChoice, Marks: 1}
}

// tideTable reads the hourly tide of 400 days, and the amplitudes of some lines
// in it; both are made once.
var tideTable = sync.OnceValue(func() (columns [][]float64) {
	columns = make([][]float64, 3)
	for _, row := range testdata.Table("tide_400d.csv") {
		at, err := time.Parse(time.RFC3339, row["utc"])
		if err != nil {
			panic("lab 09: " + err.Error())
		}
		columns[0] = append(columns[0], float64(at.Unix()))
		columns[1] = append(columns[1], bank.Clean(row.Float("moon_nm_s2")*1e-9))
		columns[2] = append(columns[2], bank.Clean(row.Float("sun_nm_s2")*1e-9))
	}
	return columns
})

var tideLineNames = []string{"Q1", "O1", "P1", "K1", "N2", "M2", "S2", "K2"}

// tideLines is the analysis of both tides, tideMoonLines that of the Moon's alone.
var (
	tideLines     = sync.OnceValue(func() *earth.Analysis { return analyseTide(1) })
	tideMoonLines = sync.OnceValue(func() *earth.Analysis { return analyseTide(0) })
)

// analyseTide fits the lines to the Moon's tide and sun times the Sun's.
func analyseTide(sun float64) *earth.Analysis {
	c := tideTable()
	t, y := make([]float64, len(c[0])), make([]float64, len(c[0]))
	for i := range t {
		t[i], y[i] = c[0][i]-c[0][0], c[1][i]+float64(sun*c[2][i])
	}
	return gravlab.Must(earth.Analyse(t, y, gravlab.Must(earth.ConstituentsNamed(tideLineNames...))))
}

func tideYear() bank.Recording {
	return bank.Recording{
		ID: "year", Shared: true,
		Columns: []bank.Column{{Name: "time", Unit: "s"}, {Name: "moon", Unit: "m/s²"}, {Name: "sun", Unit: "m/s²"}},
		Make:    func() ([][]float64, error) { return tideTable(), nil },
	}
}

func tideLine(d *bank.Draw) bank.Question {
	name := []string{"O1", "M2", "K1", "S2", "N2"}[int(d.Pick("line", 0, 1, 2, 3, 4))]
	amplitude := func(name string) float64 { return gravlab.Must(tideLines().Named(name)).Amplitude }
	solve := func(factor float64) func(bank.Answers) float64 {
		return func(bank.Answers) float64 { return factor * amplitude(name) }
	}
	return bank.Question{
		ID: "line", Kind: judge.KindNumber, Marks: 2, Unit: "nm/s²", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"name": name},
		Solve:  solve(1),
		Slips: []bank.Slip{
			{ID: "peak-to-peak", Value: solve(2)},
			{ID: "root-mean-square", Value: solve(1 / math.Sqrt2)},
			{ID: "half", Value: solve(0.5)},
			{ID: "moon-alone", Value: bank.Later(func() float64 {
				if name != "K1" && name != "S2" { // these are the Moon's own
					return math.NaN()
				}
				return gravlab.Must(tideMoonLines().Named(name)).Amplitude
			})},
			{ID: "measured", Value: solve(1.16)},
		},
		Range: [2]float64{3e-8, 5e-7},
	}
}

func tideEquator() bank.Question {
	return bank.Question{
		ID: "equator", Kind: judge.KindChoice, Marks: 1,
	}
}

func tideFactor() bank.Question {
	return bank.Question{
		ID: "factor", Kind: judge.KindChoice, Marks: 1,
	}
}

func tideCorrect(d *bank.Draw) bank.Question {
	first := d.Between("first tide", 300, 600, 5) // nm/s², upward
	// At 54.6 degrees the tide changes by at most 94 µGal in two hours.
	second := first - d.Between("change of the tide", 400, 850, 5)
	difference := d.Between("field difference", 300, 900, 0.5) // µGal, second less first
	corrected := func(factor float64) float64 { return difference*gravlab.MicroGal + factor*(second-first)*1e-9 }
	return bank.Question{
		ID: "correct", Kind: judge.KindNumber, Marks: 2, Unit: "µGal", Tol: judge.Tolerance{Abs: 0.8 * gravlab.MicroGal},
		Fields: bank.Fields{"first": first, "second": second, "difference": difference},
		Solve:  bank.Always(corrected(1.16)),
		Slips: []bank.Slip{
			{ID: "sign", Value: bank.Always(corrected(-1.16))},
			{ID: "no-factor", Value: bank.Always(corrected(1))},
			{ID: "not-corrected", Value: bank.Always(corrected(0))},
			{ID: "nm-s2", Value: bank.Always(difference*gravlab.MicroGal + 1.16*(second-first)*gravlab.MicroGal)},
			{ID: "inverse", Value: bank.Always(corrected(1 / 1.16))},
			{ID: "excess", Value: bank.Always(corrected(0.16))},
		},
		Range: [2]float64{1e-6, 9e-6},
	}
}
