// Package ode integrates ordinary differential equations whose solutions have
// no closed form, with control of the error.
//
// The method is the embedded Runge–Kutta pair of orders 5 and 4 of J. R.
// Dormand and P. J. Prince (J. Comput. Appl. Math. 6, 19, 1980), with the
// continuous extension of order 4 and the step control that E. Hairer, S. P.
// Nørsett and G. Wanner give (Solving Ordinary Differential Equations I, 2nd
// edition, Springer 1993, sections II.4 to II.6; coefficients from memory, held
// to their order conditions by the tests). It suits smooth problems that are
// not stiff: swings, orbits, damped motion.
//
// The error that is controlled is that of one step. Over a long run errors add
// up; a caller who needs to know how far runs the problem twice with tolerances
// ten times apart.
package ode

import (
	"fmt"
	"math"

	"gravity.example/gravlab/internal/arg"
)

// A Tolerance says how exact a solution must be. Its zero value is good for
// most motions.
type Tolerance struct {
	// Rel is the error allowed in one step, relative to the largest size that
	// the component has had so far. (The size of the moment would ask for the
	// impossible whenever a swing passes through zero.) Zero means 1e-9; less
	// than 1e-14 is refused, since float64 cannot give it.
	Rel float64
	// Abs is added to it, in the unit of the component. Zero adds nothing.
	Abs float64
	// MaxStep limits the step in t. Zero means no limit. A force that acts for
	// a short time only needs one, else a step may jump over it.
	MaxStep float64
	// MaxSteps limits the number of steps, rejected ones included. Zero means
	// one million.
	MaxSteps int
}

func (tol Tolerance) withDefaults() Tolerance {
	if tol.Rel == 0 {
		tol.Rel = 1e-9
	}
	if tol.MaxStep == 0 {
		tol.MaxStep = math.Inf(1)
	}
	if tol.MaxSteps == 0 {
		tol.MaxSteps = 1_000_000
	}
	return tol
}

func (tol Tolerance) validate() error {
	if tol.Rel != 0 {
		if err := arg.Between("ode.Tolerance", "Rel", tol.Rel, 1e-14, 1, "relative error"); err != nil {
			return err
		}
	}
	if err := arg.NonNegative("ode.Tolerance", "Abs", tol.Abs, "error"); err != nil {
		return err
	}
	if !(tol.MaxStep >= 0) {
		return arg.Bad("ode.Tolerance", "MaxStep", tol.MaxStep, "a positive step, or zero for no limit")
	}
	if tol.MaxSteps < 0 {
		return arg.Bad("ode.Tolerance", "MaxSteps", tol.MaxSteps, "a positive number, or zero for one million")
	}
	return nil
}

// Solve integrates dy/dt = f(t, y) from y0 at t0 and returns y at each of the
// times, one row a time. f puts the derivative into dydt and must neither keep
// nor change y; it is never nil. The times must not fall and none may lie
// before t0. Solve allocates once for the whole run, not per step.
//
// It gives up, and says at which t, when f or y is not finite, when the step
// becomes too small for float64 (a singularity), or after MaxSteps.
func Solve(f func(t float64, y, dydt []float64), t0 float64, y0, times []float64, tol Tolerance) ([][]float64, error) {
	if err := tol.validate(); err != nil {
		return nil, err
	}
	if err := arg.Finite("ode.Solve", "t0", t0, "time"); err != nil {
		return nil, err
	}
	if err := arg.AtLeast("ode.Solve", "y0", len(y0), 1); err != nil {
		return nil, err
	}
	if err := arg.AllFinite("ode.Solve", "y0", y0, "value"); err != nil {
		return nil, err
	}
	last := t0
	for i, t := range times {
		if !(t >= last) || math.IsInf(t, 0) {
			return nil, arg.Bad("ode.Solve", fmt.Sprintf("times[%d]", i), t, fmt.Sprintf("a finite time of %g or later: times must not fall", last))
		}
		last = t
	}
	n := len(y0)
	values := make([]float64, n*len(times))
	rows := make([][]float64, len(times))
	for i := range rows {
		rows[i] = values[i*n : (i+1)*n : (i+1)*n]
	}
	s := newSolver(f, t0, y0, tol.withDefaults())
	if err := s.run(times, rows); err != nil {
		return nil, err
	}
	return rows, nil
}

