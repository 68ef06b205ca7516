package signal

import (
	"fmt"
	"math"
	"math/cmplx"
	"sync"

	"gonum.org/v1/gonum/mathext"

	"gravity.example/gravlab/internal/arg"
)

// A Detrend says what is removed from each segment before its transform.
type Detrend int

const (
	RemoveMean Detrend = iota
	RemoveLine         // a straight line by least squares
	RemoveNothing
)

// Welch says how a record is cut, tapered and averaged. The zero value is
// usable: Hann window, half overlap, segment means removed, and a segment
// length taken from the record.
type Welch struct {
	// Segment is the length of a segment in samples. 0 takes the largest power
	// of two that gives at least eight segments (at least 16 samples). A length
	// above 4096 must have no prime factor above 1009: its transform would be slow.
	Segment int
	// Step is the number of samples from the start of a segment to the start of
	// the next. 0 is half a segment, 50 % overlap. (Overlap = Segment - Step.)
	Step int
	// Window tapers each segment; the zero value is Hann.
	Window Window
	// Detrend is what is removed from each segment; the zero value is its mean.
	Detrend Detrend
	// SkipGaps leaves out segments that hold a missing sample (NaN) instead of
	// refusing the record. The result says how many were left out.
	SkipGaps bool
}

// A Spectrum is a one-sided power spectral density with what is needed to
// judge it.
type Spectrum struct {
	Freq     []float64 // Hz, from 0 to half the rate
	PSD      []float64 // unit²/Hz, one-sided
	Segments int       // segments averaged
	LeftOut  int       // segments left out because of gaps
	DoF      float64   // equivalent degrees of freedom of a bin between the ends
	ENBW     float64   // equivalent noise bandwidth, Hz

	window  Window
	segment int
}

// plan is a Welch with every choice made for a record of n samples.
type plan struct {
	Welch
	n      int
	window []float64
	sumSq  float64 // Σw²
	starts []int   // first samples of the segments that are used
	left   int     // segments left out
}

// plan checks the settings against the records and lists the segments.
func (w Welch) plan(fn string, rate float64, records ...[]float64) (*plan, error) {
	n := len(records[0])
	if err := checkRate(fn, rate); err != nil {
		return nil, err
	}
	if n == 0 {
		return nil, arg.AtLeast(fn, "x", 0, 8)
	}
	if w.Segment == 0 {
		w.Segment = 16
		for 9*w.Segment <= n { // eight half-overlapped segments of twice this need 4.5 of them
			w.Segment *= 2
		}
	}
	if w.Segment < 8 || w.Segment > n {
		return nil, arg.Bad(fn, "Segment", w.Segment, fmt.Sprintf("a length from 8 to that of the record, %d", n))
	}
	if w.Segment > 4096 && largestPrime(w.Segment) > 1009 {
		return nil, arg.Bad(fn, "Segment", w.Segment, "a length with small prime factors, such as a power of two")
	}
	if w.Step == 0 {
		w.Step = max(w.Segment/2, 1)
	}
	if w.Step < 1 {
		return nil, arg.Bad(fn, "Step", w.Step, "a positive number of samples, or 0 for half a segment")
	}
	if !w.Window.valid() {
		return nil, arg.Bad(fn, "Window", int(w.Window), "one of the windows of package signal")
	}
	if w.Detrend < RemoveMean || w.Detrend > RemoveNothing {
		return nil, arg.Bad(fn, "Detrend", int(w.Detrend), "RemoveMean, RemoveLine or RemoveNothing")
	}
	p := &plan{Welch: w, n: n, window: w.Window.Coefficients(w.Segment)}
	for _, v := range p.window {
		p.sumSq += v * v
	}
	// In a sound record every segment counts; a walk past the bad samples finds
	// those that do not.
	gap, seen := -1, 0 // the last bad sample so far, and where the walk has come to
	sound := true
	for _, x := range records {
		sound = sound && allSound(x)
	}
	for s := 0; s <= n-w.Segment; s += w.Step {
		for ; !sound && seen < s+w.Segment; seen++ {
			for i, x := range records {
				if math.Abs(x[seen]) <= largest {
					continue
				}
				if !w.SkipGaps || !math.IsNaN(x[seen]) {
					name := [...]string{"x", "y"}[i]
					return nil, arg.Bad(fn, fmt.Sprintf("%s[%d]", name, seen), x[seen], "a number below 1e100 in size (NaN marks a gap: set SkipGaps to leave its segments out)")
				}
				gap = seen
			}
		}
		if gap >= s {
			p.left++
			continue
		}
		p.starts = append(p.starts, s)
	}
	if len(p.starts) == 0 {
		return nil, arg.Bad(fn, "x", "full of gaps", fmt.Sprintf("at least one stretch of %d samples without a gap", w.Segment))
	}
	return p, nil
}

