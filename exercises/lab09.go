package exercises

import (
	"fmt"
	"math"
	"sync"
	"time"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

var theEarthBreathes = Lab{
	ID: "09-the-earth-breathes", Title: "The Earth breathes", Minutes: 80,
	Tracks: []Track{SurveyHire}, BuildsOn: []string{"03-mass-on-a-spring"}, Graded: true,
	Build: buildTheEarthBreathes,
}

// Moon and Sun, and the Earth they pull at, as the prompts print them.
const (
	tideMoonGM  = 4.903e12 // m³/s²
	tideSunGM   = 1.327e20 // m³/s²
	tideSunDist = 1.496e11 // m
	tideRadius  = 6.371e6  // m
)

func buildTheEarthBreathes(d *Draw) Paper {
	meter := drawTideMeter(d)
	return Paper{
		Recordings: []Recording{tideYear(), meter.recording()},
		Questions: []Question{
			tideOverhead(d), tideTwice(), tideSize(d), tidePull(d), tideSunAndMoon(d), tideSign(),
			tideSpring(), tidePart(d), tideLine(d), tideEquator(),
			meter.deltaQuestion(), meter.driftQuestion(), meter.pressureQuestion(), tideCorrect(d),
		},
	}
}

// tideUpward is the exact vertical tide of a body over a sphere, m/s².
func tideUpward(gm, distance, radius, zenith float64) float64 {
	return gravlab.Must(earth.BodyTide(gm, distance, radius, zenith))
}

// tideFirstOrder is its first term in the radius over the distance.
func tideFirstOrder(gm, distance, radius, zenith float64) float64 {
	c := math.Cos(zenith)
	return gm * radius / math.Pow(distance, 3) * (3*c*c - 1)
}

func tideOverhead(d *Draw) Question {
	distance := d.Between("moon distance", 357, 406, 1) * 1e6 // m
	right := tideUpward(tideMoonGM, distance, tideRadius, 0)
	across := testdata.Find("worked_examples.csv", "tide-03") // near side less far side, M = 7.35e22 kg
	gm := 6.67e-11 * 7.35e22
	return Question{
		ID: "overhead", Kind: judge.Number, Marks: 2, Title: "The Moon overhead",
		Prompt: fmt.Sprintf("The Moon stands overhead at a distance of %g km from the Earth's centre. By how much does it pull harder at you than at the centre of the Earth, for each kilogram? For the Moon $GM = 4.903\\times 10^{12}\\ \\mathrm{m^3/s^2}$; the Earth's radius is 6371 km. The first term in radius over distance is good enough.", distance/1000),
		Unit:   "nm/s²", Tol: judge.Tolerance{Rel: 0.035, Why: "the first term is 2.5 % lower than the exact difference, and both are accepted"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "the pull itself, not its difference", Value: valueOf(tideMoonGM / (distance * distance)), Fix: "The Earth's centre is pulled too, and the Earth falls with it. What is left is the difference."},
			{Name: "a factor 2 too few", Value: valueOf(right / 2), Fix: "How does GM/d² change when d changes a little? The square gives a factor."},
			{Name: "a factor 2 too many", Value: valueOf(2 * right), Fix: "From the surface to the centre is one radius, not the diameter."},
		},
		Range:     [2]float64{8.5e-7, 1.6e-6},
		Hints:     [2]string{"The pull is GM/d². You stand nearer by one radius R than the centre does.", "The change of GM/d² over a small step R is 2GM R/d³."},
		Worked:    fmt.Sprintf("%%%%\n// Two pulls, at the distance d - R and at d: their difference is the tide.\nGM, d, R := 4.903e12, %s, 6.371e6 // m³/s², m, m\ntide := GM/math.Pow(d-R, 2) - GM/(d*d)\nsheet.Number(\"overhead\", 1e9*tide, \"nm/s²\")", lit(distance)),
		Reasoning: "$\\frac{GM}{(d-R)^2}-\\frac{GM}{d^2} \\approx \\frac{2GMR}{d^3}$: about a ten-millionth of $g$. The cube makes it sensitive to the distance: the Moon's tide is 1.4 times larger when the Moon is near than when it is far.",
		Source: Source{Text: across["source"], Published: true, Check: &SourceCheck{
			// Printed is the difference from the near side to the far one: both tides.
			Table: "worked_examples.csv", ID: "tide-03", Got: tideUpward(gm, 3.84e8, 6.37e6, 0) + tideUpward(gm, 3.84e8, 6.37e6, math.Pi), Want: across.Float("published_answer"), Within: 0.005e-5}},
	}
}

