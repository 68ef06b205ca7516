package lab13

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sync"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
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

func newWaterWell(d *bank.Draw) *waterWell {
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

func (w *waterWell) recording() bank.Recording {
	return bank.Recording{
		ID:      "well",
		Columns: []bank.Column{{Name: "time", Unit: "s"}, {Name: "level", Unit: "m"}, {Name: "gravity", Unit: "m/s²"}},
		Make: func() ([][]float64, error) {
			t, level, g := w.make()
			return [][]float64{t, level, g}, nil
		},
	}
}

func (w *waterWell) storage() bank.Question {
	right := func() float64 { s, _ := w.fit(); return s }
	u := func() float64 { _, u := w.fit(); return u }
	times := func(factor float64) func(bank.Answers) float64 {
		return func(bank.Answers) float64 { return factor * right() }
	}
	return bank.Question{
		ID: "storage", Kind: judge.KindMeasured, Marks: 4, Unit: "1",
		Fields: bank.Fields{"from": w.from, "lastDay": w.to - 1, "to": w.to},
		Solve:  func(bank.Answers) float64 { return right() },
		U:      u,
		Slips: []bank.Slip{
			{ID: "pump-days-kept", Value: func(bank.Answers) float64 { return w.pumped() }},
			{ID: "4pig-for-2pig", Value: times(0.5)},
			{ID: "pi-left-out", Value: times(math.Pi)},
			{ID: "doubled", Value: times(2)},
		},
		Range: [2]float64{0.05, 0.28},
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

func newWaterDecade(d *bank.Draw) *waterDecade {
	const months = 132
	w := &waterDecade{}
	start := int(d.Between("spoiled from", 88, 108, 1))
	length := int(d.Between("spoiled months", 5, 7, 1))
	gap := int(d.Between("gap", 30, 60, 1))
	gapLength := int(d.Between("months missing", 3, 6, 1))
	w.spoiledFrom, w.spoiledTo = float64(start)/12, float64(start+length)/12
	rate, acceleration := -d.Between("rate", 35, 80, 1), -d.Between("acceleration", 5, 9, 0.2) // Gt/a, Gt/a²
	annual, phase := d.Between("season", 30, 60, 1), 2*math.Pi*d.Between("phase", 0, 0.95, 0.05)
	record := func(r *rand.Rand) (t, mass []float64) {
		// Months resemble their neighbours so much that the uncertainty for white
		// noise is less than half of the true one.
		const sigma, phi, spoiledSigma = 7.0, 0.7, 90.0 // Gt, 1, Gt
		noise := float64(sigma * r.NormFloat64())
		for m := range months {
			noise = float64(phi*noise) + float64(sigma*math.Sqrt(1-phi*phi)*r.NormFloat64())
			years := (float64(m) + 0.5) / 12
			x := years - months/24.0
			y := float64(rate*x) + float64(acceleration*x*x/2) + float64(annual*math.Cos(2*math.Pi*years-phase)) + float64(6*math.Cos(4*math.Pi*years)) + noise
			if spoiled := float64(spoiledSigma * r.NormFloat64()); m >= start && m < start+length {
				y += spoiled
			}
			if m < gap || m >= gap+gapLength {
				t, mass = append(t, math.Round(years*waterYear)), append(mass, math.Round(y*10)/10*waterGt)
			}
		}
		// The first month is the zero, as it is for everybody who gives out such a record.
		for i := len(mass) - 1; i >= 0; i-- {
			mass[i] = bank.Clean(mass[i] - mass[0])
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
			// Spoiled months that happen to be good would be no trap.
			if f.whole.Rate.U > 1.4*f.good.Rate.U && f.good.RateInflation > 1.7 && math.Abs(f.good.Acceleration.Value) > 4.4*judge.CoverageFactor*f.good.Acceleration.U {
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

func (w *waterDecade) recording() bank.Recording {
	return bank.Recording{
		ID:      "ice-cap",
		Columns: []bank.Column{{Name: "time", Unit: "s"}, {Name: "mass", Unit: "kg"}},
		Make: func() ([][]float64, error) {
			t, mass := w.make()
			return [][]float64{t, mass}, nil
		},
	}
}

// white returns the uncertainties of rate and acceleration for months that do not
// resemble each other.
func (w *waterDecade) white() [2]float64 {
	t, _ := w.good(w.make())
	_, rate, acceleration, err := waterModel.Plan(t, w.fit().Sigma, 0)
	if err != nil {
		panic(err)
	}
	return [2]float64{rate, acceleration}
}

func (w *waterDecade) rate() bank.Question {
	right := func() float64 { return w.fit().Rate.Value }
	u := func() float64 { return w.fit().Rate.U }
	return bank.Question{
		ID: "rate", Kind: judge.KindMeasured, Marks: 3, Unit: "Gt/a",
		Fields: bank.Fields{"spoiledFrom": w.spoiledFrom, "spoiledTo": w.spoiledTo},
		Solve:  func(bank.Answers) float64 { return right() },
		U:      u,
		Slips: []bank.Slip{
			{ID: "month-for-year", Value: func(bank.Answers) float64 { return right() / 12 }},
			{ID: "rate-at-start", Value: func(bank.Answers) float64 {
				return right() - w.fit().Acceleration.Value*w.fit().Middle
			}},
			{ID: "rate-at-end", Value: func(bank.Answers) float64 {
				return right() + w.fit().Acceleration.Value*w.fit().Middle
			}},
		},
		USlips: []bank.Slip{
			{ID: "independent", Value: func(bank.Answers) float64 { return w.white()[0] }},
			{ID: "spoiled-kept", Value: func(bank.Answers) float64 { return w.whole().Rate.U }},
		},
		Range: [2]float64{-90 * waterGt / waterYear, -25 * waterGt / waterYear},
	}
}

func (w *waterDecade) acceleration() bank.Question {
	right := func() float64 { return w.fit().Acceleration.Value }
	u := func() float64 { return w.fit().Acceleration.U }
	return bank.Question{
		ID: "acceleration", Kind: judge.KindMeasured, Marks: 3, Unit: "Gt/a²",
		Fields: bank.Fields{"spoiledFrom": w.spoiledFrom, "spoiledTo": w.spoiledTo},
		Solve:  func(bank.Answers) float64 { return right() },
		U:      u,
		Slips: []bank.Slip{
			{ID: "t2", Value: func(bank.Answers) float64 { return right() / 2 }},
			{ID: "doubled", Value: func(bank.Answers) float64 { return 2 * right() }},
			{ID: "month-for-year", Value: func(bank.Answers) float64 { return right() / 144 }},
		},
		USlips: []bank.Slip{
			{ID: "independent", Value: func(bank.Answers) float64 { return w.white()[1] }},
		},
		Range: [2]float64{-11 * waterGt / waterYear / waterYear, -3 * waterGt / waterYear / waterYear},
	}
}

// ice takes the rebound of the ground off the rate.
func (w *waterDecade) ice(d *bank.Draw) bank.Question {
	rebound, uRebound := d.Between("rebound", 9, 14, 1), d.Between("u of rebound", 0.9, 1.2, 0.1) // Gt/a
	per := waterGt / waterYear
	u := sync.OnceValue(func() float64 { return math.Hypot(w.fit().Rate.U, uRebound*per) })
	with := func(factor float64) func(bank.Answers) float64 {
		return func(k bank.Answers) float64 { return k["rate"] + factor*rebound*per }
	}
	return bank.Question{
		ID: "ice", Kind: judge.KindMeasured, Marks: 3, Unit: "Gt/a", Uses: []string{"rate"},
		Fields: bank.Fields{"rebound": rebound, "uRebound": uRebound, "spoiledFrom": w.spoiledFrom, "spoiledTo": w.spoiledTo},
		Solve:  with(-1),
		U:      u,
		Slips: []bank.Slip{
			{ID: "rebound-left-in", Value: with(0)},
			{ID: "rebound-added", Value: with(1)},
			{ID: "rock-alone", Value: func(bank.Answers) float64 { return rebound * per }},
			{ID: "sign", Value: func(k bank.Answers) float64 { return rebound*per - k["rate"] }},
		},
		USlips: []bank.Slip{
			{ID: "no-rebound-u", Value: func(bank.Answers) float64 { return w.fit().Rate.U }},
		},
		Range: [2]float64{-105 * per, -34 * per},
	}
}
