package fit

import (
	"math"
	"math/bits"
	"math/cmplx"
	"sort"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/mat"
)

// start guesses the parameters of a swing from the record itself.
//
// Many swings: the highest line of the spectrum gives omega, and the record
// turned back by that phase gives the decay and the rest of omega from one
// piece of the record to the next. Few swings, or ones that die at once: a
// line in the spectrum means little, so a grid of omega and gamma is tried, each
// with the best a, b, c, d, which are linear.
func (s *swing) start() []float64 {
	omega := s.line()
	gamma, shift := s.decay(omega)
	omega += shift
	const manySwings = 6 * 2 * math.Pi
	if omega*s.length < manySwings || !(math.Abs(gamma) < omega/6) {
		omega, gamma = s.grid(omega)
	}
	p, _ := s.linearPart(omega, gamma, 1)
	return p
}

// flat returns the record less its weighted mean (and slope, if there is a
// drift to fit).
func (s *swing) flat() []float64 {
	var sw, st, stt, sy, sty float64
	for i, w := range s.w {
		w2 := w / s.w[0] * (w / s.w[0])
		t := s.s[i]/s.length - 0.5
		sw += w2
		st += w2 * t
		stt += w2 * t * t
		sy += w2 * s.y[i]
		sty += w2 * t * s.y[i]
	}
	slope := 0.0
	if det := sw*stt - st*st; s.n > inD && det > 0 {
		slope = (sw*sty - st*sy) / det
	}
	mean := (sy - slope*st) / sw
	out := make([]float64, len(s.y))
	for i := range out {
		out[i] = s.y[i] - mean - slope*(s.s[i]/s.length-0.5)
	}
	return out
}

// line returns the angular frequency of the highest line in the spectrum. A
// record with gaps is put on an even grid with zeros in the gaps. The step of
// the grid is that between most readings: the mean one, which a long gap makes
// longer than half a period, would show the line where it is not.
func (s *swing) line() float64 {
	m := len(s.s)
	step := s.length / float64(m-1)
	if s.step == 0 {
		steps := make([]float64, m-1)
		for i := range steps {
			steps[i] = s.s[i+1] - s.s[i]
		}
		sort.Float64s(steps)
		step = math.Max(math.Min(step, steps[m/2-1]), s.length/(1<<20))
		m = int(s.length/step) + 2
	}
	padded := make([]float64, 1<<bits.Len(uint(m+m/4)))
	for i, v := range s.flat() {
		padded[int(math.Round(s.s[i]/step))] += v
	}
	spectrum := fourier.NewFFT(len(padded)).Coefficients(nil, padded)
	best := 1
	power := func(k int) float64 {
		if k < 0 || k >= len(spectrum) {
			return 0
		}
		return real(spectrum[k])*real(spectrum[k]) + imag(spectrum[k])*imag(spectrum[k])
	}
	for k := 1; k < len(spectrum); k++ {
		if power(k) > power(best) {
			best = k
		}
	}
	// The top of the parabola through three values lies nearer than half a step.
	at := float64(best)
	low, mid, high := power(best-1), power(best), power(best+1)
	if bend := low - 2*mid + high; bend < 0 {
		at += 0.5 * (low - high) / bend
	}
	return 2 * math.Pi * at / (float64(len(padded)) * step)
}

// decay turns the record back by omega and compares each of 32 pieces with the
// next: their mean ratio is exp((-gamma + i shift) piece).
func (s *swing) decay(omega float64) (gamma, shift float64) {
	const pieces = 32
	piece := s.length / pieces
	var z [pieces]complex128
	flat := s.flat()
	const refresh = 64
	turn := cmplx.Exp(complex(0, -omega*s.step))
	var phasor complex128
	for i, t := range s.s {
		if s.step == 0 || i%refresh == 0 {
			phasor = cmplx.Exp(complex(0, -omega*t))
		}
		z[min(int(t/piece), pieces-1)] += complex(flat[i], 0) * phasor
		phasor *= turn
	}
	var ratio complex128
	var norm float64
	for k := range pieces - 1 {
		ratio += z[k+1] * cmplx.Conj(z[k])
		norm += real(z[k])*real(z[k]) + imag(z[k])*imag(z[k])
	}
	if norm == 0 || ratio == 0 {
		return 0, 0
	}
	ratio /= complex(norm, 0)
	return -math.Log(cmplx.Abs(ratio)) / piece, cmplx.Phase(ratio) / piece
}

// slowestTurns is the part of a turn that the slowest swing of the grid makes in
// the record. The sums of squares of much slower ones are lost in rounding: their
// cosine and sine are a level and a slope, up to factors beyond 1e6.
const slowestTurns = 0.15

// grid returns the best of a grid of omega and gamma, tried on about 300 points.
// It ends where a swing would turn by more than half between the nearest
// readings: a few readings fit such a one as well as a slower.
func (s *swing) grid(line float64) (omega, gamma float64) {
	best := math.Inf(1)
	try := func(w, g float64) {
		if _, chi2 := s.linearPart(w, g, 1+len(s.s)/300); chi2 < best {
			best, omega, gamma = chi2, w, g
		}
	}
	gammas := []float64{0, 0.3, 1, 3, 10, 30}
	for _, g := range gammas {
		if math.Abs(line)*s.length >= 2*math.Pi*slowestTurns {
			try(line, g/s.length)
		}
		for turns := slowestTurns; turns < math.Min(25, s.length/s.least/2); turns += math.Min(turns/4, 0.4+g/10) {
			try(2*math.Pi*turns/s.length, g/s.length)
		}
	}
	return omega, gamma
}

// linearPart returns the parameters with the best a, b, c and d for given
// omega and gamma, and chi², from every skip-th point.
func (s *swing) linearPart(omega, gamma float64, skip int) (p []float64, chi2 float64) {
	n := s.n - 2
	sums := mat.NewSymDense(n, nil)
	right := mat.NewVecDense(n, nil)
	p = make([]float64, s.n)
	p[inGamma], p[inOmega] = gamma, omega
	var row [4]float64
	var total float64
	if skip == 1 {
		s.evaluate(p)
	}
	var normal [4][4]float64
	var rhs [4]float64
	for i := 0; i < len(s.s); i += skip {
		t, w := s.s[i], s.w[i]
		var cos, sin float64
		if skip == 1 {
			cos, sin = s.cos[i], s.sin[i]
		} else {
			size := math.Exp(-gamma * t)
			sin, cos = math.Sincos(omega * t)
			cos, sin = size*cos, size*sin
		}
		row = [4]float64{w * cos, w * sin, w, w * (t/s.length - 0.5)}
		y := w * s.y[i]
		total += y * y
		for j := range n {
			for k := j; k < n; k++ {
				normal[j][k] += row[j] * row[k]
			}
			rhs[j] += row[j] * y
		}
	}
	for j := range n {
		right.SetVec(j, rhs[j])
		for k := j; k < n; k++ {
			sums.SetSym(j, k, normal[j][k])
		}
	}
	var cholesky mat.Cholesky
	if !cholesky.Factorize(sums) {
		p[inC] = rhs[2] / normal[2][2]
		return p, math.Inf(1)
	}
	var x mat.VecDense
	if err := cholesky.SolveVecTo(&x, right); err != nil {
		p[inC] = rhs[2] / normal[2][2]
		return p, math.Inf(1)
	}
	p[inA], p[inB], p[inC] = x.AtVec(0), x.AtVec(1), x.AtVec(2)
	if n > 3 {
		p[inD] = x.AtVec(3)
	}
	return p, total - mat.Dot(&x, right)
}
