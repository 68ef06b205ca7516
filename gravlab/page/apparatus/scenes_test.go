package apparatus

import (
	"cmp"
	"fmt"
	"iter"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gravity.example/gravlab"
	"gravity.example/gravlab/ask"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/signal"
)

// settingsOf draws places for the sliders of a scene, 250 times.
func settingsOf(s Scene) iter.Seq[map[string]float64] {
	rng := rand.New(rand.NewPCG(1, uint64(len(s.ID))))
	return func(yield func(map[string]float64) bool) {
		for range 250 {
			set := map[string]float64{}
			for _, c := range s.Controls {
				set[c.ID] = math.Min(c.Max, c.Min+c.Step*math.Floor(rng.Float64()*(1+(c.Max-c.Min)/c.Step)))
			}
			if !yield(set) {
				return
			}
		}
	}
}

// numbersOf are the numbers that a scene shows, and their texts are there.
func numbersOf(t *testing.T, s Scene, set map[string]float64, at float64) map[string]float64 {
	t.Helper()
	state, err := s.At(set, at)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]float64{}
	for _, n := range state.Numbers {
		out[n.ID] = n.Value
	}
	return out
}

func same(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-9*math.Abs(want)+1e-12 {
		t.Errorf("%s is %g, want %g", what, got, want)
	}
}

// TestGate: the reading is the pull of two points, Gm d/(x²+d²)^(3/2), worked out here; the cargo
// that it is compared with pulls as much straight above.
func TestGate(t *testing.T) {
	for set := range settingsOf(gate) {
		const at = 3.0
		got := numbersOf(t, gate, set, at)
		v := set["speed"] / 3.6
		point := func(mass, x, d float64) float64 { return 1e12 * gravlab.G * mass * d / math.Pow(x*x+d*d, 1.5) }
		x, d := v*at-12, set["height"]+1.2
		same(t, "the reading", got["now"], point(set["front"], x, 2.3)+point(set["cargo"], x-set["apart"], d))
		same(t, "its pull straight above", point(got["mass"], 0, d+set["higher"]), point(set["cargo"], 0, d))
	}
}

// TestIceCap: fit and uncertainties are those of package earth, for months drawn here.
func TestIceCap(t *testing.T) {
	model := earth.TrendModel{Annual: true, Semiannual: true, Year: 1}
	for set := range settingsOf(iceCap) {
		n := int(math.Round(set["months"]))
		got := numbersOf(t, iceCap, set, 1000)
		same(t, "the number of months", got["so"], float64(n))
		years, mass := monthly{set["rate"], set["season"], set["noise"], set["alike"], n}.months()
		fitted, err := model.Fit(years, mass)
		if err != nil {
			t.Fatal(err)
		}
		same(t, "the rate", got["fit"], fitted.Rate.Value)
		_, honest, _, err := model.Plan(years, set["noise"], set["alike"])
		if err != nil {
			t.Fatal(err)
		}
		same(t, "its uncertainty", got["honest"], honest)
	}
	// With little noise the fit gives the rate back within its uncertainty.
	exact := numbersOf(t, iceCap, map[string]float64{"noise": 5, "alike": 0}, 1000)
	if math.Abs(exact["off"]) > 4*exact["white"] {
		t.Errorf("the fit is off by %g with an uncertainty of %g", exact["off"], exact["white"])
	}
}

// TestWalk: without noise and knock a straight drift is found and nothing is left; with a knock
// between two readings at the base, what is left is a part of it.
func TestWalk(t *testing.T) {
	for set := range settingsOf(walk) {
		set["noise"], set["tare"] = 0, 0
		got := numbersOf(t, walk, set, 100)
		same(t, "the drift", got["slope"], set["drift"])
		if math.Abs(got["worst"]) > 1e-9 {
			t.Errorf("%v: %g µGal are left of a straight drift", set, got["worst"])
		}
		same(t, "the misclosure", got["close"], set["drift"]*float64(len(order(set["back"]))-1)/6)
	}
	knocked := numbersOf(t, walk, map[string]float64{"noise": 0, "tare": 60, "drift": 0, "back": 0}, 100)
	same(t, "the misclosure after a knock", knocked["close"], 60)
	if w := math.Abs(knocked["worst"]); w < 20 || w > 60 {
		t.Errorf("a knock of 60 µGal leaves %g", w)
	}
}

