package lab14

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
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

func drawPass(d *bank.Draw) passRecord {
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
	vApart := r.Cov.At(0, 0) + r.Cov.At(2, 2) - 2*r.Cov.At(0, 2)
	return passFit{
		speed: r.P[4], uSpeed: r.U[4],
		apart: r.P[0] - r.P[2], uApart: math.Sqrt(vApart),
		cargo: 1000 * r.P[3], uCargo: 1000 * r.U[3], front: 1000 * r.P[1],
	}
}

func (p passRecord) recording() bank.Recording {
	return bank.Recording{
		ID:      "pass",
		Columns: []bank.Column{{Name: "time", Unit: "s"}, {Name: "first", Unit: "m/s²"}, {Name: "second", Unit: "m/s²"}},
		Make: func() ([][]float64, error) {
			c := p.channels()
			columns := [][]float64{c[0].Times, nil, nil}
			for i := range c {
				for _, v := range c[i].Reading {
					columns[1+i] = append(columns[1+i], bank.Clean(v))
				}
			}
			return columns, nil
		},
	}
}

func (p passRecord) speed() bank.Question {
	v := func() passFit { return p.fit() }
	return bank.Question{
		ID: "speed", Kind: judge.KindMeasured, Marks: 3, Unit: "m/s",
		Fields: bank.Fields{"said": p.said, "reaches": p.reaches, "cargoReaches": p.reaches + p.follows},
		Solve:  func(bank.Answers) float64 { return v().speed },
		U:      func() float64 { return v().uSpeed },
		Slips: []bank.Slip{
			{ID: "driver-speed", Value: bank.Always(p.said / 3.6)},
			{ID: "different-loads", Value: func(bank.Answers) float64 { return v().speed * gateApart / (gateApart + v().apart) }},
			{ID: "half-distance", Value: func(bank.Answers) float64 { return v().speed / 2 }},
			{ID: "km-h", Value: func(bank.Answers) float64 { return 3.6 * v().speed }},
			{ID: "upside-down", Value: func(bank.Answers) float64 { return 1 / v().speed }},
		},
		Range: [2]float64{1.05, 1.55},
	}
}

func (p passRecord) apart() bank.Question {
	v := func() passFit { return p.fit() }
	return bank.Question{
		ID: "apart", Kind: judge.KindMeasured, Marks: 3, Unit: "m",
		Fields: bank.Fields{"reaches": p.reaches, "cargoReaches": p.reaches + p.follows},
		Solve:  func(bank.Answers) float64 { return v().apart },
		U:      func() float64 { return v().uApart },
		Slips: []bank.Slip{
			{ID: "driver-speed", Value: func(bank.Answers) float64 { return v().apart * p.said / 3.6 / v().speed }},
			{ID: "km-h-for-m-s", Value: func(bank.Answers) float64 { return 3.6 * v().apart }},
			{ID: "half", Value: func(bank.Answers) float64 { return v().apart / 2 }},
			{ID: "sensors", Value: bank.Always(gateApart)},
		},
		Range: [2]float64{3.2, 5},
	}
}

func (p passRecord) cargo() bank.Question {
	v := func() passFit { return p.fit() }
	near := func() float64 { return v().cargo * math.Pow(cargoUp/(cargoUp+gateDepth), 2) }
	total := func() float64 { return v().cargo + v().front }
	return bank.Question{
		ID: "cargo", Kind: judge.KindMeasured, Marks: 3, Unit: "t",
		Fields: bank.Fields{"reaches": p.reaches, "cargoReaches": p.reaches + p.follows},
		Solve:  func(bank.Answers) float64 { return v().cargo },
		U:      func() float64 { return v().uCargo },
		Slips: []bank.Slip{
			{ID: "above-road", Value: func(bank.Answers) float64 { return near() }},
			{ID: "both-loads", Value: func(bank.Answers) float64 { return total() }},
			{ID: "driver-speed", Value: func(bank.Answers) float64 {
				if p.misled() == nil {
					return math.NaN()
				}
				return p.misled().Loads[1].Mass
			}},
			{ID: "front", Value: func(bank.Answers) float64 { return v().front }},
			{ID: "difference", Value: func(bank.Answers) float64 { return v().cargo - v().front }},
		},
		Range: [2]float64{2500, 6600},
	}
}
