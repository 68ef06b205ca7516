package lab12

import (
	"fmt"
	"math"
	"sync"
	"time"

	"gonum.org/v1/gonum/floats"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/survey"
	"gravity.example/testdata"
)

// fieldworkMidnight is the day of the survey. Its tide changes by 26 to 36 µGal in
// every hour of the morning, so that a wrong hour shows; summer time is in force.
var fieldworkMidnight = time.Date(2021, 4, 30, 0, 0, 0, 0, time.UTC)

// fieldworkDay is one sheet's day at Ashgill Farm, with a tare, a blunder and a clock
// that is an hour ahead from some reading on.
type fieldworkDay struct {
	density float64               // of the rock, kg/m³
	plan    func() survey.DayPlan // faults and all
	book    func() []survey.Reading
	right   func() *survey.Adjustment // everything seen
}

// fieldworkFaults says which of the three faults an analysis has seen.
type fieldworkFaults struct{ hour, blunder, tare bool }

var fieldworkAll = fieldworkFaults{true, true, true}

// fieldworkPlan is the day without faults: the sheet's own rock under the line.
func fieldworkPlan(d *bank.Draw, density float64) survey.DayPlan {
	p := survey.AshgillFarm()
	p.Start = fieldworkMidnight.Add(8*time.Hour + time.Duration(d.Between("start", 0, 40, 5))*time.Minute)
	p.Noise = 2e-8
	p.Zero = 9.7720 + d.Between("zero of the meter", -5, 5, 0.5)*1e-3
	// A drift of more than +10 µGal/h would make up for the wrong hour's tide.
	p.Rate = d.Pick("drift", -1, 1)
	if p.Rate > 0 {
		p.Rate *= d.Between("drift up", 4, 9, 0.5) * gravlab.MicroGal / 3600
	} else {
		p.Rate *= d.Between("drift down", 4, 14, 0.5) * gravlab.MicroGal / 3600
	}
	p.Pressure = d.Between("pressure", 96800, 98400, 10)
	p.PerHour = d.Between("pressure change", -120, 120, 10)
	geology := d.Rand("geology")
	low := d.Between("low", 15, 35, 1) * gravlab.MicroGal
	base := gravlab.Must(earth.GRS80.NormalGravity(p.Job.Stations[0].Site.Lat, p.Job.Stations[0].Site.Height))
	for i, s := range p.Job.Stations {
		h := s.Site.Height - p.Job.Stations[0].Site.Height
		g := 9.8137 + gravlab.Must(earth.GRS80.NormalGravity(s.Site.Lat, s.Site.Height)) - base + float64(2*math.Pi*gravlab.G*density*h)
		x := (float64(i) - 3) / 0.9
		// Ground that differs from field to field, and something light near A3.
		patchy := 16e-8 * float64(1-2*(i%2))
		g += -float64(low*math.Exp(-x*x)) + patchy + float64(5e-8*geology.NormFloat64())
		if i == 0 {
			g = 9.8137
		}
		p.Truth[i].Value = math.Round(g*1e9) / 1e9
	}
	p.Tie.Value = p.Truth[0].Value
	return p
}

// newFieldworkDay draws faults until each of them shows: leaving one in puts the
// answer to its question far outside, and the usual search finds the tare and
// the blunder where they are.
func newFieldworkDay(d *bank.Draw) *fieldworkDay {
	f := &fieldworkDay{density: d.Between("density", 2350, 2750, 10)}
	day := sync.OnceValue(func() survey.Day {
		r := d.Rand("faults")
		for range 300 {
			p := fieldworkPlan(d, f.density)
			p.HourFrom, p.TareAfter, p.BlunderAt = 7+r.IntN(9), 3+r.IntN(15), 3+r.IntN(15)
			p.TareSize = float64(1-2*r.IntN(2)) * float64(32+2*r.IntN(10)) * gravlab.MicroGal
			p.BlunderSize = []float64{-0.2, -0.1, 0.1, 0.2}[r.IntN(4)]
			if !fieldworkFaultsApart(p) {
				continue
			}
			// The noise is drawn anew as well: a few days are too wild or too tame.
			if day := gravlab.Must(p.Simulate(r)); fieldworkShows(day) {
				return day
			}
		}
		panic(fmt.Sprintf("lab 12: no day shows its faults on sheet %s", d.Code()))
	})
	f.plan = func() survey.DayPlan { return day().Plan }
	f.book = func() []survey.Reading { return day().Readings }
	f.right = sync.OnceValue(func() *survey.Adjustment { return gravlab.Must(fieldworkAdjust(f.plan(), f.book(), fieldworkAll, nil)) })
	return f
}

