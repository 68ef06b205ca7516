// Package lab16 is lab 16, "Into the Earth": gravity in a shaft, inside the Earth, over
// mountains that float, and higher up than it was measured.
package lab16

import (
	"embed"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

//go:embed *.md
var files embed.FS

// Lab is lab 16.
var Lab = bank.Lab{
	ID: "16-into-the-earth", Title: "Into the Earth", Minutes: 90,
	Asks:   "Go down a mine and gravity grows. How can that tell what the whole Earth weighs?",
	Tracks: []bank.Track{bank.LaboratoryClass, bank.SurveyHire, bank.PlanetarySpace}, BuildsOn: []string{"10-buried-sphere"}, Graded: true,
	Sealed: bank.Weights{Times: 2, Constants: []string{"density", "lost"}},
	Words:  bank.ReadWords(files),
	Build:  build,
}

const testdataChecks = testdata.Checks

func build(d *bank.Draw) bank.Sheet {
	shaft, ranges, grid := drawShaft(d), drawRange(d), drawMap(d)
	return bank.Sheet{
		Recordings: []bank.Recording{shaft.recording(), ranges.recording(), grid.recording()},
		Questions: []bank.Question{
			seam(d), harton(d), blame(d),
			shaft.gradient(), shaft.density(), rho(),
			inside(d), mantle(d), core(d),
			root(d), hill(), ranges.question(),
			height(d), grid.body(), grid.lost(d), separate(),
		},
	}
}

const (
	usual  = 3.086e-6 // s⁻², the free-air gradient
	radius = 6371e3   // m
	day    = 86400.0  // s
)

// seam is a shaft through light rock and heavy ore.
func seam(d *bank.Draw) bank.Question {
	rock, above := d.Between("rock of the shaft", 2350, 2600, 10), d.Between("rock above", 140, 260, 5) // kg/m³, m
	ore, through := d.Between("ore", 4000, 4600, 20), d.Between("ore thickness", 50, 110, 5)
	change := func(free, pi, rock, ore float64) float64 {
		return free*(above+through) - pi*math.Pi*gravlab.G*(rock*above+ore*through)
	}
	right := change(usual, 4, rock, ore)
	return bank.Question{
		ID: "seam", Kind: judge.KindNumber, Marks: 2, Unit: "mGal", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"rock": rock, "above": above, "ore": ore, "through": through},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "2pi-for-4pi", Value: bank.Always(change(usual, 2, rock, ore))},
			{ID: "no-free-air", Value: bank.Always(change(0, 4, rock, ore))},
			{ID: "free-air-sign", Value: bank.Always(change(-usual, 4, rock, ore))},
			{ID: "ore-as-rock", Value: bank.Always(change(usual, 4, rock, rock))},
			{ID: "rock-left-out", Value: bank.Always(change(usual, 4, 0, 0))},
			{ID: "ore-alone", Value: bank.Always(usual*through - 4*math.Pi*gravlab.G*ore*through)},
		},
		Range: [2]float64{3e-5, 3e-4},
	}
}

// ratio is Airy's: the density of the Earth over that of the shell, from the coefficient of
// the shell (3 depth/radius for a shell of one density), twice depth over radius,
// and the excess of gravity below.
func ratio(coefficient, twice, excess float64) float64 { return coefficient / (twice - excess) }

// gained is the excess of gravity that makes a pendulum clock gain seconds per day.
func gained(seconds float64) float64 { return 2 * seconds / day }

