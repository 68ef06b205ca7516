package lab06

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/pendulum"
)

// The recordings of the swing: samples a second, and s before and after release.
const (
	passingRate  = 4.0
	passingQuiet = 400.0
	passingTime  = 1600.0
)

// What is known of the geometry, as the prompt prints it: standard
// uncertainties of the distance (m) and of the amplitude (rad).
const (
	passingUPlace     = 4e-3
	passingUAmplitude = 3e-3
)

// passingRecordings are the ids of the two recordings: with the ball, and with a
// shaker in its place.
var passingRecordings = [2]string{"swing", "shaker"}

// passingSwing is the pair of recordings and what the judge makes of them.
type passingSwing struct {
	p      passing // with the ball of the recordings, of a mass of its own
	make   [2]func() (pendulum.Recording, error)
	detect [2]func() pendulum.Detection
}

// swing draws a floor that takes a third to more than half of the pull away: the
// mass that the swing alone gives is plausible, and far too small.
func (p passing) swing(d *bank.Draw) passingSwing {
	// Far from the ball of the other questions, whose mass is printed.
	away := d.Between("painted ball", 3.5, 5, 0.1)
	if p.Bob.Mass > 17 {
		away = -away
	}
	p.Bob.Mass, p.Bob.Radius = p.Bob.Mass+away, paintedRadius
	vertical := p.station(r3.Vec{Z: 1})
	floor := pendulum.Floor{VerticalStiffness: 1e9, Share: 1}
	whole := gravlab.Must(p.Compare(vertical, floor, 2))[1].Ratio // at 2/T, negative
	floor.Share = d.Between("floor", 0.41, 0.57, 0.01) / math.Abs(whole)
	low := pendulum.LowNoise.PowerDensity()
	e := pendulum.Experiment{
		Pendulum: p.Pendulum, Station: vertical, Rate: passingRate, Quiet: passingQuiet, Swing: passingTime,
		// A quiet cellar, 20 dB above the low noise model.
		Ground:   func(f float64) float64 { return 100 * low(f) },
		OwnNoise: 0.8e-9, ReferenceNoise: 0.4e-9, Gain: d.Pick("reference gain", 0.97, 0.98, 1.02, 1.03),
		Floor: floor,
	}
	s := passingSwing{p: p}
	for i, name := range passingRecordings {
		e.Shaker = i == 1
		experiment := e
		s.make[i] = sync.OnceValues(func() (pendulum.Recording, error) {
			r, err := experiment.Record(d.Rand(name))
			for j := range r.Test {
				r.Test[j], r.Reference[j] = passingStep(r.Test[j]), passingStep(r.Reference[j])
			}
			return r, err
		})
		s.detect[i] = sync.OnceValue(func() pendulum.Detection {
			return gravlab.Must(s.analysis().Detect(gravlab.Must(s.make[i]())))
		})
	}
	return s
}

// passingStep rounds to the digitiser's step of 0.01 nm/s².
func passingStep(v float64) float64 { return math.Round(v*1e11) / 1e11 }

// paintedRadius is that of the ball of the recordings, m. It matters for the
// period: such a ball swings slower than a point, by about a second in an
// hour.
const paintedRadius = 0.075

// analysis is that of the worked answer: the mass of the bob in it is not
// looked at.
func (s passingSwing) analysis() pendulum.Analysis {
	p := s.p.Pendulum
	p.Bob.Mass = 1
	return pendulum.Analysis{
		Pendulum: p, Station: s.p.station(r3.Vec{Z: 1}), Lags: 2, Order: 8,
		UPlace: passingUPlace, UAmplitude: passingUAmplitude,
	}
}

func (s passingSwing) recording(i int) bank.Recording {
	return bank.Recording{
		ID:      passingRecordings[i],
		Columns: []bank.Column{{Name: "time", Unit: "s"}, {Name: "test", Unit: "m/s²"}, {Name: "reference", Unit: "m/s²"}},
		Make: func() ([][]float64, error) {
			r, err := s.make[i]()
			if err != nil {
				return nil, err
			}
			return [][]float64{r.Times(), r.Test, r.Reference}, nil
		},
	}
}

// amplitude is that of the line at 2/T in one recording, times a factor.
func (s passingSwing) amplitude(i int, factor float64) func(bank.Answers) float64 {
	return bank.Later(func() float64 { return factor * s.detect[i]().Lines[1].Amplitude })
}

// lineQuestion asks for the line at 2/T of one recording.
func (s passingSwing) lineQuestion(id string, i, marks int, from, to float64) bank.Question {
	return bank.Question{
		ID: id, Kind: judge.KindMeasured, Reads: []string{passingRecordings[i]}, Marks: marks, Unit: "nm/s²",
		Fields: bank.Fields{"length": s.p.Length, "degrees": s.p.degrees, "below": s.p.below},
		Solve:  s.amplitude(i, 1),
		U:      func() float64 { return s.detect[i]().Lines[1].UAmplitude },
		Slips: []bank.Slip{
			{ID: "rms", Value: s.amplitude(i, math.Sqrt2/2)},
			{ID: "peak-to-peak", Value: s.amplitude(i, 2)},
			{ID: "half", Value: s.amplitude(i, 0.5)},
			{ID: "first-line", Value: bank.Later(func() float64 { return s.detect[i]().Lines[0].Amplitude })},
		},
		Range: [2]float64{from, to},
	}
}

func (s passingSwing) mass() bank.Question {
	combine := func(f func(swing, shaker float64) float64) func(bank.Answers) float64 {
		return bank.Later(func() float64 { return f(s.detect[0]().Mass, s.detect[1]().Mass) })
	}
	right := func(swing, shaker float64) float64 { return swing - shaker }
	noise := func() float64 { return math.Hypot(s.detect[0]().UNoise, s.detect[1]().UNoise) }
	// The geometry turns all of the line into mass by one factor.
	geometry := func() float64 {
		d := s.detect[0]()
		return math.Hypot(d.UPlace, d.UAmplitude) / math.Abs(d.Mass) * math.Abs(right(d.Mass, s.detect[1]().Mass))
	}
	return bank.Question{
		ID: "mass", Kind: judge.KindMeasured, Reads: []string{"swing", "shaker"}, Marks: 4, Unit: "kg", Tol: judge.Tolerance{Rel: 0.04},
		Fields: bank.Fields{"below": s.p.below, "length": s.p.Length, "degrees": s.p.degrees},
		Solve:  combine(right),
		U:      func() float64 { return math.Hypot(noise(), geometry()) },
		Slips: []bank.Slip{
			{ID: "floor", Value: combine(func(swing, _ float64) float64 { return swing })},
			{ID: "floor-sign", Value: combine(func(swing, shaker float64) float64 { return swing + shaker })},
			{ID: "shaker", Value: combine(func(_, shaker float64) float64 { return -shaker })},
			{ID: "quadrature", Value: combine(math.Hypot)},
			{ID: "doubled", Value: combine(func(swing, shaker float64) float64 { return 2 * right(swing, shaker) })},
			{ID: "half", Value: combine(func(swing, shaker float64) float64 { return right(swing, shaker) / 2 })},
		},
		USlips: []bank.Slip{
			{ID: "one-noise", Value: bank.Later(func() float64 { return s.detect[0]().UNoise })},
			{ID: "no-geometry", Value: bank.Later(noise)},
			{ID: "straight-sum", Value: bank.Later(func() float64 { return s.detect[0]().UNoise + s.detect[1]().UNoise + geometry() })},
		},
		Range: [2]float64{11, 23.5},
	}
}