func tideTwice() Question {
	return Question{
		ID: "twice", Kind: judge.Choice, Marks: 1, Title: "Why two a day?",
		Prompt: "The Moon passes overhead once a (lunar) day, but the tide rises twice. What lifts things on the side that is turned *away* from the Moon?",
		Options: []judge.Option{
			{Letter: "a", Text: "a centrifugal force, because the Earth turns about the centre that it shares with the Moon", Idea: "If both fell straight towards each other, without any turning, the tide would be the same: what counts is only how the pull differs from place to place."},
			{Letter: "b", Text: "the Moon pulls at the far side less than at the Earth's centre, so the far side is left behind", Right: true},
			{Letter: "c", Text: "the Sun, which makes the second tide", Idea: "The Sun makes tides of its own, also two a day. With the Moon alone there would still be two."},
			{Letter: "d", Text: "the Moon's pull is shielded by the Earth there", Idea: "Nothing shields gravity. At the far side the Moon's pull is a little weaker because it is a little further away, that is all."},
		},
		Worked:    "%%\nsheet.Choice(\"twice\", \"b\") // the difference from the centre points away from the centre on both sides",
		Reasoning: "The Earth as a whole falls with the acceleration at its centre. Nearer to the Moon the pull is stronger, farther away it is weaker, and both differences point *away* from the centre. A Moon off the equator makes the two unequal, and that inequality is a tide of once a day.",
		Source:    Source{Text: "common practice, no source"},
	}
}

func tideSize(d *Draw) Question {
	zenith := d.Between("zenith", 70, 86, 1) // degrees
	distance := d.Between("size distance", 362, 400, 1) * 1e6
	at := func(f func(gm, distance, radius, zenith float64) float64, degrees float64) float64 {
		return f(tideMoonGM, distance, tideRadius, degrees*math.Pi/180)
	}
	right := at(tideUpward, zenith)
	exact := testdata.Find("model_checks.csv", "earth-tide-03") // Sun at 71 degrees
	return Question{
		ID: "size", Kind: judge.Number, Marks: 2, Title: "The Moon low in the sky",
		Prompt: fmt.Sprintf("Later the Moon is %g° from the zenith, at a distance of %g km. What is the vertical tide of the Moon then, *upward positive*? For the Moon $GM = 4.903\\times 10^{12}\\ \\mathrm{m^3/s^2}$; the Earth's radius is 6371 km.", zenith, distance/1000),
		Unit:   "nm/s²", Tol: judge.Tolerance{Rel: 0.045, Why: "the first term is up to 3.5 % off the exact difference at these angles, and both are accepted"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "the altitude for the zenith angle", Value: valueOf(at(tideFirstOrder, 90-zenith)), Fix: "The angle counts from the zenith: 0 is overhead, 90° is the horizon."},
			{Name: "the −1 left out", Value: valueOf(at(tideFirstOrder, zenith) + tideMoonGM*tideRadius/math.Pow(distance, 3)), Fix: "On a ring around the Earth the Moon's pull presses inward: 3 cos² z − 1."},
			{Name: "the pull itself, not its difference", Value: valueOf(tideMoonGM / (distance * distance) * math.Cos(zenith*math.Pi/180)), Fix: "The Earth's centre is pulled too, and the Earth falls with it. What is left is the difference."},
		},
		Range:     [2]float64{-7e-7, -2.5e-7},
		Hints:     [2]string{"Overhead the tide is 2GMR/d³ upward; at the horizon it is half of that, and which way?", "To first order (GMR/d³)(3 cos² z − 1)."},
		Worked:    fmt.Sprintf("%%%%\n// First term: 3 cos²(z) - 1 is 2 overhead and -1 at the horizon, where the Moon's\n// pull, seen from the Earth's centre, is turned a little inward.\nz := %s * math.Pi / 180 // rad\ntide := 4.903e12 * 6.371e6 / math.Pow(%s, 3) * (3*math.Pow(math.Cos(z), 2) - 1)\nsheet.Number(\"size\", 1e9*tide, \"nm/s²\")", lit(zenith), lit(distance)),
		Reasoning: "$(GMR/d^3)(3\\cos^2z-1)$ changes sign at $z = 54.7°$. With the Moon low the vertical tide points *down*: the pull at your place and the pull at the centre are not quite parallel, and their difference has a part towards the centre.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "earth-tide-03", Got: tideFirstOrder(1.32712440041e20, 1.482e11, 6371000, 71*math.Pi/180), Want: exact.Float("value"), Within: 3e-11}},
	}
}

