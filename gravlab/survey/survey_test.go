package survey

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"gravity.example/gravlab"
	"gravity.example/gravlab/buried"
	"gravity.example/gravlab/earth"
)

const degree = math.Pi / 180

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s = %.15g, want %.15g within %g of it", what, got, want, rel)
	}
}

func simulate(t *testing.T, p DayPlan, rng *rand.Rand) (Day, []Reduced) {
	t.Helper()
	day, err := p.Simulate(rng)
	if err != nil {
		t.Fatal(err)
	}
	reduced, err := p.Job.Reduce(day.Readings)
	if err != nil {
		t.Fatal(err)
	}
	return day, reduced
}

func truth(p DayPlan, name string) float64 {
	for _, s := range p.Truth {
		if s.Name == name {
			return s.Value
		}
	}
	return math.NaN()
}

// binomial holds a count of 95 % intervals that hold the truth against the
// exact binomial limits.
func binomial(t *testing.T, what string, inside, total int) {
	t.Helper()
	b := distuv.Binomial{N: float64(total), P: 0.95}
	t.Logf("%s: %d of %d intervals hold the truth", what, inside, total)
	if b.CDF(float64(inside)) < 5e-4 || 1-b.CDF(float64(inside-1)) < 5e-4 {
		t.Errorf("%s: %d of %d intervals hold the truth, want 95 %%", what, inside, total)
	}
}

// 5,000 days with a tide of hundreds of nm/s² and a drift like it: the fit parts
// them, and its intervals mean what they say. One interval a day for the drift,
// one for a station, so that the counts are independent.
func TestDriftAndTideDoNotLeak(t *testing.T) {
	p := AshgillFarm()
	p.Order = []string{"base", "A3", "base", "A3", "A6", "A3", "A6", "base"}
	p.Interval = 31 * time.Minute
	p.Rate = -2.3e-7 / 3600
	// The tie is exact here, its own error being no part of this test.
	ties := []Tie{{Station: "base", Value: truth(p, "base")}}
	rng := rand.New(rand.NewPCG(12, 9))
	const days = 5000
	var rate, station, tested int
	var sumRate, sumStation, uRate, uStation float64
	for i := range days {
		p.Start = time.Date(2021, 1, 1, 7, 0, 0, 0, time.UTC).Add(time.Duration(i) * 5 * time.Hour)
		_, reduced := simulate(t, p, rng)
		a, err := Adjust(reduced, ties, Drift{Degree: 1})
		if err != nil {
			t.Fatal(err)
		}
		s, err := a.Station("A6")
		if err != nil {
			t.Fatal(err)
		}
		dr, ds := a.Rate-p.Rate, s.Value-truth(p, "A6")
		sumRate, sumStation, uRate, uStation = sumRate+dr, sumStation+ds, a.URate, s.U
		if math.Abs(dr) < 1.959964*a.URate {
			rate++
		}
		if math.Abs(ds) < 1.959964*s.U {
			station++
		}
		if a.PValue() < 0.05 {
			tested++
		}
	}
	binomial(t, "drift", rate, days)
	binomial(t, "station", station, days)
	binomial(t, "chi-square test", days-tested, days)
	// What does not average away would be a leak: the means of all days agree
	// within 3.5 of their own standard uncertainties.
	root := math.Sqrt(days)
	if math.Abs(sumRate/days) > 3.5*uRate/root || math.Abs(sumStation/days) > 3.5*uStation/root {
		t.Errorf("mean error of the drift %g (u %g), of the station %g (u %g)", sumRate/days, uRate/root, sumStation/days, uStation/root)
	}
}

// Left in, the tide does leak into the drift; an hour of wrong time shows.
func TestTideLeftInIsSeen(t *testing.T) {
	p := AshgillFarm()
	// A quiet meter: at 3 µGal most of an hour of tide passes for drift.
	p.HourFrom, p.Noise, p.Step = 0, 3e-9, 1e-4
	day, _ := simulate(t, p, rand.New(rand.NewPCG(5, 5)))
	ties := []Tie{p.Tie}
	trials, err := ClockTrials(p.Job, day.Readings, ties, Drift{Degree: 1}, 0, -time.Hour, time.Hour)
	if err != nil {
		t.Fatal(err)
	}
	for i := range day.Readings {
		day.Readings[i].Time = day.Readings[i].Time.Add(-time.Hour)
	}
	reduced, err := p.Job.Reduce(day.Readings)
	if err != nil {
		t.Fatal(err)
	}
	right, err := Adjust(reduced, ties, Drift{Degree: 1})
	if err != nil {
		t.Fatal(err)
	}
	if !(trials[0] > 3*right.Chi2 && trials[2] > 3*right.Chi2) || right.PValue() < 0.01 {
		t.Errorf("chi² %.1f as written, %.1f on time, %d degrees of freedom", trials, right.Chi2, right.DoF)
	}
	near(t, "trial", trials[1], right.Chi2, 1e-9)
	without := p.Job
	without.Factor = 0
	without.Permanent = earth.TideFree
	reduced, err = without.Reduce(day.Readings)
	if err != nil {
		t.Fatal(err)
	}
	none, err := Adjust(reduced, ties, Drift{Degree: 1})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(none.Rate-p.Rate) < 5*none.URate {
		t.Errorf("without the tide the drift is %g(%g), true %g", none.Rate, none.URate, p.Rate)
	}
}

