package exercises

import (
	"fmt"
	"math"
	"sync"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

var waterAndIce = Lab{
	ID: "13-water-and-ice", Title: "Water and ice, seen from above", Minutes: 75,
	Tracks: []Track{PlanetarySpace}, BuildsOn: []string{"08-do-all-things-fall"}, Graded: true,
	Build: buildWaterAndIce,
}

func buildWaterAndIce(d *Draw) Paper {
	well, decade := newWaterWell(d), newWaterDecade(d)
	return Paper{
		Recordings: []Recording{well.recording(), decade.recording()},
		Questions: []Question{
			waterFlood(d), waterSnow(d), well.storage(), waterPond(d),
			waterWave(d), waterOrbit(d), waterLake(),
			decade.rate(), decade.acceleration(), waterMonths(d), waterSeason(d),
			decade.ice(d), waterSea(d), waterSeparate(),
		},
	}
}

func waterFlood(d *Draw) Question {
	depth := d.Between("depth of the flood", 20, 90, 5) // cm
	pull := func(metres float64) float64 { return gravlab.Must(earth.Slab(1000, metres)) }
	right := pull(depth / 100)
	printed := testdata.Find("worked_examples.csv", "slab-05")
	return Question{
		ID: "flood", Kind: judge.Number, Marks: 2, Title: "A flooded meadow",
		Prompt: fmt.Sprintf("The river is over its banks: %g cm of water stand on the meadows, far and wide, below a meter on its pillar. By how much does gravity at the meter change?", depth),
		Unit:   "µGal", Tol: judge.Tolerance{Rel: 0.02, Why: "0.42 µGal a centimetre and three digits carried"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "a factor 2 too many: 4π for 2π", Value: valueOf(2 * right), Fix: "A wide layer pulls with 2πGσ; the other half of its field goes down."},
			{Name: "2π left out", Value: valueOf(right / (2 * math.Pi)), Fix: "Add up the pull of all rings of the layer: that gives 2πGσ."},
			{Name: "rock of 2670 kg/m³ for water", Value: valueOf(2.67 * right), Fix: "What is the density of water?"},
		},
		Range:     [2]float64{8e-8, 4e-7},
		Hints:     [2]string{"A wide layer: how high the meter stands above it does not matter.", "2πGρt, with t in metres."},
		Worked:    fmt.Sprintf("%%%%\n// A wide layer pulls with 2 pi G times its mass per area, at any height.\ndepth := %s // m\nsheet.Number(\"flood\", 2*math.Pi*gravlab.G*1000*depth/gravlab.MicroGal, \"µGal\")", lit(depth/100)),
		Reasoning: "The pull of a wide layer is $2\\pi G\\sigma$ with its mass per area $\\sigma = \\rho t$. It does not fall off with height as long as the layer is much wider than that: 42 µGal for a metre of water.",
		Source: Source{Text: printed["source"], Published: true, Check: &SourceCheck{
			Table: "worked_examples.csv", ID: "slab-05", Got: pull(1), Want: printed.Float("published_answer"), Within: 0.5e-8}},
	}
}