func tidePull(d *Draw) Question {
	r := d.Rand("pull calls")
	var calls [][]float64
	for range 8 {
		calls = append(calls, []float64{clean(math.Round(r.Float64()*3.1*100) / 100), clean(3.57e8 + math.Round(r.Float64()*49)*1e6)})
	}
	calls = append(calls, []float64{0, 3.844e8}, []float64{3.1, 3.6e8}, calls[3])
	two := func(f func(z, d float64) float64) func([]float64) []float64 {
		return func(a []float64) []float64 { return []float64{f(a[0], a[1])} }
	}
	pull := func(z, d float64) float64 { // of the Moon at the station, its upward part
		r := math.Sqrt(d*d + tideRadius*tideRadius - 2*d*tideRadius*math.Cos(z))
		return tideMoonGM * (d*math.Cos(z) - tideRadius) / (r * r * r)
	}
	exact := testdata.Find("model_checks.csv", "earth-tide-01")
	return Question{
		ID: "pull", Kind: judge.Function, Marks: 3, Title: "The tide exactly",
		Prompt: "Write a function `upward` of the zenith angle $z$ (rad) and the distance $d$ (m) that returns the vertical tide of the Moon, upward positive, in $\\mathrm{m/s^2}$: *exactly*, as the difference of two pulls. Put the Earth's centre at the origin and yourself at $(0, R)$, up being the second axis; the Moon stands at $(d\\sin z, d\\cos z)$. ($z$ is then the angle at the centre. $GM = 4.903\\times 10^{12}\\ \\mathrm{m^3/s^2}$, $R = 6.371\\times 10^6\\ \\mathrm{m}$.)",
		Tol:    judge.Tolerance{Rel: 1e-3, Abs: 1e-10, Why: "a difference of two pulls in float64 keeps ten digits; GM as books round it"},
		Function: &Function{
			Name: "upward", Signature: judge.TwoToOne, Calls: calls,
			Right: two(func(z, d float64) float64 { return tideUpward(tideMoonGM, d, tideRadius, z) }),
			Slips: []FunctionSlip{
				{Name: "the first term only", F: two(func(z, d float64) float64 { return tideFirstOrder(tideMoonGM, d, tideRadius, z) }), Fix: "That is the first term in R/d. Here the whole difference is wanted."},
				{Name: "the pull at the centre not taken off", F: two(pull), Fix: "The Earth's centre is pulled too, and the Earth falls with it: take that off."},
				{Name: "downward positive", F: two(func(z, d float64) float64 { return -tideUpward(tideMoonGM, d, tideRadius, z) }), Fix: "With the Moon overhead (z = 0) the upward tide is positive."},
				{Name: "the Moon's distance taken from the station", F: two(func(z, d float64) float64 {
					return tideMoonGM * (math.Cos(z)/math.Pow(d-tideRadius*math.Cos(z), 2) - math.Cos(z)/(d*d))
				}), Fix: "The Moon's direction from your place is not quite that from the centre: use the vector from you to the Moon."},
			},
		},
		Hints:     [2]string{"From you to the Moon: (d sin z, d cos z − R). The pull along it falls with the square of its length.", "Upward part at your place: GM (d cos z − R)/r³ with r the distance from you; at the centre: GM cos z/d². Subtract."},
		Worked:    "// The upward part of the Moon's pull here, less that of its pull at the centre.\nfunc upward(x, y float64) float64 {\n\tz, d := x, y // rad, m\n\tGM, R := 4.903e12, 6.371e6\n\tdx, dy := d*math.Sin(z), d*math.Cos(z)-R // from here to the Moon\n\tr := math.Hypot(dx, dy)\n\treturn GM*dy/(r*r*r) - GM*math.Cos(z)/(d*d)\n}\n\n%%\nsheet.Function(\"pull\", upward)",
		Reasoning: "The tide is the pull here less the pull at the centre, as vectors; along the vertical that is $GM\\left[\\frac{d\\cos z-R}{r^3}-\\frac{\\cos z}{d^2}\\right]$ with $r^2 = d^2+R^2-2dR\\cos z$.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "earth-tide-01", Got: tideUpward(4.9028e12, 3.72e8, 6371000, 38*math.Pi/180), Want: exact.Float("value"), Within: 1e-19}},
	}
}

