package exercises

import (
	"fmt"
	"math"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/buried"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/judge"
)

// The gate: two sensors in covered pits under the middle of the lane, gateApart
// along it, gateDepth below the road; both read upwards.
const (
	gateApart  = 8.0    // m
	gateDepth  = 1.2    // m
	gateNoise  = 1.5e-9 // m/s²
	frontUp    = 1.0    // m, height of the engine and the driver above the road
	cargoUp    = 1.4    // m
	gateSample = 0.25   // s
	gateLength = 200    // samples
)

// A passRecord is the recording of one sheet: a vehicle over both sensors, at a
// speed that the driver misjudged.
type passRecord struct {
	said     float64 // km/h, what the driver said
	reaches  float64 // s, when the front load is over the first sensor, as read from a plot
	follows  float64 // s later: the cargo
	channels func() []buried.Channel
	fit      func() passFit
	misled   func() *buried.LoadFit // at the speed that the driver said; nil where the search finds no minimum
}

// passFit is the fit of both records with the speed as one more unknown.
type passFit struct {
	speed, uSpeed float64 // m/s
	apart, uApart float64 // m
	cargo, uCargo float64 // kg
	front         float64 // kg
}

func drawPass(d *Draw) passRecord {
	speed := d.Between("speed", 1.1, 1.5, 0.01)
	wrong := d.Pick("driver", 0.76, 0.8, 0.84, 1.18, 1.22, 1.28)
	reach := d.Between("reach", 14, 18, 0.1)
	apart := d.Between("loads apart", 3.6, 4.6, 0.05)
	p := passRecord{said: math.Round(3.6*speed*wrong*10) / 10, reaches: math.Round(reach), follows: math.Round(apart/speed*2) / 2}
	pass := buried.Pass{Speed: speed, Loads: []buried.Load{
		{X: -speed * reach, Mass: d.Between("front", 1800, 2600, 50), Height: frontUp},
		{X: -speed*reach - apart, Mass: d.Between("cargo", 3000, 6000, 50), Height: cargoUp},
	}}
	offsets := []float64{d.Between("first zero", -40, 40, 1) * 1e-9, d.Between("second zero", -40, 40, 1) * 1e-9}
	p.channels = sync.OnceValue(func() []buried.Channel {
		random := d.Rand("pass")
		var out []buried.Channel
		for i, offset := range offsets {
			c := buried.Channel{At: r3.Vec{X: gateApart * float64(i), Z: gateDepth}, Axis: r3.Vec{Z: -1}, Sigma: gateNoise, Step: 0.1e-9}
			for k := range gateLength {
				c.Times = append(c.Times, gateSample*float64(k))
			}
			out = append(out, gravlab.Must(pass.Record(random, c, offset)))
		}
		return out
	})
	p.fit = sync.OnceValue(func() passFit { return fitPass(p.channels(), pass) })
	p.misled = sync.OnceValue(func() *buried.LoadFit {
		guess := []buried.Load{pass.Loads[0], pass.Loads[1]}
		for i := range guess {
			// At this speed the loads seem to start elsewhere: keep the moment at
			// which they are half-way between the sensors.
			when := (gateApart/2 - guess[i].X) / speed
			guess[i].X = gateApart/2 - p.said/3.6*when
		}
		f, err := buried.FitLoads(p.channels(), p.said/3.6, guess, nil, nil)
		if err != nil {
			return nil
		}
		return f
	})
	return p
}

// fitPass fits places, masses, speed and the two zeros, in m, t, m/s and nm/s²,
// so that all unknowns are of one size.
func fitPass(channels []buried.Channel, start buried.Pass) passFit {
	var x, y, sigma []float64
	for _, c := range channels {
		for i := range c.Times {
			x, y, sigma = append(x, float64(len(x))), append(y, c.Reading[i]*1e9), append(sigma, c.Sigma*1e9)
		}
	}
	up := func(m, x, d float64) float64 { r := math.Hypot(x, d); return gravlab.G * 1e12 * m * d / (r * r * r) }
	r := gravlab.Must(fit.Curve{
		X: x, Y: y, Sigma: sigma,
		Start: []float64{start.Loads[0].X, start.Loads[0].Mass / 1000, start.Loads[1].X, start.Loads[1].Mass / 1000, start.Speed, y[0], y[gateLength]},
		Model: func(p, _, dst []float64) {
			k := 0
			for i, c := range channels {
				for _, t := range c.Times {
					dst[k] = p[5+i] + up(p[1], p[0]+p[4]*t-c.At.X, frontUp+gateDepth) + up(p[3], p[2]+p[4]*t-c.At.X, cargoUp+gateDepth)
					k++
				}
			}
		},
	}.Fit())
	return passFit{
		speed: r.P[4], uSpeed: r.U[4],
		apart: r.P[0] - r.P[2], uApart: math.Sqrt(r.Cov.At(0, 0) + r.Cov.At(2, 2) - 2*r.Cov.At(0, 2)),
		cargo: 1000 * r.P[3], uCargo: 1000 * r.U[3], front: 1000 * r.P[1],
	}
}