// waterSnow: the same layer above one meter and below another.
func waterSnow(d *Draw) Question {
	depth, density := d.Between("depth of snow", 40, 120, 5), d.Between("density of snow", 180, 350, 10)
	layer := density * depth / 100 // kg/m²
	right := 2 * 2 * math.Pi * gravlab.G * layer
	wide := testdata.Find("model_checks.csv", "earth-waterdisc-05") // 1 m of water, 30 km wide, from 1.6 m above
	return Question{
		ID: "snow", Kind: judge.Number, Marks: 2, Title: "Above the snow and below it",
		Prompt: fmt.Sprintf("In one night %g cm of snow with a density of %g kg/m³ fall over the whole valley. One meter stands on a platform above the snow, another in the basement laboratory below ground level. Before the snow both were set to show the same. What does the upper one show *more* than the lower one afterwards?", depth, density),
		Unit:   "µGal", Tol: judge.Tolerance{Rel: 0.02, Why: "three digits carried"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "one side only", Value: valueOf(right / 2), Fix: "The snow pulls the upper meter down. What does it do to the lower one?"},
			{Name: "the depth of snow taken for water", Value: valueOf(right * 1000 / density), Fix: "Snow is mostly air: mass per area is density times depth."},
			{Name: "both counted twice", Value: valueOf(2 * right), Fix: "Each meter feels 2πGσ, one down, one up."},
		},
		Range:     [2]float64{5e-8, 4e-7},
		Hints:     [2]string{"Mass per area first. Then the sign at each meter.", "+2πGσ above the layer, −2πGσ below it."},
		Worked:    fmt.Sprintf("%%%%\n// Above the layer gravity grows, below it shrinks, by the same 2 pi G sigma.\nsigma := %s * %s // kg/m²\nupper := 2 * math.Pi * gravlab.G * sigma\nlower := -upper\nsheet.Number(\"snow\", (upper-lower)/gravlab.MicroGal, \"µGal\")", lit(density), lit(depth/100)),
		Reasoning: "A layer overhead pulls up. A meter in a cellar sees rain and snow with the other sign than one on a hill, which is why a record without a note of where the water lies cannot be corrected.",
		Source: Source{Text: "independently computed: " + wide["route"] + " (one side of it, a layer 30 km wide)", Check: &SourceCheck{
			// The layer of the check ends at 30 km, which takes 5 parts in 100,000 away.
			Table: "model_checks.csv", ID: "earth-waterdisc-05", Got: 2 * math.Pi * gravlab.G * 1000, Want: wide.Float("value"), Within: 1e-4 * wide.Float("value")}},
	}
}

func waterPond(d *Draw) Question {
	radius, height, fall := d.Between("radius of the pond", 30, 80, 5), d.Between("height over the pond", 15, 40, 1), d.Between("fall of the pond", 0.5, 2.5, 0.1)
	pull := func(sigma, radius, h float64) float64 {
		return gravlab.Must(earth.Disc{SurfaceDensity: sigma, Radius: radius}.Effect(h))
	}
	right := -pull(1000*fall, radius, height)
	slab := -2 * math.Pi * gravlab.G * 1000 * fall
	slant := math.Hypot(radius, height)
	tol := judge.Tolerance{Rel: 0.02, Why: "three digits carried"}
	wrong := tellApart(tol, right, slab, slab*radius*radius/(2*height*height), slab*height/slant, slab*(1-radius/slant))
	exact := testdata.Find("model_checks.csv", "earth-waterdisc-01")
	return Question{
		ID: "pond", Kind: judge.Number, Marks: 3, Title: "The mill pond is drained",
		Prompt: fmt.Sprintf("A round pond of %g m radius lies %g m below a meter that stands right over its middle. Its level falls by %.1f m. By how much does gravity at the meter change (negative where it falls)?", radius, height, fall),
		Unit:   "µGal", Tol: tol,
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "an endless layer for the pond", Value: valueOf(wrong[0]), Fix: "The pond is not much wider than the meter is high: how much of the view downwards does it fill?"},
			{Name: "a point mass for the pond", Value: valueOf(wrong[1]), Fix: "The rim is farther away than the middle and pulls sideways."},
			{Name: "what is missing for what is there", Value: valueOf(wrong[2]), Fix: "h/√(h² + a²) is the share that an endless layer has beyond the rim."},
			{Name: "radius and height exchanged", Value: valueOf(wrong[3]), Fix: "Right above the water, h = 0, the whole 2πGσ must come out."},
		},
		Range:     [2]float64{-1e-6, -5e-8},
		Hints:     [2]string{"Add up rings: each pulls with its mass over the square of its distance, times the cosine.", "2πGσ (1 − h/√(h² + a²))."},
		Worked:    fmt.Sprintf("%%%%\n// Rings of water, each with the cosine of its direction, add up to this.\na, h, fall := %s, %s, %s // m\nsigma := -1000 * fall // kg/m², water that is gone\neffect := 2 * math.Pi * gravlab.G * sigma * (1 - h/math.Hypot(h, a))\nsheet.Number(\"pond\", effect/gravlab.MicroGal, \"µGal\")", lit(radius), lit(height), lit(fall)),
		Reasoning: "On the axis a disc pulls with the share of the full slab that it covers as seen from the meter: $1 - h/\\sqrt{h^2+a^2}$ is its solid angle over $2\\pi$. The view decides, not the distance.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "earth-waterdisc-01", Got: pull(50, 300, 40), Want: exact.Float("value"), Within: 1e-16}},
	}
}