func allSound(x []float64) bool {
	for _, v := range x {
		if !(math.Abs(v) <= largest) {
			return false
		}
	}
	return true
}

func largestPrime(n int) int {
	p := 1
	for d := 2; d*d <= n; d++ {
		for n%d == 0 {
			p, n = d, n/d
		}
	}
	return max(p, n)
}

// pieces is how many parts a record is split into for the cores to share. It
// is fixed, and the parts are added in order, so that the result does not
// depend on the number of cores.
const pieces = 16

// each runs work on every piece, at most two at a time for each core, with a
// transform and a buffer that it alone uses, and adds the sums in order.
func (p *plan) each(sums int, work func(fft *transform, z []complex128, segments []int, sum []float64)) []float64 {
	parts := min(pieces, (len(p.starts)+1)/2)
	per := (len(p.starts) + parts - 1) / parts
	per += per % 2 // pairs share a transform
	results := make([][]float64, parts)
	var group sync.WaitGroup
	next := make(chan int, parts)
	for i := range parts {
		next <- i
	}
	close(next)
	for range min(parts, workers()) {
		group.Add(1)
		go func() {
			defer group.Done()
			fft := newTransform(p.Segment)
			z := make([]complex128, p.Segment)
			for i := range next {
				results[i] = make([]float64, sums)
				lo := min(i*per, len(p.starts))
				hi := min(lo+per, len(p.starts))
				if lo < hi {
					work(fft, z, p.starts[lo:hi], results[i])
				}
			}
		}()
	}
	group.Wait()
	total := results[0]
	for _, r := range results[1:] {
		for k, v := range r {
			total[k] += v
		}
	}
	return total
}

// trend returns level and slope (about the middle) to remove from a segment.
func (p *plan) trend(x []float64) (level, slope float64) {
	if p.Detrend == RemoveNothing {
		return 0, 0
	}
	// Four sums at a time, so that one addition need not wait for the last.
	var s [4]float64
	i := 0
	for ; i+4 <= len(x); i += 4 {
		s[0] += x[i]
		s[1] += x[i+1]
		s[2] += x[i+2]
		s[3] += x[i+3]
	}
	for ; i < len(x); i++ {
		s[0] += x[i]
	}
	n := float64(len(x))
	level = (s[0] + s[1] + s[2] + s[3]) / n
	if p.Detrend == RemoveLine {
		mid := (n - 1) / 2
		var num float64
		for i, v := range x {
			num += (float64(i) - mid) * (v - level)
		}
		slope = num / (n * (n*n - 1) / 12)
	}
	return level, slope
}

// fillReal and fillImag put a detrended, tapered segment into one half of z.
func (p *plan) fillReal(z []complex128, x []float64) {
	level, slope := p.trend(x)
	level -= slope * float64(len(x)-1) / 2
	w := p.window[:len(z)]
	x = x[:len(z)]
	for i := range z {
		z[i] = complex(w[i]*(x[i]-(level+slope*float64(i))), 0)
	}
}

func (p *plan) fillImag(z []complex128, x []float64, scale float64) {
	level, slope := p.trend(x)
	level -= slope * float64(len(x)-1) / 2
	w := p.window[:len(z)]
	x = x[:len(z)]
	for i := range z {
		z[i] = complex(real(z[i]), scale*(w[i]*(x[i]-(level+slope*float64(i)))))
	}
}

// fillBoth puts two segments into z at once when only means are removed: the
// case that matters for speed.
func (p *plan) fillBoth(z []complex128, a, b []float64) {
	if p.Detrend == RemoveLine {
		p.fillReal(z, a)
		p.fillImag(z, b, 1)
		return
	}
	la, _ := p.trend(a)
	lb, _ := p.trend(b)
	w := p.window[:len(z)]
	a, b = a[:len(z)], b[:len(z)]
	for i := range z {
		z[i] = complex(w[i]*(a[i]-la), w[i]*(b[i]-lb))
	}
}