// fieldworkFaultsApart reports whether no fault hides beside another.
func fieldworkFaultsApart(p survey.DayPlan) bool {
	apart := func(a, b int) bool { return a-b >= 3 || b-a >= 3 }
	return p.Order[p.BlunderAt] != "base" && apart(p.HourFrom, p.TareAfter+1) && apart(p.HourFrom, p.BlunderAt) && apart(p.TareAfter, p.BlunderAt)
}

// fieldworkShows reports whether every fault of the day can be found and matters.
func fieldworkShows(day survey.Day) bool {
	p, book := day.Plan, day.Readings
	adjust := func(seen fieldworkFaults) *survey.Adjustment {
		return gravlab.Must(fieldworkAdjust(p, book, seen, nil))
	}
	far := func(a, b, u float64) bool { return math.Abs(a-b) > 2.2*judge.CoverageFactor*u }
	right, late := adjust(fieldworkAll), adjust(fieldworkFaults{blunder: true, tare: true})
	if !far(late.Rate, right.Rate, right.URate) || right.PValue() < 0.02 || right.PValue() > 0.98 {
		return false
	}
	smooth := adjust(fieldworkFaults{hour: true, blunder: true})
	if !far(smooth.Rate, right.Rate, right.URate) || !far(p.TareSize/2, right.Steps[0], right.USteps[0]) || math.Abs(right.Steps[0]) < 8*right.USteps[0] {
		return false
	}
	station := p.Order[p.BlunderAt]
	value, u := fieldworkDifference(right, station, p.Job.Meter.UScale)
	wrong, _ := fieldworkDifference(adjust(fieldworkFaults{hour: true, tare: true}), station, p.Job.Meter.UScale)
	if !far(wrong, value, u) {
		return false
	}
	worst, _, err := adjust(fieldworkFaults{hour: true}).Worst(0.05)
	if err != nil || worst.Label != adjust(fieldworkFaults{hour: true}).Residuals[p.BlunderAt].Label {
		return false
	}
	reduced, _ := fieldworkReduced(p, book, fieldworkFaults{hour: true, blunder: true}, nil)
	guess, err := survey.FindTare(reduced, nil, survey.Drift{Degree: 1})
	return err == nil && guess.After == fieldworkTarePlace(p)
}

// fieldworkTarePlace is the index of the last reading before the tare when the
// blunder has been left out.
func fieldworkTarePlace(p survey.DayPlan) int {
	if p.BlunderAt <= p.TareAfter {
		return p.TareAfter - 1
	}
	return p.TareAfter
}

// fieldworkReduced reduces the book by somebody who has seen these faults; change
// may spoil the job as people do.
func fieldworkReduced(p survey.DayPlan, book []survey.Reading, seen fieldworkFaults, change func(*survey.Job)) (reduced []survey.Reduced, tare time.Time) {
	job := p.Job
	if change != nil {
		change(&job)
	}
	var kept []survey.Reading
	for i, r := range book {
		if seen.hour && i >= p.HourFrom {
			r.Time = r.Time.Add(-time.Hour)
		}
		if i == p.TareAfter {
			tare = r.Time.Add(p.Interval / 2)
		}
		if !(seen.blunder && i == p.BlunderAt) {
			kept = append(kept, r)
		}
	}
	return gravlab.Must(job.Reduce(kept)), tare
}

// fieldworkAdjust adjusts the day by somebody who has seen these faults.
func fieldworkAdjust(p survey.DayPlan, book []survey.Reading, seen fieldworkFaults, change func(*survey.Job)) (*survey.Adjustment, error) {
	reduced, tare := fieldworkReduced(p, book, seen, change)
	drift := survey.Drift{Degree: 1}
	if seen.tare {
		drift.Tares = []time.Time{tare}
	}
	return survey.Adjust(reduced, []survey.Tie{p.Tie}, drift)
}

// fieldworkDifference is a station less the base with the share of the scale factor
// in its uncertainty.
func fieldworkDifference(a *survey.Adjustment, station string, uScale float64) (difference, u float64) {
	difference, u, err := a.Between("base", station)
	if err != nil {
		return math.NaN(), math.NaN()
	}
	return difference, math.Hypot(u, gravlab.Must(survey.ScaleUncertainty(difference, uScale)))
}