func TestTareIsFoundAndParted(t *testing.T) {
	p := AshgillFarm()
	p.TareAfter = 9
	_, reduced := simulate(t, p, rand.New(rand.NewPCG(2, 3)))
	ties := []Tie{p.Tie}
	guess, err := FindTare(reduced, ties, Drift{Degree: 1})
	if err != nil {
		t.Fatal(err)
	}
	if guess.After != 9 || math.Abs(guess.Size-p.TareSize) > 3*guess.U || math.Abs(guess.W) < 5 {
		t.Errorf("found %+v, planted after reading 9, %g m/s²", guess, p.TareSize)
	}
	a, err := Adjust(reduced, ties, Drift{Degree: 1, Tares: []time.Time{guess.At}})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(a.Rate-p.Rate) > 3*a.URate || a.PValue() < 0.01 {
		t.Errorf("with the tare the drift is %g(%g), true %g, p %g", a.Rate, a.URate, p.Rate, a.PValue())
	}
	for _, s := range a.Stations {
		if math.Abs(s.Value-truth(p, s.Name)) > 3.5*s.U {
			t.Errorf("%s is off by %g, u %g", s.Name, s.Value-truth(p, s.Name), s.U)
		}
	}
}

func TestBlunderIsFound(t *testing.T) {
	p := AshgillFarm()
	p.BlunderAt = 11
	_, reduced := simulate(t, p, rand.New(rand.NewPCG(6, 6)))
	a, err := Adjust(reduced, []Tie{p.Tie}, Drift{Degree: 1})
	if err != nil {
		t.Fatal(err)
	}
	worst, critical, err := a.Worst(0.05)
	if err != nil {
		t.Fatal(err)
	}
	if worst.Label != a.Residuals[11].Label || math.Abs(worst.W) < critical {
		t.Errorf("worst is %+v, critical %g", worst, critical)
	}
	clean := append(append([]Reduced(nil), reduced[:11]...), reduced[12:]...)
	b, err := Adjust(clean, []Tie{p.Tie}, Drift{Degree: 1})
	if err != nil {
		t.Fatal(err)
	}
	if worst, critical, err := b.Worst(0.05); err != nil || math.Abs(worst.W) > critical || b.PValue() < 0.01 {
		t.Errorf("without it: worst %+v, critical %g, p %g, %v", worst, critical, b.PValue(), err)
	}
}

// Without a blunder the largest of all normalised residuals passes its critical
// value as rarely as promised (Bonferroni is a bound: at most).
func TestFalseAlarmsOfTheOutlierTest(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	alarms, total := 0, 5000
	for range total {
		var d []Difference
		for _, leg := range [][2]string{{"A", "B"}, {"B", "C"}, {"C", "A"}, {"A", "D"}, {"D", "C"}, {"B", "D"}, {"D", "A"}} {
			d = append(d, Difference{From: leg[0], To: leg[1], Value: 1e-7 * rng.NormFloat64(), U: 1e-7})
		}
		a, err := AdjustNetwork(d, nil)
		if err != nil {
			t.Fatal(err)
		}
		worst, critical, err := a.Worst(0.05)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(worst.W) > critical {
			alarms++
		}
	}
	t.Logf("%d false alarms in %d networks", alarms, total)
	if b := (distuv.Binomial{N: float64(total), P: 0.05}); 1-b.CDF(float64(alarms-1)) < 5e-4 || float64(alarms) < 0.03*float64(total) {
		t.Errorf("%d false alarms in %d networks, promised 5 %% or a little less", alarms, total)
	}
}

