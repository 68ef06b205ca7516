package exercises

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sync"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/judge"
)

const (
	waterYear = 31557600.0 // s, the year of 365.25 days
	waterGt   = 1e12       // kg
)

// waterWell is a meter in the barn over a wide water table, and a well beside it
// out of which somebody pumps for some days.
type waterWell struct {
	from, to int // the days of the pump, in days from the start
	make     func() (t, level, g []float64)
	fit      func() (storage, u float64)
	pumped   func() float64 // with the days of the pump left in
}

func newWaterWell(d *Draw) *waterWell {
	const days = 80
	w := &waterWell{from: int(d.Between("pump on", 18, 50, 1))}
	w.to = w.from + int(d.Between("days of pumping", 6, 9, 1))
	storage := d.Between("storage", 0.08, 0.24, 0.01)
	down := d.Between("drawdown", 1.6, 2.4, 0.1)
	w.make = waterOnce(func() (t, level, g []float64) {
		r := d.Rand("well")
		for range 100 {
			// Rain lifts the water table in a day, and it runs off over weeks.
			t, level, g = nil, nil, nil
			h := 0.9 + float64(0.4*r.Float64())
			for day := range days {
				if r.Float64() < 0.07 {
					h += 0.15 + float64(0.35*r.Float64())
				}
				h -= float64(h * 0.022)
				inWell := h
				if day >= w.from && day < w.to {
					inWell -= float64(down * (1 - float64(0.5*math.Exp(-float64(day-w.from)))))
				}
				pull := float64(2*math.Pi*gravlab.G*1000*storage*h) + float64(3e-9*r.NormFloat64())
				t = append(t, float64(day)*86400)
				level = append(level, math.Round((inWell+float64(0.004*r.NormFloat64()))*1e3)/1e3)
				g = append(g, math.Round(pull*1e10)/1e10)
			}
			// In a dry spell the level hardly moves and tells little: wait for rain.
			value, u := waterStorage(w.quiet(level, g))
			if all, _ := waterStorage(level, g); value > 14*u && math.Abs(all-value) > 2.2*judge.CoverageFactor*u {
				return t, level, g
			}
		}
		panic(fmt.Sprintf("lab 13: no rain on sheet %s", d.Code()))
	})
	w.fit = sync.OnceValues(func() (float64, float64) {
		_, level, g := w.make()
		return waterStorage(w.quiet(level, g))
	})
	w.pumped = sync.OnceValue(func() float64 {
		_, level, g := w.make()
		s, _ := waterStorage(level, g)
		return s
	})
	return w
}

// waterOnce is sync.OnceValues for three.
func waterOnce(f func() (a, b, c []float64)) func() (a, b, c []float64) {
	var once sync.Once
	var a, b, c []float64
	return func() ([]float64, []float64, []float64) {
		once.Do(func() { a, b, c = f() })
		return a, b, c
	}
}

// quiet leaves out the days of the pump.
func (w *waterWell) quiet(allLevel, allG []float64) (level, g []float64) {
	for day := range allLevel {
		if day < w.from || day >= w.to {
			level, g = append(level, allLevel[day]), append(g, allG[day])
		}
	}
	return level, g
}

// waterStorage is the slope of gravity over level, in units of a full slab of
// water.
func waterStorage(level, g []float64) (storage, u float64) {
	a := mat.NewDense(len(level), 2, nil)
	for i, h := range level {
		a.Set(i, 0, 2*math.Pi*gravlab.G*1000*h)
		a.Set(i, 1, 1)
	}
	r := gravlab.Must(fit.Linear(a, g, nil))
	return r.P[0], r.U[0]
}

func (w *waterWell) recording() Recording {
	return Recording{
		ID: "well", Title: "80 days at Ashgill Farm: the level in the well beside the barn, and gravity in the barn with tide, air and drift taken off",
		Columns: []Column{{Name: "time", Unit: "s"}, {Name: "level", Unit: "m"}, {Name: "gravity", Unit: "m/s²"}},
		Make: func() ([][]float64, error) {
			t, level, g := w.make()
			return [][]float64{t, level, g}, nil
		},
	}
}