func harton(d *bank.Draw) bank.Question {
	depth, rock, gain := d.Between("mine", 360, 460, 1), d.Between("rock of the mine", 2300, 2600, 10), d.Between("gain per depth", 0.0053, 0.0062, 0.00005)
	gain = math.Round(100*gain*depth) / 100
	q := depth / radius
	right := rock * ratio(3*q, 2*q, gained(gain))
	return bank.Question{
		ID: "harton", Kind: judge.KindNumber, Marks: 3, Unit: "kg/m³", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"depth": depth, "rock": rock, "gain": gain},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "half-gain", Value: bank.Always(rock * ratio(3*q, 2*q, gained(gain)/2))},
			{ID: "double-gain", Value: bank.Always(rock * ratio(3*q, 2*q, 2*gained(gain)))},
			{ID: "sign", Value: bank.Always(rock * ratio(3*q, 2*q, -gained(gain)))},
			{ID: "gain-ignored", Value: bank.Always(rock * ratio(3*q, 2*q, 0))},
			{ID: "2-for-3", Value: bank.Always(rock * ratio(2*q, 2*q, gained(gain)))},
			{ID: "one-for-two", Value: bank.Always(rock * ratio(3*q, q, gained(gain)))},
			{ID: "ratio", Value: bank.Always(ratio(3*q, 2*q, gained(gain)))},
		},
		Range: [2]float64{4500, 9000},
		// 0.00006603 is what his 2c/R and his gravity below over above leave.
		Source: bank.Published(testdata.Examples, "earthmass-10", ratio(0.00017984, 0.00012032, 1.00005429-1), 0.00005),
	}
}

// blame is the density of the rock for which such a mine would be right.
func blame(d *bank.Draw) bank.Question {
	depth, gain := d.Between("mine of the rock", 360, 460, 1), d.Between("gain of the rock", 0.0046, 0.0062, 0.00005)
	gain = math.Round(100*gain*depth) / 100
	q := depth / radius
	const today = 5515
	right := today / ratio(3*q, 2*q, gained(gain))
	gravity := gained(testdata.Find(testdata.Values, "airy_gain").Float("value"))
	return bank.Question{
		ID: "blame", Kind: judge.KindNumber, Marks: 2, Unit: "kg/m³", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"depth": depth, "gain": gain},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "half-gain", Value: bank.Always(today / ratio(3*q, 2*q, gained(gain)/2))},
			{ID: "upside-down", Value: bank.Always(today * ratio(3*q, 2*q, gained(gain)))},
			{ID: "sign", Value: bank.Always(today / ratio(3*q, 2*q, -gained(gain)))},
			{ID: "two-thirds", Value: bank.Always(today * 2 / 3)},
			{ID: "2-for-3", Value: bank.Always(today / ratio(2*q, 2*q, gained(gain)))},
		},
		Range:  [2]float64{1600, 2700},
		Source: bank.Published(testdata.Values, "airy_excess", 1/gravity, 71),
	}
}

// rho: only the product of G and density is measured. The sea, whose density is known, agrees
// with the laboratory.
func rho() bank.Question {
	published := testdata.Find(testdata.Values, "sea_G")
	return bank.Question{
		ID: "rho", Kind: judge.KindChoice, Marks: 1,
		Source: bank.Published(testdata.Values, "sea_G", gravlab.G, published.Float("uncertainty")),
	}
}