// The redundancies add up to the degrees of freedom, and the adjusted values do
// not depend on which station is held.
func TestNetworkInvariants(t *testing.T) {
	d := []Difference{{"A", "B", 1203, 10}, {"B", "C", -871, 10}, {"C", "A", -345, 10}, {"A", "D", 2054, 5}, {"D", "C", -1706, 10}, {"B", "D", 838, 5}}
	a := gravlab.Must(AdjustNetwork(d, nil))
	sum := 0.0
	for _, r := range a.Residuals {
		sum += r.Redundancy
	}
	near(t, "sum of redundancies", sum, float64(a.DoF), 1e-12)
	b := gravlab.Must(AdjustNetwork(d, []Tie{{Station: "D", Value: 500}}))
	x, ux, _ := a.Between("B", "C")
	y, uy, _ := b.Between("B", "C")
	near(t, "difference", y, x, 1e-12)
	near(t, "its uncertainty", uy, ux, 1e-12)
	near(t, "chi²", b.Chi2, a.Chi2, 1e-10)
	// A loose tie alone costs nothing and moves all by its value.
	c := gravlab.Must(AdjustNetwork(d, []Tie{{Station: "A", Value: 7, U: 3}}))
	near(t, "tied", gravlab.Must(c.Station("A")).Value, 7, 1e-12)
	near(t, "its u", gravlab.Must(c.Station("A")).U, 3, 1e-12)
	near(t, "chi²", c.Chi2, a.Chi2, 1e-10)
	last := c.Residuals[len(c.Residuals)-1]
	if !math.IsNaN(last.W) || !math.IsInf(last.MDB, 1) {
		t.Errorf("a single tie checks itself: %+v", last)
	}
	// Two ties that contradict each other are seen.
	e := gravlab.Must(AdjustNetwork(d, []Tie{{Station: "A", Value: 0, U: 3}, {Station: "C", Value: 500, U: 3}}))
	if e.PValue() > 1e-6 {
		t.Errorf("contradicting ties have p %g", e.PValue())
	}
	if _, err := AdjustNetwork(append(d, Difference{"X", "Y", 1, 1}), nil); err == nil || !strings.Contains(err.Error(), "not connected to one") {
		t.Errorf("a loose pair of stations: %v", err)
	}
}

// A tie is brought from its epoch to the day.
func TestTieEpoch(t *testing.T) {
	p := AshgillFarm()
	p.Noise = 1e-9
	_, reduced := simulate(t, p, rand.New(rand.NewPCG(1, 1)))
	tie := p.Tie
	tie.Epoch = p.Start.AddDate(-10, 0, 0)
	tie.Rate, tie.URate = -2e-8/31557600, 1e-8/31557600
	a := gravlab.Must(Adjust(reduced, []Tie{tie}, Drift{Degree: 1}))
	s := gravlab.Must(a.Station("base"))
	near(t, "value", s.Value-p.Tie.Value, -2e-7, 1e-3)
	near(t, "u", s.U, math.Hypot(4e-8, 1e-7), 1e-3)
}

func TestSplineDrift(t *testing.T) {
	p := AshgillFarm()
	p.Order = Star("base", "A1", "A2", "A3", "A1", "A2", "A3", "A1", "A2", "A3")
	p.Bend = 2e-15 * 8
	p.Noise = 5e-9
	_, reduced := simulate(t, p, rand.New(rand.NewPCG(9, 9)))
	line := gravlab.Must(Adjust(reduced, nil, Drift{Degree: 1}))
	middle := reduced[len(reduced)/2].Time
	for _, d := range []Drift{{Degree: 2}, {Degree: 3}, {Degree: 2, Knots: []time.Time{middle}}, {Degree: 3, Knots: []time.Time{middle}}} {
		a := gravlab.Must(Adjust(reduced, nil, d))
		if !(a.Chi2 < line.Chi2) || a.PValue() < 0.005 {
			t.Errorf("%+v: chi² %g, line %g", d, a.Chi2, line.Chi2)
		}
		elapsed := reduced[0].Time.Add(reduced[len(reduced)-1].Time.Sub(reduced[0].Time) / 2).Sub(p.Start).Seconds()
		if want := p.Rate + p.Bend*elapsed; math.Abs(a.Rate-want) > 4*a.URate {
			t.Errorf("%+v: slope in the middle %g(%g), true %g", d, a.Rate, a.URate, want)
		}
	}
}

