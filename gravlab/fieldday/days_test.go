package fieldday

import (
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"gravity.example/gravlab"
	"gravity.example/gravlab/fieldbook"
	"gravity.example/gravlab/quantity"
)

// practice works a practice day out.
func practice(t testing.TB, p PracticePlan, body bool) (*Result, Truth) {
	t.Helper()
	text, truth, err := Practice(p)
	if err != nil {
		t.Fatal(err)
	}
	book, err := fieldbook.Read(PracticeFiles(text))
	if err != nil {
		t.Fatal(err)
	}
	r, err := Work(book, nil)
	if err != nil {
		t.Fatal(err)
	}
	if body {
		if err := r.FitBody(); err != nil {
			t.Fatal(err)
		}
	}
	return r, truth
}

// A tally counts how often something held.
type tally struct {
	name string
	n, k int
}

func (c *tally) add(held bool) {
	c.n++
	if held {
		c.k++
	}
}

// likely says that k of n is no rarer than 1 in 1000 on the side of p where it lies.
func (c tally) likely(p float64) bool {
	if c.n == 0 {
		return false
	}
	b := distuv.Binomial{N: float64(c.n), P: p}
	if float64(c.k) < p*float64(c.n) {
		return b.CDF(float64(c.k)) > 0.001
	}
	return 1-b.CDF(float64(c.k)-1) > 0.001
}

// Readings of the practice day that a blunder falls on, by stratum: of stations read twice, of
// stations read once that are off the body, and of ones read once over it. The last are the
// stations within 10 m of the axis of the body.
func strata(t *testing.T) (twice, once, over []int) {
	t.Helper()
	text, truth, err := Practice(PracticePlan{Seed: 1, Blunder: -1})
	if err != nil {
		t.Fatal(err)
	}
	book, err := fieldbook.Read(PracticeFiles(text))
	if err != nil {
		t.Fatal(err)
	}
	count := map[string]int{}
	for _, r := range book.Readings {
		count[r.Station]++
	}
	sin, cos := math.Sincos(truth.BodyStrike)
	for i, r := range book.Readings {
		p, _ := book.Point(r.Station)
		dn, de := p.North-truth.BodyNorth, p.East-truth.BodyEast
		across, along := math.Abs(de*cos-dn*sin), math.Abs(dn*cos+de*sin)
		switch {
		case r.Station == "base":
		case count[r.Station] == 2:
			twice = append(twice, i)
		case across < 10 && along < truth.BodyLength/2:
			over = append(over, i)
		case across > 15:
			once = append(once, i)
		}
	}
	return twice, once, over
}