// inside asks for g at any distance from the centre of a planet of two layers.
func inside(d *bank.Draw) bank.Question {
	core := d.Between("inside core", 1500, 2100, 50)    // km
	outer := d.Between("inside radius", 3200, 4000, 50) // km
	heavy, light := d.Between("inside heavy", 6500, 8500, 100), d.Between("inside light", 3400, 3900, 50)
	planet := earth.Interior{Radius: outer * 1000, Shells: []earth.Shell{{Outer: core * 1000, Density: []float64{heavy}}, {Outer: outer * 1000, Density: []float64{light}}}}
	total := gravlab.Must(planet.Mass(planet.Radius))
	c, surface := core*1000, outer*1000
	random := d.Rand("inside calls")
	var calls [][]float64
	for i := range 9 {
		lo, hi := 0.2, core/outer
		if i%2 == 0 {
			lo, hi = core/outer, 1
		}
		if i == 8 {
			lo, hi = 1.1, 1.5
		}
		calls = append(calls, []float64{math.Round((lo+(hi-lo)*(0.1+0.8*random.Float64()))*outer) * 1000})
	}
	calls = append(calls, calls[2])
	one := func(f func(r float64) float64) func([]float64) []float64 {
		return func(a []float64) []float64 { return []float64{f(a[0])} }
	}
	ball := func(density, r float64) float64 { return 4 * math.Pi / 3 * gravlab.G * density * r }
	right := func(r float64) float64 {
		switch {
		case r <= c:
			return ball(heavy, r)
		case r <= surface:
			return ball(light, r) + ball(heavy-light, c)*c*c/(r*r)
		}
		return gravlab.G * total / (r * r)
	}
	return bank.Question{
		ID: "inside", Kind: judge.KindFunction, Marks: 3, Tol: judge.Tolerance{Rel: 2e-3},
		Fields: bank.Fields{"core": core, "outer": outer, "heavy": heavy, "light": light},
		Function: &bank.Function{
			Name: "inside", Signature: judge.OneToOne, Calls: calls,
			Right: one(right),
			Slips: []bank.FunctionSlip{
				{ID: "all-the-mass", F: one(func(r float64) float64 { return gravlab.G * total / (r * r) })},
				{ID: "one-density", F: one(func(r float64) float64 {
					if r > surface {
						return gravlab.G * total / (r * r)
					}
					return gravlab.G * total * r / (surface * surface * surface)
				})},
				{ID: "core-forgotten", F: one(func(r float64) float64 {
					if r <= c || r > surface {
						return right(r)
					}
					return ball(light, r)
				})},
				{ID: "no-outside", F: one(func(r float64) float64 {
					if r <= c {
						return right(r)
					}
					return ball(light, r) + ball(heavy-light, c)*c*c/(r*r)
				})},
				{ID: "mantle-whole", F: one(func(r float64) float64 {
					if r <= c || r > surface {
						return right(r)
					}
					return ball(light, r) + ball(heavy, c)*c*c/(r*r)
				})},
				{ID: "kilometres", F: one(func(r float64) float64 { return 1000 * right(r) })},
			},
		},
		Source: bank.Computed(testdata.Checks, "earth-interior-02",
			// Shells of one density, as here: PREM by 5701 of them. A boundary may lie anywhere in
			// its kilometre, which is 1e-6 of the mass or less.
			gravlab.Must(stepped(5701e3)), 1e-4),
	}
}

// stepped is g of PREM at a radius from thin shells of one density each.
func stepped(r float64) (float64, error) {
	const thick = 1e3
	mass := 0.0
	for s := 0.0; s < r; s += thick {
		density, err := earth.PREM.Density(s + thick/2)
		if err != nil {
			return 0, err
		}
		mass += 4 * math.Pi / 3 * density * (math.Pow(s+thick, 3) - s*s*s)
	}
	return gravlab.G * mass / (r * r), nil
}

// below is the mean density of what lies below a depth (km) in PREM.
func below(depth float64) float64 {
	r := radius - 1000*depth
	return gravlab.Must(earth.PREM.Mass(r)) / (4 * math.Pi / 3 * r * r * r)
}

// mantle: where g neither grows nor falls.
func mantle(d *bank.Draw) bank.Question {
	depth := d.Between("depth in the mantle", 700, 2700, 50) // km
	mean := below(depth)
	return bank.Question{
		ID: "mantle", Kind: judge.KindNumber, Marks: 2, Unit: "kg/m³", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"depth": depth},
		Solve:  bank.Always(2 * mean / 3),
		Slips: []bank.Slip{
			{ID: "mean-itself", Value: bank.Always(mean)},
			{ID: "one-third", Value: bank.Always(mean / 3)},
			{ID: "whole-earth", Value: bank.Always(2 * below(0) / 3)},
			{ID: "surface-radius", Value: bank.Always(2 * mean / 3 * math.Pow(1-1000*depth/radius, 3))},
		},
		Range: [2]float64{3500, 7400},
		Source: bank.Published(testdata.Values, "prem_gmax",
			// g = (4π/3) G ρ r at the top of the core
			4*math.Pi/3*gravlab.G*below(2891)*3480e3, 0.05),
	}
}

