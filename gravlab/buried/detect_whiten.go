package buried

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/internal/arg"
)

// The readings of a plan have the covariance C = L L', L lower triangular.
// L⁻¹ turns them into uncorrelated ones of variance one. There is only one such
// L with a positive diagonal, so that the three ways below, one for each
// structure of C, give the same numbers:
//
//	no clutter           C is a diagonal and a random walk       walk, time n
//	clutter, even line   C differs from itself moved by one      evenLine, time n²
//	                     station by three columns only
//	else                 any C                                   dense, time n³/3, memory n²

// A whitener replaces columns v by L⁻¹ v.
type whitener func(columns ...[]float64) error

// whitener chooses the way. place holds the body's gradients, nil when places
// are exact.
func (p *Plan) whitener(place []Tensor) (whitener, error) {
	if p.Clutter == nil {
		return p.walk(place), nil
	}
	if spacing, even := evenSpacing(p.Stations); even && place == nil {
		return p.evenLine(spacing), nil
	}
	return p.dense(place)
}

func (p *Plan) lost() error {
	return arg.Bad("buried.Plan.SNR", "Noise", p.Noise, "noise that is not lost beside the clutter (the covariance is singular)")
}

// alone is the variance that no other reading shares with reading i, m²/s⁴.
func (p *Plan) alone(i int, place []Tensor) float64 {
	h := freeAir * p.Height
	v := p.Noise*p.Noise + h*h
	if place != nil {
		g := p.Place * math.Hypot(place[i].XZ, place[i].YZ)
		v += g * g
	}
	return v
}

// covariance is that of the readings, m²/s⁴.
func (p *Plan) covariance(place []Tensor) *mat.SymDense {
	n := len(p.Stations)
	c := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			v := p.Drift * p.Drift * float64(i)
			if p.Clutter != nil {
				d := r3.Sub(p.Stations[i], p.Stations[j])
				v += p.Clutter.covariance(math.Hypot(d.X, d.Y))
			}
			if i == j {
				v += p.alone(i, place)
			}
			c.SetSym(i, j, v)
		}
	}
	return c
}

// dense factorises the covariance as it stands, in its own memory.
func (p *Plan) dense(place []Tensor) (whitener, error) {
	upper, ok := lapack64.Potrf(p.covariance(place).RawSymmetric()) // L'
	if !ok {
		return nil, p.lost()
	}
	return func(columns ...[]float64) error {
		for _, v := range columns {
			blas64.Trsv(blas.Trans, upper, blas64.Vector{N: len(v), Data: v, Inc: 1})
		}
		return nil
	}, nil
}

// walk takes the readings one by one. Those so far say where the drift stands,
// with an expectation and a variance; what reading k differs from the
// expectation, over its standard deviation, is (L⁻¹ v)_k. (R. E. Kalman, J.
// Basic Eng. 82, 35–45, 1960, for a random walk; from memory.)
func (p *Plan) walk(place []Tensor) whitener {
	return func(columns ...[]float64) error {
		expected := make([]float64, len(columns))
		drift := 0.0 // its variance before the reading; none at the first
		for k := range p.Stations {
			noise := p.alone(k, place)
			all := drift + noise
			for c, v := range columns {
				news := v[k] - expected[c]
				v[k] = news / math.Sqrt(all)
				expected[c] += drift / all * news
			}
			drift = drift*(noise/all) + p.Drift*p.Drift
		}
		return nil
	}
}

// evenSpacing is the distance between neighbours of a straight line of evenly
// spaced stations, seen from above; heights may differ. Stations may be off
// their even places by rounding, 1e-13 of the largest coordinate.
func evenSpacing(stations []r3.Vec) (spacing float64, even bool) {
	n := len(stations)
	first, last := stations[0], stations[n-1]
	x, y := (last.X-first.X)/float64(n-1), (last.Y-first.Y)/float64(n-1)
	rounding := 0.0
	for _, s := range stations {
		rounding = max(rounding, 1e-13*math.Abs(s.X), 1e-13*math.Abs(s.Y))
	}
	for i, s := range stations {
		if !(math.Abs(s.X-first.X-float64(i)*x) <= rounding && math.Abs(s.Y-first.Y-float64(i)*y) <= rounding) {
			return 0, false
		}
	}
	return math.Hypot(x, y), true
}

// evenLine makes the columns of L one after the other without C. On an even line
// clutter and noise give a covariance t(|i−j|) that depends on how many stations
// lie between, and the drift gives d² min(i, j). Moved down and right by one
// station, with zeros coming in, C differs from itself by
//
//	C − moved C = a a' + b b' − c c'
//
// with a = t/√t(0), b = d (0, 1, 1, ...), c = (0, a₁, a₂, ...): three columns
// hold all of C. Turning a and b among each other changes nothing of the
// difference, and neither does a hyperbolic turn of a and c. Turn until b and c
// begin with zero: the first column of C is then a₀ a, so that a is the first
// column of L. What is left of C without that column has the same difference,
// with a moved down by one; and so on to the last station. (I. Schur's
// algorithm for matrices of low displacement rank: T. Kailath, A. H. Sayed, SIAM
// Review 37, 297–386, 1995; the order of the hyperbolic turn, which keeps
// rounding down, by A. W. Bojanczyk et al., SIAM J. Matrix Anal. Appl. 16, 40–57,
// 1995; both from memory.)
func (p *Plan) evenLine(spacing float64) whitener {
	return func(columns ...[]float64) error {
		n := len(p.Stations)
		a, b, c := make([]float64, n), make([]float64, n), make([]float64, n)
		root := math.Sqrt(p.Clutter.covariance(0) + p.alone(0, nil))
		a[0] = root
		for i := 1; i < n; i++ {
			a[i] = p.Clutter.covariance(float64(i)*spacing) / root
			b[i] = p.Drift
			c[i] = a[i]
		}
		for k := range n {
			// b and c from station k on; a was moved down k times, and begins
			// with what belongs to station k.
			a, b, c := a[:n-k], b[k:], c[k:]
			if b[0] != 0 {
				length := math.Hypot(a[0], b[0])
				cos, sin := a[0]/length, b[0]/length
				for i, x := range a {
					a[i], b[i] = cos*x+sin*b[i], cos*b[i]-sin*x
				}
			}
			tangent := c[0] / a[0]
			if !(math.Abs(tangent) < 1) {
				return p.lost()
			}
			root := math.Sqrt((1 - tangent) * (1 + tangent))
			for i, x := range a {
				a[i] = (x - tangent*c[i]) / root
				c[i] = root*c[i] - tangent*a[i]
			}
			for _, v := range columns {
				v := v[k:]
				v[0] /= a[0]
				for i := 1; i < len(a); i++ {
					v[i] -= a[i] * v[0]
				}
			}
		}
		return nil
	}
}