func (w *waterWell) storage() Question {
	right := func() float64 { s, _ := w.fit(); return s }
	u := func() float64 { _, u := w.fit(); return u }
	times := func(factor float64) func(Known) float64 {
		return func(Known) float64 { return factor * right() }
	}
	return Question{
		ID: "storage", Kind: judge.Measured, Marks: 4, Title: "How much of the ground is water?",
		Prompt: "`sheet.Recording(\"well\")` holds 80 days: `level`, the height of the water in the well beside the barn over some mark, and `gravity` in the barn (tide, air and drift taken off, zero anywhere). " +
			"The water table is wide and lies below the meter. For some days a pump drew water from the well, which empties the well and not the field. Which share of the ground does the water fill when the table rises (the storage coefficient), and how well do you know it?",
		Unit:  "1",
		Solve: func(Known) float64 { return right() },
		U:     u,
		Slips: measuredSlips(right, u,
			Slip{Name: "the days of the pump left in", Value: func(Known) float64 { return w.pumped() }, Fix: "Plot the level and gravity one above the other.\nWhen does one move without the other?"},
			Slip{Name: "4πG for 2πG", Value: times(0.5), Fix: "A wide layer pulls with 2πGσ."},
			Slip{Name: "π left out", Value: times(math.Pi), Fix: "A wide layer pulls with 2πGσ."}),
		Range: [2]float64{0.05, 0.28},
		Hints: [2]string{"A straight line of gravity over level; its slope over 2πGρ of water is the share.", "Leave out the days on which the level fell and gravity did not. Slope of a line: Σ(h − h̄)(g − ḡ)/Σ(h − h̄)²; its u from the scatter about the line."},
		Worked: fmt.Sprintf(`%%%%
// From day %d to day %d the pump drew the well down and gravity took no notice.
well := sheet.Recording("well")
t, level, g := well.Column("time"), well.Column("level"), well.Column("gravity")
var h, pull []float64
for i := range t {
	if day := t[i] / 86400; day < %d || day >= %d {
		h, pull = append(h, level[i]), append(pull, g[i])
	}
}
// Gravity over level is a line of slope 2 pi G rho S.
slope, u := line(h, pull)
slab := 2 * math.Pi * gravlab.G * 1000 // m/s² for a metre of water
sheet.Measured("storage", slope/slab, u/slab, "1")`, w.from, w.to-1, w.from, w.to),
		Reasoning: "$\\Delta g = 2\\pi G\\rho_\\mathrm{w} S\\,\\Delta h$: the meter feels the mass, the well only the level. A pumped well stands in a narrow funnel that holds next to no mass, so those days belong to another experiment.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording"},
	}
}

// waterDecade is an ice cap seen from orbit, month by month.
type waterDecade struct {
	spoiledFrom, spoiledTo float64 // years from the start
	make                   func() (t, mass []float64)
	fit                    func() *earth.Trend
	whole                  func() *earth.Trend // spoiled months and all
}

// waterModel is what the judge fits.
var waterModel = earth.TrendModel{Acceleration: true, Annual: true, Semiannual: true}

func newWaterDecade(d *Draw) *waterDecade {
	const months = 132
	w := &waterDecade{}
	start := int(d.Between("spoiled from", 88, 108, 1))
	length := int(d.Between("spoiled months", 5, 7, 1))
	gap := int(d.Between("gap", 30, 60, 1))
	gapLength := int(d.Between("months missing", 3, 6, 1))
	w.spoiledFrom, w.spoiledTo = float64(start)/12, float64(start+length)/12
	rate, acceleration := -d.Between("rate", 35, 80, 1), -d.Between("acceleration", 4, 8, 0.2) // Gt/a, Gt/a²
	annual, phase := d.Between("season", 30, 60, 1), 2*math.Pi*d.Between("phase", 0, 0.95, 0.05)
	off := d.Pick("spoiled sign", -1, 1) * d.Between("spoiled by", 360, 450, 5) // Gt
	record := func(r *rand.Rand) (t, mass []float64) {
		const sigma, phi = 9.0, 0.4
		noise := float64(sigma * r.NormFloat64())
		for m := range months {
			noise = float64(phi*noise) + float64(sigma*math.Sqrt(1-phi*phi)*r.NormFloat64())
			years := (float64(m) + 0.5) / 12
			x := years - months/24.0
			y := float64(rate*x) + float64(acceleration*x*x/2) + float64(annual*math.Cos(2*math.Pi*years-phase)) + float64(6*math.Cos(4*math.Pi*years)) + noise
			spoiled := off + float64(25*r.NormFloat64())
			if m >= start && m < start+length {
				y += spoiled
			}
			if m < gap || m >= gap+gapLength {
				t, mass = append(t, math.Round(years*waterYear)), append(mass, math.Round(y*10)/10*waterGt)
			}
		}
		// The first month is the zero, as it is for everybody who gives out such a record.
		for i := len(mass) - 1; i >= 0; i-- {
			mass[i] = clean(mass[i] - mass[0])
		}
		return t, mass
	}
	made := sync.OnceValue(func() waterFits {
		r := d.Rand("decade")
		for range 100 {
			f := waterFits{}
			f.t, f.mass = record(r)
			f.good = gravlab.Must(waterModel.Fit(w.good(f.t, f.mass)))
			f.whole = gravlab.Must(waterModel.Fit(f.t, f.mass))
			// Months that happen to leave the rate alone would be no trap.
			if math.Abs(f.whole.Rate.Value-f.good.Rate.Value) > 2.2*judge.CoverageFactor*f.good.Rate.U && math.Abs(f.good.Acceleration.Value) > 4.4*judge.CoverageFactor*f.good.Acceleration.U {
				return f
			}
		}
		panic(fmt.Sprintf("lab 13: no spoiled months show on sheet %s", d.Code()))
	})
	w.make = func() (t, mass []float64) { f := made(); return f.t, f.mass }
	w.fit = func() *earth.Trend { return made().good }
	w.whole = func() *earth.Trend { return made().whole }
	return w
}