func tideSunAndMoon(d *Draw) Question {
	distance := d.Between("ratio distance", 357, 406, 1) * 1e6
	strength := func(gm, d float64, power float64) float64 { return gm / math.Pow(d, power) }
	ratio := func(power float64) float64 {
		return strength(tideSunGM, tideSunDist, power) / strength(tideMoonGM, distance, power)
	}
	both := testdata.Find("worked_examples.csv", "tide-11") // Moon and Sun over g
	return Question{
		ID: "sun-moon", Kind: judge.Number, Marks: 2, Title: "Sun against Moon",
		Prompt: fmt.Sprintf("On a day when the Moon is %g km away, how large is the tide of the Sun compared with that of the Moon (both overhead)? The Sun: $GM = 1.327\\times 10^{20}\\ \\mathrm{m^3/s^2}$, $1.496\\times 10^{11}\\ \\mathrm{m}$ away. The Moon: $GM = 4.903\\times 10^{12}\\ \\mathrm{m^3/s^2}$.", distance/1000),
		Unit:   "1", Tol: judge.Tolerance{Rel: 0.035, Why: "the exact tide of the Moon is 2.5 % larger than its first term; both are accepted"},
		Solve: valueOf(ratio(3)),
		Slips: []Slip{
			{Name: "the pulls compared", Value: valueOf(ratio(2)), Fix: "The Sun pulls at us far more than the Moon does. The tide is the change of the pull over the Earth: one more power of the distance."},
			{Name: "Moon over Sun", Value: valueOf(1 / ratio(3)), Fix: "The question asks for the Sun's tide over the Moon's."},
			{Name: "the masses compared", Value: valueOf(tideSunGM / tideMoonGM), Fix: "The distances count too: with which power?"},
		},
		Range:     [2]float64{0.34, 0.56},
		Hints:     [2]string{"Both tides are 2GMR/d³: what cancels?", "The ratio of the GM times the third power of the ratio of the distances."},
		Worked:    fmt.Sprintf("%%%%\n// 2GM R/d³ for both: 2 and R cancel.\nsun := 1.327e20 / math.Pow(1.496e11, 3)\nmoon := 4.903e12 / math.Pow(%s, 3)\nsheet.Number(\"sun-moon\", sun/moon, \"1\")", lit(distance)),
		Reasoning: "The Sun pulls 180 times as hard as the Moon, but it is nearly 400 times as far away, and the tide goes with the cube: a bit less than half is left. That is why spring tides, when the two add, are nearly three times the neap tides, when they work against each other.",
		Source: Source{Text: "the page of tide-10 and tide-11: " + testdata.Find("worked_examples.csv", "tide-10")["source"] + ": Moon and Sun together over g", Published: true, Check: &SourceCheck{
			Table: "worked_examples.csv", ID: "tide-11", Got: (tideFirstOrder(4.9028e12, 3.844e8, 6.371e6, 0) + tideFirstOrder(1.3271244e20, 1.496e11, 6.371e6, 0)) / 9.81, Want: both.Float("published_answer"), Within: 0.05e-7}},
	}
}