// TestPendant: the angle is the closed form of a damped swing that starts at rest, worked out
// here; its turning points touch the amplitude that is drawn after whole periods, and the
// stopwatch is off by its presses alone.
func TestPendant(t *testing.T) {
	for set := range settingsOf(pendant) {
		at := 0.37 * set["half"]
		got := numbersOf(t, pendant, set, at)
		tau, w := set["half"]/math.Ln2, 2*math.Pi/set["period"]
		same(t, "the angle", got["angle"], set["start"]*math.Exp(-at/tau)*(math.Cos(w*at)+math.Sin(w*at)/(w*tau)))
		same(t, "the amplitude left", got["left"], 100*math.Pow(2, -0.37))
		same(t, "the number of swings", got["count"], math.Floor(at/set["period"]+1e-9))
		same(t, "the uncertainty", got["u"], math.Sqrt(2*set["hand"]*set["hand"])/set["swings"])

		set["hand"] = 0
		if last := numbersOf(t, pendant, set, 1e4); last["time"] >= set["swings"]*set["period"] {
			same(t, "a period timed without error", last["timedperiod"], set["period"])
		}
	}
	// After half an amplitude's time a half is left, and the swing goes as its envelope.
	one := numbersOf(t, pendant, map[string]float64{"period": 5, "half": 150}, 150)
	same(t, "the angle after whole periods", one["angle"], 12.5)
}

// TestNothingOverlaps: at 1,000 random settings and times no writing of a scene lies on a thing, a
// line or another writing, and none runs out of the picture.
func TestNothingOverlaps(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	for _, s := range []Scene{balance, lift, turntable, stone, tide, descent, gate, iceCap, walk, pendant, sources, pier, drains} {
		drawn := 0
		for round := 0; drawn < 1000 && round < 8; round++ {
			for set := range settingsOf(s) {
				for _, c := range s.Controls { // other places in each round
					set[c.ID] = math.Min(c.Max, c.Min+c.Step*math.Floor(rng.Float64()*(1+(c.Max-c.Min)/c.Step)))
				}
				at := 600 * rng.Float64()
				state, err := s.At(set, at)
				if err != nil {
					continue // the sentence says what to change
				}
				drawn++
				for _, what := range covered(state) {
					t.Errorf("%s, %v, %g s: %s", s.ID, set, at, what)
				}
			}
		}
		if drawn < 1000 {
			t.Errorf("%s: only %d settings could be drawn", s.ID, drawn)
		}
	}
}

// TestSources: structural thermal noise is √(4kTω₀²/(Qmω)), the readout's ω₀² times its length far
// below the natural frequency, and squares add.
func TestSources(t *testing.T) {
	for set := range settingsOf(sources) {
		set["bias"] = 0
		got := numbersOf(t, sources, set, 0)
		w0, w, m := 2*math.Pi*set["f0"], 2*math.Pi*set["f"], 1e-3*set["mass"]
		thermal := 1e9 * math.Sqrt(4*1.380649e-23*293*w0*w0/(set["q"]*m*w))
		same(t, "thermal noise", got["thermal"], thermal)
		// |ω₀² − ω² + iω₀²/Q| times the length, for structural damping.
		readout := 1e-3 * set["readout"] * math.Hypot(w0*w0-w*w, w0*w0/set["q"])
		same(t, "readout noise", got["readout"], readout)
		same(t, "noise of the patches", got["patches"], 0)
		same(t, "all together", got["all"], math.Sqrt(thermal*thermal+readout*readout+set["rest"]*set["rest"]))
		// V dC/dx times the noise of the patches, over m.
		set["bias"] = 2
		same(t, "noise of the patches", numbersOf(t, sources, set, 0)["patches"], 1e9*2*5e-8*30e-6/m)
	}
}

