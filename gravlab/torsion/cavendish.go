package torsion

import (
	"errors"
	"math"
	"slices"

	"gravity.example/gravlab/internal/arg"
)

// A Reading1798 says which of the 29 results of 1798 are taken, and how the
// third is read. Its zero value takes all of them as they were printed.
type Reading1798 struct {
	// ThirdAs588 takes 5.88 for the third result, which is printed 4.88. The
	// mean that was printed, 5.48, needs 5.88; but the time of vibration and
	// the deflection of that experiment give 4.88, so that the mean was the
	// slip.
	ThirdAs588 bool
	// StifferWire takes results 7 to 29 only, made with the second, stiffer
	// wire.
	StifferWire bool
}

// Densities returns the mean density of the Earth over that of water from each
// experiment, in the order of the paper: H. Cavendish, Phil. Trans. R. Soc. 88,
// 469 (1798).
func (r Reading1798) Densities() []float64 {
	densities := []float64{
		5.50, 5.61, 4.88, 5.07, 5.26, 5.55, // first wire
		5.36, 5.29, 5.58, 5.65, 5.57, 5.53, 5.62, 5.29, 5.44, 5.34, 5.79, 5.10,
		5.27, 5.39, 5.42, 5.47, 5.63, 5.34, 5.46, 5.30, 5.75, 5.68, 5.85,
	}
	if r.ThirdAs588 {
		densities[2] = 5.88
	}
	if r.StifferWire {
		densities = densities[6:]
	}
	return densities
}

// A Summary is what today's statistics make of repeated results.
type Summary struct {
	N        int
	Mean     float64
	Median   float64
	Spread   float64 // s: standard deviation of one result, with N-1
	U        float64 // standard uncertainty of the mean, s/√N (JCGM 100:2008, 4.2.3)
	Smallest float64
	Largest  float64
}

// Summarise returns the summary of two or more results. It takes them to be
// independent and alike: an error common to all (the density of the lead, the
// distance between the centres) does not show in it.
func Summarise(results []float64) (Summary, error) {
	const fn = "torsion.Summarise"
	if err := errors.Join(
		arg.AtLeast(fn, "results", len(results), 2),
		arg.AllFinite(fn, "results", results, "result"),
	); err != nil {
		return Summary{}, err
	}
	n := len(results)
	sorted := slices.Clone(results)
	slices.Sort(sorted)
	s := Summary{N: n, Smallest: sorted[0], Largest: sorted[n-1], Median: sorted[n/2]/2 + sorted[(n-1)/2]/2}
	for _, v := range results {
		s.Mean += v / float64(n)
	}
	for _, v := range results {
		s.Spread += (v - s.Mean) * (v - s.Mean) / float64(n-1)
	}
	s.Spread = math.Sqrt(s.Spread)
	s.U = s.Spread / math.Sqrt(float64(n))
	if _, err := result(fn, s.U+s.Mean); err != nil {
		return Summary{}, err
	}
	return s, nil
}

// Density1798 returns the mean density of the Earth over that of water by the
// rule of 1798,
//
//	N²/(10844 B)
//
// where N is the time of one vibration in seconds and B the motion of the arm
// from its middle position, in divisions of 1/20 inch. N is half a period by
// today's count: from one end of the swing to the other.
func Density1798(n, b float64) (float64, error) {
	const fn = "torsion.Density1798"
	if err := errors.Join(
		arg.Positive(fn, "n", n, "time of one vibration (half a period) in s"),
		arg.Positive(fn, "b", b, "motion from the middle in divisions of 1/20 inch"),
	); err != nil {
		return 0, err
	}
	return result(fn, n*n/(10844*b))
}