func tideSign() Question {
	return Question{
		ID: "sign", Kind: judge.Choice, Marks: 1, Title: "Up or down on the dial?",
		Prompt: "The Moon stands overhead, and a gravity meter on solid rock is read. How does the reading compare with the same without the Moon, and what must be *added* to take the tide out?",
		Options: []judge.Option{
			{Letter: "a", Text: "larger, since the Moon adds its pull; add a negative number", Idea: "The Moon pulls *up* here, away from the Earth's centre, and a gravity meter counts downward."},
			{Letter: "b", Text: "smaller, by the upward pull itself; add that pull", Idea: "Nearly. But the ground gives way to the tide too, by some centimetres, and takes the meter with it."},
			{Letter: "c", Text: "smaller, by about 1.16 times the upward pull; add 1.16 times that pull", Right: true},
			{Letter: "d", Text: "the same: meter and Earth fall together", Idea: "They do, with the acceleration at the *centre*. What is left is the difference between here and there."},
		},
		Worked:    "%%\nsheet.Choice(\"sign\", \"c\") // effect on g: -1.16 times the upward pull; correction: +1.16 times, added",
		Reasoning: "An upward pull $p$ takes $p$ from the reading. The solid Earth yields: the ground rises (farther from the centre, less $g$) and its bulge pulls; together they enlarge the effect to $\\delta p$ with the *gravimetric factor* $\\delta = 1 + h - \\frac32k \\approx 1.16$. The correction is minus the effect: $+\\delta p$.",
		Source:    Source{Text: "P. Melchior, The Tides of the Planet Earth (1983): δ = 1 + h − 3k/2, from memory; sign by the conventions of package gravlab"},
	}
}

// tideBeat is 1/|1/t1 − 1/t2|.
func tideBeat(t1, t2 float64) float64 { return gravlab.Must(earth.BeatPeriod(t1, t2)) }

func tideSpring() Question {
	const moon, sun = 12.4206, 12.0 // h
	right := tideBeat(moon, sun) * 3600
	exact := testdata.Find("model_checks.csv", "earth-tide-05")
	return Question{
		ID: "spring", Kind: judge.Number, Marks: 2, Title: "From spring tide to spring tide",
		Prompt: "The half-day tide of the Moon (called M2) comes every 12.4206 h, that of the Sun (S2) every 12 h. When they are in step the tide is large (spring tide), when they are out of step small (neap tide). How long is it from one spring tide to the next?",
		Unit:   "d", Tol: judge.Tolerance{Rel: 0.004, Why: "three digits carried in a difference of frequencies"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "a factor 2 too many", Value: valueOf(2 * right), Fix: "Both come twice a day: they are in step again when one has gained one of its own periods, not two."},
			{Name: "the difference of the periods", Value: valueOf((moon - sun) * 3600), Fix: "Frequencies beat, not periods: 1/12 − 1/12.4206 per hour."},
			{Name: "the sum of the frequencies", Value: valueOf(3600 / (1/moon + 1/sun)), Fix: "In step again means that one has gained a whole period on the other: the difference of the frequencies."},
		},
		Range:     [2]float64{14.5 * 86400, 15 * 86400},
		Hints:     [2]string{"How many periods of each fit into a time t? They are in step when the numbers differ by 1.", "1/T = 1/12 − 1/12.4206, in periods an hour."},
		Worked:    "%%\n// In step again when S2 has made one period more than M2.\nhours := 1 / (1/12.0 - 1/12.4206)\nsheet.Number(\"spring\", hours/24, \"d\")",
		Reasoning: "$1/T = 1/12 - 1/12.4206$ per hour gives 354 h, about 14.77 days: half of the time from new moon to new moon. It is also how long a record must be to part the two lines.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "earth-tide-05", Got: tideBeat(12.4206012, 12) / 24, Want: exact.Float("value"), Within: 1e-9}},
	}
}