func TestReduceCorrections(t *testing.T) {
	p := AshgillFarm()
	at := p.Start
	r := Reading{Station: "base", Time: at, Counter: 3999.5, U: 0.003}
	job := p.Job
	one := func(j Job, r Reading) Reduced { return gravlab.Must(j.Reduce([]Reading{r}))[0] }
	bare := one(job, r)
	// Just set down: the recovery is all there.
	near(t, "recovery", bare.Recovery, -12e-8, 1e-12)
	settled := r
	settled.Settled = 140
	near(t, "settled", one(job, settled).Recovery, -12e-8/math.E, 1e-12)
	near(t, "wait", gravlab.Must(job.Meter.WaitFor(12e-8/math.E)), 140, 1e-12)
	up := r
	up.SensorHeight = 0.25
	near(t, "height", one(job, up).Height, 3.02e-6*0.25, 1e-12)
	off := r
	off.Level, off.CrossLevel = 300e-6, 400e-6
	near(t, "tilt", one(job, off).Tilt, 9.8137*500e-6*500e-6/2, 1e-4)
	air := r
	air.Pressure = gravlab.Must(earth.NormalPressure(310)) + 1000
	near(t, "air", one(job, air).Air, 30e-9, 1e-9)
	job.Stations = append([]Station(nil), job.Stations...)
	job.Stations[0].WaterRise, job.Stations[0].Porosity = 0.5, 0.2
	near(t, "water", one(job, r).Water, -4.1936e-8, 1e-4)
	near(t, "tide", bare.Tide, gravlab.Must(p.Job.Stations[0].Site.TideCorrection(at, 1.16, earth.ZeroTide)), 1e-14)
	near(t, "sum", bare.Value, bare.Raw+bare.Tide+bare.Tilt+bare.Height+bare.Air+bare.Water+bare.Recovery, 1e-15)
	// The counter table, between and at its rows, and its inverse.
	m := p.Job.Meter
	for _, c := range []float64{0, 100, 155.5, 3999.5, 7000} {
		v, per, err := m.Gravity(c)
		if err != nil {
			t.Fatal(err)
		}
		back, _, err := m.counter(v)
		if err != nil || math.Abs(back-c) > 1e-9 || per < 1.03e-5 || per > 1.05e-5 {
			t.Errorf("%g goes to %g and back to %g (%v), %g a unit", c, v, back, err, per)
		}
	}
	if _, _, err := m.Gravity(7000.1); err == nil {
		t.Error("beyond the table without an error")
	}
}

func TestCalibrateCoverage(t *testing.T) {
	rng := rand.New(rand.NewPCG(14, 4))
	known := []float64{9.8110, 9.8113, 9.8121, 9.8127, 9.8133}
	uk, ur := []float64{2e-8, 2e-8, 2e-8, 2e-8, 2e-8}, []float64{5e-8, 5e-8, 5e-8, 5e-8, 5e-8}
	inside, total := 0, 5000
	for range total {
		k := make([]float64, len(known))
		r := make([]float64, len(known))
		for i, g := range known {
			r[i] = (g-9.77)/1.0005 + ur[i]*rng.NormFloat64()
			k[i] = g + uk[i]*rng.NormFloat64()
		}
		c, err := Calibrate(k, uk, r, ur)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(c.Scale-1.0005) < 1.959964*c.UScale {
			inside++
		}
	}
	binomial(t, "scale factor", inside, total)
	if _, err := Calibrate(known, uk, []float64{1, 1, 1, 1, 1}, ur); err == nil {
		t.Error("one reading five times without an error")
	}
	near(t, "share", gravlab.Must(ScaleUncertainty(-1e-3, 1e-3)), 1e-6, 1e-15)
}

// Readings as uncertain as a tenth of their spread do not make the scale too
// small: a line that takes them for exact is 1 % low with them, and seen from the
// other side 1 % high.
func TestCalibrateUncertainReadings(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 1))
	const n, trials, u = 30, 2000, 1e-4
	u1, u2 := make([]float64, n), make([]float64, n)
	x, y := make([]float64, n), make([]float64, n)
	for i := range n {
		u1[i], u2[i] = 1e-6, u
	}
	var mean, square float64
	for range trials {
		for i := range n {
			at := 1e-3 * math.Sqrt(12) * (float64(i)/(n-1) - 0.5) // standard deviation 1e-3
			x[i], y[i] = 9.81+1.0005*at+1e-6*rng.NormFloat64(), 9.81+at+u*rng.NormFloat64()
		}
		c, err := Calibrate(x, u1, y, u2)
		if err != nil {
			t.Fatal(err)
		}
		mean += c.Scale / trials
		square += math.Pow((c.Scale-1.0005)/c.UScale, 2) / trials
		back, err := Calibrate(y, u2, x, u1) // the two sides exchanged: the same line
		if err != nil {
			t.Fatal(err)
		}
		near(t, "exchanged", back.Scale*c.Scale, 1, 1e-9)
	}
	// The mean of 2000 scatters by 0.0004.
	if math.Abs(mean-1.0005) > 0.002 || math.Abs(square-1) > 0.15 {
		t.Errorf("scale %.5f on average, want 1.0005; mean square of error over uncertainty %.3f, want 1", mean, square)
	}
}

