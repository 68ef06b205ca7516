package sensor

import (
	"math"
	"math/rand/v2"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// ThermalRecord returns n places (m) of the mass, dt (s) apart, as it moves in
// thermal equilibrium with viscous damping and nothing else acting. The first is
// drawn from the stationary state; each step then is the exact solution of the
// equation of motion with white force, whatever dt. The same seed gives the same
// record. rng must not be nil.
//
// Equipartition holds in it on average: the mean of x² is kB T/k. A record of
// length t tells it to a relative √(2/n), where n = 2t/τ counts independent
// values and τ = 2Q/ω0 is the decay time of the amplitude (Q well above 1/2).
func (s Suspension) ThermalRecord(rng *rand.Rand, n int, dt float64) ([]float64, error) {
	const fn = "sensor.Suspension.ThermalRecord"
	if err := s.Validate(); err != nil {
		return nil, err
	}
	if err := s.viscous(fn); err != nil {
		return nil, err
	}
	if n < 1 || n > 1<<27 {
		return nil, arg.Bad(fn, "n", n, "1 to 2^27 values")
	}
	if err := arg.Positive(fn, "dt", dt, "time step in s"); err != nil {
		return nil, err
	}
	w0 := s.omega0()
	beta := w0 / (2 * s.Q)
	sx, err := s.ThermalRMS()
	if err != nil {
		return nil, err
	}
	// In units of the rms place and rms speed the stationary covariance is the
	// unit matrix, so one step is y = M y + N r with N Nᵀ = 1 - M Mᵀ.
	c, d := s.decay(dt)
	xx, xv := c+beta*d, w0*d
	vx, vv := -w0*d, c-beta*d
	cxx := math.Max(1-float64(xx*xx)-float64(xv*xv), 0)
	cxv := -float64(xx*vx) - float64(xv*vv)
	cvv := math.Max(1-float64(vx*vx)-float64(vv*vv), 0)
	// The speed is the noisier one: take its root first.
	lv := math.Sqrt(cvv)
	lx := 0.0
	if lv > 0 {
		lx = math.Max(math.Min(cxv/lv, 1), -1)
	}
	l := math.Sqrt(math.Max(cxx-float64(lx*lx), 0))
	x, v := rng.NormFloat64(), rng.NormFloat64()
	out := make([]float64, n)
	for i := range out {
		out[i] = float64(sx * x)
		r1, r2 := rng.NormFloat64(), rng.NormFloat64()
		x, v = float64(xx*x)+float64(xv*v)+float64(lx*r1)+float64(l*r2),
			float64(vx*x)+float64(vv*v)+float64(lv*r1)
	}
	return out, nil
}

// ThermalNoise is what the damping's own agitation adds: a force of density
// 4 kB T times the real part of the mechanical impedance. As acceleration
//
//	viscous:     √(4 kB T ω0/(m Q))          at all frequencies
//	structural:  √(4 kB T ω0²/(m Q ω))       falling as 1/√f
//
// The two agree at resonance only.
func (s Suspension) ThermalNoise() (Noise, error) {
	if err := s.Validate(); err != nil {
		return Noise{}, err
	}
	if err := arg.Positive("sensor.Suspension", "Temperature", s.Temperature, "temperature in K"); err != nil {
		return Noise{}, err
	}
	w0 := s.omega0()
	viscous := math.Sqrt(4 * gravlab.BoltzmannK * s.Temperature * w0 / (s.Mass * s.Q))
	if s.Damping == Structural {
		return Noise{"suspension, thermal (structural)", func(f float64) float64 {
			return viscous * math.Sqrt(s.Frequency/f)
		}}, nil
	}
	return Noise{"suspension, thermal (viscous)", func(float64) float64 { return viscous }}, nil
}