func tidePart(d *Draw) Question {
	pairs := [][2]string{{"O1", "K1"}, {"N2", "M2"}, {"P1", "K1"}, {"S2", "K2"}, {"Q1", "O1"}}
	pair := pairs[int(d.Pick("pair", 0, 1, 2, 3, 4))]
	period := func(name string) float64 { // h, as published
		for _, row := range testdata.Table("tide_constituents.csv") {
			if row["name"] == name {
				return row.Float("published_period_h")
			}
		}
		panic("lab 09: no constituent " + name)
	}
	t1, t2 := period(pair[0]), period(pair[1])
	right := tideBeat(t1, t2) * 3600
	lines := gravlab.Must(earth.ConstituentsNamed("P1", "K1"))
	return Question{
		ID: "part", Kind: judge.Number, Marks: 2, Title: "How long must you listen?",
		Prompt: fmt.Sprintf("The lines %s and %s of the tide have periods of %.4f h and %.4f h. By Rayleigh's rule a record parts two lines when one gains at least a whole period on the other meanwhile. How long must it be?", pair[0], pair[1], t1, t2),
		Unit:   "d", Tol: judge.Tolerance{Rel: 0.003, Why: "three digits carried; the periods have six"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "hours given for days", Value: valueOf(right * 24), Fix: "The periods are in hours: divide by 24 for days."},
			{Name: "half of the time", Value: valueOf(right / 2), Fix: "A gain of half a period is opposite in step: Rayleigh's rule wants a whole one."},
			{Name: "the sum of the frequencies", Value: valueOf(3600 / (1/t1 + 1/t2)), Fix: "What one gains on the other is the difference of the frequencies."},
		},
		Range:     [2]float64{9 * 86400, 184 * 86400},
		Hints:     [2]string{"How much does one gain on the other in an hour?", "1/T is the difference of both frequencies."},
		Worked:    fmt.Sprintf("%%%%\n// Rayleigh: one whole period gained.\nhours := 1 / math.Abs(1/%.4f-1/%.4f)\nsheet.Number(\"part\", hours/24, \"d\")", t1, t2),
		Reasoning: "$1/T = |1/T_1-1/T_2|$. Lines closer than that stand in each other's way: a fit gives amplitudes for both, but they trade against each other, and the uncertainties say so.",
		Source: Source{Text: "periods: P. Schureman, Manual of Harmonic Analysis and Prediction of Tides, C&GS Special Publication 98 (1940), as in tide_constituents.csv; independently computed: the same from the Doodson numbers and the rates of Moon and Sun", Check: &SourceCheck{
			// The question's own formula on the published periods, against the model's lines.
			Table: "tide_constituents.csv", ID: "P1 and K1", Got: tideBeat(period("P1"), period("K1")) / 24, Want: tideBeat(lines[0].Period(), lines[1].Period()) / 86400, Within: 0.01}},
	}
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
		columns[1] = append(columns[1], clean(row.Float("moon_nm_s2")*1e-9))
		columns[2] = append(columns[2], clean(row.Float("sun_nm_s2")*1e-9))
	}
	return columns
})

var tideLineNames = []string{"Q1", "O1", "P1", "K1", "N2", "M2", "S2", "K2"}