func (p passRecord) recording() Recording {
	return Recording{
		ID: "pass", Title: "A vehicle over the two sensors of the gate: what each reads upwards",
		Columns: []Column{{Name: "time", Unit: "s"}, {Name: "first", Unit: "m/s²"}, {Name: "second", Unit: "m/s²"}},
		Make: func() ([][]float64, error) {
			c := p.channels()
			columns := [][]float64{c[0].Times, nil, nil}
			for i := range c {
				for _, v := range c[i].Reading {
					columns[1+i] = append(columns[1+i], clean(v))
				}
			}
			return columns, nil
		},
	}
}

// The gate in words, for every prompt that needs it.
const gateWords = "Both sensors read upwards from pits 1.2 m below the road, under the middle of the lane, the second 8.00 m further on; a reading has a noise of 1.5 nm/s², and each sensor has a zero of its own. The loads count as points: the front one (engine and driver) 1.0 m above the road, the cargo behind it 1.4 m above the road."

// reading is the code with which the worked answers about the pass start: at is
// the fit at a speed, v the speed at which chi² is smallest, uv its uncertainty.
func (p passRecord) reading() string {
	return fmt.Sprintf("rec := sheet.Recording(\"pass\")\nchannel := func(name string, x float64) buried.Channel {\n\treturn buried.Channel{At: r3.Vec{X: x, Z: 1.2}, Axis: r3.Vec{Z: -1},\n\t\tTimes: rec.Column(\"time\"), Reading: rec.Column(name), Sigma: 1.5e-9}\n}\nboth := []buried.Channel{channel(\"first\", 0), channel(\"second\", 8)}\n"+
		"at := func(v float64) *buried.LoadFit {\n\tguess := []buried.Load{ // front and cargo reach the first sensor at about %s s and %s s\n\t\t{X: -v * %s, Mass: 2000, Height: 1.0}, {X: -v * %s, Mass: 4000, Height: 1.4}}\n\treturn gravlab.Must(buried.FitLoads(both, v, guess, nil, nil))\n}\n"+
		"v := 1.1 // m/s\nfor try := 1.1; try <= 1.5; try += 0.02 {\n\tif at(try).Fit.Chi2 < at(v).Fit.Chi2 {\n\t\tv = try\n\t}\n}\n"+
		"// A parabola through three values of chi²: its bottom, and where it has risen by 1.\nlow, mid, high := at(v-0.02).Fit.Chi2, at(v).Fit.Chi2, at(v+0.02).Fit.Chi2\nbend := low - 2*mid + high\nv += 0.02 * (low - high) / 2 / bend\n",
		lit(p.reaches), lit(p.reaches+p.follows), lit(p.reaches), lit(p.reaches+p.follows))
}

func (p passRecord) speed() Question {
	v := func() passFit { return p.fit() }
	return Question{
		ID: "speed", Kind: judge.Measured, Marks: 3, Title: "How fast did it go?",
		Prompt: fmt.Sprintf("`sheet.Recording(\"pass\")` holds what the gate read while a vehicle drove over it: `time` in s, `first` and `second` in m/s². %s The driver said that he kept %.1f km/h; speedometers do not like walking pace. How fast did the vehicle go, by the two sensors, and how well do you know it?", gateWords, p.said),
		Unit:   "m/s",
		Solve:  func(Known) float64 { return v().speed }, U: func() float64 { return v().uSpeed },
		Slips: []Slip{
			{Name: "the speed that the driver said", Value: valueOf(p.said / 3.6), Fix: "Two sensors a known way apart are a better clock than a speedometer.\nHow long after the first does the second see the same load?"},
			{Name: "the front at one sensor timed against the cargo at the other", Value: func(Known) float64 { return v().speed * gateApart / (gateApart + v().apart) }, Fix: "Time the same load at both sensors."},
			{Name: "the half of the way between the sensors", Value: func(Known) float64 { return v().speed / 2 }, Fix: "From sensor to sensor it is 8 m."},
		},
		Range:     [2]float64{1.05, 1.55},
		Hints:     [2]string{"Plot both sensors. Each load makes one bump at each of them: how much later?", "Fit the loads (buried.FitLoads) at several speeds: the right one has the smallest chi², and chi² rises by 1 one standard uncertainty away."},
		Worked:    "%%\n// At a wrong speed the two records contradict each other: look for the smallest chi².\n" + p.reading() + "sheet.Measured(\"speed\", v, 0.02*math.Sqrt(2/bend), \"m/s\")",
		Reasoning: "Both sensors see the same loads, 8 m apart: the delay gives the speed. Chi² of the fit, as a function of the speed, is near its bottom a parabola that rises by 1 at one standard uncertainty.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording; noise, rounding and the driver's speed are not in the fitted model"},
	}
}

