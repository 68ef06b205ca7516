package fit

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/internal/arg"
)

// Places of the parameters in the Result of a damped oscillation.
const (
	Amplitude = iota // A at t = 0, zero to peak, above zero; unit of y
	DecayTime        // tau, in which the amplitude falls by the factor e; s
	Period           // T, of the damped swing; s
	Phase            // phi in cos(2 pi t/T - phi), from -pi to pi; rad
	Offset           // of the line about which it swings, at t = 0; unit of y
	Drift            // slope of that line, where it was asked for; unit of y per s
)

var oscillationNames = []string{"A", "tau", "T", "phi", "offset", "drift"}

// DampedOscillation fits
//
//	x(t) = A exp(-t/tau) cos(2 pi t/T - phi) + offset
//
// to readings y at rising times t (s) with standard uncertainties sigma (nil:
// equal and unknown). The times may have gaps. No first guess is needed, but
// the record should hold about half a period or more. Of the swings that read the
// same at whole multiples of a step the slowest is given, so equally spaced
// readings should be closer than half a period. The parameters stand in
// Result.P at [Amplitude], [DecayTime], [Period], [Phase] and [Offset].
//
// A record in which no decay is seen gives a tau that is very long, or
// negative (a swing that grows); its uncertainty then says little, because
// 1/tau and not tau is about normally distributed.
//
// The errors are those of [Curve.Fit]. Amplitude and phase belong to t = 0, so
// a record that begins more than 300 decay times after t = 0 is refused.
func DampedOscillation(t, y, sigma []float64) (*Result, error) {
	return dampedOscillation("fit.DampedOscillation", t, y, sigma, 5)
}

// DampedOscillationDrift is [DampedOscillation] with a steady drift of the
// zero: the swing is about the line offset + drift t, and Result.P has a sixth
// parameter at [Drift].
func DampedOscillationDrift(t, y, sigma []float64) (*Result, error) {
	return dampedOscillation("fit.DampedOscillationDrift", t, y, sigma, 6)
}

func dampedOscillation(fn string, t, y, sigma []float64, n int) (*Result, error) {
	if err := errors.Join(
		arg.Rising(fn, "t", t, "time in s"),
		arg.SameLength(fn, "t", len(t), "y", len(y)),
		arg.AllFinite(fn, "y", y, "reading"),
		enoughPoints(fn, "t", len(t), n, sigma == nil)); err != nil {
		return nil, err
	}
	weights, err := weightsOf(fn, sigma, len(y))
	if err != nil {
		return nil, err
	}
	length := t[len(t)-1] - t[0]
	if math.IsInf(length, 1) || math.IsInf(weightedNorm(y, weights), 1) {
		return nil, arg.Bad(fn, "t, y/sigma", "too large", "values whose differences and squares a float64 can hold")
	}
	out, failed := swingRoutine(t, y, weights, make([]float64, n), boolean(sigma == nil))
	if failed != "" {
		err = searchError(failed)
	}
	if out == nil {
		return nil, err
	}
	s := &swing{n: n, y: y, length: length}
	inner := resultOf(out, oscillationNames[:n])
	result, outErr := s.outward(fn, inner, t[0])
	return result, errors.Join(err, outErr)
}

// searchError is an error of the search that has come as a text: all of them wrap ErrNotConverged.
type searchError string

func (e searchError) Error() string { return string(e) }
func (e searchError) Unwrap() error { return ErrNotConverged }

// The search works with other parameters than the result: in
//
//	exp(-gamma s) (a cos omega s + b sin omega s) + c + d (s/length - 1/2)
//
// with s = t - t[0], a and b replace amplitude and phase (which are undefined
// without a swing), gamma and omega may pass through zero, and c and d hardly
// depend on each other.
const (
	inA = iota
	inB
	inGamma
	inOmega
	inC
	inD
)