var tideLines = sync.OnceValue(func() *earth.Analysis {
	c := tideTable()
	t, y := make([]float64, len(c[0])), make([]float64, len(c[0]))
	for i := range t {
		t[i], y[i] = c[0][i]-c[0][0], c[1][i]+c[2][i]
	}
	return gravlab.Must(earth.Analyse(t, y, gravlab.Must(earth.ConstituentsNamed(tideLineNames...))))
})

func tideYear() Recording {
	return Recording{
		ID: "year", Title: "The tide of Moon and Sun on a rigid Earth at Ashgill Farm, hourly for 400 days from 1 January 2020",
		Columns: []Column{{Name: "time", Unit: "s"}, {Name: "moon", Unit: "m/s²"}, {Name: "sun", Unit: "m/s²"}},
		Make:    func() ([][]float64, error) { return tideTable(), nil },
	}
}

func tideLine(d *Draw) Question {
	name := []string{"O1", "M2", "K1", "S2", "N2"}[int(d.Pick("line", 0, 1, 2, 3, 4))]
	amplitude := func(name string) float64 { return gravlab.Must(tideLines().Named(name)).Amplitude }
	solve := func(factor float64) func(Known) float64 {
		return func(Known) float64 { return factor * amplitude(name) }
	}
	return Question{
		ID: "line", Kind: judge.Number, Marks: 2, Title: "One line among many",
		Prompt: fmt.Sprintf("`sheet.Recording(\"year\")` holds the upward tide of a rigid Earth at Ashgill Farm, every hour for 400 days: `time` (s), `moon` and `sun` ($\\mathrm{m/s^2}$), computed with another library's ephemeris. What is the amplitude of the line %s in the tide of both together?", name),
		Unit:   "nm/s²", Tol: judge.Tolerance{Rel: 0.03, Why: "which other lines are fitted beside it changes the amplitude by some per cent"},
		Solve: solve(1),
		Slips: []Slip{
			{Name: "from peak to peak", Value: solve(2), Fix: "An amplitude is from zero to peak."},
			{Name: "the root mean square", Value: solve(1 / math.Sqrt2), Fix: "An amplitude is from zero to peak; the root mean square of a cosine is smaller."},
		},
		Range: [2]float64{3e-8, 5e-7},
		Hints: [2]string{"Add the two columns, then take the sum apart into lines: earth.Analyse.", "earth.ConstituentsNamed names the lines; found.Named(…).Amplitude is what is asked for. Fit the neighbours too."},
		Worked: "%%\n// Lines that a year can part, fitted together: what is left out leaks into its neighbours.\nrec := sheet.Recording(\"year\")\nt, both := rec.Column(\"time\"), rec.Column(\"moon\")\nfor i, s := range rec.Column(\"sun\") {\n\tboth[i] += s\n}\n" +
			fmt.Sprintf("lines := gravlab.Must(earth.ConstituentsNamed(\"Q1\", \"O1\", \"P1\", \"K1\", \"N2\", \"M2\", \"S2\", \"K2\"))\nfound := gravlab.Must(earth.Analyse(t, both, lines))\nline := gravlab.Must(found.Named(%q))\nsheet.Number(\"line\", 1e9*line.Amplitude, \"nm/s²\")", name),
		Reasoning: "Least squares with a cosine and a sine for every line gives all amplitudes at once. Lines that come from the changing distance and height of Moon and Sun stand beside the main ones: in 400 days they can be parted, in a fortnight they cannot.",
		Source:    Source{Text: "independently computed: the table tide_400d.csv (ephemerides and Earth rotation of a general-purpose astronomy library); the lines by least squares"},
	}
}

