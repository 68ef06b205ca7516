package torsion

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"

	"gravity.example/gravlab/internal/arg"
)

// A Recorder says how a swing is read and written down. The reading at the time
// t after the switch is
//
//	signal + Zero + Drift t + noise, rounded to Step
//
// where the signal is the turn of the beam (rad), or the place of the spot (m)
// when the lever has a distance. Zero, Drift, Noise and Step have the unit of
// the reading.
type Recorder struct {
	Interval float64 // between readings, s
	Duration float64 // of the recording from the switch on, s
	Before   float64 // of the recording before the switch, with the beam at rest, s; optional

	Lever Lever   // optional: without a distance angles are recorded
	Zero  float64 // reading with the beam in the middle at the time of the switch; optional
	Drift float64 // of the zero, per s; optional
	Noise float64 // standard deviation of one reading, white and normal; optional
	Step  float64 // of the scale, to which readings are rounded; optional
	Knock Knock   // optional
}

// A Knock is an elbow against the bench: at Time (s after the switch, above zero) the
// angular speed of the beam changes by Speed (rad/s). A fit of one swing over
// it is wrong, and is meant to be noticed. Zero means no knock.
type Knock struct {
	Time, Speed float64
}

// maxReadings limits a recording to what a notebook can hold.
const maxReadings = 5_000_000

// Validate returns an error that names every field that cannot be used.
func (r Recorder) Validate() error {
	const fn = "torsion.Recorder"
	if err := errors.Join(
		arg.Positive(fn, "Interval", r.Interval, "time in s"),
		arg.Positive(fn, "Duration", r.Duration, "time in s"),
		arg.NonNegative(fn, "Before", r.Before, "time in s"),
		arg.NonNegative(fn, "Lever.Distance", r.Lever.Distance, "distance in m (zero to record angles)"),
		arg.Finite(fn, "Zero", r.Zero, "reading"),
		arg.Finite(fn, "Drift", r.Drift, "drift per s"),
		arg.NonNegative(fn, "Noise", r.Noise, "standard deviation"),
		arg.NonNegative(fn, "Step", r.Step, "step of the scale"),
		arg.NonNegative(fn, "Knock.Time", r.Knock.Time, "time in s"),
		arg.Finite(fn, "Knock.Speed", r.Knock.Speed, "angular speed in rad/s"),
	); err != nil {
		return err
	}
	if n := (r.Before + r.Duration) / r.Interval; !(n >= 1 && n < maxReadings) {
		return arg.Bad(fn, "Interval", r.Interval, fmt.Sprintf("a time that gives 2 to %d readings", maxReadings))
	}
	return nil
}

// A Recording is a swing as it was read.
type Recording struct {
	Times    []float64 // s after the switch; negative before it
	Readings []float64 // rad, or m on the scale of the lever
	Lever    Lever     // without a distance the readings are angles
}

// Angles returns the readings as angles of the beam, rad. Those of a lever are
// counted from the zero of the scale, as if the light fell square on it there:
// of a recorder with a Zero subtract that first.
func (r Recording) Angles() ([]float64, error) {
	angles := make([]float64, len(r.Readings))
	copy(angles, r.Readings)
	if r.Lever.Distance == 0 {
		return angles, arg.AllFinite("torsion.Recording", "Readings", angles, "angle in rad")
	}
	for i, spot := range r.Readings {
		var err error
		if angles[i], err = r.Lever.Angle(spot); err != nil {
			return nil, err
		}
	}
	return angles, nil
}

// Record makes a recording: the beam rests with the large spheres in position
// Minus, at t = 0 they are switched to Plus, and it swings with the exact
// torque. The same balance, recorder and seed give the same readings; on
// another kind of machine they are the same too when Step is not zero (but for
// readings that lie within rounding of half a step).
func (b Balance) Record(r Recorder, random *rand.Rand) (Recording, error) {
	if err := r.Validate(); err != nil {
		return Recording{}, err
	}
	if random == nil {
		return Recording{}, arg.Bad("torsion.Balance.Record", "random", "nil", "a source, such as rand.New(rand.NewPCG(1, 2))")
	}
	times := r.times()
	angles, err := b.recordedAngles(times, r.Knock)
	if err != nil {
		return Recording{}, err
	}
	rec := Recording{Times: times, Readings: make([]float64, len(times)), Lever: r.Lever}
	for i, t := range times {
		signal := angles[i]
		if r.Lever.Distance > 0 {
			if signal, err = r.Lever.Spot(signal); err != nil {
				return Recording{}, err
			}
		}
		// Products are rounded on their own, so that no machine fuses them with
		// the sum.
		reading := signal + r.Zero + float64(r.Drift*t) + float64(r.Noise*random.NormFloat64())
		if r.Step > 0 {
			reading = float64(math.Round(reading/r.Step) * r.Step)
		}
		if !finite(reading) {
			return Recording{}, arg.Bad("torsion.Recorder", "Zero, Drift, Noise", reading, "values whose sum float64 can hold")
		}
		rec.Readings[i] = reading
	}
	return rec, nil
}

// times are whole multiples of the interval, so that one of them is the switch.
func (r Recorder) times() []float64 {
	before := int(r.Before / r.Interval * (1 + 1e-12))
	after := int(r.Duration / r.Interval * (1 + 1e-12))
	times := make([]float64, 0, before+after+1)
	for i := -before; i <= after; i++ {
		times = append(times, float64(float64(i)*r.Interval))
	}
	return times
}

// recordedAngles returns the angles before the switch, after it and after the
// knock.
func (b Balance) recordedAngles(times []float64, knock Knock) ([]float64, error) {
	rest, err := b.Deflection()
	if err != nil {
		return nil, err
	}
	angles := make([]float64, len(times))
	first := 0 // of the times from the switch on
	for first < len(times) && times[first] < 0 {
		angles[first] = -rest
		first++
	}
	second := len(times) // of the times from the knock on
	if knock.Time > 0 && knock.Speed != 0 {
		for second > first && times[second-1] >= knock.Time {
			second--
		}
	}
	until := append([]float64(nil), times[first:second]...)
	if second < len(times) {
		until = append(until, knock.Time)
	}
	states, err := b.move(Plus, [2]float64{-rest, 0}, 0, until)
	if err != nil {
		return nil, err
	}
	for i := range second - first {
		angles[first+i] = states[i][0]
	}
	if second == len(times) {
		return angles, nil
	}
	last := states[len(states)-1]
	states, err = b.move(Plus, [2]float64{last[0], last[1] + knock.Speed}, knock.Time, times[second:])
	if err != nil {
		return nil, err
	}
	for i, state := range states {
		angles[second+i] = state[0]
	}
	return angles, nil
}