// PSD returns the one-sided power spectral density of x by Welch's method: the
// mean over segments of |Σ w x exp(-iωt)|² · 2/(rate Σw²), the ends not doubled.
// rate is in samples per second. Two segments share one complex transform, and
// the cores share the segments; the result does not depend on their number.
func (w Welch) PSD(x []float64, rate float64) (Spectrum, error) {
	return density(records{w, x, nil, rate})
}

func (in records) density() (Spectrum, error) {
	w, x, rate := in.Welch, in.X, in.Rate
	const fn = "signal.Welch.PSD"
	p, err := w.plan(fn, rate, x)
	if err != nil {
		return Spectrum{}, err
	}
	n := p.Segment
	half := n/2 + 1
	power := p.each(half, func(fft *transform, z []complex128, segments []int, sum []float64) {
		for i := 0; i < len(segments); i += 2 {
			a := x[segments[i] : segments[i]+n]
			if i+1 < len(segments) {
				p.fillBoth(z, a, x[segments[i+1]:segments[i+1]+n])
			} else {
				p.fillReal(z, a)
			}
			fft.forward(z)
			// With z = a + ib, |A|² + |B|² at k is half of |Z(k)|² + |Z(n-k)|².
			sum[0] += abs2(z[0])
			for k := 1; k < half; k++ {
				sum[k] += 0.5 * (abs2(z[k]) + abs2(z[n-k]))
			}
		}
	})
	scale := 2 / (rate * p.sumSq * float64(len(p.starts)))
	s := p.spectrum(rate)
	s.PSD = power
	for k := range power {
		power[k] *= scale
	}
	halveEnds(power, n)
	return s, nil
}

func abs2(c complex128) float64 { return real(c)*real(c) + imag(c)*imag(c) }

// halveEnds takes back the doubling of the bins that have no twin.
func halveEnds(p []float64, n int) {
	p[0] /= 2
	if n%2 == 0 {
		p[len(p)-1] /= 2
	}
}

// spectrum returns the parts of a Spectrum that the records do not enter.
func (p *plan) spectrum(rate float64) Spectrum {
	enbw, _ := p.Window.ENBW(p.Segment) // the plan has checked both
	s := Spectrum{
		Freq:     make([]float64, p.Segment/2+1),
		Segments: len(p.starts),
		LeftOut:  p.left,
		DoF:      degreesOfFreedom(p.window, p.Step, len(p.starts)),
		ENBW:     enbw * rate / float64(p.Segment),
		window:   p.Window,
		segment:  p.Segment,
	}
	for k := range s.Freq {
		s.Freq[k] = float64(k) * rate / float64(p.Segment)
	}
	return s
}

// degreesOfFreedom is Welch's equivalent number for Gaussian noise whose
// spectrum is flat across a bin: 2K/(1 + 2 Σ (1-m/K) ρ(m)), where ρ(m) is the
// squared correlation of the window with itself m steps later.
func degreesOfFreedom(window []float64, step, segments int) float64 {
	var sumSq float64
	for _, v := range window {
		sumSq += v * v
	}
	k := float64(segments)
	d := 1.0
	for m := 1; m < segments && m*step < len(window); m++ {
		var c float64
		for i := m * step; i < len(window); i++ {
			c += window[i] * window[i-m*step]
		}
		c /= sumSq
		d += 2 * (1 - float64(m)/k) * c * c
	}
	return 2 * k / d
}

// DOF returns the equivalent degrees of freedom of a bin between the ends when
// segments of w are averaged over Gaussian noise (28.5 for 15 half-overlapped
// Hann segments: not 30, for they share samples). w.Segment must be given.
// Segments around gaps are counted as if they followed one another, which
// states too few rather than too many.
func (w Welch) DoF(segments int) (float64, error) {
	const fn = "signal.Welch.DOF"
	if segments < 1 {
		return 0, arg.Bad(fn, "segments", segments, "at least one segment")
	}
	if w.Segment < 8 || w.Segment > 1<<28 {
		return 0, arg.Bad(fn, "Segment", w.Segment, "a length from 8 to 2^28 samples")
	}
	if !w.Window.valid() {
		return 0, arg.Bad(fn, "Window", int(w.Window), "one of the windows of package signal")
	}
	step := w.Step
	if step == 0 {
		step = w.Segment / 2
	}
	if step < 1 {
		return 0, arg.Bad(fn, "Step", step, "a positive number of samples, or 0 for half a segment")
	}
	return degreesOfFreedom(w.Window.Coefficients(w.Segment), step, segments), nil
}