func (f *fieldworkDay) adjust(seen fieldworkFaults, change func(*survey.Job)) *survey.Adjustment {
	return gravlab.Must(fieldworkAdjust(f.plan(), f.book(), seen, change))
}

// Ways to spoil a job.
func fieldworkTideLeft(j *survey.Job) { j.Factor, j.Permanent = 0, earth.TideFree }

func fieldworkUnitIsMilliGal(j *survey.Job) {
	j.Meter.Table, j.Meter.Scale, j.Meter.UScale = nil, gravlab.MilliGal, 0
}

func (f *fieldworkDay) recording() bank.Recording {
	return bank.Recording{
		ID: "day",
		Columns: []bank.Column{{Name: "station", Unit: "1"}, {Name: "time", Unit: "s"}, {Name: "counter", Unit: "1"}, {Name: "u", Unit: "1"}, {Name: "level", Unit: "rad"}, {Name: "cross-level", Unit: "rad"},
			{Name: "sensor height", Unit: "m"}, {Name: "pressure", Unit: "Pa"}, {Name: "settled", Unit: "s"}},
		Make: func() ([][]float64, error) {
			columns := make([][]float64, 9)
			for _, r := range f.book() {
				number := math.NaN()
				for i, s := range f.plan().Job.Stations {
					if s.Name == r.Station {
						number = float64(i)
					}
				}
				micro := func(v float64) float64 { return math.Round(v*1e6) / 1e6 }
				for i, v := range []float64{number, r.Time.Sub(fieldworkMidnight).Seconds(), bank.Clean(r.Counter), r.U, micro(r.Level), micro(r.CrossLevel), r.SensorHeight, r.Pressure, r.Settled} {
					columns[i] = append(columns[i], v)
				}
			}
			return columns, nil
		},
	}
}

func (f *fieldworkDay) rate() bank.Question {
	right := func() float64 { return f.right().Rate }
	u := func() float64 { return f.right().URate }
	with := func(seen fieldworkFaults, change func(*survey.Job)) func(bank.Answers) float64 {
		return func(bank.Answers) float64 { return f.adjust(seen, change).Rate }
	}
	return bank.Question{
		ID: "rate", Kind: judge.KindMeasured, Reads: []string{"day"}, Marks: 3, Unit: "µGal/h", Tol: judge.Tolerance{Abs: 0.4 * gravlab.MicroGal / 3600},
		Solve: func(bank.Answers) float64 { return right() },
		U:     u,
		Slips: []bank.Slip{
			{ID: "summer-time-kept", Value: with(fieldworkFaults{blunder: true, tare: true}, nil)},
			{ID: "tare-for-drift", Value: with(fieldworkFaults{hour: true, blunder: true}, nil)},
			{ID: "tide-kept", Value: with(fieldworkAll, fieldworkTideLeft)},
			{ID: "faults-kept", Value: with(fieldworkFaults{}, nil)},
			{ID: "per-minute", Value: func(bank.Answers) float64 { return right() / 60 }},
			{ID: "counter-kept", Value: with(fieldworkFaults{hour: true, tare: true}, nil)},
		},
		Range:  [2]float64{-5.5e-11, 5.5e-11},
		Source: bank.Computed(testdata.Checks, "survey-drift-01", fieldworkByHandRate(), 1e-6),
	}
}

// fieldworkByHandRate is the drift of the little loop in the reference table, nm/s²
// per minute, by the adjustment that the question uses.
func fieldworkByHandRate() float64 {
	var readings []survey.Reduced
	for _, r := range []struct {
		station string
		minute  int
		value   float64
	}{{"base", 0, 4521000}, {"S1", 41, 4523310}, {"S2", 73, 4519870}, {"base", 120, 4521096}, {"S1", 151, 4523424}, {"S3", 190, 4528001}, {"base", 240, 4521204}} {
		readings = append(readings, survey.Reduced{
			Reading: survey.Reading{Station: r.station, Time: fieldworkMidnight.Add(time.Duration(r.minute) * time.Minute)},
			Value:   r.value * 1e-9, UValue: 8e-9})
	}
	return gravlab.Must(survey.Adjust(readings, nil, survey.Drift{Degree: 1})).Rate * 60 / 1e-9
}