// A swing is a record as the search sees it.
type swing struct {
	n      int       // parameters, 5 or 6
	s      []float64 // time since the first reading
	y, w   []float64
	length float64
	step   float64   // of equally spaced times, else 0
	least  float64   // the shortest time between two readings
	slack  float64   // by how much rounding may shift a time
	p      []float64 // where cos, sin and f were computed
	cos    []float64 // exp(-gamma s) cos omega s
	sin    []float64
	f      []float64 // (model - y)/sigma
	j      []float64 // a row of the Jacobian
}

func newSwing(t, y, w []float64, n int) *swing {
	m := len(t)
	s := &swing{n: n, s: make([]float64, m), y: y, w: w, length: t[m-1] - t[0], p: make([]float64, n),
		cos: make([]float64, m), sin: make([]float64, m), f: make([]float64, m), j: make([]float64, n)}
	s.step = s.length / float64(m-1)
	s.least = s.length
	s.slack = 0x1p-50 * math.Max(math.Abs(t[0]), math.Abs(t[m-1]))
	for i := range t {
		s.s[i] = t[i] - t[0]
		if math.Abs(s.s[i]-float64(i)*s.step) > s.slack {
			s.step = 0
		}
		if i > 0 {
			s.least = math.Min(s.least, t[i]-t[i-1])
		}
	}
	return s
}

// slowest returns the lowest angular frequency that reads the same as omega.
// Readings at whole multiples of a step cannot tell a swing from its aliases,
// which turn once or several times more from one step to the next.
func (s *swing) slowest(omega float64) float64 {
	steps := math.Round(s.length / s.least)
	step := s.length / steps
	for _, t := range s.s {
		if math.Abs(t-math.Round(t/step)*step) > 2*s.slack { // that of t and of step
			return omega
		}
	}
	if slow := math.Remainder(omega, 2*math.Pi/step); slow != 0 {
		return slow
	}
	return omega
}

// stride is how many equally spaced samples are reached by multiplying with
// one phasor before exp, sin and cos are computed afresh: few enough that the
// rounding of the products stays near that of the functions.
const stride = 32

// evaluate fills cos, sin and f at p.
func (s *swing) evaluate(p []float64) {
	copy(s.p, p)
	gamma, omega := p[inGamma], p[inOmega]
	if s.step > 0 {
		size := math.Exp(-gamma * s.step)
		turnSin, turnCos := math.Sincos(omega * s.step)
		turnSin, turnCos = size*turnSin, size*turnCos
		for from := 0; from < len(s.s); from += stride {
			to := min(from+stride, len(s.s))
			size := math.Exp(-gamma * s.s[from])
			sin, cos := math.Sincos(omega * s.s[from])
			sin, cos = size*sin, size*cos
			cosines, sines := s.cos[from:to], s.sin[from:to]
			for i := range cosines {
				cosines[i], sines[i] = cos, sin
				cos, sin = cos*turnCos-sin*turnSin, sin*turnCos+cos*turnSin
			}
		}
	} else {
		for i, t := range s.s {
			size := math.Exp(-gamma * t)
			sin, cos := math.Sincos(omega * t)
			s.cos[i], s.sin[i] = size*cos, size*sin
		}
	}
	a, b, c := p[inA], p[inB], p[inC]
	slope := 0.0
	if s.n > inD {
		slope = p[inD] / s.length
		c -= p[inD] / 2
	}
	for i := range s.f {
		s.f[i] = (a*s.cos[i] + b*s.sin[i] + c + slope*s.s[i] - s.y[i]) * s.w[i]
	}
}

func (s *swing) chi2(p []float64) float64 {
	s.evaluate(p)
	sum := 0.0
	for _, f := range s.f {
		sum += f * f
	}
	return sum
}

// row fills j with row i of the Jacobian, divided by sigma.
func (s *swing) row(i int, j []float64) {
	t, w := s.s[i], s.w[i]
	cos, sin := w*s.cos[i], w*s.sin[i]
	j[inA], j[inB] = cos, sin
	j[inGamma] = -t * (s.p[inA]*cos + s.p[inB]*sin)
	j[inOmega] = t * (s.p[inB]*cos - s.p[inA]*sin)
	j[inC] = w
	if s.n > inD {
		j[inD] = w * (t/s.length - 0.5)
	}
}

