package survey

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/internal/arg"
)

// A DayPlan makes a day in the field: what is walked, and what goes wrong.
type DayPlan struct {
	Job      Job
	Truth    []Adjusted // gravity at each mark, m/s²; U is not used
	Tie      Tie
	Order    []string // stations, in the order of the readings
	Start    time.Time
	Interval time.Duration
	Zero     float64 // by how much the meter reads below gravity, m/s²
	Rate     float64 // of its drift, m/s² per s
	Bend     float64 // second derivative of the drift, m/s² per s²
	Noise    float64 // standard deviation of one reading, m/s²
	Step     float64 // last digit of the counter, counter units
	Pressure float64 // of the air at the start, Pa, and its change in PerHour
	PerHour  float64 // Pa per h
	// Faults. An index below zero switches each off.
	TareAfter   int     // the reading after which the zero jumps
	TareSize    float64 // m/s²
	BlunderAt   int     // the reading that was written down wrong
	BlunderSize float64 // counter units
	HourFrom    int     // the reading from which the times are an hour late
}

// A Day is a simulated field book, with the plan that made it.
type Day struct {
	Plan     DayPlan
	Readings []Reading
}

// AshgillFarm is the survey of the fictional field site of the labs: a base at
// the farm gate and six stations along a line up the fell, walked in steps from
// and back to the base, with a drift of 8 µGal an hour and noise of 3 µGal and
// no faults.
func AshgillFarm() DayPlan {
	const degree = math.Pi / 180
	p := DayPlan{
		Start: time.Date(2021, 4, 14, 8, 10, 0, 0, time.UTC), Interval: 11 * time.Minute,
		Zero: 9.7720, Rate: 8e-8 / 3600, Noise: 3e-8, Step: 0.001, Pressure: 97700, PerHour: 40,
		TareAfter: -1, TareSize: 25e-8, BlunderAt: -1, BlunderSize: 0.1, HourFrom: -1,
	}
	p.Job = Job{
		Meter:  Meter{Scale: 1.000412, UScale: 0.00008, RecoveryAmplitude: 12e-8, RecoveryTime: 140},
		Factor: earth.GravimetricFactor, Permanent: earth.ZeroTide, Admittance: earth.PressureAdmittance,
	}
	// A table as makers give it: about 1.04 mGal a unit, not quite even.
	value := 0.0
	for i := range 71 {
		p.Job.Meter.Table = append(p.Job.Meter.Table, TableRow{Counter: 100 * float64(i), Gravity: value})
		value += 100 * (1.0402 + 0.0006*math.Sin(0.31*float64(i))) * gravlab.MilliGal
	}
	names := []string{"base", "A1", "A2", "A3", "A4", "A5", "A6"}
	for i, name := range names {
		site := earth.Site{Lat: (54.6250 + 0.0004*float64(i)) * degree, Lon: (-2.3750 + 0.0005*float64(i)) * degree, Height: 310 + 6.5*float64(i) + 2*math.Sin(float64(i))}
		p.Job.Stations = append(p.Job.Stations, Station{Name: name, Site: site, Gradient: -3.02e-6 - 0.02e-6*float64(i%3), Porosity: 0.2})
		// Normal gravity at the station, rock of 2600 kg/m³ beneath, and a low of
		// 60 µGal over something light near A3.
		g := 9.8137 - (3.0850e-6-2*math.Pi*gravlab.G*2600)*(site.Height-310) + 7.7e-9*44.5*float64(i)
		x := (float64(i) - 3) / 0.9
		g -= 60e-8 * math.Exp(-x*x)
		p.Truth = append(p.Truth, Adjusted{Name: name, Value: math.Round(g*1e9) / 1e9})
	}
	p.Order = append(Step("base", names[1:]...), "A3", "base")
	p.Tie = Tie{Station: "base", Value: p.Truth[0].Value, U: 4e-8}
	return p
}

