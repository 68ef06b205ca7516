package lab13

import (
	"embed"
	"math"
	"sync"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

//go:embed *.md
var files embed.FS

// Lab is lab 13.
var Lab = bank.Lab{
	ID: "13-water-and-ice", Title: "Water and ice, seen from above", Minutes: 75,
	Asks:   "A satellite weighs the ice from far above. How much goes each year, and how sure can you be?",
	Tracks: []bank.Track{bank.PlanetarySpace}, BuildsOn: []string{"08-do-all-things-fall"}, Graded: true,
	Sealed: bank.Weights{Times: 2, Constants: []string{"storage", "acceleration", "ice"}},
	Words:  bank.ReadWords(files),
	Build:  build,
}

func build(d *bank.Draw) bank.Sheet {
	well, decade := newWaterWell(d), newWaterDecade(d)
	return bank.Sheet{
		Recordings: []bank.Recording{well.recording(), decade.recording()},
		Questions: []bank.Question{
			waterFlood(d), waterSnow(d), well.storage(), waterPond(d),
			waterWave(d), waterOrbit(d), waterLake(),
			decade.rate(), decade.acceleration(), waterGrowing(), waterMonths(d), waterSeason(d),
			decade.ice(d), waterSea(d), waterSeparate(),
		},
	}
}

func waterFlood(d *bank.Draw) bank.Question {
	depth := d.Between("depth of the flood", 20, 90, 5) // cm
	pull := func(metres float64) float64 { return gravlab.Must(earth.Slab(1000, metres)) }
	right := pull(depth / 100)
	return bank.Question{
		ID: "flood", Kind: judge.KindNumber, Marks: 2, Unit: "µGal", Tol: judge.Tolerance{Rel: 0.02},
		Fields: bank.Fields{"depth": depth, "depthSI": depth / 100},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "4pi-for-2pi", Value: bank.Always(2 * right)},
			{ID: "2pi-left-out", Value: bank.Always(right / (2 * math.Pi))},
			{ID: "rock-for-water", Value: bank.Always(2.67 * right)},
			{ID: "half", Value: bank.Always(right / 2)},
			{ID: "no-pi", Value: bank.Always(right / math.Pi)},
		},
		Range:  [2]float64{8e-8, 4e-7},
		Source: bank.Published(testdata.Examples, "slab-05", pull(1), 0.5e-8),
	}
}

// waterSnow: the same layer above one meter and below another.
func waterSnow(d *bank.Draw) bank.Question {
	u := d.Between("u of a meter", 0.3, 1, 0.1) // µGal
	least := 3 * math.Sqrt2 * u * gravlab.MicroGal
	water := least / (4 * math.Pi * gravlab.G) / 1000            // m
	wide := testdata.Find(testdata.Checks, "earth-waterdisc-05") // 1 m of water, 30 km wide, from 1.6 m above
	return bank.Question{
		ID: "snow", Kind: judge.KindNumber, Marks: 2, Unit: "mm", Tol: judge.Tolerance{Rel: 0.02},
		Fields: bank.Fields{"u": u},
		Solve:  bank.Always(water),
		Slips: []bank.Slip{
			{ID: "one-side-only", Value: bank.Always(2 * water)},
			{ID: "one-meter", Value: bank.Always(water / math.Sqrt2)},
			{ID: "straight-sum", Value: bank.Always(water * math.Sqrt2)},
			{ID: "one-u", Value: bank.Always(water / 3)},
			{ID: "no-2pi", Value: bank.Always(2 * math.Pi * water)},
		},
		Range: [2]float64{0.014, 0.052},
		Source: bank.Computed(testdata.Checks, "earth-waterdisc-05",
			// The layer of the check ends at 30 km, which takes 5 parts in 100,000 away.
			2*math.Pi*gravlab.G*1000, 1e-4*wide.Float("value")),
	}
}

