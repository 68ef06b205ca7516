package pendulum

import (
	"math"

	"gravity.example/gravlab/internal/arg"
	"gravity.example/gravlab/internal/ode"
)

// A Motion is the undamped swing of one pendulum, prepared for many times. Its
// methods do not allocate.
type Motion struct {
	// Period is the exact period, s.
	Period float64

	omega, k, kp float64     // ω0, modulus, complementary modulus
	a            [24]float64 // arithmetic means
	ratio        [24]float64 // c/a of each step
	steps        int
}

// Motion prepares the undamped swing of p (Damping is left out of it).
func (p Pendulum) Motion() (Motion, error) {
	p = p.weighed()
	if err := p.Validate(); err != nil {
		return Motion{}, err
	}
	sin, cos := math.Sincos(p.Amplitude / 2)
	m := Motion{Period: p.period(), omega: p.omega0(), k: sin, kp: cos}
	a, b := 1.0, cos
	m.a[0] = a
	for m.steps < len(m.a)-1 {
		c := (a - b) / 2
		a, b = (a+b)/2, math.Sqrt(a*b)
		m.steps++
		m.a[m.steps] = a
		m.ratio[m.steps] = c / a
		if c <= 1e-16*a {
			break
		}
	}
	return m, nil
}

// At returns the angle (rad) and its rate (rad/s) at t (s) after release; before
// it too, as if the swing had no beginning. NaN gives NaN.
func (m *Motion) At(t float64) (theta, rate float64) {
	if m.k == 0 {
		return 0, 0
	}
	t = math.Remainder(t, m.Period)
	// Descending Landen transformation (Abramowitz and Stegun 16.4).
	phi := math.Ldexp(m.a[m.steps]*m.omega*t, m.steps)
	for i := m.steps; i > 0; i-- {
		phi = (phi + math.Asin(m.ratio[i]*math.Sin(phi))) / 2
	}
	sn, cn := math.Sincos(phi)
	dn := math.Hypot(m.kp, m.k*cn)
	// sin(θ/2) = k cn/dn and cos(θ/2) = k'/dn, exactly.
	return 2 * math.Atan2(m.k*cn, m.kp), -2 * m.omega * m.k * m.kp * sn / dn
}

// Angle returns the angle (rad) at each time (s after release; before release
// the bob is held at Amplitude). Without damping it is the closed form. With
// damping the times must not fall and the equation of motion is integrated, to
// 1e-11 in each step.
func (p Pendulum) Angle(times []float64) ([]float64, error) {
	s, err := p.weighed().states("pendulum.Pendulum.Angle", times)
	if err != nil {
		return nil, err
	}
	angles := make([]float64, len(s))
	for i, v := range s {
		angles[i] = v.theta
	}
	return angles, nil
}

type state struct{ theta, rate float64 }

// states returns the motion at each time, held before release.
func (p Pendulum) states(fn string, times []float64) ([]state, error) {
	if err := checkTimes(fn, times); err != nil {
		return nil, err
	}
	out := make([]state, len(times))
	if p.Damping == 0 {
		m, err := p.Motion()
		if err != nil {
			return nil, err
		}
		for i, t := range times {
			if t <= 0 {
				out[i].theta = p.Amplitude
				continue
			}
			out[i].theta, out[i].rate = m.At(t)
		}
		return out, nil
	}
	held := 0
	for held < len(times) && times[held] <= 0 {
		out[held].theta = p.Amplitude
		held++
	}
	rows, err := p.integrate(times[held:], 1e-11)
	if err != nil {
		return nil, err
	}
	for i, r := range rows {
		out[held+i] = state{r[0], r[1]}
	}
	return out, nil
}

// Integrate returns the angle (rad) and its rate (rad/s) at each time (s after
// release, zero or more, not falling) by numerical integration, damping
// included, with a relative error of rel in each step (1e-14 to 1e-2; 0 takes
// 1e-9). It is the independent route to the closed form, and the only one with
// damping.
func (p Pendulum) Integrate(times []float64, rel float64) (angles, rates []float64, err error) {
	const fn = "pendulum.Pendulum.Integrate"
	if err := checkTimes(fn, times); err != nil {
		return nil, nil, err
	}
	if rel == 0 {
		rel = 1e-9
	}
	if err := arg.Between(fn, "rel", rel, 1e-14, 1e-2, "relative error"); err != nil {
		return nil, nil, err
	}
	rows, err := p.weighed().integrate(times, rel)
	if err != nil {
		return nil, nil, err
	}
	angles, rates = make([]float64, len(times)), make([]float64, len(times))
	for i, r := range rows {
		angles[i], rates[i] = r[0], r[1]
	}
	return angles, rates, nil
}

func (p Pendulum) integrate(times []float64, rel float64) ([][]float64, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	w2 := p.omega0() * p.omega0()
	c := p.Damping
	f := func(_ float64, y, d []float64) {
		d[0] = y[1]
		d[1] = -w2*math.Sin(y[0]) - c*y[1]
	}
	return ode.Solve(f, 0, []float64{p.Amplitude, 0}, times, ode.Tolerance{Rel: rel})
}