func tideEquator() Question {
	return Question{
		ID: "equator", Kind: judge.Choice, Marks: 1, Title: "What is missing at the equator",
		Prompt: "Somebody takes a gravity meter to the equator and records the tide for a year. Which lines are (nearly) missing from the record?",
		Options: []judge.Option{
			{Letter: "a", Text: "those of about half a day: M2, S2, N2", Idea: "They are largest at the equator: there Moon and Sun pass nearly overhead, and half a day later underfoot."},
			{Letter: "b", Text: "those of about one day: O1, K1, P1", Right: true},
			{Letter: "c", Text: "those of a fortnight and a month: Mf, Mm", Idea: "They come from how far Moon and Sun stand from the equator and from us, and are felt at the equator too."},
			{Letter: "d", Text: "none: Moon and Sun are the same for everybody", Idea: "They are, but how they move across *your* sky depends on the latitude."},
		},
		Worked:    "%%\nsheet.Choice(\"equator\", \"b\") // once a day goes with sin(2 phi): zero at the equator and at the poles",
		Reasoning: "Once-a-day lines come from the inequality of the two tides of a day: one bulge passes nearer to you than the other when the Moon stands off the equator. On the equator both pass at the same distance. In the vertical tide they go with $\\sin2\\varphi$, the half-day ones with $\\cos^2\\varphi$, the long ones with $1-3\\sin^2\\varphi$.",
		Source:    Source{Text: "P. Melchior, The Tides of the Planet Earth (1983), from memory: the three families of tides by latitude"},
	}
}

func tideCorrect(d *Draw) Question {
	first := d.Between("first tide", 350, 900, 5)              // nm/s², upward
	second := d.Between("second tide", -400, -50, 5)           // nm/s², upward
	difference := d.Between("field difference", 300, 900, 0.5) // µGal, second less first
	corrected := func(factor float64) float64 { return difference*gravlab.MicroGal + factor*(second-first)*1e-9 }
	return Question{
		ID: "correct", Kind: judge.Number, Marks: 2, Title: "Two stations, two tides",
		Prompt: fmt.Sprintf("On a survey day a meter is read at a base and two hours later at a station. At the base the upward tide of a rigid Earth was $%g\\ \\mathrm{nm/s^2}$, at the station $%g\\ \\mathrm{nm/s^2}$. The reading at the station was larger by %.1f µGal. By how much is gravity larger there without the tide? Take $\\delta = 1.16$; $1\\ \\mathrm{\\mu Gal} = 10\\ \\mathrm{nm/s^2}$.", first, second, difference),
		Unit:   "µGal", Tol: judge.Tolerance{Abs: 0.8 * gravlab.MicroGal, Why: "a gravimetric factor of 1.155 to 1.164 and one decimal"},
		Solve: valueOf(corrected(1.16)),
		Slips: []Slip{
			{Name: "the correction with the wrong sign", Value: valueOf(corrected(-1.16)), Fix: "An upward tide makes a reading too small: add δ times the tide to each reading, then subtract."},
			{Name: "the gravimetric factor left out", Value: valueOf(corrected(1)), Fix: "The ground yields to the tide: 1.16 times the tide of a rigid Earth."},
			{Name: "not corrected", Value: valueOf(corrected(0)), Fix: "The tide was another one at the second reading: take it out of both."},
			{Name: "nm/s² taken for µGal", Value: valueOf(difference*gravlab.MicroGal + 1.16*(second-first)*gravlab.MicroGal), Fix: "1 µGal is 10 nm/s²."},
		},
		Range:     [2]float64{1e-6, 9e-6},
		Hints:     [2]string{"What does an upward pull do to a reading, and what must be added to undo it?", "Difference of the readings plus δ times (tide at the station less tide at the base)."},
		Worked:    fmt.Sprintf("%%%%\n// Each reading gets +1.16 times its own upward tide; only the difference counts.\nbase, station := %s, %s // nm/s², upward\nsheet.Number(\"correct\", %.1f+1.16*(station-base)/10, \"µGal\")", lit(first), lit(second), difference),
		Reasoning: "The correction is $+\\delta p$ at each station. Here the tide fell between the two readings, so gravity seemed to grow by itself: part of the difference is the Moon's. On a survey day this looks like a drift of the instrument, and it does not go on in a line.",
		Source:    Source{Text: "common practice, no source: correction = minus effect, by the conventions of package gravlab"},
	}
}