func waterWave(d *Draw) Question {
	wavelength, height := d.Between("wavelength", 700, 1500, 50), d.Between("altitude", 400, 500, 10) // km
	share := func(wavelength, height float64) float64 {
		return gravlab.Must(earth.FlatWave(1, wavelength, height)) / (2 * math.Pi * gravlab.G)
	}
	right := share(wavelength, height)
	tol := judge.Tolerance{Rel: 0.03, Why: "two or three digits carried in the exponent"}
	wrong := tellApart(tol, right, right*right, math.Exp(-height/wavelength), math.Sqrt(right))
	exact := testdata.Find("model_checks.csv", "earth-upward-02")
	return Question{
		ID: "wave", Kind: judge.Number, Marks: 2, Title: "How fast a pattern fades",
		Prompt: fmt.Sprintf("Wet and dry regions follow each other like a wave: from one wet middle to the next it is %g km. What share of the pattern's attraction at the ground is left at the height of a satellite, %g km up? Take the Earth as flat; give it in per cent.", wavelength, height),
		Unit:   "%", Tol: tol,
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "from wet to dry taken for the wavelength", Value: valueOf(wrong[0]), Fix: "A wavelength is from one wet middle to the next, wet and dry together."},
			{Name: "2π left out of the exponent", Value: valueOf(wrong[1]), Fix: "The exponent is height times wave number, and the wave number is 2π over the wavelength."},
			{Name: "half of the exponent", Value: valueOf(wrong[2]), Fix: "Amplitude or power? Wavelength or twice that?"},
		},
		Range:     [2]float64{0.008, 0.2},
		Hints:     [2]string{"The finer the pattern and the higher the satellite, the less: an exponential.", "exp(−2πh/λ)."},
		Worked:    fmt.Sprintf("%%%%\n// A wave of matter fades as exp(-k h) with k = 2 pi/lambda.\nlambda, h := %s, %s // km\nsheet.Number(\"wave\", 100*math.Exp(-2*math.Pi*h/lambda), \"%%\")", lit(wavelength), lit(height)),
		Reasoning: "Outside the masses the potential obeys Laplace's equation, so what goes like $\\cos kx$ along the ground must fade like $e^{-kh}$ above it, with $k = 2\\pi/\\lambda$. A resolution that is quoted as *half* a wavelength doubles the exponent if one is not careful.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "earth-upward-02", Got: 120 * 2 * math.Pi * gravlab.G * share(400000, 250000), Want: exact.Float("value"), Within: 1e-19}},
	}
}