// linearise adds up JᵀJ and Jᵀf in one pass over the record, and takes R from
// the Cholesky factors of JᵀJ. That squares the condition number, so it is
// used only where the columns (scaled to length 1) are far from dependent: with
// a smallest pivot of 1e-4 the step and the covariance lose at most eight of
// sixteen digits, and the solution none, because Jᵀf is not affected. Records
// of less than about half a period go the safe way, by orthogonal factors of J.
func (s *swing) linearise(p []float64) (*mat.Dense, []float64, error) {
	if !floats.Equal(p, s.p) {
		s.evaluate(p)
	}
	n := s.n
	var sums [6][6]float64
	var jf [6]float64
	s.accumulate(&sums, &jf)
	var scale [6]float64
	for j := range n {
		scale[j] = math.Sqrt(sums[j][j])
		if math.IsInf(scale[j], 1) || math.IsNaN(scale[j]) {
			return nil, nil, fmt.Errorf("%w: the oscillation grows beyond what a float64 can hold", ErrNotConverged)
		}
	}
	r := mat.NewDense(n, n, nil)
	q := make([]float64, n)
	for j := range n { // column by column: R is upper triangular
		if scale[j] == 0 {
			return s.lineariseSafely()
		}
		for i := 0; i <= j; i++ {
			v := sums[i][j] / scale[i] / scale[j]
			for k := range i {
				v -= r.At(k, i) * r.At(k, j)
			}
			if i < j {
				r.Set(i, j, v/r.At(i, i))
				continue
			}
			if !(v > 1e-8) {
				return s.lineariseSafely()
			}
			r.Set(j, j, math.Sqrt(v))
		}
		v := jf[j] / scale[j]
		for k := range j {
			v -= r.At(k, j) * q[k]
		}
		q[j] = v / r.At(j, j)
	}
	for i := range n {
		for j := i; j < n; j++ {
			r.Set(i, j, r.At(i, j)*scale[j])
		}
	}
	return r, q, nil
}

// accumulate adds up the upper half of JᵀJ, and Jᵀf. Written out: a loop over
// rows of five would spend its time on bounds and indices.
func (s *swing) accumulate(sums *[6][6]float64, jf *[6]float64) {
	a, b := s.p[inA], s.p[inB]
	var aa, ab, ag, ao, ac, bb, bg, bo, bc, gg, gO, gc, oo, oc, cc float64
	var fa, fb, fg, fo, fc float64
	var ad, bd, gd, od, cd, dd, fd float64
	drift := s.n > inD
	cosines, sines, fs, ws := s.cos[:len(s.s)], s.sin[:len(s.s)], s.f[:len(s.s)], s.w[:len(s.s)]
	for i, t := range s.s {
		w, f := ws[i], fs[i]
		cos, sin := w*cosines[i], w*sines[i]
		g := -t * (a*cos + b*sin)
		o := t * (b*cos - a*sin)
		aa += cos * cos
		ab += cos * sin
		ag += cos * g
		ao += cos * o
		ac += cos * w
		bb += sin * sin
		bg += sin * g
		bo += sin * o
		bc += sin * w
		gg += g * g
		gO += g * o
		gc += g * w
		oo += o * o
		oc += o * w
		cc += w * w
		fa += cos * f
		fb += sin * f
		fg += g * f
		fo += o * f
		fc += w * f
		if drift {
			d := w * (t/s.length - 0.5)
			ad += cos * d
			bd += sin * d
			gd += g * d
			od += o * d
			cd += w * d
			dd += d * d
			fd += d * f
		}
	}
	*sums = [6][6]float64{
		{aa, ab, ag, ao, ac, ad},
		{0, bb, bg, bo, bc, bd},
		{0, 0, gg, gO, gc, gd},
		{0, 0, 0, oo, oc, od},
		{0, 0, 0, 0, cc, cd},
		{0, 0, 0, 0, 0, dd},
	}
	*jf = [6]float64{fa, fb, fg, fo, fc, fd}
}

