package exercises

import (
	"fmt"
	"math"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
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

// passingSwing is the pair of recordings, with the ball and with a shaker in its
// place, and what the judge makes of them.
type passingSwing struct {
	p      passing // with the ball of the recordings, of a mass of its own
	make   [2]func() (pendulum.Recording, error)
	detect [2]func() pendulum.Detection // of swing and shaker
}

// swing draws a floor that takes a third to more than half of the pull away: the
// mass that the swing alone gives is plausible, and far too small.
func (p passing) swing(d *Draw) passingSwing {
	p.Bob.Mass, p.Bob.Radius = d.Between("painted ball", 13, 19, 0.1), paintedRadius
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
	for i, name := range []string{"swing", "shaker"} {
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

func (s passingSwing) recording(shaker bool) Recording {
	r := Recording{
		ID: "swing", Title: "A vertical sensor below a swinging ball, and a reference sensor in the next room; release at time 0",
		Columns: []Column{{Name: "time", Unit: "s"}, {Name: "test", Unit: "m/s²"}, {Name: "reference", Unit: "m/s²"}},
	}
	which := s.make[0]
	if shaker {
		r.ID, r.Title = "shaker", "The same sensors, with a shaker in place of the ball: the same force on the support from time 0"
		which = s.make[1]
	}
	r.Make = func() ([][]float64, error) {
		rec, err := which()
		if err != nil {
			return nil, err
		}
		return [][]float64{rec.Times(), rec.Test, rec.Reference}, nil
	}
	return r
}

// reading is the code with which every worked answer about the recordings
// starts: detect analyses one of them.
func (s passingSwing) reading() string {
	return fmt.Sprintf("p := pendulum.Pendulum{\n\tBob:    pendulum.Bob{Shape: pendulum.Sphere, Mass: 1, Radius: 0.075}, // the mass is not looked at\n\tLength: %s, Gravity: 9.81, Amplitude: %s * math.Pi / 180,\n}\n", lit(s.p.Length), lit(s.p.degrees)) +
		fmt.Sprintf("station := pendulum.Station{At: r3.Vec{Z: p.Length + %s}, Axis: r3.Vec{Z: 1}}\nsearch := pendulum.Analysis{\n\tPendulum: p, Station: station, Lags: 2, Order: 8,\n\tUPlace: 4e-3, UAmplitude: 3e-3,\n}\n", lit(s.p.below)) +
		"detect := func(name string) pendulum.Detection {\n\trec := sheet.Recording(name)\n\treturn gravlab.Must(search.Detect(pendulum.Recording{\n\t\tRate: 4, Release: 1600, Test: rec.Column(\"test\"), Reference: rec.Column(\"reference\"),\n\t}))\n}\n"
}

// linePair is the answer of one recording's line at 2/T.
func (s passingSwing) linePair(i int, factor float64) func(Known) float64 {
	return pierValue(func() float64 { return factor * s.detect[i]().Lines[1].Amplitude })
}

func (s passingSwing) lineU(i int) func() float64 {
	return func() float64 { return s.detect[i]().Lines[1].UAmplitude }
}

func (s passingSwing) amplitude() Question {
	return Question{
		ID: "amplitude", Kind: judge.Measured, Marks: 3, Title: "The line in your own recording",
		Prompt: fmt.Sprintf("`sheet.Recording(\"swing\")` holds four samples a second: `time` in s from the release, `test` from the vertical sensor below the ball and `reference` from its twin in the next room, in m/s². A painted ball of 75 mm radius, whose mass nobody remembers, was let go at time 0, with $L = %.2f\\ \\mathrm{m}$ to its centre and $\\theta_0 = %g°$; a clock's escapement keeps it at that. "+
			"Take off what the reference saw too, with a factor fitted *before* the release. What amplitude (zero to peak) does the line at $2/T$ have in what is left after the release, and how well do you know it?", s.p.Length, s.p.degrees),
		Unit:  "nm/s²",
		Solve: s.linePair(0, 1),
		U:     s.lineU(0),
		Slips: []Slip{
			{Name: "the rms given for the amplitude", Value: s.linePair(0, math.Sqrt2/2), Fix: "The amplitude is zero to peak."},
			{Name: "from trough to crest", Value: s.linePair(0, 2), Fix: "The amplitude counts from zero to peak."},
		},
		Range: [2]float64{3e-10, 2.6e-9},
		Hints: [2]string{"signal.Subtract on the part before release, then signal.LockIn at 2/T on what is left. T is that of a wide swing and of a ball that is no point.", "pendulum.Analysis does all of it: Detect(...).Lines[1] is the line at 2/T with its uncertainty."},
		Worked: "%%\n// Reference off (fitted before release), lock-in at 2/T after it.\n" + s.reading() +
			"line := detect(\"swing\").Lines[1]\nsheet.Measured(\"amplitude\", line.Amplitude, line.UAmplitude, \"m/s²\")",
		Reasoning: "The ground is a hundred times larger than the line and is taken off almost wholly, since the reference feels the same. What remains is the noise of the two sensors, about $1\\ \\mathrm{nm/s^2/\\sqrt{Hz}}$; over 1600 s it leaves $u = s/\\sqrt t$ of the line's amplitude.",
		Source:    Source{Text: "common practice, no source: least squares at a known frequency; the sheet's own recording"},
	}
}

func (s passingSwing) floorLine() Question {
	return Question{
		ID: "floor-line", Kind: judge.Measured, Marks: 2, Title: "The same without the ball",
		Prompt: "Then the ball was taken down. A shaker, an air piston between the frame and the roof beam, pushed the support from time 0 with just the force that the swing had made; hardly any mass moves in it. `sheet.Recording(\"shaker\")` holds the same three columns. What amplitude does the line at $2/T$ have there, and how well do you know it?",
		Unit:   "nm/s²",
		Solve:  s.linePair(1, 1),
		U:      s.lineU(1),
		Slips: []Slip{
			{Name: "the rms given for the amplitude", Value: s.linePair(1, math.Sqrt2/2), Fix: "The amplitude is zero to peak."},
			{Name: "from trough to crest", Value: s.linePair(1, 2), Fix: "The amplitude counts from zero to peak."},
		},
		Range: [2]float64{2e-10, 2.2e-9},
		Hints: [2]string{"The same steps as for the swing, with the other recording.", "Detect(...).Lines[1] of the recording \"shaker\"."},
		Worked: "%%\n// The same analysis of the recording without a ball.\n" + s.reading() +
			"line := detect(\"shaker\").Lines[1]\nsheet.Measured(\"floor-line\", line.Amplitude, line.UAmplitude, \"m/s²\")",
		Reasoning: "The vertical force of a swing on its support pulses at $2/T$, and the slab gives way a little. So the line has a part that is no gravity. Compare the phases of the two lines.",
		Source:    Source{Text: "common practice, no source: least squares at a known frequency; the sheet's own recording"},
	}
}

func (s passingSwing) mass() Question {
	combine := func(f func(swing, shaker float64) float64) func(Known) float64 {
		return pierValue(func() float64 { return f(s.detect[0]().Mass, s.detect[1]().Mass) })
	}
	right := func(swing, shaker float64) float64 { return swing - shaker }
	noise := func() float64 { return math.Hypot(s.detect[0]().UNoise, s.detect[1]().UNoise) }
	return Question{
		ID: "mass", Kind: judge.Measured, Marks: 4, Title: "The mass of the ball, by its gravity",
		Prompt: fmt.Sprintf("Weigh the painted ball without a scale: what is its mass by its pull alone, and how well do you know it? `pendulum.Analysis` turns a recording into the mass whose pull would make it. The sensor stands %.2f m below the ball's centre at rest, known to 4 mm (standard uncertainty); the amplitude is known to 3 mrad. Mind what the line is made of.", s.p.below),
		Unit:   "kg",
		Solve:  combine(right),
		U: func() float64 {
			// The geometry turns all of the line into mass by one factor.
			d := s.detect[0]()
			geometry := math.Hypot(d.UPlace, d.UAmplitude) / math.Abs(d.Mass) * math.Abs(right(d.Mass, s.detect[1]().Mass))
			return math.Hypot(noise(), geometry)
		},
		Slips: []Slip{
			{Name: "the motion of the floor left in", Value: combine(func(swing, _ float64) float64 { return swing }), Fix: "Part of the line is the floor, which the swing shakes. Which recording shows that part alone?"},
			{Name: "the floor's part taken with the wrong sign", Value: combine(func(swing, shaker float64) float64 { return swing + shaker }), Fix: "What the shaker shows is in the swing too: take it off, sign included.\nLook at the phases of the two lines."},
		},
		USlips: []Slip{
			{Name: "the noise of one recording only", Value: pierValue(func() float64 { return s.detect[0]().UNoise }), Fix: "Both recordings have noise, and the distance is known to a few millimetres only."},
		},
		Range: [2]float64{10.5, 22},
		Hints: [2]string{"Detect on the swing gives an apparent mass. What does the same analysis say of the shaker?", "Swing less shaker. The noise of the two (UNoise) in quadrature; the distance and the amplitude are the same for both, so their part scales with the difference."},
		Worked: "%%\n// The swing shows ball and floor, the shaker the floor alone, as an apparent\n// mass: a negative one, since the floor works against the pull here.\n" + s.reading() +
			"swing, shaker := detect(\"swing\"), detect(\"shaker\")\nfmt.Printf(\"swing %.1f kg, shaker %.1f kg\\n\", swing.Mass, shaker.Mass)\nmass, noise := swing.Mass-shaker.Mass, math.Hypot(swing.UNoise, shaker.UNoise)\n// One distance and one amplitude made both masses of lines: no quadrature there.\ngeometry := math.Hypot(swing.UPlace, swing.UAmplitude) / swing.Mass * mass\nsheet.Measured(\"mass\", mass, math.Hypot(noise, geometry), \"kg\")",
		Reasoning: "The slab sinks when the ball passes the bottom, and accelerates against the pull's line: the swing alone makes the ball look lighter than it is, with an uncertainty that gives no warning. The shaker makes the same force without the mass, so the difference is gravity. The analysis is linear: apparent masses subtract. Their noise is independent, but one error of the distance spoils both by the same factor, and so their difference.",
		Source:    Source{Text: "common practice, no source: a control measurement without the mass; a mass of the sheet's own made the recording"},
	}
}
