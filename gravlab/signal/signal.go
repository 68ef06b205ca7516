// Package signal turns records of an instrument into statements with numbers:
// spectra, coherence, self-noise, lines, detections, stability.
//
// Most people need two calls: Welch.PSD for the spectrum of one record, and
// Welch.Pair for two records side by side (coherence, transfer function,
// self-noise). [SineFit] measures a line at a known frequency, [CancelReference]
// subtracts what a reference sensor recorded too, and [NewMatchedFilter] looks for
// a known shape.
//
// # What a record is
//
// A record is a []float64 of values at equal steps, with its rate in samples
// per second. The unit of the values is the caller's; "unit" below stands for
// it. A missing sample is NaN. Every function says what it does with one: it
// refuses the record and names the sample, unless a setting tells it to leave
// gaps out, and then the result says how much was left out. No function fills
// a gap. Values above 1e100 in size are refused: their squares would not fit.
//
// # Conventions
//
//   - A spectrum is one-sided, per hertz; its integral from 0 is the variance.
//     The bins at zero and at half the rate are not doubled. The square root is
//     the amplitude density (ASD).
//   - The mean of each segment is removed unless said otherwise. Windows are
//     periodic (the value that would follow the last equals the first).
//   - An amplitude is zero to peak of a cosine. A line is A cos(ωt - φ), t = 0
//     at the first sample.
//   - Transforms use exp(-iωt): a response belongs to exp(+iωt). The cross
//     spectrum of x and y is the mean of conj(X)·Y and the transfer function
//     from x to y is H1 = Pxy/Pxx.
//   - Coherence is the magnitude squared, γ².
//   - The false-alarm rate of a search counts every trial (each time, frequency
//     or place that was looked at).
//
// Random records take a *rand.Rand: the same seed gives the same record.
//
// # Sources
//
// P. D. Welch, IEEE Trans. Audio Electroacoust. 15, 70 (1967) for averaged
// spectra and their degrees of freedom; J. S. Bendat and A. G. Piersol, Random
// Data, for coherence and its limits; IEEE Std 1139 and NIST Special
// Publication 1065 for the Allan deviation; C. W. Helstrom, Statistical Theory
// of Signal Detection, for the matched filter. All cited from memory; the
// numbers are checked against sums computed independently (gravlab verify).
package signal

import (
	"fmt"
	"math"

	"gravity.example/gravlab/internal/arg"
)

// largest is the greatest size of a sample: its square, times any number of
// samples that fits into memory, is still a finite number.
const largest = 1e100

// checkRecord refuses a record with a sample that is missing, infinite or
// beyond all sense.
func checkRecord(fn, name string, x []float64) error {
	for i, v := range x {
		if !(math.Abs(v) <= largest) {
			return arg.Bad(fn, fmt.Sprintf("%s[%d]", name, i), v, "a number below 1e100 in size (a missing sample, NaN, must be cut out first)")
		}
	}
	return nil
}

// checkRate refuses a rate that is no sampling rate.
func checkRate(fn string, rate float64) error {
	return arg.Between(fn, "rate", rate, 1e-12, 1e12, "sampling rate in Hz")
}

func mean(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	var s float64
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

// rms returns the root of the mean square of x about its mean.
func rms(x []float64) float64 {
	m := mean(x)
	var s float64
	for _, v := range x {
		s += (v - m) * (v - m)
	}
	return math.Sqrt(s / float64(len(x)))
}