func (p passRecord) apart() Question {
	v := func() passFit { return p.fit() }
	return Question{
		ID: "apart", Kind: judge.Measured, Marks: 3, Title: "Where is the cargo?",
		Prompt: "From the same two records: how far behind the front load is the cargo, centre to centre, and how well do you know it?",
		Unit:   "m",
		Solve:  func(Known) float64 { return v().apart }, U: func() float64 { return v().uApart },
		Slips: []Slip{
			{Name: "the speed that the driver said", Value: func(Known) float64 { return v().apart * p.said / 3.6 / v().speed }, Fix: "A way is a time times a speed: a wrong speed stretches or squeezes the vehicle.\nFind the speed from the two sensors first."},
			{Name: "km/h taken for m/s", Value: func(Known) float64 { return 3.6 * v().apart }, Fix: "Seconds times kilometres per hour are no metres."},
		},
		Range:     [2]float64{3.2, 5},
		Hints:     [2]string{"With the speed from the last question: how far apart are the two loads in the fit?", "X of the first load less X of the second. Their uncertainties add in squares, and the speed's adds to them."},
		Worked:    "%%\n// The fit at the right speed; the loads' places, and what the speed adds.\n" + p.reading() + "f := at(v)\napart := f.Loads[0].X - f.Loads[1].X\nu := math.Hypot(math.Hypot(f.UX[0], f.UX[1]), apart*0.02*math.Sqrt(2/bend)/v)\nsheet.Measured(\"apart\", apart, u, \"m\")",
		Reasoning: "The place is what gravity gives best: a few centimetres, from masses of some tonnes. But it scales with the speed. With the driver's word the cargo would stand elsewhere, to the same fine digits.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording"},
	}
}

func (p passRecord) cargo() Question {
	v := func() passFit { return p.fit() }
	near := func() float64 { return v().cargo * math.Pow(cargoUp/(cargoUp+gateDepth), 2) }
	total := func() float64 { return v().cargo + v().front }
	return Question{
		ID: "cargo", Kind: judge.Measured, Marks: 3, Title: "How heavy is it?",
		Prompt: "And the mass of the cargo: what is it, with the heights taken as exact, and how well do you know it?",
		Unit:   "t",
		Solve:  func(Known) float64 { return v().cargo }, U: func() float64 { return v().uCargo },
		Slips: []Slip{
			{Name: "the height above the road taken for that above the sensor", Value: func(Known) float64 { return near() }, Fix: "The sensor lies 1.2 m below the road: distances count from there."},
			{Name: "both loads together", Value: func(Known) float64 { return total() }, Fix: "The question asks for the cargo; the front load is the engine and the driver."},
			{Name: "the speed that the driver said", Value: func(Known) float64 {
				if p.misled() == nil {
					return math.NaN()
				}
				return measuredApart(p.misled().Loads[1].Mass, v().cargo, v().uCargo, near(), total())
			}, Fix: "At a wrong speed the bumps of the model are too wide or too narrow. Find the speed first."},
		},
		Range:     [2]float64{2500, 6600},
		Hints:     [2]string{"The same fit, at the speed from the two sensors, with the heights as stated.", "Loads[1].Mass and UMass[1]."},
		Worked:    "%%\n// The same fit: the second load is the cargo.\n" + p.reading() + "f := at(v)\nsheet.Measured(\"cargo\", f.Loads[1].Mass/1000, f.UMass[1]/1000, \"t\")",
		Reasoning: "The pull gives $m/d^2$ and the heights turn it into a mass. The uncertainty of the fit says how well the *record* knows it; the next question adds the height.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording"},
	}
}