// What a plan promises is what a day gives.
func TestPlanLoop(t *testing.T) {
	p := AshgillFarm()
	plan, err := PlanLoop(p.Order, p.Interval, 3e-8, 1)
	if err != nil {
		t.Fatal(err)
	}
	if plan.RepeatShare < 0.2 || math.IsInf(plan.MDB, 1) {
		t.Errorf("plan %+v", plan)
	}
	_, reduced := simulate(t, p, rand.New(rand.NewPCG(1, 1)))
	for i := range reduced {
		reduced[i].UValue = 3e-8
	}
	a := gravlab.Must(Adjust(reduced, nil, Drift{Degree: 1}))
	for i, s := range a.Stations {
		if i > 0 {
			near(t, "u of "+s.Name, s.U, plan.Stations[i].U, 1e-9)
		}
	}
	near(t, "u of the drift", a.URate, plan.URate, 1e-9)
	ladder, err := PlanLoop(Profile("B", "1", "2", "3"), time.Minute, 1, 1)
	if err != nil || !math.IsInf(ladder.MDB, 1) {
		t.Errorf("a ladder reads its end once: %+v, %v", ladder, err)
	}
	want := map[string][]string{
		"B 1 B 2 B":             Star("B", "1", "2"),
		"B 1 B 1 2 1 2 B":       Step("B", "1", "2"),
		"B 1 2 1 B":             Profile("B", "1", "2"),
		"B":                     Profile("B"),
		"B 1 B 1 2 1 2 3 2 3 B": Step("B", "1", "2", "3"),
	}
	for text, order := range want {
		if got := strings.Join(order, " "); got != text {
			t.Errorf("order %q, want %q", got, text)
		}
	}
}

func TestReductionAsksForTheHeights(t *testing.T) {
	r := Reduction{Ellipsoid: earth.GRS80, Plate: RoundedPlate, Density: 2670, Atmosphere: true}
	if _, err := r.At(9.81, 0.9, 300, 0); err == nil || !strings.Contains(err.Error(), "above what") {
		t.Errorf("unstated heights: %v", err)
	}
	r.Heights = Orthometric
	a := gravlab.Must(r.At(9.81, 0.9, 300, 1e-6))
	if a.Name != "Bouguer anomaly" {
		t.Errorf("name %q", a.Name)
	}
	near(t, "sum", a.Value, 9.81+a.Air-a.Normal-a.Rock+1e-6, 1e-12)
	near(t, "cap", a.Rock, gravlab.Must(earth.BouguerCap(2670, 300).Effect()), 1e-15)
	r.Density = 2.67
	if _, err := r.At(9.81, 0.9, 300, 0); err == nil || !strings.Contains(err.Error(), "did you mean 2670?") {
		t.Errorf("density in g/cm³: %v", err)
	}
	// Per metre is the difference of two heights.
	r = Reduction{Ellipsoid: earth.GRS80, Heights: Ellipsoidal, Plate: FlatPlate, Density: 2400}
	d := gravlab.Must(r.At(9.81, 0.9, 0.5, 0)).Value - gravlab.Must(r.At(9.81, 0.9, -0.5, 0)).Value
	near(t, "per metre", gravlab.Must(r.PerMetre(0.9)), d, 1e-7)
}

// Far cells are columns: a rough ground's correction is that of its prisms, with the same cells.
func TestTerrainFarCells(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 1))
	const n, inner, outer = 251, 30, 1200
	ground := Terrain{Cell: 10, North: -1250, East: -1250, Density: 2600, Apart: 500}
	for range n {
		row := make([]float64, n)
		for j := range row {
			row[j] = 300 * rng.Float64() * rng.Float64()
		}
		ground.Heights = append(ground.Heights, row)
	}
	for _, height := range []float64{0, 37.5, 600} {
		got, cells, err := ground.Correction(3.7, -12, height, inner, outer)
		if err != nil {
			t.Fatal(err)
		}
		far, want, all := 0.0, 0.0, 0
		for i, row := range ground.Heights {
			for j, h := range row {
				x, y := ground.North+ground.Cell*float64(i), ground.East+ground.Cell*float64(j)
				d := math.Hypot(x-3.7, y+12)
				if d < inner || d > outer {
					continue
				}
				all++
				prism := buried.Prism{
					Min: r3.Vec{X: x - 5, Y: y - 5, Z: -max(h, height)}, Max: r3.Vec{X: x + 5, Y: y + 5, Z: -min(h, height)}, Contrast: 2600,
				}
				gz := math.Abs(gravlab.Must(prism.GZ(r3.Vec{X: 3.7, Y: -12, Z: -height})))
				want += gz
				if d > farCells*ground.Cell {
					far += gz
				}
			}
		}
		if cells != all {
			t.Errorf("height %g: %d cells, want %d", height, cells, all)
		}
		// 2e-9 of the far cells by the series, 3e-10 of them by the prisms' own.
		if off := math.Abs(got - want); off > 2.3e-9*far {
			t.Errorf("height %g: %.12g, by prisms %.12g, off by %.2g of the far cells", height, got, want, off/far)
		}
	}
}