func (f *fieldworkDay) tare() bank.Question {
	right := func() float64 { return f.right().Steps[0] }
	u := func() float64 { return f.right().USteps[0] }
	with := func(seen fieldworkFaults, change func(*survey.Job)) func(bank.Answers) float64 {
		return func(bank.Answers) float64 { return f.adjust(seen, change).Steps[0] }
	}
	return bank.Question{
		ID: "tare", Kind: judge.KindMeasured, Reads: []string{"day"}, Marks: 3, Unit: "µGal", Tol: judge.Tolerance{Abs: 1.2 * gravlab.MicroGal},
		Solve: func(bank.Answers) float64 { return right() },
		U:     u,
		Slips: []bank.Slip{
			{ID: "half-step", Value: func(bank.Answers) float64 { return right() / 2 }},
			{ID: "summer-time-kept", Value: with(fieldworkFaults{blunder: true, tare: true}, nil)},
			{ID: "wrong-counter-kept", Value: with(fieldworkFaults{hour: true, tare: true}, nil)},
			{ID: "no-drift", Value: func(bank.Answers) float64 {
				reduced, tare := fieldworkReduced(f.plan(), f.book(), fieldworkAll, nil)
				return gravlab.Must(survey.Adjust(reduced, nil, survey.Drift{Tares: []time.Time{tare}})).Steps[0]
			}},
			{ID: "tide-kept", Value: with(fieldworkAll, fieldworkTideLeft)},
			{ID: "all-kept", Value: with(fieldworkFaults{tare: true}, nil)},
		},
		Range: [2]float64{-7e-7, 7e-7},
	}
}

func (f *fieldworkDay) station() bank.Question {
	name := func() string { p := f.plan(); return p.Order[p.BlunderAt] }
	uScale := func() float64 { return f.plan().Job.Meter.UScale }
	right := func() float64 { v, _ := fieldworkDifference(f.right(), name(), uScale()); return v }
	u := func() float64 { _, u := fieldworkDifference(f.right(), name(), uScale()); return u }
	with := func(seen fieldworkFaults, change func(*survey.Job)) func(bank.Answers) float64 {
		return func(bank.Answers) float64 {
			v, _ := fieldworkDifference(f.adjust(seen, change), name(), uScale())
			return v
		}
	}
	return bank.Question{
		ID: "station", Kind: judge.KindMeasured, Reads: []string{"day"}, Marks: 3, Unit: "µGal",
		Fields: bank.Fields{"name": name()},
		Solve:  func(bank.Answers) float64 { return right() },
		U:      u,
		Slips: []bank.Slip{
			{ID: "wrong-counter-kept", Value: with(fieldworkFaults{hour: true, tare: true}, nil)},
			{ID: "counter-unit", Value: with(fieldworkAll, fieldworkUnitIsMilliGal)},
			{ID: "base-minus-station", Value: func(bank.Answers) float64 { return -right() }},
			{ID: "tare-for-drift", Value: with(fieldworkFaults{hour: true, blunder: true}, nil)},
			{ID: "summer-time-kept", Value: with(fieldworkFaults{blunder: true, tare: true}, nil)},
		},
		Range: [2]float64{-9e-5, -8e-6},
	}
}

// topography is Nettleton's density from adjusted stations.
func (f *fieldworkDay) topography(a *survey.Adjustment, change func(h []float64, freeAir []float64)) survey.TopographyDensity {
	r := survey.Reduction{Ellipsoid: earth.GRS80, Heights: survey.Ellipsoidal, Plate: survey.NoPlate}
	var heights, freeAir []float64
	for _, s := range f.plan().Job.Stations {
		at := gravlab.Must(a.Station(s.Name))
		heights = append(heights, s.Site.Height)
		freeAir = append(freeAir, gravlab.Must(r.At(at.Value, s.Site.Lat, s.Site.Height, 0)).FreeAir)
	}
	if change != nil {
		change(heights, freeAir)
	}
	return gravlab.Must(survey.DensityOfTopography(heights, freeAir))
}

// readingsAlone is the uncertainty of the density that the readings by
// themselves would leave, kg/m³.
func (f *fieldworkDay) readingsAlone() float64 {
	var heights []float64
	for _, s := range f.plan().Job.Stations {
		heights = append(heights, s.Site.Height)
	}
	_, u := fieldworkDifference(f.right(), "A3", 0)
	n := float64(len(heights))
	return u / math.Sqrt(floats.Dot(heights, heights)-floats.Sum(heights)*floats.Sum(heights)/n) / (2 * math.Pi * gravlab.G)
}