// TestPier: the coherence is that of the averages of Hann-tapered segments, summed here without a
// fast transform; a clock that is late turns the phase by 360° f late and leaves the coherence as
// it was, and over many pairs the estimate is what is shared over what is there.
func TestPier(t *testing.T) {
	tried := 0
	for set := range settingsOf(pier) {
		if tried++; tried > 200 {
			break
		}
		const at = 60.0
		got := numbersOf(t, pier, set, at)
		a, b, err := pairRecords(set, int(at*pairRate), 1)
		if err != nil {
			t.Fatal(err)
		}
		f := got["bin"]
		var xx, yy float64
		var xy complex128
		for from := 0; from+pairSegment <= len(a); from += pairSegment / 2 {
			var x, y complex128
			ma, mb := 0.0, 0.0
			for i := range pairSegment {
				ma, mb = ma+a[from+i]/pairSegment, mb+b[from+i]/pairSegment
			}
			for i := range pairSegment {
				taper := 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/pairSegment)
				turn := cmplx.Rect(taper, -2*math.Pi*f*float64(i)/pairRate)
				x, y = x+turn*complex(a[from+i]-ma, 0), y+turn*complex(b[from+i]-mb, 0)
			}
			xx, yy, xy = xx+real(x)*real(x)+imag(x)*imag(x), yy+real(y)*real(y)+imag(y)*imag(y), xy+cmplx.Conj(x)*y
		}
		same(t, "the coherence", got["coherence"], cmplx.Abs(xy)*cmplx.Abs(xy)/(xx*yy))
		same(t, "the phase", got["phase"], cmplx.Phase(xy)*180/math.Pi)
		g := pairGround(set["ground"])(f)
		along := math.Pow(math.Cos(set["tilt"]/1000), 2)
		same(t, "what is shared", got["end"], g*g*along/((g+set["a"]*set["a"])*(g+set["b"]*set["b"])))
		same(t, "the noise of each", got["self"], math.Sqrt(2/pairRate/(0.375*pairSegment*got["segments"])*(math.Sqrt(xx*yy)-cmplx.Abs(xy))))
	}
	// The mean of ten draws lies within the scatter of a coherence estimate, √(2γ²)(1-γ²)/√K of K
	// independent averages (Bendat and Piersol, Random Data, from memory), and its bias, (1-γ²)²/K.
	set := map[string]float64{"ground": 250, "a": 100, "b": 100, "late": 0.1, "tilt": 80}
	got := numbersOf(t, pier, set, 400)
	mean, k := 0.0, 31.0
	for pair := range uint64(10) {
		a, b, err := pairRecords(set, pairSamples, pair)
		if err != nil {
			t.Fatal(err)
		}
		p, err := signal.Welch{Segment: pairSegment}.Pair(a, b, pairRate)
		if err != nil {
			t.Fatal(err)
		}
		mean += p.Coherence()[int(math.Round(got["bin"]*pairSegment/pairRate))] / 10
	}
	if want := got["end"]; math.Abs(mean-want) > 4*math.Sqrt(2*want)*(1-want)/math.Sqrt(10*k)+(1-want)*(1-want)/k {
		t.Errorf("the coherence of ten pairs is %g, want %g", mean, want)
	}
	late := numbersOf(t, pier, map[string]float64{"late": 0.2, "f": 0.9}, 400)
	if turned := -360 * late["bin"] * 0.2; math.Abs(late["phase"]-turned) > 8 {
		t.Errorf("200 ms turn the phase by %g°, want %g°", late["phase"], turned)
	}
}

