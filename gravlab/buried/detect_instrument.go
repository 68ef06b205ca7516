package buried

import (
	"errors"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/internal/arg"
)

// An Instrument is what stands between a field and the numbers in the book.
type Instrument struct {
	Noise  float64 // standard deviation of a reading, m/s²
	Offset float64 // base level, m/s²
	North  float64 // regional slope towards north, 1/s²
	East   float64 // regional slope towards east, 1/s²
	Drift  float64 // random walk from one station to the next, standard deviation, m/s²
	Height float64 // standard deviation of a station's height, m (free-air gradient)
	Step   float64 // digit of the display, m/s²; 0 for none
}

// Validate reports every field that cannot be used.
func (in Instrument) Validate() error {
	const fn = "buried.Instrument"
	return errors.Join(
		arg.Between(fn, "Noise", in.Noise, 0, 1e3, "standard deviation in m/s²"),
		arg.Between(fn, "Offset", in.Offset, -1e3, 1e3, "level in m/s²"),
		arg.Between(fn, "North", in.North, -1e3, 1e3, "slope in 1/s²"),
		arg.Between(fn, "East", in.East, -1e3, 1e3, "slope in 1/s²"),
		arg.Between(fn, "Drift", in.Drift, 0, 1e3, "standard deviation in m/s²"),
		arg.Between(fn, "Height", in.Height, 0, 1e4, "standard deviation in m"),
		arg.Between(fn, "Step", in.Step, 0, 1e3, "step in m/s²"))
}

// Readings measures gz of a body (nil: of nothing) at the stations, in their
// order, with the instrument's regional, drift and noise, rounded to its step,
// m/s². The same rng gives the same readings to 1e-9, and the same digits where
// the step is coarser than that. A nil rng panics.
func (in Instrument) Readings(rng *rand.Rand, b Body, stations []r3.Vec) ([]float64, error) {
	const fn = "buried.Instrument.Readings"
	if err := errors.Join(in.Validate(), arg.AtLeast(fn, "stations", len(stations), 1)); err != nil {
		return nil, err
	}
	out := make([]float64, len(stations))
	if b != nil {
		gz, err := GZAt(b, stations)
		if err != nil {
			return nil, err
		}
		copy(out, gz)
	}
	walk := 0.0
	for i, s := range stations {
		// Always three numbers a station, so that changing one setting leaves
		// the others' errors alone.
		noise, step, height := rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()
		if i > 0 {
			walk += float64(in.Drift * step)
		}
		v := out[i] + in.Offset + float64(in.North*s.X) + float64(in.East*s.Y) + walk + float64(in.Noise*noise) + float64(freeAir*float64(in.Height*height))
		if in.Step > 0 {
			v = float64(math.Round(v/in.Step) * in.Step)
		}
		if !isFinite(v) {
			return nil, tooFar(fn, s)
		}
		out[i] = v
	}
	return out, nil
}