func (f *fieldworkDay) rock() bank.Question {
	result := sync.OnceValue(func() survey.TopographyDensity { return f.topography(f.right(), nil) })
	right := func() float64 { return result().Density }
	u := func() float64 { return result().U }
	return bank.Question{
		ID: "density", Kind: judge.KindMeasured, Reads: []string{"day"}, Marks: 3, Unit: "kg/m³",
		Solve: func(bank.Answers) float64 { return right() },
		U:     u,
		Slips: []bank.Slip{
			{ID: "4pig-for-2pig", Value: func(bank.Answers) float64 { return right() / 2 }},
			{ID: "gravity", Value: func(bank.Answers) float64 {
				return f.topography(f.right(), func(h, freeAir []float64) {
					for i := range h {
						freeAir[i] -= 3.086e-6 * h[i]
					}
				}).Density
			}},
			{ID: "heights-sign", Value: func(bank.Answers) float64 {
				return f.topography(f.right(), func(h, freeAir []float64) {
					for i := range h {
						freeAir[i] -= 2 * 3.086e-6 * h[i]
					}
				}).Density
			}},
			{ID: "doubled", Value: func(bank.Answers) float64 { return 2 * right() }},
			{ID: "bouguer-left", Value: func(bank.Answers) float64 { return 2670 - right() }},
		},
		USlips: []bank.Slip{
			{ID: "scatter-ignored", Value: func(bank.Answers) float64 { return f.readingsAlone() }},
		},
		Range:  [2]float64{2100, 3000},
		Source: bank.Computed(testdata.Checks, "survey-nettleton-02", gravlab.Must(survey.DensityOfTopography([]float64{0, 12, 27, 41, 30, 9}, []float64{0, 120e-7, 245e-7, 395e-7, 270e-7, 95e-7})).Density, 1e-6),
	}
}

// fieldworkLine is the calibration line: known gravity against the meter, m/s².
func fieldworkLine(d *bank.Draw) (known, uKnown, read, uRead []float64) {
	r := d.Rand("line")
	scale := survey.AshgillFarm().Job.Meter.Scale
	offset := 9.7710 + d.Between("zero on the line", -3, 3, 0.1)*1e-3
	for _, step := range []float64{0, 21.4, 47.9, 76.2, 103.5, 131.7} { // mGal
		g := 9.81205 + float64(step*gravlab.MilliGal)
		known = append(known, math.Round((g+float64(4e-8*r.NormFloat64()))*1e9)/1e9)
		read = append(read, math.Round(((g-offset)/scale+float64(3e-8*r.NormFloat64()))*1e9)/1e9)
		uKnown, uRead = append(uKnown, 4e-8), append(uRead, 3e-8)
	}
	return known, uKnown, read, uRead
}

func fieldworkLineRecording(d *bank.Draw) bank.Recording {
	return bank.Recording{
		ID:      "line",
		Columns: []bank.Column{{Name: "known", Unit: "m/s²"}, {Name: "read", Unit: "m/s²"}},
		Make: func() ([][]float64, error) {
			known, _, read, _ := fieldworkLine(d)
			return [][]float64{known, read}, nil
		},
	}
}

func fieldworkScale(d *bank.Draw) bank.Question {
	c := sync.OnceValue(func() *survey.Calibration {
		known, uKnown, read, uRead := fieldworkLine(d)
		return gravlab.Must(survey.Calibrate(known, uKnown, read, uRead))
	})
	right := func() float64 { return c().Scale }
	u := func() float64 { return c().UScale }
	return bank.Question{
		ID: "scale", Kind: judge.KindMeasured, Marks: 2, Unit: "1",
		Solve: func(bank.Answers) float64 { return right() },
		U:     u,
		Slips: []bank.Slip{
			{ID: "exchanged", Value: func(bank.Answers) float64 { return 1 / right() }},
			{ID: "factor-left-at-1", Value: func(bank.Answers) float64 { return 1 }},
			{ID: "values", Value: func(bank.Answers) float64 {
				known, _, read, _ := fieldworkLine(d)
				return known[0] / read[0]
			}},
			{ID: "less-1", Value: func(bank.Answers) float64 { return right() - 1 }},
			{ID: "per-mille", Value: func(bank.Answers) float64 { return 1000 * (right() - 1) }},
		},
		Range: [2]float64{1.0001, 1.0007},
	}
}
