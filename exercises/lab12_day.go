package exercises

import (
	"fmt"
	"math"
	"sync"
	"time"

	"gravity.example/gravlab"
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
func fieldworkPlan(d *Draw, density float64) survey.DayPlan {
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
func newFieldworkDay(d *Draw) *fieldworkDay {
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

// fieldworkFaultsApart says whether no fault hides beside another.
func fieldworkFaultsApart(p survey.DayPlan) bool {
	apart := func(a, b int) bool { return a-b >= 3 || b-a >= 3 }
	return p.Order[p.BlunderAt] != "base" && apart(p.HourFrom, p.TareAfter+1) && apart(p.HourFrom, p.BlunderAt) && apart(p.TareAfter, p.BlunderAt)
}

// fieldworkShows says whether every fault of the day can be found and matters.
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
	return difference, math.Hypot(u, gravlab.Must(survey.ScaleShare(difference, uScale)))
}

func (f *fieldworkDay) adjust(seen fieldworkFaults, change func(*survey.Job)) *survey.Adjustment {
	return gravlab.Must(fieldworkAdjust(f.plan(), f.book(), seen, change))
}

// Ways to spoil a job.
func fieldworkTideLeft(j *survey.Job) { j.Factor, j.Permanent = 0, earth.TideFree }

func fieldworkUnitIsMilliGal(j *survey.Job) {
	j.Meter.Table, j.Meter.Scale, j.Meter.UScale = nil, gravlab.MilliGal, 0
}

func (f *fieldworkDay) recording() Recording {
	return Recording{
		ID: "day", Title: "The field book of 30 April 2021, Ashgill Farm, as written down",
		Columns: []Column{{Name: "station", Unit: "1"}, {Name: "time", Unit: "s"}, {Name: "counter", Unit: "1"}, {Name: "u", Unit: "1"}, {Name: "level", Unit: "rad"}, {Name: "cross-level", Unit: "rad"},
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
				for i, v := range []float64{number, r.Time.Sub(fieldworkMidnight).Seconds(), clean(r.Counter), r.U, micro(r.Level), micro(r.CrossLevel), r.SensorHeight, r.Pressure, r.Settled} {
					columns[i] = append(columns[i], v)
				}
			}
			return columns, nil
		},
	}
}

// seen is the code with which every worked answer about the day starts. Each of
// its steps is one that the plots of the notebook ask for.
func (f *fieldworkDay) seen() string {
	p := f.plan()
	return fmt.Sprintf(`// Readings follow each other by 11 minutes, but one gap has 71: from reading %d,
// counted from 0, the phone shows summer time, an hour ahead of UTC. Reading %d
// has by far the largest normalised residual: a slip of the pen. Leave it out.
book := mended(%d, %d)
reduced := gravlab.Must(job.Reduce(book))
// The step has a cause in the margin: the box was set down hard.
day := gravlab.Must(survey.Adjust(reduced, []survey.Tie{base}, line(book, %d)))
`, p.HourFrom, p.BlunderAt, p.HourFrom, p.BlunderAt, fieldworkTarePlace(p))
}

// fieldworkRemarks is what stands in the margin of the field book.
const fieldworkRemarks = "In the margin of the book stands: *a reading every 11 minutes, no break all day; watch stopped, from then on the time of a phone; box set down hard once, on a wall.* It does not say when, and it does not say that one counter value was written down wrong, but one was."

func (f *fieldworkDay) rate() Question {
	right := func() float64 { return f.right().Rate }
	u := func() float64 { return f.right().URate }
	with := func(seen fieldworkFaults, change func(*survey.Job)) func(Known) float64 {
		return func(Known) float64 { return f.adjust(seen, change).Rate }
	}
	byHand := testdata.Find("model_checks.csv", "survey-drift-01")
	return Question{
		ID: "rate", Kind: judge.Measured, Marks: 3, Title: "The drift of the meter",
		Prompt: "`sheet.Recording(\"day\")` is your field book of 30 April 2021, and `fieldBook()` from the first cell turns it into readings. " + fieldworkRemarks +
			" Put right what has to be put right. By how much does the zero of the meter drift in an hour (a straight line over the day; positive when the readings grow), and how well do you know it?",
		Unit:  "µGal/h",
		Solve: func(Known) float64 { return right() },
		U:     u,
		Slips: measuredSlips(right, u,
			Slip{Name: "the hour of the phone left in", Value: with(fieldworkFaults{blunder: true, tare: true}, nil), Fix: "Plot the time from each reading to the next.\nWhich clock is the phone's?"},
			Slip{Name: "the tare taken for drift", Value: with(fieldworkFaults{hour: true, blunder: true}, nil), Fix: "A step is not a slope: name its moment in Drift.Tares."},
			Slip{Name: "the tide left in the readings", Value: with(fieldworkAll, fieldworkTideLeft), Fix: "On a morning the tide changes like a drift, and by more. Use the job's own factor."},
			Slip{Name: "nothing put right", Value: with(fieldworkFaults{}, nil), Fix: "Times, counters and zero all have a fault. Look at each plot."}),
		Range: [2]float64{-5.5e-11, 5.5e-11},
		Hints: [2]string{"First the times, then the largest residual, then the step: survey.Adjust after each, and watch chi².", "Adjust with Drift{Degree: 1, Tares: ...}; Rate and URate are in m/s² per s."},
		Worked: "%%\n// Every fault is put right where it lies; the drift is a line, the tare a step.\n" + f.seen() +
			"sheet.Measured(\"rate\", day.Rate*3600/gravlab.MicroGal, day.URate*3600/gravlab.MicroGal, \"µGal/h\")",
		Reasoning: "A clock that is an hour ahead takes off the tide of another moment and stretches the day; a tare left in the drift tilts the line; a wrong counter pulls whatever stands near it. When all three are put right $\\chi^2$ falls to about the number of degrees of freedom.",
		Source: Source{Text: "independently computed: " + byHand["route"] + " (all repeats in one fit)", Check: &SourceCheck{
			Table: "model_checks.csv", ID: "survey-drift-01", Got: fieldworkByHandRate(), Want: byHand.Float("value"), Within: 1e-6}},
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

func (f *fieldworkDay) tare() Question {
	right := func() float64 { return f.right().Steps[0] }
	u := func() float64 { return f.right().USteps[0] }
	with := func(seen fieldworkFaults, change func(*survey.Job)) func(Known) float64 {
		return func(Known) float64 { return f.adjust(seen, change).Steps[0] }
	}
	return Question{
		ID: "tare", Kind: judge.Measured, Marks: 3, Title: "The step on the wall",
		Prompt: "From the same book: by how much did the zero of the meter jump when the box was set down hard (positive when the readings grew), and how well do you know it?",
		Unit:   "µGal",
		Solve:  func(Known) float64 { return right() },
		U:      u,
		Slips: measuredSlips(right, u,
			Slip{Name: "half a step", Value: func(Known) float64 { return right() / 2 }, Fix: "The step is from before to after, not from the middle."},
			Slip{Name: "the hour of the phone left in", Value: with(fieldworkFaults{blunder: true, tare: true}, nil), Fix: "Plot the time from each reading to the next.\nWhich clock is the phone's?"},
			Slip{Name: "the wrong counter value left in", Value: with(fieldworkFaults{hour: true, tare: true}, nil), Fix: "Adjustment.Worst names the reading that stands out most."},
			Slip{Name: "no drift in the model", Value: func(Known) float64 {
				reduced, tare := fieldworkReduced(f.plan(), f.book(), fieldworkAll, nil)
				return gravlab.Must(survey.Adjust(reduced, nil, survey.Drift{Tares: []time.Time{tare}})).Steps[0]
			}, Fix: "The zero wanders all day besides: Degree 1 lets it."}),
		Range: [2]float64{-7e-7, 7e-7},
		Hints: [2]string{"survey.FindTare tries a step between each reading and the next; what is wrong with the book must be mended first.", "Steps[0] and USteps[0] of an adjustment whose drift has the tare's moment."},
		Worked: "%%\n// The size of the step is a parameter of the adjustment, with its uncertainty.\n" + f.seen() +
			"sheet.Measured(\"tare\", day.Steps[0]/gravlab.MicroGal, day.USteps[0]/gravlab.MicroGal, \"µGal\")",
		Reasoning: "The repeats on both sides of the step determine it: each station read before and after shows the same jump. It has a cause in the field book; a step without one stays a guess.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording"},
	}
}

func (f *fieldworkDay) station() Question {
	name := func() string { p := f.plan(); return p.Order[p.BlunderAt] }
	uScale := func() float64 { return f.plan().Job.Meter.UScale }
	right := func() float64 { v, _ := fieldworkDifference(f.right(), name(), uScale()); return v }
	u := func() float64 { _, u := fieldworkDifference(f.right(), name(), uScale()); return u }
	with := func(seen fieldworkFaults, change func(*survey.Job)) func(Known) float64 {
		return func(Known) float64 { v, _ := fieldworkDifference(f.adjust(seen, change), name(), uScale()); return v }
	}
	return Question{
		ID: "station", Kind: judge.Measured, Marks: 3, Title: "One station, as it goes into the table",
		Prompt: fmt.Sprintf("From the same book: by how much does gravity at the mark %s differ from that at the base (%s less base), and how well do you know it? Count the reading uncertainty, the drift and the tare as the adjustment has them, and the scale factor, whose standard uncertainty is `job.Meter.UScale`.", name(), name()),
		Unit:   "µGal",
		Solve:  func(Known) float64 { return right() },
		U:      u,
		Slips: measuredSlips(right, u,
			Slip{Name: "the wrong counter value left in", Value: with(fieldworkFaults{hour: true, tare: true}, nil), Fix: "Adjustment.Worst names the reading that stands out most."},
			Slip{Name: "a counter unit taken for a milligal", Value: with(fieldworkAll, fieldworkUnitIsMilliGal), Fix: "The maker's table says what a unit is: use the job's own meter."},
			Slip{Name: "base less station", Value: func(Known) float64 { return -right() }, Fix: "A station uphill has less gravity than the base: which sign has that?"},
			Slip{Name: "the tare taken for drift", Value: with(fieldworkFaults{hour: true, blunder: true}, nil), Fix: "A step is not a slope: name its moment in Drift.Tares."},
			Slip{Name: "the hour of the phone left in", Value: with(fieldworkFaults{blunder: true, tare: true}, nil), Fix: "Plot the time from each reading to the next."}),
		Range: [2]float64{-9e-5, -8e-6},
		Hints: [2]string{"Is this station's reading among those that stand out?", "day.Between(\"base\", ...) has the correlation in its uncertainty; survey.ScaleShare gives the scale's part, to be added in quadrature."},
		Worked: "%%\n// Between knows how the two stations are correlated; the scale factor comes on top.\n" + f.seen() +
			fmt.Sprintf("difference, u, err := day.Between(\"base\", %q)\nif err != nil {\n\tpanic(err)\n}\nu = math.Hypot(u, gravlab.Must(survey.ScaleShare(difference, job.Meter.UScale)))\nsheet.Measured(\"station\", difference/gravlab.MicroGal, u/gravlab.MicroGal, \"µGal\")", name()),
		Reasoning: "The wrong counter value stands at this station, so it moves just this number, by a good part of its own size. The adjustment's uncertainty says nothing about the scale factor, which grows with the difference and no repeat can reduce.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording; the adjustment is held against exact rational arithmetic in package survey"},
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
	return u / math.Sqrt(squares(heights)-sum(heights)*sum(heights)/n) / (2 * math.Pi * gravlab.G)
}

func (f *fieldworkDay) rock() Question {
	result := sync.OnceValue(func() survey.TopographyDensity { return f.topography(f.right(), nil) })
	right := func() float64 { return result().Density }
	u := func() float64 { return result().U }
	table := testdata.Find("model_checks.csv", "survey-nettleton-02")
	return Question{
		ID: "density", Kind: judge.Measured, Marks: 3, Title: "The density of the fell",
		Prompt: "The stations climb 40 m of fell. With your adjusted values (base: 981370.000 mGal), the heights and latitudes of `job.Stations` and GRS80: which density makes the Bouguer values along the line independent of height, and how well does the line determine it? The near terrain is level; leave it out.",
		Unit:   "kg/m³",
		Solve:  func(Known) float64 { return right() },
		U:      u,
		Slips: measuredSlips(right, u,
			Slip{Name: "4πG for 2πG", Value: func(Known) float64 { return right() / 2 }, Fix: "The slab pulls with 2πGρh; 4π belongs to a sphere around you."},
			Slip{Name: "the heights left in: gravity instead of free-air values", Value: func(Known) float64 {
				return f.topography(f.right(), func(h, freeAir []float64) {
					for i := range h {
						freeAir[i] -= 3.086e-6 * h[i]
					}
				}).Density
			}, Fix: "Take the free-air part out first: what is left goes with 2πGρ."},
			Slip{Name: "the heights corrected the wrong way", Value: func(Known) float64 {
				return f.topography(f.right(), func(h, freeAir []float64) {
					for i := range h {
						freeAir[i] -= 2 * 3.086e-6 * h[i]
					}
				}).Density
			}, Fix: "Normal gravity at the station's own height is smaller than on the ellipsoid."}),
		USlips: []Slip{
			{Name: "the uncertainty of the readings alone", Value: func(Known) float64 { return f.readingsAlone() }, Fix: "The stations scatter about the line by more than their reading errors:\nthe ground is not all alike."},
		},
		Range: [2]float64{2100, 3000},
		Hints: [2]string{"Free-air values against height: the slope is 2πGρ.", "Reduction.At with NoPlate gives FreeAir; survey.DensityOfTopography does the line and its scatter."},
		Worked: "%%\n// Free-air values grow with height by 2 pi G rho; the scatter about the line gives u.\n" + f.seen() +
			`r := survey.Reduction{Ellipsoid: earth.GRS80, Heights: survey.Ellipsoidal, Plate: survey.NoPlate}
var heights, freeAir []float64
for _, s := range job.Stations {
	g := gravlab.Must(day.Station(s.Name)).Value
	heights = append(heights, s.Site.Height)
	freeAir = append(freeAir, gravlab.Must(r.At(g, s.Site.Lat, s.Site.Height, 0)).FreeAir)
}
rock := gravlab.Must(survey.DensityOfTopography(heights, freeAir))
sheet.Measured("density", rock.Density, rock.U, "kg/m³")`,
		Reasoning: "Free-air values still hold the rock between the station and the datum, $2\\pi G\\rho h$. The density whose slab takes the slope out is that of the hill, as long as no geology follows the hill: a dense sill under the top would pass for dense rock.",
		Source: Source{Text: "independently computed: " + table["route"] + "; method: L. L. Nettleton, Geophysics 4, 176–183 (1939), from memory", Check: &SourceCheck{
			Table: "model_checks.csv", ID: "survey-nettleton-02",
			Got:  gravlab.Must(survey.DensityOfTopography([]float64{0, 12, 27, 41, 30, 9}, []float64{0, 120e-7, 245e-7, 395e-7, 270e-7, 95e-7})).Density,
			Want: table.Float("value"), Within: 1e-6}},
	}
}

// fieldworkLine is the calibration line: known gravity against the meter, m/s².
func fieldworkLine(d *Draw) (known, uKnown, read, uRead []float64) {
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

func fieldworkLineRecording(d *Draw) Recording {
	return Recording{
		ID: "line", Title: "The meter on the calibration line: known gravity and readings by the maker's table, tide and drift taken off",
		Columns: []Column{{Name: "known", Unit: "m/s²"}, {Name: "read", Unit: "m/s²"}},
		Make: func() ([][]float64, error) {
			known, _, read, _ := fieldworkLine(d)
			return [][]float64{known, read}, nil
		},
	}
}

func fieldworkScale(d *Draw) Question {
	c := sync.OnceValue(func() *survey.Calibration {
		known, uKnown, read, uRead := fieldworkLine(d)
		return gravlab.Must(survey.Calibrate(known, uKnown, read, uRead))
	})
	right := func() float64 { return c().Scale }
	u := func() float64 { return c().UScale }
	return Question{
		ID: "scale", Kind: judge.Measured, Marks: 2, Title: "The scale factor",
		Prompt: "`sheet.Recording(\"line\")` holds six stations of a calibration line: `known` gravity, each value with a standard uncertainty of 4 µGal, and what your meter `read` there by the maker's table, each with 3 µGal. What is the scale factor by which readings have to be multiplied, and how well do you know it?",
		Unit:   "1",
		Solve:  func(Known) float64 { return right() },
		U:      u,
		Slips: measuredSlips(right, u,
			Slip{Name: "known and read exchanged", Value: func(Known) float64 { return 1 / right() }, Fix: "What is multiplied by the factor is the reading; known gravity comes out."},
			Slip{Name: "the factor left at 1", Value: func(Known) float64 { return 1 }, Fix: "The line says by how much the maker's table is off."},
			Slip{Name: "values divided instead of differences", Value: func(Known) float64 {
				known, _, read, _ := fieldworkLine(d)
				return known[0] / read[0]
			}, Fix: "The zero of the meter is anywhere: only differences of readings mean something."}),
		Range:     [2]float64{1.0001, 1.0007},
		Hints:     [2]string{"A straight line of known over read: the slope is the factor, the offset is the meter's zero.", "survey.Calibrate wants known values and readings, each with its uncertainties."},
		Worked:    "%%\n// Known over read is a straight line; its slope is the scale factor.\nrec := sheet.Recording(\"line\")\nknown, read := rec.Column(\"known\"), rec.Column(\"read\")\nvar uKnown, uRead []float64\nfor range known {\n\tuKnown, uRead = append(uKnown, 4e-8), append(uRead, 3e-8)\n}\nc := gravlab.Must(survey.Calibrate(known, uKnown, read, uRead))\nsheet.Measured(\"scale\", c.Scale, c.UScale, \"1\")",
		Reasoning: "Both sides of the line are uncertain, so each point weighs with $u^2 = u_\\mathrm{known}^2 + (k\\,u_\\mathrm{read})^2$. The factor is as good as the line is long: over 130 mGal some microgals make a few parts in 100,000.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording"},
	}
}