// waterOrbit asks for a function of degree and height.
func waterOrbit(d *Draw) Question {
	const radius = 6371e3
	wave := func(power func(l float64) float64, ratio func(h float64) float64) func([]float64) []float64 {
		return func(a []float64) []float64 {
			l, h := a[0], a[1]
			return []float64{4 * math.Pi * gravlab.G * (l + 1) / (2*l + 1) * math.Pow(ratio(h), power(l))}
		}
	}
	plus := func(n float64) func(float64) float64 { return func(l float64) float64 { return l + n } }
	inverse := func(h float64) float64 { return radius / (radius + h) }
	right := func(a []float64) []float64 {
		return []float64{gravlab.Must(earth.SphericalWave(1, int(math.Round(a[0])), radius, a[1]))}
	}
	r := d.Rand("orbit calls")
	var calls [][]float64
	for range 9 {
		calls = append(calls, []float64{float64(2 + r.IntN(60)), float64(200+10*r.IntN(31)) * 1000})
	}
	calls = append(calls, []float64{2, 0}, []float64{40, 500e3}, calls[1])
	exact := testdata.Find("model_checks.csv", "earth-upward-04")
	return Question{
		ID: "orbit", Kind: judge.Function, Marks: 3, Title: "On a round Earth",
		Prompt: "Write a function `orbit` that takes the degree $l$ (a whole number) and the height $h$ (m) and returns the attraction, in m/s², of a thin layer of 1 kg/m² of spherical harmonic degree $l$ on a rigid sphere of $R = 6371\\ \\mathrm{km}$, at the height $h$ above one of its crests.",
		Tol:    judge.Tolerance{Rel: 2e-3, Why: "G of 6.67e-11 is 0.06 % low; rounding is far below"},
		Function: &Function{
			Name: "orbit", Signature: judge.TwoToOne, Calls: calls, Right: right,
			Slips: []FunctionSlip{
				{Name: "the exponent l for l + 2", F: wave(plus(0), inverse), Fix: "One power for the harmonic, and two more because it is an attraction."},
				{Name: "the exponent l + 1 for l + 2", F: wave(plus(1), inverse), Fix: "The potential falls with l + 1; its derivative is the attraction."},
				{Name: "h/R for R/(R + h)", F: wave(plus(2), func(h float64) float64 { return 1 - h/radius }), Fix: "The ratio is of the radii, counted from the centre."},
				{Name: "an endless slab at any height", F: func([]float64) []float64 { return []float64{2 * math.Pi * gravlab.G} }, Fix: "A pattern fades with height, the finer the faster."},
			},
		},
		Hints:     [2]string{"At the ground it is 4πGσ (l + 1)/(2l + 1); above it falls with a power of R/(R + h).", "The power is l + 2."},
		Worked:    "// Near the ground this is about 2 pi G for large l: the flat slab. The power\n// l + 2 is that of the potential, l + 1, and one more for the derivative.\nfunc orbit(l, h float64) float64 {\n\tR := 6371e3 // m\n\treturn 4 * math.Pi * gravlab.G * (l + 1) / (2*l + 1) * math.Pow(R/(R+h), l+2)\n}\n\n%%\nsheet.Function(\"orbit\", orbit)",
		Reasoning: "The potential of degree $l$ falls with $(R/r)^{l+1}$, and the attraction is its derivative. For large $l$ the factor $(l+1)/(2l+1)$ tends to one half and the power to $e^{-(l+2)h/R}$: the flat wave with $\\lambda \\approx 2\\pi R/(l+\\tfrac12)$.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "earth-upward-04",
			Got:  35 * wave(plus(2), inverse)([]float64{47, 480e3})[0],
			Want: exact.Float("value"), Within: 1e-18}},
	}
}