// waterFits is a record with its fits, with and without the spoiled months.
type waterFits struct {
	t, mass     []float64
	good, whole *earth.Trend
}

// good leaves out the spoiled months.
func (w *waterDecade) good(allT, all []float64) (t, mass []float64) {
	for i := range allT {
		if years := allT[i] / waterYear; years < w.spoiledFrom || years >= w.spoiledTo {
			t, mass = append(t, allT[i]), append(mass, all[i])
		}
	}
	return t, mass
}

func (w *waterDecade) recording() Recording {
	return Recording{
		ID: "ice-cap", Title: "The mass of an ice cap seen from orbit, month by month over eleven years, counted from the first month",
		Columns: []Column{{Name: "time", Unit: "s"}, {Name: "mass", Unit: "kg"}},
		Make: func() ([][]float64, error) {
			t, mass := w.make()
			return [][]float64{t, mass}, nil
		},
	}
}

// seen is the code with which every worked answer about the decade starts.
func (w *waterDecade) seen() string {
	return fmt.Sprintf(`// From %.2f to %.2f years the months stand hundreds of Gt beside the others: leave them out.
rec := sheet.Recording("ice-cap")
t, mass := without(rec.Column("time"), rec.Column("mass"), %.2f, %.2f)
model := earth.TrendModel{Acceleration: true, Annual: true, Semiannual: true} // times in s
trend := gravlab.Must(model.Fit(t, mass))
perYear := 31557600.0 // s
`, w.spoiledFrom, w.spoiledTo, w.spoiledFrom, w.spoiledTo)
}

func (w *waterDecade) rate() Question {
	right := func() float64 { return w.fit().Rate.Value }
	u := func() float64 { return w.fit().Rate.U }
	return Question{
		ID: "rate", Kind: judge.Measured, Marks: 3, Title: "What the ice cap loses",
		Prompt: "`sheet.Recording(\"ice-cap\")` holds the mass of an ice cap as two satellites felt it: `time` in s from the start of the first year, `mass` in kg, counted from the first month. Some months are missing. In one stretch of months the satellites flew over the same track again and again, and their solutions are spoiled. " +
			"Fit a rate, an acceleration and a season (annual and semiannual). What is the rate in the middle of the record, 5.5 years from its start (negative: the cap loses mass), and how well do you know it? The noise of one month is correlated with that of the next.",
		Unit:  "Gt/a",
		Solve: func(Known) float64 { return right() },
		U:     u,
		Slips: measuredSlips(right, u,
			Slip{Name: "the spoiled months left in", Value: func(Known) float64 { return w.whole().Rate.Value }, Fix: "Plot what the fit leaves over: some months stand apart from all others."},
			Slip{Name: "a month taken for a year", Value: func(Known) float64 { return right() / 12 }, Fix: "Times are in seconds; a year has 31,557,600 of them."},
			Slip{Name: "the rate at the start of the record", Value: func(Known) float64 {
				return right() - w.fit().Acceleration.Value*w.fit().Middle
			}, Fix: "With an acceleration in the model the rate depends on where t = 0 lies."},
			Slip{Name: "the rate at the end of the record", Value: func(Known) float64 {
				return right() + w.fit().Acceleration.Value*w.fit().Middle
			}, Fix: "With an acceleration in the model the rate depends on where t = 0 lies."}),
		Range: [2]float64{-90 * waterGt / waterYear, -25 * waterGt / waterYear},
		Hints: [2]string{"earth.TrendModel fits all of it and allows for the correlation; times in seconds need no Year.", "Leave the spoiled months out first; then Rate.Value and Rate.U, in kg/s, times 31557600 over 1e12."},
		Worked: "%%\n" + w.seen() +
			"sheet.Measured(\"rate\", trend.Rate.Value*perYear/1e12, trend.Rate.U*perYear/1e12, \"Gt/a\")",
		Reasoning: "The season must stand in the model because months are missing and the record need not end where it began; the acceleration because the loss grows. The spoiled months are no noise: nothing in the model describes them, so they stay out, and the report says so.",
		Source:    Source{Text: "common practice, no source: least squares with AR(1) noise on the sheet's own recording; the fit is held against independent numbers in package earth"},
	}
}