// A solver holds the state of one run.
type solver struct {
	f   func(t float64, y, dydt []float64)
	tol Tolerance
	t   float64
	y   []float64
	new []float64    // y after the step that is tried
	tmp []float64    // argument of a stage
	k   [7][]float64 // derivatives at the stages; k[0] belongs to y
	big []float64    // largest size of each component so far
	c   [5][]float64 // continuous extension over the last step
}

func newSolver(f func(t float64, y, dydt []float64), t0 float64, y0 []float64, tol Tolerance) *solver {
	n := len(y0)
	buf := make([]float64, 16*n)
	cut := func() []float64 {
		part := buf[:n:n]
		buf = buf[n:]
		return part
	}
	s := &solver{f: f, tol: tol, t: t0, y: cut(), new: cut(), tmp: cut(), big: cut()}
	for i := range s.k {
		s.k[i] = cut()
	}
	for i := range s.c {
		s.c[i] = cut()
	}
	copy(s.y, y0)
	for i, v := range y0 {
		s.big[i] = math.Abs(v)
	}
	return s
}

// run steps to the last time and fills the rows on the way.
func (s *solver) run(times []float64, rows [][]float64) error {
	next := 0
	for next < len(times) && times[next] == s.t {
		copy(rows[next], s.y)
		next++
	}
	if next == len(times) {
		return nil
	}
	end := times[len(times)-1]
	s.f(s.t, s.y, s.k[0])
	if !finite(s.k[0]) {
		return fmt.Errorf("ode: the derivative is not finite at t = %g", s.t)
	}
	h := math.Min(s.firstStep(), math.Min(s.tol.MaxStep, end-s.t))

	// Step control of Hairer, Nørsett and Wanner: proportional and integral.
	const (
		beta        = 0.04
		exponent    = 0.2 - 0.75*beta
		safety      = 0.9
		leastChange = 0.2
		mostChange  = 10
	)
	lastErr := 1e-4
	rejected := false
	for steps := 0; next < len(times); steps++ {
		if steps == s.tol.MaxSteps {
			return fmt.Errorf("ode: %d steps brought t only to %g of %g: the problem may be stiff, or the tolerance too small", steps, s.t, end)
		}
		if s.t+h == s.t {
			return fmt.Errorf("ode: the step became too small at t = %g: the solution may be singular there", s.t)
		}
		err := s.try(h)
		if !(err <= 1) { // NaN too
			shrink := leastChange
			if !math.IsNaN(err) && !math.IsInf(err, 0) {
				shrink = math.Max(leastChange, safety*math.Pow(err, -exponent))
			}
			h *= shrink
			rejected = true
			continue
		}
		t := s.t + h
		if t > end || end-t < 1e-14*math.Abs(end) {
			t = end
		}
		if next < len(times) && times[next] <= t {
			s.extend(h)
			for next < len(times) && times[next] <= t {
				s.at((times[next]-s.t)/h, rows[next])
				next++
			}
		}
		s.accept(t)
		grow := safety * math.Pow(math.Max(err, 1e-10), -exponent) * math.Pow(lastErr, beta)
		grow = math.Max(leastChange, math.Min(mostChange, grow))
		if rejected { // do not grow at once after a rejection
			grow = math.Min(1, grow)
		}
		rejected = false
		lastErr = math.Max(err, 1e-4)
		h = math.Min(h*grow, s.tol.MaxStep)
		if s.t+1.01*h > end {
			h = end - s.t
		}
	}
	return nil
}

// scale is the error allowed in component i when its new size is v.
func (s *solver) scale(i int, v float64) float64 {
	return s.tol.Abs + s.tol.Rel*math.Max(s.big[i], math.Abs(v))
}