// core is what mean density and moment of inertia say about a planet of two layers.
func core(d *bank.Draw) bank.Question {
	part := d.Between("core part", 0.46, 0.58, 0.01)
	light, heavy := d.Between("core light", 3400, 4300, 50), d.Between("core heavy", 8000, 11500, 100)
	x3, x5 := math.Pow(part, 3), math.Pow(part, 5)
	mean := math.Round(light + (heavy-light)*x3)
	factor := math.Round(0.4*(light+(heavy-light)*x5)/mean*1e4) / 1e4
	solve := func(inner, outer, factor float64) (lighter, step float64) {
		step = mean * (1 - 2.5*factor) / (inner - outer)
		return mean - step*inner, step
	}
	lighter, step := solve(x3, x5, factor)
	wrong3, wrongStep3 := solve(x3, math.Pow(part, 4), factor)
	wrongShell, wrongShellStep := solve(x3, x5, factor*0.6)
	return bank.Question{
		ID: "core", Kind: judge.KindNumber, Marks: 3, Unit: "kg/m³", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"part": part, "mean": mean, "factor": factor},
		Solve:  bank.Always(lighter + step),
		Slips: []bank.Slip{
			{ID: "mantle", Value: bank.Always(lighter)},
			{ID: "step-alone", Value: bank.Always(step)},
			{ID: "fourth-power", Value: bank.Always(wrong3 + wrongStep3)},
			{ID: "hollow", Value: bank.Always(wrongShell + wrongShellStep)},
		},
		Range: [2]float64{7500, 12500},
	}
}

// root is the thickness of a root from the Bouguer anomaly over it.
func root(d *bank.Draw) bank.Question {
	crust, heavy := d.Between("root crust", 2700, 2820, 10), d.Between("root mantle", 3310, 3390, 10)
	anomaly := d.Between("root anomaly", 160, 320, 5)
	slab := func(contrast float64) float64 {
		return anomaly * gravlab.MilliGal / (2 * math.Pi * gravlab.G * contrast)
	}
	return bank.Question{
		ID: "root", Kind: judge.KindNumber, Marks: 2, Unit: "km", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"crust": crust, "mantle": heavy, "anomaly": anomaly},
		Solve:  bank.Always(slab(heavy - crust)),
		Slips: []bank.Slip{
			{ID: "plateau", Value: bank.Always(slab(crust))},
			{ID: "mantle-alone", Value: bank.Always(slab(heavy))},
			{ID: "4pi-for-2pi", Value: bank.Always(slab(heavy-crust) / 2)},
			{ID: "added", Value: bank.Always(slab(heavy-crust) + slab(crust))},
		},
		Range: [2]float64{5e3, 18e3},
	}
}

func hill() bank.Question {
	return bank.Question{ID: "hill", Kind: judge.KindChoice, Marks: 1}
}

// height is how far a map must be continued until a shallow body no longer matters.
func height(d *bank.Draw) bank.Question {
	z1, a1 := d.Between("shallow", 0.9, 1.5, 0.1), d.Between("shallow peak", 2.4, 4.0, 0.1) // km, mGal
	z2, a2 := d.Between("deep", 9, 13, 0.5), d.Between("deep peak", 7, 11, 0.5)
	part := d.Between("remains", 4, 7, 1) / 100
	solve := func(a, b float64) float64 { return 1000 * z1 * z2 * (a - b) / (z2*b - z1*a) }
	right := solve(math.Sqrt(a1), math.Sqrt(part*a2))
	return bank.Question{
		ID: "height", Kind: judge.KindNumber, Marks: 3, Unit: "km", Tol: judge.Tolerance{Rel: 0.015},
		Fields: bank.Fields{"z1": z1, "a1": a1, "z2": z2, "a2": a2, "part": bank.Clean(100 * part)},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "deep-unchanged", Value: bank.Always(1000 * z1 * (math.Sqrt(a1/(part*a2)) - 1))},
			{ID: "shallow-alone", Value: bank.Always(1000 * z1 * (math.Sqrt(1/part) - 1))},
			{ID: "depth-added", Value: bank.Always(right + 1000*z1)},
			{ID: "peaks-ignored", Value: bank.Always(solve(1, math.Sqrt(part)))},
		},
		Range: [2]float64{750, 13000},
	}
}

func separate() bank.Question {
	return bank.Question{ID: "separate", Kind: judge.KindChoice, Marks: 1}
}