func (w *waterDecade) acceleration() Question {
	right := func() float64 { return w.fit().Acceleration.Value }
	u := func() float64 { return w.fit().Acceleration.U }
	return Question{
		ID: "acceleration", Kind: judge.Measured, Marks: 3, Title: "Does it lose ever more?",
		Prompt: "From the same record and fit: by how much does the rate change in a year (the second derivative of the mass), and how well do you know it?",
		Unit:   "Gt/a²",
		Solve:  func(Known) float64 { return right() },
		U:      u,
		Slips: measuredSlips(right, u,
			Slip{Name: "the coefficient of t² given for the acceleration", Value: func(Known) float64 { return right() / 2 }, Fix: "The second derivative of a t²/2 is a. What stands before t² in your model?"},
			Slip{Name: "doubled once too often", Value: func(Known) float64 { return 2 * right() }, Fix: "Acceleration of the fit is the second derivative already."},
			Slip{Name: "a month taken for a year", Value: func(Known) float64 { return right() / 144 }, Fix: "Times are in seconds; a year has 31,557,600 of them, and here they come squared."}),
		Range: [2]float64{-10 * waterGt / waterYear / waterYear, -2.5 * waterGt / waterYear / waterYear},
		Hints: [2]string{"The rate is the slope of the mass; how fast does that slope change?", "Acceleration.Value and U of the trend, in kg/s²: times 31557600 squared, over 1e12."},
		Worked: "%%\n" + w.seen() +
			"sheet.Measured(\"acceleration\", trend.Acceleration.Value*perYear*perYear/1e12, trend.Acceleration.U*perYear*perYear/1e12, \"Gt/a²\")",
		Reasoning: "The model has $\\tfrac12 a t^2$, so that $a$ is the second derivative; whoever fits $c\\,t^2$ has $a = 2c$. Both conventions are in use: say which.",
		Source:    Source{Text: "common practice, no source: least squares with AR(1) noise on the sheet's own recording"},
	}
}

// ice takes the rebound of the ground off the rate.
func (w *waterDecade) ice(d *Draw) Question {
	rebound, uRebound := d.Between("rebound", 9, 14, 1), d.Between("u of rebound", 0.9, 1.2, 0.1) // Gt/a
	per := waterGt / waterYear
	u := sync.OnceValue(func() float64 { return math.Hypot(w.fit().Rate.U, uRebound*per) })
	with := func(factor float64) func(Known) float64 {
		return func(k Known) float64 { return k["rate"] + factor*rebound*per }
	}
	return Question{
		ID: "ice", Kind: judge.Measured, Marks: 3, Title: "Ice or rock?", Uses: []string{"rate"},
		Prompt: fmt.Sprintf("Under the cap the ground still rises after the last ice age: rock flows in below, and the satellites feel it as a gain of $%g \\pm %.1f\\ \\mathrm{Gt/a}$ (a model's value with its standard uncertainty). With your own rate: how fast does the *ice* change, and how well do you know that?", rebound, uRebound),
		Unit:   "Gt/a",
		Solve:  with(-1),
		U:      u,
		Slips: []Slip{
			{Name: "the rebound left in", Value: with(0), Fix: "What the satellites see is ice and rock together: take the rock off."},
			{Name: "the rebound added instead of taken off", Value: with(1), Fix: "Seen = ice + rock. Solve for the ice, signs and all."},
		},
		USlips: []Slip{
			{Name: "the uncertainty of the fit alone", Value: func(Known) float64 { return w.fit().Rate.U }, Fix: "The rebound is not known exactly either; add the squares."},
		},
		Range:     [2]float64{-105 * per, -34 * per},
		Hints:     [2]string{"Seen = ice + rock. Which of the three do you want?", "Ice = seen − rock; the uncertainties add as squares."},
		Worked:    "%%\n" + w.seen() + fmt.Sprintf("// Seen = ice + rock; the squares of both uncertainties add up.\nice := trend.Rate.Value*perYear/1e12 - %s\nu := math.Hypot(trend.Rate.U*perYear/1e12, %s)\nsheet.Measured(\"ice\", ice, u, \"Gt/a\")", lit(rebound), lit(uRebound)),
		Reasoning: "A satellite feels mass and not what it consists of. The rebound comes from a model of the Earth's mantle and carries the model's uncertainty, which no longer record can reduce: it is a trend as well.",
		Source:    Source{Text: "common practice, no source; JCGM 100:2008, 5.1.2 (from memory)"},
	}
}