// A cone cut into a fine grid, with the near zone from the formula, is the cone.
func TestTerrainOfACone(t *testing.T) {
	const slope, density, cell, outer, inner = 0.25, 2300.0, 4.0, 400.0, 40.0
	const n = 221
	heights := make([][]float64, n)
	for i := range heights {
		heights[i] = make([]float64, n)
		for j := range heights[i] {
			heights[i][j] = 100 - math.Tan(slope)*cell*math.Hypot(float64(i-n/2), float64(j-n/2))
		}
	}
	terrain := Terrain{North: -cell * (n / 2), East: -cell * (n / 2), Cell: cell, Heights: heights, Density: density}
	far, cells, err := terrain.Correction(0, 0, 100, inner, outer)
	if err != nil {
		t.Fatal(err)
	}
	close := gravlab.Must(Cone(slope, inner, density))
	near(t, fmt.Sprintf("cone of %d cells", cells), far+close, gravlab.Must(Cone(slope, outer, density)), 2e-3)
	// Up and down alike: a pit of the same shape has the same correction.
	for i := range heights {
		for j := range heights[i] {
			heights[i][j] = 200 - heights[i][j]
		}
	}
	pit, _, err := terrain.Correction(0, 0, 100, inner, outer)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "pit", pit, far, 1e-9)
	if _, _, err := terrain.Correction(300, 0, 100, inner, outer); err == nil {
		t.Error("a radius beyond the grid without an error")
	}
	// Rings of sectors make the cone as well.
	rings := 0.0
	const width = 0.1
	for i := range int(outer / width) {
		r := width * float64(i)
		rings += 4 * gravlab.Must(Sector{Inner: r, Outer: r + width, Parts: 4, Height: -math.Tan(slope) * (r + width/2), Density: density}.Correction())
	}
	near(t, "rings", rings, gravlab.Must(Cone(slope, outer, density)), 2e-3)
	if flat := gravlab.Must(Slope(0, 30, 2000)); flat != 0 {
		t.Errorf("flat ground has a correction of %g", flat)
	}
	// As the plane becomes a wall, all of a slab of its radius.
	if s := gravlab.Must(Slope(84*degree, 1, 2000)) / (2 * math.Pi * gravlab.G * 2000); s < 0.7 || s > 1 {
		t.Errorf("steep plane has %g of the slab of its radius", s)
	}
	near(t, "gentle plane", gravlab.Must(Slope(0.01, 30, 2000)), math.Pi/2*gravlab.G*2000*30*1e-4, 1e-3)
}

func TestDensityOfTopography(t *testing.T) {
	var h, f []float64
	rng := rand.New(rand.NewPCG(2, 2))
	for i := range 40 {
		h = append(h, 30*math.Sin(float64(i)/5))
		f = append(f, 3e-6+2*math.Pi*gravlab.G*2350*h[i]+2e-7*rng.NormFloat64())
	}
	d := gravlab.Must(DensityOfTopography(h, f))
	if math.Abs(d.Density-2350) > 3*d.U || d.U > 100 {
		t.Errorf("density %g(%g), want 2350", d.Density, d.U)
	}
	c := gravlab.Must(Correlation(h, f, d.Density))
	low, high := gravlab.Must(Correlation(h, f, 1800)), gravlab.Must(Correlation(h, f, 2900))
	if math.Abs(c) > 1e-9 || low <= 0 || high >= 0 {
		t.Errorf("correlation %g at the density, %g below, %g above", c, low, high)
	}
}

func sampleReport() Report {
	red := Reduction{Ellipsoid: earth.GRS80, Heights: Ellipsoidal, Plate: RoundedPlate, Density: 2670, Atmosphere: true}
	a := gravlab.Must(red.At(9.8137, 54.625*degree, 310, 2e-7))
	return Report{
		Title: "Ashgill Farm, profile A",
		Datum: Datum{Ellipsoid: "GRS80", Heights: "ellipsoidal, from satellite positions, u 0.05 m", GravityDatum: "base 981370.000(4) mGal, epoch 2021.3",
			TideSystem: "zero-tide, factor 1.16", Pressure: "3 nm/s² per hPa to the standard atmosphere", Plate: RoundedPlate.String(), Density: 2670,
			TerrainNear: 20, TerrainOuter: 2000, NearZone: "sectors sketched on the spot", ScaleFactor: 1.000412, UScaleFactor: 0.00008, DriftModel: "linear", OutliersNoted: "none", UncertaintyFor: "readings, tie and scale; not the density"},
		Rows: []Row{{Station: "A1, by the wall", Lat: 54.625 * degree, Lon: -2.375 * degree, Height: 310, Gravity: 9.8137, UGravity: 5e-8, Anomaly: a, UAnomaly: 12e-8}},
	}
}