func waterPond(d *bank.Draw) bank.Question {
	radius, height, fall := d.Between("radius of the pond", 30, 80, 5), d.Between("height over the pond", 15, 40, 1), d.Between("fall of the pond", 0.5, 2.5, 0.1)
	// Where the rim is twice as far as the water below, what lies within the rim pulls as
	// much as all beyond it.
	if math.Abs(math.Hypot(radius, height)/height-2) < 0.1 {
		height += 5
	}
	pull := func(sigma, radius, h float64) float64 {
		return gravlab.Must(earth.Disc{SurfaceDensity: sigma, Radius: radius}.Effect(h))
	}
	right := -pull(1000*fall, radius, height)
	slab := -2 * math.Pi * gravlab.G * 1000 * fall
	slant := math.Hypot(radius, height)
	tol := judge.Tolerance{Rel: 0.02}
	return bank.Question{
		ID: "pond", Kind: judge.KindNumber, Marks: 2, Unit: "µGal", Tol: tol,
		Fields: bank.Fields{"radius": radius, "height": height, "fall": fall},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "infinite-layer", Value: bank.Always(slab)},
			{ID: "point-mass", Value: bank.Always(slab * radius * radius / (2 * height * height))},
			{ID: "beyond-the-rim", Value: bank.Always(slab * height / slant)},
			{ID: "exchanged", Value: bank.Always(slab * (1 - radius/slant))},
			{ID: "diameter", Value: bank.Always(-pull(1000*fall, 2*radius, height))},
			{ID: "doubled", Value: bank.Always(2 * right)},
			{ID: "sine", Value: bank.Always(slab * radius / slant)},
		},
		Range:  [2]float64{-1e-6, -5e-8},
		Source: bank.Computed(testdata.Checks, "earth-waterdisc-01", pull(50, 300, 40), 1e-16),
	}
}

func waterWave(d *bank.Draw) bank.Question {
	wavelength, height := d.Between("wavelength", 700, 1500, 50), d.Between("altitude", 400, 500, 10) // km
	attenuation := func(wavelength, height float64) float64 {
		return gravlab.Must(earth.FlatWave(1, wavelength, height)) / (2 * math.Pi * gravlab.G)
	}
	right := attenuation(wavelength, height)
	tol := judge.Tolerance{Rel: 0.03}
	return bank.Question{
		ID: "wave", Kind: judge.KindNumber, Marks: 2, Unit: "%", Tol: tol,
		Fields: bank.Fields{"wavelength": wavelength, "height": height},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "half-wavelength", Value: bank.Always(right * right)},
			{ID: "two-pi-ignored", Value: bank.Always(math.Exp(-height / wavelength))},
			{ID: "half-exponent", Value: bank.Always(math.Sqrt(right))},
			{ID: "what-is-gone", Value: bank.Always(1 - right)},
			{ID: "round", Value: bank.Always(math.Exp(-math.Pi * math.Pi * height / wavelength))},
		},
		Range:  [2]float64{0.008, 0.2},
		Source: bank.Computed(testdata.Checks, "earth-upward-02", 120*2*math.Pi*gravlab.G*attenuation(400000, 250000), 1e-19),
	}
}

// waterOrbit asks for a function of degree and height.
func waterOrbit(d *bank.Draw) bank.Question {
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
	return bank.Question{
		ID: "orbit", Kind: judge.KindFunction, Marks: 3, Tol: judge.Tolerance{Rel: 2e-3},
		Function: &bank.Function{
			Name: "orbit", Signature: judge.TwoToOne, Calls: calls,
			Right: right,
			Slips: []bank.FunctionSlip{
				{ID: "exponent-l", F: wave(plus(0), inverse)},
				{ID: "exponent-l-plus-1", F: wave(plus(1), inverse)},
				{ID: "wrong-ratio", F: wave(plus(2), func(h float64) float64 { return 1 - h/radius })},
				{ID: "infinite-slab", F: func([]float64) []float64 { return []float64{2 * math.Pi * gravlab.G} }},
				{ID: "no-degree", F: func(a []float64) []float64 {
					return []float64{4 * math.Pi * gravlab.G * math.Pow(inverse(a[1]), a[0]+2)}
				}},
				{ID: "one-over", F: func(a []float64) []float64 {
					return []float64{4 * math.Pi * gravlab.G / (2*a[0] + 1) * math.Pow(inverse(a[1]), a[0]+2)}
				}},
			},
		},
		Source: bank.Computed(testdata.Checks, "earth-upward-04", 35*wave(plus(2), inverse)([]float64{47, 480e3})[0], 1e-18),
	}
}