func waterLake() Question {
	return Question{
		ID: "lake", Kind: judge.Choice, Marks: 1, Title: "A lake that nobody sees",
		Prompt: "A lake 20 km across rises by a metre. On its shore that is tens of microgals. Two satellites 500 km up, which feel differences of a thousandth of a microgal, do not see it as a lake. Why not?",
		Options: []judge.Option{
			{Letter: "a", Text: "gravity does not reach so far up", Idea: "It reaches without end. The pull of the lake's whole mass is there, and falls with the square of the distance."},
			{Letter: "b", Text: "the satellites are too fast to notice", Idea: "They cross it in three seconds, but what they feel is spread out over hundreds of kilometres anyway."},
			{Letter: "c", Text: "what makes it a lake, its edge of 20 km, has faded by a factor with dozens of zeros; only its total mass is left, smeared over hundreds of kilometres and mixed with all that lies around it", Right: true},
			{Letter: "d", Text: "the water that came in is missing somewhere else, so the sum is zero", Idea: "It is missing from the air and the hills around, but a gain in the lake is a gain there."},
		},
		Worked:    "%%\nsheet.Choice(\"lake\", \"c\") // shore to shore is half a wavelength: exp(-2 pi 500/40) is 1e-34",
		Reasoning: "With 20 km from shore to shore the wavelength is 40 km, and $e^{-2\\pi h/\\lambda}$ at 500 km is $10^{-34}$. From orbit one sees regions of some hundred kilometres, and the mass in each; where in the region it lies has to be known from elsewhere.",
		Source:    Source{Text: "common practice, no source: the exponential of the question before"},
	}
}

// waterRateU is the standard uncertainty of a rate per year from n months in a
// row, whose season is fitted too.
func waterRateU(n int, sigma, phi float64) float64 {
	var t []float64
	for i := range n {
		t = append(t, float64(i)/12)
	}
	_, rate, _, err := earth.TrendModel{Annual: true, Semiannual: true, Year: 1}.Plan(t, sigma, phi)
	if err != nil {
		return math.NaN()
	}
	return rate
}

// waterRateCheck is the same at the inputs of the reference table.
var waterRateCheck = sync.OnceValue(func() float64 { return waterRateU(120, 14, 0.55) })

// waterMonths asks for the true uncertainty of a trend when months resemble
// their neighbours.
func waterMonths(d *Draw) Question {
	n := int(d.Between("months", 96, 144, 12))
	sigma, phi := d.Between("scatter", 8, 30, 1), d.Between("correlation", 0.40, 0.75, 0.05)
	per := waterGt / waterYear
	tol := judge.Tolerance{Rel: 0.06, Why: "the root of (1+φ)/(1−φ) on the white-noise value is 2 to 5 % high for a record of this length; an uncertainty has two digits"}
	// The right value first, then those of the slips.
	values := sync.OnceValue(func() []float64 {
		right, white := waterRateU(n, sigma, phi)*per, waterRateU(n, sigma, 0)*per
		return append([]float64{right}, tellApart(tol, right, white, white*(1+phi)/(1-phi), sigma/math.Sqrt(float64(n))*per)...)
	})
	value := func(i int) func(Known) float64 { return func(Known) float64 { return values()[i] } }
	exact := testdata.Find("model_checks.csv", "earth-trend-07")
	return Question{
		ID: "months", Kind: judge.Number, Marks: 3, Title: "Months that resemble their neighbours",
		Prompt: fmt.Sprintf("A record of %d months in a row has a noise with a standard deviation of %g Gt, and each month's noise is correlated with the next by $\\varphi = %.2f$ (an AR(1) process). Offset, rate, annual and semiannual season are fitted by ordinary least squares. What is the true standard uncertainty of the rate?", n, sigma, phi),
		Unit:   "Gt/a", Tol: tol,
		Solve: value(0),
		Slips: []Slip{
			{Name: "months taken as independent", Value: value(1), Fix: "A month that resembles the last one brings less news than a fresh one."},
			{Name: "(1 + φ)/(1 − φ) without the root", Value: value(2), Fix: "That is the factor on the variance."},
			{Name: "the uncertainty of a mean for that of a slope", Value: value(3), Fix: "A slope has the length of the record in it: Gt over years."},
		},
		Range:     [2]float64{0.2 * per, 4.5 * per},
		Hints:     [2]string{"First as if the months were independent: σ/√Σ(t − t̄)². Then the factor for correlation.", "earth.TrendModel has a method Plan that takes times, σ and φ; with times in years, Year is 1."},
		Worked:    fmt.Sprintf("%%%%\n// Plan takes the times of the months and the correlation of the noise.\nvar t []float64 // years\nfor i := range %d {\n\tt = append(t, float64(i)/12)\n}\nmodel := earth.TrendModel{Annual: true, Semiannual: true, Year: 1}\n_, rate, _, err := model.Plan(t, %s, %s)\nif err != nil {\n\tpanic(err)\n}\nsheet.Number(\"months\", rate, \"Gt/a\")", n, lit(sigma), lit(phi)),
		Reasoning: "With correlation $\\varphi$ from month to month, $n$ months are worth about $n(1-\\varphi)/(1+\\varphi)$ independent ones, so the uncertainty of the slope grows by about $\\sqrt{(1+\\varphi)/(1-\\varphi)}$. Software that takes residuals as white states it too small by that factor.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "earth-trend-07", Got: waterRateCheck(), Want: exact.Float("value"), Within: 1e-9}},
	}
}