// Validate reports what cannot be used.
func (p DayPlan) Validate() error {
	const fn = "survey.DayPlan"
	err := errors.Join(p.Job.Validate(),
		arg.AtLeast(fn, "Order", len(p.Order), 2),
		arg.Between(fn, "Zero", p.Zero, -20, 20, "gravity in m/s²"),
		arg.Between(fn, "Rate", p.Rate, -1e-6, 1e-6, "drift in m/s² per s"),
		arg.Between(fn, "Bend", p.Bend, -1e-9, 1e-9, "bend of the drift in m/s² per s²"),
		arg.Between(fn, "Noise", p.Noise, 0, 1e-3, "standard deviation in m/s²"),
		arg.Between(fn, "Step", p.Step, 1e-9, 10, "step of the counter"),
		arg.Between(fn, "Pressure", p.Pressure, 2e4, 1.1e5, "pressure in Pa"),
		arg.Between(fn, "PerHour", p.PerHour, -1e3, 1e3, "change in Pa per hour"),
		arg.Between(fn, "TareSize", p.TareSize, -1e-3, 1e-3, "step in m/s²"),
		arg.Between(fn, "BlunderSize", p.BlunderSize, -1e4, 1e4, "counter units"))
	if p.Interval < time.Minute || p.Interval > 24*time.Hour || len(p.Order) > 1000 {
		err = errors.Join(err, arg.Bad(fn, "Interval", p.Interval, "a minute to a day, for at most 1000 readings"))
	}
	return err
}

// Simulate makes the field book of the day. The same source in the same state
// gives the same readings. Reading uncertainties are the noise and the rounding
// of the counter together.
func (p DayPlan) Simulate(rng *rand.Rand) (Day, error) {
	const fn = "survey.DayPlan.Simulate"
	if rng == nil {
		return Day{}, arg.Bad(fn, "rng", "nil", "a source of random numbers with a seed")
	}
	if err := p.Validate(); err != nil {
		return Day{}, err
	}
	day := Day{Plan: p}
	for i, name := range p.Order {
		at := p.Start.Add(time.Duration(i) * p.Interval)
		elapsed := float64(i) * p.Interval.Seconds()
		r := Reading{Station: name, Time: at,
			Level:        float64(40e-6 * rng.NormFloat64()),
			CrossLevel:   float64(40e-6 * rng.NormFloat64()),
			SensorHeight: math.Round(1e3*(0.245+float64(0.006*rng.NormFloat64()))) / 1e3,
			Settled:      math.Round(150 + float64(120*rng.Float64())),
			Pressure:     math.Round(p.Pressure + float64(p.PerHour*elapsed/3600)),
		}
		truth, found := 0.0, false
		for _, s := range p.Truth {
			if s.Name == name {
				truth, found = s.Value, true
			}
		}
		if !found {
			return Day{}, arg.Bad(fn, fmt.Sprintf("Order[%d]", i), name, "a station with a true value")
		}
		// The corrections of an honest reading, taken off the truth.
		clean := r
		clean.U, clean.Counter = p.Step, p.firstCounter()
		reduced, err := p.Job.Reduce([]Reading{clean})
		if err != nil {
			return Day{}, err
		}
		raw := truth - p.Zero - (reduced[0].Value - reduced[0].Raw)
		raw += float64(p.Rate*elapsed) + float64(0.5*p.Bend*elapsed*elapsed) + float64(p.Noise*rng.NormFloat64())
		if p.TareAfter >= 0 && i > p.TareAfter {
			raw += p.TareSize
		}
		counter, perUnit, err := p.Job.Meter.counter(raw)
		if err != nil {
			return Day{}, fmt.Errorf("%s: %w", fn, err)
		}
		r.Counter = math.Round(counter/p.Step) * p.Step
		r.U = math.Hypot(p.Noise/math.Abs(perUnit), p.Step/math.Sqrt(12))
		if i == p.BlunderAt {
			r.Counter += p.BlunderSize
		}
		if p.HourFrom >= 0 && i >= p.HourFrom {
			r.Time = r.Time.Add(time.Hour)
		}
		day.Readings = append(day.Readings, r)
	}
	return day, nil
}

func (p DayPlan) firstCounter() float64 {
	if len(p.Job.Meter.Table) > 0 {
		return p.Job.Meter.Table[0].Counter
	}
	return 0
}

// counter is the inverse of Meter.Gravity.
func (m Meter) counter(value float64) (counter, perUnit float64, err error) {
	v := value / m.Scale
	if len(m.Table) == 0 {
		return v, m.Scale, nil
	}
	for i := 1; i < len(m.Table); i++ {
		a, b := m.Table[i-1], m.Table[i]
		if (v-a.Gravity)*(v-b.Gravity) <= 0 && a.Gravity != b.Gravity {
			factor := (b.Gravity - a.Gravity) / (b.Counter - a.Counter)
			return a.Counter + (v-a.Gravity)/factor, m.Scale * factor, nil
		}
	}
	return 0, 0, arg.Bad("survey.Meter", "gravity", value, "a value within the counter table: choose another zero")
}