func TestReport(t *testing.T) {
	r := sampleReport()
	text, err := r.Text()
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range append(Cautions(), "GRS80", "zero-tide", "2670 kg/m³", "2000 m", "height (m)", "Bouguer disturbance", "981370.000", "spherical cap") {
		if !strings.Contains(text, want) {
			t.Errorf("the report lacks %q:\n%s", want, text)
		}
	}
	table, err := r.CSV()
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(strings.NewReader(table)).ReadAll()
	if err != nil || len(rows) != 2 || rows[1][0] != "A1, by the wall" || rows[0][4] != "gravity (mGal)" {
		t.Errorf("table %q, %v", rows, err)
	}
	r.Datum.TideSystem = " "
	if _, err := r.Text(); err == nil || !strings.Contains(err.Error(), "TideSystem") {
		t.Errorf("a report without tide system: %v", err)
	}
	r = sampleReport()
	r.Rows[0].Gravity = math.NaN()
	if _, err := r.CSV(); err == nil {
		t.Error("NaN in a report without an error")
	}
}

// The stream of a day is pinned: labs and marks rest on it.
func TestDayIsTheSameForever(t *testing.T) {
	p := AshgillFarm()
	day, err := p.Simulate(rand.New(rand.NewPCG(21, 4)))
	if err != nil {
		t.Fatal(err)
	}
	h := sha256.New()
	for _, r := range day.Readings {
		_ = binary.Write(h, binary.LittleEndian, []int64{r.Time.Unix(), int64(math.Round(r.Counter / p.Step)), int64(math.Round(r.Pressure)), int64(math.Round(1e3 * r.SensorHeight))})
	}
	if got, want := fmt.Sprintf("%x", h.Sum(nil)[:8]), "069543f315c6f8b9"; got != want {
		t.Errorf("day %s, want %s", got, want)
	}
}

func TestNoPanic(t *testing.T) {
	number := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{0, 1, -1, math.NaN(), math.Inf(1), math.Inf(-1), 1e308, 5e-324, 0.9, 9.81, 1e-3, 300, 2670, 2.67}))
	names := rapid.SampledFrom([]string{"base", "A1", "A2", ""})
	rapid.Check(t, func(t *rapid.T) {
		f := func(name string) float64 { return number.Draw(t, name) }
		a, b, c, d, e := f("a"), f("b"), f("c"), f("d"), f("e")
		n := rapid.IntRange(-3, 12).Draw(t, "n")
		finite := func(what string, v float64, err error) {
			if err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
				t.Fatalf("%s gives %v without an error", what, v)
			}
		}
		v, err := TiltCorrection(a, b, c)
		finite("TiltCorrection", v, err)
		v, err = WaterCorrection(a, b)
		finite("WaterCorrection", v, err)
		v, err = Sector{a, b, n, c, d}.Correction()
		finite("Sector", v, err)
		v, err = Cone(a, b, c)
		finite("Cone", v, err)
		v, err = Slope(a, b, c)
		finite("Slope", v, err)
		v, err = ScaleUncertainty(a, b)
		finite("ScaleUncertainty", v, err)
		r := Reduction{Ellipsoid: earth.GRS80, Heights: HeightKind(n), Plate: Plate(n % 4), Density: a, Atmosphere: true}
		anomaly, err := r.At(b, c, d, e)
		finite("At", anomaly.Value, err)
		v, err = r.PerMetre(b)
		finite("PerMetre", v, err)
		slice := func(name string) []float64 { return rapid.SliceOfN(number, 0, 6).Draw(t, name) }
		x, y, z, w := slice("x"), slice("y"), slice("z"), slice("w")
		_, _ = Calibrate(x, y, z, w)
		_, _ = DensityOfTopography(x, y)
		_, _ = Correlation(x, y, a)
		_, _, _ = Terrain{North: a, East: b, Cell: c, Heights: [][]float64{x, y}, Density: d}.Correction(a, b, c, d, e)

		meter := Meter{Table: []TableRow{{a, b}, {c, d}}[:max(0, min(2, n))], Scale: e, UScale: a, RecoveryAmplitude: b, RecoveryTime: c}
		v, _, err = meter.Gravity(d)
		finite("Gravity", v, err)
		v, err = meter.WaitFor(a)
		finite("WaitFor", v, err)

		start := time.Date(2021, 4, 14, 8, 0, 0, 0, time.UTC)
		var readings []Reading
		var reduced []Reduced
		var diffs []Difference
		for i := range max(0, n) {
			at := start.Add(time.Duration(i) * 10 * time.Minute)
			one := Reading{Station: names.Draw(t, "station"), Time: at, Counter: f("counter"), U: f("u"), Level: a, SensorHeight: b, Pressure: c, Settled: d}
			readings = append(readings, one)
			reduced = append(reduced, Reduced{Reading: one, Value: f("value"), UValue: f("uValue")})
			diffs = append(diffs, Difference{From: names.Draw(t, "from"), To: names.Draw(t, "to"), Value: f("difference"), U: f("uDifference")})
		}
		job := AshgillFarm().Job
		_, _ = job.Reduce(readings)
		job.Factor, job.Admittance = a, b
		_, _ = job.Reduce(readings)
		ties := []Tie{{Station: names.Draw(t, "tie"), Value: a, U: b, Epoch: start.AddDate(-n, 0, 0), Rate: c, URate: d}}
		if rapid.Bool().Draw(t, "untied") {
			ties = nil
		}
		drift := Drift{Degree: n % 5}
		if rapid.Bool().Draw(t, "knot") {
			drift.Knots = []time.Time{start.Add(15 * time.Minute)}
			drift.Tares = drift.Knots
		}
		_, _ = Adjust(reduced, ties, drift)
		_, _ = FindTare(reduced, ties, Drift{Degree: 1})
		_, _ = AdjustUnknownTare(reduced, ties, Drift{Degree: n % 3})
		_, _ = ClockTrials(job, readings, ties, drift, time.Duration(n)*time.Hour)
		_, _ = LoopDifferences(reduced, "base")
		if network, err := AdjustNetwork(diffs, ties); err == nil {
			_, _, _ = network.Worst(a)
			_, _, _ = network.Between("base", "A1")
		}
		_, _ = PlanLoop(Star("base", "A1"), time.Duration(rapid.Int64().Draw(t, "interval")), a, n)
		p := AshgillFarm()
		p.Rate, p.Noise, p.Step, p.Zero, p.TareSize, p.Bend = a, b, c, d, e, a
		_, _ = p.Simulate(rand.New(rand.NewPCG(1, 1)))
		report := sampleReport()
		report.Rows[0].Height, report.Rows[0].UGravity, report.Datum.Density = a, b, c
		_, _ = report.Text()
	})
}