// TestDays works out days of which everything is known: 4 of them, 200 with GRAVLAB_LONG.
// One in four has no blunder; the others have one of 91 µGal in each stratum in turn. What is
// stated with a standard uncertainty lies within twice it in 95.4 % of cases, to the binomial
// limits of 1 in 1000. One station per day counts, since those of a day err together.
func TestDays(t *testing.T) {
	days := 4
	if os.Getenv("GRAVLAB_LONG") != "" {
		days = 200
	} else if testing.Short() {
		days = 2
	}
	twice, once, over := strata(t)
	var stations, drift, tare, density, height, mass, strike, length = tally{name: "station"}, tally{name: "drift"}, tally{name: "tare"}, tally{name: "density"}, tally{name: "height of the axis"}, tally{name: "mass per length"}, tally{name: "strike"}, tally{name: "length"}
	var foundTwice, foundOnce, foundOver, falseDays, placed = tally{name: "blunder at a station read twice found"}, tally{name: "blunder at a station read once found"}, tally{name: "blunder over the body found or told"}, tally{name: "day with a false one"}, tally{name: "step placed right"}
	// One station of each stratum per day as well.
	coverage := []tally{{name: "station read twice"}, {name: "station read once, off the body"}, {name: "station read once, over the body"}}
	squares, number := 0.0, 0
	bodies, open := 0, 0
	for day := range days {
		p := PracticePlan{Seed: uint64(day + 1), Blunder: -1}
		var found *tally
		switch day % 4 {
		case 0:
			p.Blunder, found = twice[day/4%len(twice)], &foundTwice
		case 1:
			p.Blunder, found = once[day/4%len(once)], &foundOnce
		case 2:
			p.Blunder, found = over[day/4%len(over)], &foundOver
		}
		r, truth := practice(t, p, true)
		flagged := map[string]bool{}
		for _, s := range r.Stations {
			if s.Doubt != "" {
				flagged[s.Name] = true
			}
		}
		left := map[string]bool{}
		for _, d := range r.Days {
			for _, k := range d.Out {
				left[d.Readings[k].Station] = true
			}
		}
		if found != nil {
			s := r.station(truth.Blunder)
			found.add(flagged[truth.Blunder] || left[truth.Blunder] || s.told)
			if !(flagged[truth.Blunder] || left[truth.Blunder] || s.told) {
				t.Logf("seed %d: the blunder of %.0f µGal at %s was not found; fits %+v", p.Seed, truth.BlunderSize*1e8, s.Name, r.Body.Lines[0])
			}
		}
		wrong := false
		for name := range left {
			wrong = wrong || name != truth.Blunder
		}
		for _, s := range r.Stations {
			wrong = wrong || s.Doubt != "" && s.Name != truth.Blunder && r.Days[0].placed
		}
		falseDays.add(wrong)
		d := r.Days[0]
		drift.add(math.Abs(d.Found.Rate-truth.Drift) <= 2*d.Found.URate)
		if len(d.Found.Steps) == 1 {
			tare.add(math.Abs(d.Found.Steps[0]-truth.Tare) <= 2*d.Found.USteps[0])
			if d.placed {
				placed.add(d.Drift.Tares[0].Equal(truth.TareAt))
			}
		} else {
			tare.add(false)
		}
		if r.Density != nil {
			density.add(math.Abs(r.Density.Density-truth.Density) <= 2*r.Density.U)
		}
		base := r.station("base")
		whose := [3]string{}
		for k, readings := range [][]int{twice, once, over} {
			whose[k] = r.Book.Readings[readings[day*5%len(readings)]].Station
		}
		for i, s := range r.Stations {
			if s.Name == "base" || flagged[s.Name] || s.Name == truth.Blunder && !left[s.Name] {
				continue
			}
			_, u, err := r.Adjustment.Between("base", s.Name)
			if err != nil {
				t.Fatal(err)
			}
			u = math.Hypot(u, s.U.Scale)
			w := ((s.Gravity.Value - base.Gravity.Value) - (truth.Gravity[s.Name] - truth.Gravity["base"])) / u
			squares, number = squares+w*w, number+1
			if i == 1+day*7%39 {
				stations.add(math.Abs(w) <= 2)
			}
			if k := slices.Index(whose[:], s.Name); k >= 0 {
				coverage[k].add(math.Abs(w) <= 2)
			}
		}
		for _, b := range r.Body.Fits {
			if b.Kind != kinds[1].name || b.U == nil {
				continue
			}
			bodies++
			turn := math.Remainder(b.P[3]-truth.BodyStrike, math.Pi)
			for _, x := range []struct {
				c      *tally
				off, u float64
			}{{&height, b.P[2] - (310 - truth.BodyDepth), b.U[2]}, {&strike, turn, b.U[3]}, {&length, b.P[4] - truth.BodyLength, b.U[4]}, {&mass, b.P[5] - truth.BodyPerLength, b.U[5]}} {
				if math.IsInf(x.u, 0) { // no limit is stated
					open++
					continue
				}
				x.c.add(math.Abs(x.off) <= 2*x.u)
			}
		}
	}
	for _, c := range append([]tally{stations, drift, tare, density, height, strike, length, mass}, coverage...) {
		t.Logf("%s: within 2 u on %d of %d days", c.name, c.k, c.n)
		if !c.likely(0.954) && float64(c.k) < 0.954*float64(c.n) {
			t.Errorf("%s: too seldom within 2 u", c.name)
		}
	}
	t.Logf("a long body with an uncertainty on %d of %d days; of its four parameters %d had no limit", bodies, days, open)
	t.Logf("root mean square of the normalised errors of %d stations: %.2f", number, math.Sqrt(squares/float64(number)))
	for _, c := range []tally{foundTwice, foundOnce, foundOver, placed} {
		t.Logf("%s: %d of %d", c.name, c.k, c.n)
		if !c.likely(0.95) && float64(c.k) < 0.95*float64(c.n) {
			t.Errorf("%s: fewer than 95 %% allow", c.name)
		}
	}
	t.Logf("%s: %d of %d", falseDays.name, falseDays.k, falseDays.n)
	// Two tests of 5 % a day: of the readings and of the map.
	if !falseDays.likely(0.0975) && float64(falseDays.k) > 0.0975*float64(falseDays.n) {
		t.Errorf("more false ones than two tests of 5 %% make")
	}
}

