package signal

import (
	"fmt"
	"math"

	"gravity.example/gravlab/internal/arg"
)

// OverlappingAllan returns the overlapping Allan deviation of y at an averaging
// time of m samples, in the unit of y. y are averages over equal steps (readings
// of acceleration, fractional frequencies), not phases. All differences of two
// neighbouring averages of m samples are used, whatever sample they begin at:
//
//	σ²(m) = 1/(2m²(N-2m+1)) Σ_j (Σ y[j+m..j+2m-1] - Σ y[j..j+m-1])²
//
// (NIST Special Publication 1065, from memory.) A record of N samples serves up
// to m = N/2; a gap must be cut out first.
func OverlappingAllan(y []float64, m int) (float64, error) {
	const fn = "signal.OverlappingAllan"
	sums, err := runningSums(fn, y, m)
	if err != nil {
		return 0, err
	}
	return overlapping(sums, m), nil
}

// runningSums checks the record and returns its running sum about the mean.
func runningSums(fn string, y []float64, m int) ([]float64, error) {
	if err := arg.AtLeast(fn, "y", len(y), 2); err != nil {
		return nil, err
	}
	if m < 1 || m > len(y)/2 {
		return nil, arg.Bad(fn, "m", m, fmt.Sprintf("an averaging time from 1 to half the record, %d samples", len(y)/2))
	}
	if err := checkRecord(fn, "y", y); err != nil {
		return nil, err
	}
	level := mean(y)
	sums := make([]float64, len(y)+1)
	for i, v := range y {
		sums[i+1] = sums[i] + (v - level)
	}
	return sums, nil
}

func overlapping(sums []float64, m int) float64 {
	count := len(sums) - 2*m
	var q float64
	for j := range count {
		d := sums[j+2*m] - 2*sums[j+m] + sums[j]
		q += d * d
	}
	return math.Sqrt(q/(2*float64(count))) / float64(m)
}

// NonOverlappingAllan returns the Allan deviation from averages of m samples
// that follow one another. It is less certain than OverlappingAllan and serves
// for comparison with older tables; samples after the last full average are
// left out.
func NonOverlappingAllan(y []float64, m int) (float64, error) {
	const fn = "signal.NonOverlappingAllan"
	sums, err := runningSums(fn, y, m)
	if err != nil {
		return 0, err
	}
	var q float64
	count := 0
	for j := 0; j+2*m < len(sums); j += m {
		d := sums[j+2*m] - 2*sums[j+m] + sums[j]
		q += d * d
		count++
	}
	return math.Sqrt(q/(2*float64(count))) / float64(m), nil
}

// An AllanPoint is the stability at one averaging time.
type AllanPoint struct {
	Tau       float64 // averaging time, s
	Deviation float64 // overlapping Allan deviation, unit of the record
	// U is a standard uncertainty, that of the non-overlapping estimate for
	// white noise: Deviation·√(3/K)/2 with K pairs. It is rough, and no smaller
	// than that of the overlapping estimate.
	U float64
}

// AllanCurve returns the overlapping Allan deviation at averaging times of 1, 2,
// 4, ... samples, up to the last that gives at least four pairs. White noise
// falls as τ^-1/2, flicker stays level, a random walk rises as τ^1/2, and a
// steady drift a of the value rises as aτ/√2.
func AllanCurve(y []float64, rate float64) ([]AllanPoint, error) {
	const fn = "signal.AllanCurve"
	if err := checkRate(fn, rate); err != nil {
		return nil, err
	}
	if err := arg.AtLeast(fn, "y", len(y), 5); err != nil {
		return nil, err
	}
	sums, err := runningSums(fn, y, 1)
	if err != nil {
		return nil, err
	}
	var points []AllanPoint
	for m := 1; len(y)/m-1 >= 4; m *= 2 {
		d := overlapping(sums, m)
		pairs := float64(len(y)/m - 1)
		points = append(points, AllanPoint{Tau: float64(m) / rate, Deviation: d, U: d * math.Sqrt(3/pairs) / 2})
	}
	return points, nil
}