// firstStep guesses a step from the sizes of y and of its derivative (Hairer,
// Nørsett and Wanner, section II.4, without their second trial: the first steps
// are rejected until they fit).
func (s *solver) firstStep() float64 {
	var d0, d1 float64
	for i, y := range s.y {
		d0 = math.Max(d0, math.Abs(y))
		d1 = math.Max(d1, math.Abs(s.k[0][i]))
	}
	if h := 0.01 * d0 / d1; h > 1e-12 && !math.IsInf(h, 0) {
		return h
	}
	return 1e-6
}

// try makes a step of h into s.new and returns its error in units of what is
// allowed: the root mean square over the components.
func (s *solver) try(h float64) float64 {
	k := &s.k
	for stage := 1; stage < 7; stage++ {
		row := &a[stage-1]
		for i, y := range s.y {
			var sum float64
			for j := 0; j < stage; j++ {
				sum += row[j] * k[j][i]
			}
			s.tmp[i] = y + h*sum
		}
		s.f(s.t+c[stage-1]*h, s.tmp, k[stage])
	}
	copy(s.new, s.tmp) // the seventh stage is the solution of order 5
	var sum float64
	for i := range s.y {
		e := h * (e1*k[0][i] + e3*k[2][i] + e4*k[3][i] + e5*k[4][i] + e6*k[5][i] + e7*k[6][i])
		scale := s.scale(i, s.new[i])
		switch {
		case e == 0:
		case scale == 0: // a component that has always been zero
			return math.Inf(1)
		default:
			sum += (e / scale) * (e / scale)
		}
	}
	if !finite(s.new) || !finite(k[6]) {
		return math.NaN()
	}
	return math.Sqrt(sum / float64(len(s.y)))
}

// accept makes the step that was tried the new state.
func (s *solver) accept(t float64) {
	s.t = t
	s.y, s.new = s.new, s.y
	s.k[0], s.k[6] = s.k[6], s.k[0] // the last stage is the first of the next step
	for i, v := range s.y {
		s.big[i] = math.Max(s.big[i], math.Abs(v))
	}
}

// extend prepares the polynomial of order 4 over the step that was tried.
func (s *solver) extend(h float64) {
	for i, y := range s.y {
		k := &s.k
		move := s.new[i] - y
		bend := h*k[0][i] - move
		s.c[0][i] = y
		s.c[1][i] = move
		s.c[2][i] = bend
		s.c[3][i] = move - h*k[6][i] - bend
		s.c[4][i] = h * (d1*k[0][i] + d3*k[2][i] + d4*k[3][i] + d5*k[4][i] + d6*k[5][i] + d7*k[6][i])
	}
}

// at puts the polynomial at the fraction x of the step into row.
func (s *solver) at(x float64, row []float64) {
	for i := range row {
		row[i] = s.c[0][i] + x*(s.c[1][i]+(1-x)*(s.c[2][i]+x*(s.c[3][i]+(1-x)*s.c[4][i])))
	}
}

func finite(v []float64) bool {
	for _, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

// Coefficients of the pair: c the times of stages 2 to 7, a their weights (the
// last row is also the solution of order 5), e the weights of the error, d
// those of the continuous extension.
var (
	c = [6]float64{1. / 5, 3. / 10, 4. / 5, 8. / 9, 1, 1}
	a = [6][6]float64{
		{1. / 5},
		{3. / 40, 9. / 40},
		{44. / 45, -56. / 15, 32. / 9},
		{19372. / 6561, -25360. / 2187, 64448. / 6561, -212. / 729},
		{9017. / 3168, -355. / 33, 46732. / 5247, 49. / 176, -5103. / 18656},
		{35. / 384, 0, 500. / 1113, 125. / 192, -2187. / 6784, 11. / 84},
	}
)

const (
	e1 = 71. / 57600
	e3 = -71. / 16695
	e4 = 71. / 1920
	e5 = -17253. / 339200
	e6 = 22. / 525
	e7 = -1. / 40

	d1 = -12715105075. / 11282082432
	d3 = 87487479700. / 32700410799
	d4 = -10690763975. / 1880347072
	d5 = 701980252875. / 199316789632
	d6 = -1453857185. / 822651844
	d7 = 69997945. / 29380423
)