// waterSeason is the false trend that a season leaves in a straight line.
func waterSeason(d *Draw) Question {
	n := int(d.Pick("months of the season", 18, 28, 29, 30, 31, 32, 42))
	amplitude := d.Between("amplitude of the season", 20, 80, 5)
	slope := func(n int, amplitude float64) float64 {
		top, bottom := 0.0, 0.0
		for i := range n {
			t := (float64(i) - float64(n-1)/2) / 12
			top += t * amplitude * math.Sin(2*math.Pi*t)
			bottom += t * t
		}
		return top / bottom
	}
	per := waterGt / waterYear
	length := float64(n-1) / 12
	right := slope(n, amplitude) * per
	end := amplitude * math.Sin(math.Pi*length)
	tol := judge.Tolerance{Rel: 0.04, Abs: 0.05 * per, Why: "sums over months, or an integral in their place; two digits carried"}
	wrong := tellApart(tol, right, 2*end/length*per, math.Copysign(amplitude/length, right)*per, -right/2)
	exact := testdata.Find("model_checks.csv", "earth-trend-11")
	return Question{
		ID: "season", Kind: judge.Number, Marks: 3, Title: "A trend that is none",
		Prompt: fmt.Sprintf("Nothing happens to a lake but its season: $A\\sin(2\\pi t)$ with $A = %g\\ \\mathrm{Gt}$ and $t$ in years from the middle of the record. It is measured without noise in %d successive months, and somebody fits a straight line, without a season. Which rate does the line find?", amplitude, n),
		Unit:   "Gt/a", Tol: tol,
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "the last month less the first, over the time", Value: valueOf(wrong[0]), Fix: "A fitted line uses all months, not only the ends."},
			{Name: "the amplitude over the length of the record", Value: valueOf(wrong[1]), Fix: "That is the order of size; the line's slope is Σ t y/Σ t² with t from the middle."},
			{Name: "half of it, the other way round", Value: valueOf(wrong[2]), Fix: "Σ t y over Σ t²: both sums over the months, t from the middle, in years."},
		},
		Range:     [2]float64{-90 * per, 90 * per},
		Hints:     [2]string{"Months lie at t = (i − (n − 1)/2)/12 years. Slope of a line through the middle?", "Σ t y/Σ t²; a short loop does it."},
		Worked:    fmt.Sprintf("%%%%\n// Slope of a straight line by least squares, times from the middle.\ntop, bottom := 0.0, 0.0\nfor i := range %d {\n\tt := (float64(i) - %s) / 12 // years\n\ttop += t * %s * math.Sin(2*math.Pi*t)\n\tbottom += t * t\n}\nsheet.Number(\"season\", top/bottom, \"Gt/a\")", n, lit(float64(n-1)/2), lit(amplitude)),
		Reasoning: "A sine about the middle of the record is odd: it has a slope even over whole years. More years make it smaller (about as one over the square of the length), but only a season in the model takes it away.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "earth-trend-11", Got: slope(30, 20), Want: exact.Float("value"), Within: 1e-9}},
	}
}