func waterLake() bank.Question {
	return bank.Question{
		ID: "lake", Kind: judge.KindChoice, Marks: 1,
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
func waterMonths(d *bank.Draw) bank.Question {
	n := int(d.Between("months", 96, 144, 12))
	sigma, phi := d.Between("scatter", 8, 30, 1), d.Between("correlation", 0.40, 0.75, 0.05)
	// A slope over T years is known to about √12/T of what a mean of independent months is;
	// with some correlations the two come out alike.
	if slope := math.Sqrt(12*(1+phi)/(1-phi)) / (float64(n) / 12); math.Abs(slope-1) < 0.13 {
		phi = bank.Clean(phi - 0.1)
	}
	per := waterGt / waterYear
	tol := judge.Tolerance{Rel: 0.06}
	right := sync.OnceValue(func() float64 { return waterRateU(n, sigma, phi) * per })
	white := sync.OnceValue(func() float64 { return waterRateU(n, sigma, 0) * per })
	return bank.Question{
		ID: "months", Kind: judge.KindNumber, Marks: 3, Unit: "Gt/a", Tol: tol,
		Fields: bank.Fields{"n": n, "sigma": sigma, "phi": phi},
		Solve:  bank.Later(right),
		Slips: []bank.Slip{
			{ID: "independent", Value: bank.Later(white)},
			{ID: "root-ignored", Value: bank.Later(func() float64 { return white() * (1 + phi) / (1 - phi) })},
			{ID: "u-of-a-mean", Value: bank.Always(sigma / math.Sqrt(float64(n)) * per)},
			{ID: "per-month", Value: bank.Later(func() float64 { return right() / 12 })},
			{ID: "inverse", Value: bank.Later(func() float64 { return white() * math.Sqrt((1-phi)/(1+phi)) })},
		},
		Range:  [2]float64{0.2 * per, 4.5 * per},
		Source: bank.Computed(testdata.Checks, "earth-trend-07", waterRateCheck(), 1e-9),
	}
}

// waterSeason is the false trend that a season leaves in a straight line.
func waterSeason(d *bank.Draw) bank.Question {
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
	tol := judge.Tolerance{Rel: 0.04, Abs: 0.05 * per}
	return bank.Question{
		ID: "season", Kind: judge.KindNumber, Marks: 3, Unit: "Gt/a", Tol: tol,
		Fields: bank.Fields{"amplitude": amplitude, "n": n, "middle": float64(n-1) / 2},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "last-minus-first", Value: bank.Always(2 * end / length * per)},
			{ID: "amplitude-over-length", Value: bank.Always(math.Copysign(amplitude/length, right) * per)},
			{ID: "half-wrong-sign", Value: bank.Always(-right / 2)},
		},
		Range:  [2]float64{-90 * per, 90 * per},
		Source: bank.Computed(testdata.Checks, "earth-trend-11", slope(30, 20), 1e-9),
	}
}

func waterSea(d *bank.Draw) bank.Question {
	area, thinning := d.Between("area", 60, 180, 5), d.Between("thinning", 0.4, 1.2, 0.05) // 1000 km², m/a
	afloat := d.Between("afloat", 30, 45, 5)                                               // % of the area: never the answer of the question storage
	mass := 917 * area * 1e9 * thinning                                                    // kg in a year, all of it
	whole := gravlab.Must(earth.SeaLevel(mass)) / waterYear
	right := whole * (1 - afloat/100)
	return bank.Question{
		ID: "sea", Kind: judge.KindNumber, Marks: 2, Unit: "mm/a", Tol: judge.Tolerance{Rel: 0.015},
		Fields: bank.Fields{"area": area, "thinning": thinning, "afloat": afloat, "ashore": bank.Clean(1 - afloat/100)},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "floating-counted", Value: bank.Always(whole)},
			{ID: "floating-alone", Value: bank.Always(whole * afloat / 100)},
			{ID: "ice-for-water", Value: bank.Always(right / 0.917)},
			{ID: "whole-globe", Value: bank.Always(right * 361.8 / 510.1)},
			{ID: "density-twice", Value: bank.Always(right * 0.917)},
			{ID: "area-of-ice", Value: bank.Always(right * 361.8e3 / area)},
		},
		Range: [2]float64{0.03e-3 / waterYear, 0.6e-3 / waterYear},
	}
}

func waterGrowing() bank.Question {
	return bank.Question{
		ID: "growing", Kind: judge.KindChoice, Marks: 1,
	}
}

func waterSeparate() bank.Question {
	return bank.Question{
		ID: "separate", Kind: judge.KindChoice, Marks: 1,
	}
}