func BenchmarkAdjustDay(b *testing.B) {
	p := AshgillFarm()
	day, err := p.Simulate(rand.New(rand.NewPCG(1, 2)))
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		reduced, err := p.Job.Reduce(day.Readings)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := Adjust(reduced, []Tie{p.Tie}, Drift{Degree: 1}); err != nil {
			b.Fatal(err)
		}
	}
}

// TestPublishedNetwork is a closed round of four marks, each leg measured there and back,
// whose adjustment is published with all digits (levelled heights, which adjust as gravity
// differences do): "Sample 1D vertical least square adjustment", vrmapper.com/gama/1doutput.html,
// read in a stored copy; each difference has a standard deviation of 5 mm.
func TestPublishedNetwork(t *testing.T) {
	var differences []Difference
	for _, d := range []struct {
		from, to string
		value    float64
	}{
		{"1a", "4", -1.22500}, {"4", "3", -0.84800}, {"3", "2", 1.34200}, {"2", "1a", 0.72000},
		{"1a", "2", -0.72400}, {"2", "3", -1.33500}, {"3", "4", 0.84200}, {"4", "1a", 1.23100},
	} {
		differences = append(differences, Difference{From: d.from, To: d.to, Value: d.value, U: 0.005})
	}
	a, err := AdjustNetwork(differences, nil) // from 1a, there 1000.00000
	if err != nil {
		t.Fatal(err)
	}
	round := func(v float64, digits int) string { return strconv.FormatFloat(v, 'f', digits, 64) }
	for _, want := range []struct{ name, value, u string }{
		{"4", "998.77513", "3.1"}, {"3", "997.93325", "3.5"}, {"2", "999.27487", "3.1"},
	} {
		s, err := a.Station(want.name)
		// The published ones end in a 5 of their sixth digit, which a half of 1e-5 covers.
		if v, e := strconv.ParseFloat(want.value, 64); err != nil || e != nil || math.Abs(1000+s.Value-v) > 0.5001e-5 || round(1000*s.U, 1) != want.u {
			t.Errorf("%s is %.6f with %.3f mm, published %s and %s", want.name, 1000+s.Value, 1000*s.U, want.value, want.u)
		}
	}
	// [pvv] is 146.625 mm², over 5 degrees of freedom: 5.42 mm.
	if got := round(a.Chi2*25, 3); got != "146.625" || a.DoF != 5 || round(math.Sqrt(a.Chi2/5)*5, 2) != "5.42" {
		t.Errorf("sum of squares %s mm² for %d degrees of freedom, published 146.625 for 5", got, a.DoF)
	}
	// The largest normalised residual is 1.68, of observation 6.
	worst, _, err := a.Worst(0.05)
	if err != nil || worst.Label != "2 to 3" || round(math.Abs(worst.W), 2) != "1.68" {
		t.Errorf("worst %+v, %v; published 1.68 from 2 to 3", worst, err)
	}
}