// TestDrains: gravity is that of two lines of mass, 2Gλz/(x²+z²), worked out here; of drains
// farther apart than they are deep the difference of two sensors leaves less midway.
func TestDrains(t *testing.T) {
	for set := range settingsOf(drains) {
		set["sensors"], set["apart"] = 0, math.Max(set["apart"], 2.5)
		got := numbersOf(t, drains, set, 0)
		lambda, z, apart := -1900*math.Pi*set["radius"]*set["radius"], set["depth"], set["apart"]
		line := func(x float64) float64 { return 1e8 * 2 * gravlab.G * lambda * z / (x*x + z*z) }
		same(t, "above a drain", got["over"], line(0)+line(apart))
		same(t, "midway", got["between"], 2*line(apart/2))
		// Straight above one line: 2Gλ/z, and 2Gλ/z² of the gradient.
		same(t, "over the noise of the meter", got["meter"], 2e8*gravlab.G*-lambda/z/set["meter"])
		same(t, "over that of the gradiometer", got["gradiometer"], 2e9*gravlab.G*-lambda/(z*z)/set["pair"])
		set["sensors"] = 1
		if two := numbersOf(t, drains, set, 0); apart > 1.2*z && two["dent"] >= got["dent"] {
			t.Errorf("%v: two sensors leave %g %% midway, one %g %%", set, two["dent"], got["dent"])
		}
	}
}

// TestTable: a record has the scene's own number at even times, under a head that the labs read as
// that of an own recording.
func TestTable(t *testing.T) {
	some := 0
	for _, s := range Scenes() {
		if s.Record == nil {
			if _, err := s.Table(nil, 10); err == nil {
				t.Errorf("%s records nothing and has a table", s.ID)
			}
			continue
		}
		some++
		if s.Record.rows != nil {
			continue // below
		}
		text, err := s.Table(nil, 20*s.Record.Every)
		if err != nil {
			t.Fatal(err)
		}
		_, err = ask.ReadTable(s.ID+".csv", text)
		if err != nil {
			t.Errorf("%s: %v\n%s", s.ID, err, text)
			continue
		}
		if n := len(strings.Split(strings.TrimSpace(text), "\n")) - 1; n != 21 {
			t.Errorf("%s: %d readings, want 21", s.ID, n)
		}
		state, err := s.At(nil, 7*s.Record.Every)
		if err != nil {
			t.Fatal(err)
		}
		for _, n := range state.Numbers {
			if n.ID == s.Record.Number && !strings.Contains(text, fmt.Sprintf("%.6g,%.6g\n", 7*s.Record.Every, n.Value)) {
				t.Errorf("%s: %g at %g s does not stand in\n%s", s.ID, n.Value, 7*s.Record.Every, text)
			}
		}
	}
	text, err := gate.Table(nil, 1e6)
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(text, "\n"); n > 400 {
		t.Errorf("after the truck has gone its record has %d readings", n)
	}
	if some < 5 {
		t.Errorf("only %d scenes record", some)
	}
}

// The records of the walk and of the ice cap have tables of their own, from which the numbers of
// the scene can be found again.
func TestTablesOfTheirOwn(t *testing.T) {
	read := func(s Scene, until float64) (*ask.Record, map[string]float64) {
		t.Helper()
		text, err := s.Table(nil, until)
		if err != nil {
			t.Fatal(err)
		}
		rec, err := ask.ReadTable("apparatus-"+s.ID+".csv", text)
		if err != nil {
			t.Fatal(err)
		}
		return rec, numbersOf(t, s, map[string]float64{}, until)
	}
	for _, until := range []float64{0, 5.5, 100} {
		rec, want := read(walk, until)
		reading, truth, station := rec.Column("reading"), rec.Column("truth"), rec.Column("station")
		var base []float64
		for i := range reading {
			if station[i] == 0 {
				base = append(base, (reading[i]-truth[i])/gravlab.MicroGal)
			}
		}
		same(t, "readings", float64(len(reading)), want["so"])
		same(t, "readings at the base", float64(len(base)), want["base"])
		if got := base[len(base)-1] - base[0]; math.Abs(got-want["close"]) > 1e-3 {
			t.Errorf("after %g readings the base has changed by %g µGal in the record, by %g in the scene", until, got, want["close"])
		}
	}
	for _, until := range []float64{0, 40, 1000} {
		rec, want := read(iceCap, until)
		years, mass := rec.Column("time"), rec.Column("mass")
		const year, gigatonne = 365.25 * 86400, 1e12
		for i := range years {
			years[i], mass[i] = years[i]/year, mass[i]/gigatonne
		}
		same(t, "months", float64(len(years)), want["so"])
		f, err := earth.TrendModel{Annual: true, Semiannual: true, Year: 1}.Fit(years, mass)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(f.Rate.Value-want["fit"]) > 1e-3 {
			t.Errorf("after %d months the rate is %g Gt/a by the record, %g in the scene", len(years), f.Rate.Value, want["fit"])
		}
	}
}