// Limits returns the factors by which a value of s.PSD is multiplied for the
// ends of its confidence interval of probability p, from the chi-square law
// with s.DOF degrees of freedom: Gaussian noise, a spectrum that is flat over
// ENBW, bins between the ends.
func (s Spectrum) Limits(p float64) (lo, hi float64, err error) {
	const fn = "signal.Spectrum.Limits"
	if err := arg.Between(fn, "p", p, 1e-9, 1-1e-9, "probability"); err != nil {
		return 0, 0, err
	}
	if err := arg.Between(fn, "DOF", s.DoF, 1, 1e8, "number of degrees of freedom, as PSD sets it"); err != nil {
		return 0, 0, err
	}
	lo = s.DoF / (2 * mathext.GammaIncRegInv(s.DoF/2, (1+p)/2))
	hi = s.DoF / (2 * mathext.GammaIncRegInv(s.DoF/2, (1-p)/2))
	return lo, hi, nil
}

// ASD returns the amplitude density, the square root of PSD, in unit/√Hz.
func (s Spectrum) ASD() []float64 {
	a := make([]float64, len(s.PSD))
	for i, v := range s.PSD {
		a[i] = math.Sqrt(v)
	}
	return a
}

// RMS returns the root of the integral of PSD from f1 to f2 (Hz), each bin
// standing for half a bin width on either side of its frequency. The band must
// lie between 0 and half the rate and hold at least one bin width.
func (s Spectrum) RMS(f1, f2 float64) (float64, error) {
	const fn = "signal.Spectrum.RMS"
	if len(s.Freq) < 2 || len(s.Freq) != len(s.PSD) {
		return 0, arg.Bad(fn, "s", fmt.Sprintf("of %d frequencies and %d densities", len(s.Freq), len(s.PSD)), "a spectrum made by PSD")
	}
	step := s.Freq[1]
	top := s.Freq[len(s.Freq)-1]
	if !(f1 >= 0 && f2 <= top*(1+1e-12) && f2-f1 >= step*(1-1e-12)) {
		return 0, arg.Bad(fn, "band", fmt.Sprintf("%g to %g Hz", f1, f2), fmt.Sprintf("a band inside 0 to %g Hz, at least one bin (%g Hz) wide", top, step))
	}
	var sum float64
	for k, f := range s.Freq {
		lo, hi := math.Max(f-step/2, 0), math.Min(f+step/2, top)
		if width := math.Min(hi, f2) - math.Max(lo, f1); width > 0 {
			// The first and last bin are half as wide but hold their full power.
			sum += s.PSD[k] * width * step / (hi - lo)
		}
	}
	return math.Sqrt(sum), nil
}

// LineAmplitude returns the amplitude (zero to peak) of a steady line at f (Hz)
// that stands clear of the noise, from the bin nearest to f: √(2·PSD·ENBW),
// divided by the window's response at the distance of f from that bin. For a
// line between bins of the rectangular window this corrects up to 36 %. The
// noise inside the bin is part of the answer; SineFit is better when the noise
// matters.
func (s Spectrum) LineAmplitude(f float64) (float64, error) {
	const fn = "signal.Spectrum.LineAmplitude"
	if s.segment < 8 || !s.window.valid() || len(s.PSD) != s.segment/2+1 || len(s.Freq) != len(s.PSD) {
		return 0, arg.Bad(fn, "s", "made by hand", "a spectrum made by PSD")
	}
	step := s.Freq[1]
	if !(f >= 1.5*step && f <= float64(len(s.PSD)-2)*step) {
		return 0, arg.Bad(fn, "f", f, fmt.Sprintf("a frequency from %g to %g Hz", 1.5*step, float64(len(s.PSD)-2)*step))
	}
	k := int(math.Round(f / step))
	off := f/step - float64(k)
	var at complex128
	var sum float64
	for i, w := range s.window.Coefficients(s.segment) {
		at += complex(w, 0) * cmplx.Rect(1, 2*math.Pi*off*float64(i)/float64(s.segment))
		sum += w
	}
	return math.Sqrt(2*s.PSD[k]*s.ENBW) * sum / cmplx.Abs(at), nil
}