// TestChoicesGivenBack: the choices that a run writes make the same bytes again, and a changed
// one changes them.
func TestChoicesGivenBack(t *testing.T) {
	text, _, err := Practice(PracticePlan{Seed: 3, Blunder: 16, NoU: true})
	if err != nil {
		t.Fatal(err)
	}
	run := func(choices *Choices) map[string][]byte {
		book, err := fieldbook.Read(PracticeFiles(text))
		if err != nil {
			t.Fatal(err)
		}
		r, err := Work(book, choices)
		if err != nil {
			t.Fatal(err)
		}
		out, err := r.Files()
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	first := run(nil)
	given := func(text string) *Choices {
		c, err := ReadChoices("choices.csv", text)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	again := run(given(string(first["choices.csv"])))
	for name := range first {
		if !slices.Equal(first[name], again[name]) {
			t.Errorf("%s has other bytes when the choices are given back", name)
			if !strings.HasSuffix(name, "html") {
				t.Logf("first\n%s\nagain\n%s", first[name], again[name])
			}
		}
	}
	changed := run(given("choice,about,value,why\ndensity,,2400 kg/m³,the quarry's own\n"))
	if slices.Equal(first["stations.csv"], changed["stations.csv"]) {
		t.Error("another density changed nothing")
	}
	for text, want := range map[string]string{
		"choice,about,value,why\ndensty,,1,\n":        "line 2: there is no choice",
		"choice,about,value,why\ndensity,,2.4,\n":     "cannot be the choice",
		"choice,about,value,why\ndrift,1999,line,\n":  "finds nothing",
		"choice,about,value,why\nclock,,9,\nclock,,9": "twice",
		"a,b\n": "its columns are",
		"choice,about,value,why\nnormal gravity,,1930,\n": "no longer used",
	} {
		c, err := ReadChoices("choices.csv", text)
		if err == nil {
			book, e := fieldbook.Read(PracticeFiles(mustPractice(t)))
			if e != nil {
				t.Fatal(e)
			}
			_, err = Work(book, c)
		}
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

func mustPractice(t *testing.T) map[string]string {
	t.Helper()
	text, _, err := Practice(PracticePlan{Seed: 3, Blunder: -1})
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// TestReadingUncertainty: where none is stated it comes from the repeats, about the 5 µGal that
// the day has.
func TestReadingUncertainty(t *testing.T) {
	r, _ := practice(t, PracticePlan{Seed: 2, Blunder: -1, NoU: true}, false)
	o := r.Choices.take("u reading", "", "", "")
	u, err := r.Choices.number(o, quantity.Acceleration, 0, 1)
	if err != nil {
		t.Fatal(err)
	}
	// Eight degrees of freedom: √(chi²/8) lies from 0.33 to 1.8 of it in 99.8 % of cases.
	if u /= 5 * gravlab.MicroGal; u < 0.33 || u > 1.8 {
		t.Errorf("%.2f of the true one", u)
	}
	if !strings.Contains(r.HowU, "found from repeats") {
		t.Errorf("the report says %q", r.HowU)
	}
}