// lineariseSafely factorises the Jacobian itself.
func (s *swing) lineariseSafely() (*mat.Dense, []float64, error) {
	jf := mat.NewDense(len(s.s), s.n+1, nil)
	for i := range s.s {
		row := jf.RawRowView(i)
		s.row(i, row[:s.n])
		row[s.n] = s.f[i]
	}
	r, q := triangle(jf)
	return r, q, nil
}

// outward turns the parameters of the search into those of the result, with
// their covariance (first order; the two sets describe the same model).
func (s *swing) outward(fn string, inner *Result, t0 float64) (*Result, error) {
	n := s.n
	a, b, gamma, omega, c := inner.P[inA], inner.P[inB], inner.P[inGamma], inner.P[inOmega], inner.P[inC]
	flip := 1.0
	if omega < 0 {
		omega, b, flip = -omega, -b, -1
	}
	size := math.Hypot(a, b)
	growth := math.Exp(gamma * t0)
	if math.Abs(gamma*t0) > 300 {
		return nil, arg.Bad(fn, "t[0]", t0, fmt.Sprintf("times that begin within 300 decay times (%g s each) of zero; subtract the time of the start", math.Abs(1/gamma)))
	}
	out := *inner
	out.P = []float64{size * growth, 1 / gamma, 2 * math.Pi / omega, math.Remainder(math.Atan2(b, a)+omega*t0, 2*math.Pi), c}
	turn := mat.NewDense(n, n, nil)
	if size > 0 {
		turn.SetRow(Amplitude, padded(n, growth*a/size, flip*growth*b/size, size*growth*t0))
		turn.SetRow(Phase, padded(n, -b/size/size, flip*a/size/size, 0, flip*t0))
	}
	turn.Set(DecayTime, inGamma, -1/(gamma*gamma))
	turn.Set(Period, inOmega, -flip*2*math.Pi/(omega*omega))
	turn.Set(Offset, inC, 1)
	if n > inD {
		d := inner.P[inD]
		out.P[Offset] -= d * (t0/s.length + 0.5)
		out.P = append(out.P, d/s.length)
		turn.Set(Offset, inD, -(t0/s.length + 0.5))
		turn.Set(Drift, inD, 1/s.length)
	}
	out.Undetermined = outwardNames(inner.Undetermined)
	if size <= 1e-14*floats.Norm(s.y, math.Inf(1)) { // rounding swings too
		out.Undetermined = []string{"tau", "T", "phi"}
	}
	out.U = make([]float64, n)
	out.Cov = mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			sum := 0.0
			for k := range n {
				for l := range n {
					if g := turn.At(i, k) * turn.At(j, l); g != 0 {
						sum += g * inner.Cov.At(k, l)
					}
				}
			}
			out.Cov.SetSym(i, j, sum)
		}
	}
	for i, name := range oscillationNames[:n] {
		out.U[i] = math.Sqrt(out.Cov.At(i, i))
		for _, loose := range out.Undetermined {
			if loose == name {
				out.U[i] = math.Inf(1)
				for k := range n {
					out.Cov.SetSym(i, k, math.NaN())
				}
				out.Cov.SetSym(i, i, math.Inf(1))
			}
		}
	}
	return &out, nil
}

func padded(n int, v ...float64) []float64 {
	return append(v, make([]float64, n-len(v))...)
}

// outwardNames says which parameters of the result those of the search stand
// for: the search uses the names at its own places.
func outwardNames(inner []string) []string {
	loose := map[string]bool{}
	for _, name := range inner {
		switch name {
		case oscillationNames[inA], oscillationNames[inB]:
			loose["A"], loose["phi"] = true, true
		case oscillationNames[inGamma]:
			loose["tau"] = true
		case oscillationNames[inOmega]:
			loose["T"] = true
		default:
			loose[name] = true
		}
	}
	var out []string
	for _, name := range oscillationNames {
		if loose[name] {
			out = append(out, name)
		}
	}
	return out
}