// What a pointer sets is drawn where the pointer is: within rounding, or within a step where only
// steps are drawn. Every scene has something to drag.
func TestDragged(t *testing.T) {
	steps := map[string]float64{pier.ID: 0.5 * pairRate / pairSegment, walk.ID: 1, iceCap.ID: 1.5} // in the unit of what is dragged; a month is drawn in its middle
	for _, s := range Scenes() {
		state, err := s.At(nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		if len(state.Drags) == 0 {
			t.Errorf("nothing can be dragged in %s", s.Title)
		}
		for k, d := range state.Drags {
			if !slices.IsSorted(d.Places) || len(d.Places) != len(d.Values) || len(d.Places) < 2 {
				t.Fatalf("%s, %s: places %v, values %v", s.ID, d.Control, d.Places, d.Values)
			}
			for _, share := range []float64{0.1, 0.5, 0.9} {
				place := d.Places[0] + share*(d.Places[len(d.Places)-1]-d.Places[0])
				v := valueAt(d, place)
				set, at := map[string]float64{d.Control: v}, 0.0
				if d.Control == dragsTime {
					set, at = nil, v
				} else if s.ID == pier.ID {
					at = 400
				}
				state, err := s.At(set, at)
				if err != nil {
					t.Fatal(err)
				}
				now := state.Drags[k]
				if now.Control == dragsTime && math.Abs(valueAt(now, place)-v) > 1e-9*v {
					t.Errorf("%s: the drag of the time changes as it is dragged", s.ID)
				}
				var drawn []float64
				for _, shape := range state.Shapes {
					x, y := shape.Points[0], shape.Points[1]
					if d.Control == "amplitude" && place < 0 {
						x = -x // it swings to either side
					}
					upright := shape.Kind == "line" && shape.Points[2] == x && shape.Points[3]-y > (now.Area[3]-now.Area[1])/2
					if shape.Kind != "circle" && !upright || x < now.Area[0]-1e-9 || x > now.Area[2]+1e-9 || !upright && (y < now.Area[1]-1e-9 || y > now.Area[3]+1e-9) {
						continue
					}
					if drawn = append(drawn, x); d.Down {
						drawn[len(drawn)-1] = y
					}
				}
				// Of what has come the last is dragged.
				slices.SortFunc(drawn, func(a, b float64) int { return cmp.Compare(math.Abs(a-place), math.Abs(b-place)) })
				if d.Control == dragsTime {
					slices.SortFunc(drawn, func(a, b float64) int { return cmp.Compare(b, a) })
				}
				if len(drawn) == 0 || math.Abs(valueAt(d, drawn[0])-v) > steps[s.ID]+2e-3*(slices.Max(d.Values)-slices.Min(d.Values)) {
					t.Errorf("%s, %s at %g: the pointer is at %g, drawn are %.4v", s.ID, d.Control, v, place, drawn[:min(3, len(drawn))])
				}
			}
		}
	}
}

// valueAt is what a drag sets where the pointer is.
func valueAt(d Drag, place float64) float64 {
	i := 1
	for i < len(d.Places)-1 && d.Places[i] < place {
		i++
	}
	share := (place - d.Places[i-1]) / (d.Places[i] - d.Places[i-1])
	return d.Values[i-1] + share*(d.Values[i]-d.Values[i-1])
}