func waterSea(d *Draw) Question {
	area, thinning := d.Between("area", 60, 180, 5), d.Between("thinning", 0.4, 1.2, 0.05) // 1000 km², m/a
	mass := 917 * area * 1e9 * thinning                                                    // kg in a year
	right := gravlab.Must(earth.SeaLevel(mass)) / waterYear
	return Question{
		ID: "sea", Kind: judge.Number, Marks: 2, Title: "Where the water goes",
		Prompt: fmt.Sprintf("Radar finds that an ice cap of $%g\\,000\\ \\mathrm{km^2}$ thins by %.2f m of ice (917 kg/m³) in a year. By how much does that raise the sea, whose area is $361.8\\times10^6\\ \\mathrm{km^2}$, in a year?", area, thinning),
		Unit:   "mm/a", Tol: judge.Tolerance{Rel: 0.015, Why: "three digits carried; fresh water of 1000 kg/m³"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "ice taken for water", Value: valueOf(right / 0.917), Fix: "A metre of ice is less than a metre of water."},
			{Name: "spread over the whole globe", Value: valueOf(right * 361.8 / 510.1), Fix: "Land does not take its share."},
			{Name: "the density of ice counted twice", Value: valueOf(right * 0.917), Fix: "Mass is the same before and after: ice density times its volume, water density times its own."},
		},
		Range:     [2]float64{0.04e-3 / waterYear, 0.7e-3 / waterYear},
		Hints:     [2]string{"Volume of ice, mass of ice, volume of water, height of water.", "361.8 Gt raise the sea by a millimetre."},
		Worked:    fmt.Sprintf("%%%%\n// Mass of the ice that goes in a year, spread as water over the ocean.\nmass := 917 * %s * 1e9 * %s // kg: density × m² × m\nheight := mass / (1000 * 361.8e12)  // m\nsheet.Number(\"sea\", 1000*height, \"mm/a\")", lit(area), lit(thinning)),
		Reasoning: "Mass is kept: $\\rho_\\mathrm{ice} A\\,\\Delta h$ becomes $\\rho_\\mathrm{w} A_\\mathrm{sea}\\,\\Delta s$. 361.8 Gt are a millimetre. (Floating ice does not count: it displaces its own weight already.)",
		Source:    Source{Text: "common practice, no source: ocean area 361.8 × 10⁶ km²; density of ice from D. R. Lide (ed.), CRC Handbook of Chemistry and Physics, from memory"},
	}
}

func waterSeparate() Question {
	return Question{
		ID: "separate", Kind: judge.Choice, Marks: 1, Title: "What the orbit cannot tell",
		Prompt: "Over a region the satellites see a steady loss of mass. A newspaper writes: \"Satellites prove that the ice melts ever faster.\" Which sentence does the record by itself support?",
		Options: []judge.Option{
			{Letter: "a", Text: "the ice melts; with 11 years the trend cannot be anything else", Idea: "Rock that flows in the mantle is a trend too, for thousands of years. A longer record does not part the two."},
			{Letter: "b", Text: "mass has left the region, at a stated rate with a stated uncertainty; how much of it is ice, ground water or rock, and whether it melted or calved, takes other data", Right: true},
			{Letter: "c", Text: "nothing at all, since the satellites are 500 km away", Idea: "Over regions of hundreds of kilometres they weigh very well: some Gt a year."},
			{Letter: "d", Text: "the surface of the ice has sunk by the mass over its area", Idea: "Snow of another density can sink without a loss of mass, and the ground under the ice moves too: that is what radar heights are compared with."},
		},
		Worked:    "%%\nsheet.Choice(\"separate\", \"b\") // it weighs the region; it does not say what the mass was, nor why it went",
		Reasoning: "Gravity adds up everything in its beam: ice, snow, ground water, sea beyond the coast, rock in the mantle. Each separation rests on another model or measurement, and its uncertainty belongs in the result.",
		Source:    Source{Text: "common practice, no source"},
	}
}
