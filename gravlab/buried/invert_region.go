package buried

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"gravity.example/gravlab/fit"
)

// The covariance of a linear model serves where a source stands well above the noise. Its
// measure is the signal-to-noise ratio of the source: the root of what it takes off chi²
// beside the regional and the other sources. Below linearFrom the intervals of 95 % of the
// covariance may hold less than 93 % (simulated, 2000 fits each: 93 % at 17; 600 each: 91
// to 95 % at 12, 78 to 94 % at 6); there the uncertainty comes from the region of all
// places whose chi² is near the least one, wherever they lie. Below jointBelow that is the
// joint region of the place, since the search over places picks the noise that suits it.
// Below seenFrom nothing is claimed: of 200 profiles of noise alone none passes it.
const (
	linearFrom = 18.0
	jointBelow = 10.0
	seenFrom   = 7.0
)

// reach is by how much X, Y, Z and Mass of a source can be off, in what is near its
// least chi².
type reach struct {
	x, y, z, mass float64
	bounded       bool // the places near the least chi² end before the stations do
}

// doubt sets the uncertainties of weak sources, and says in Remarks where there are
// none.
func (v *Inversion) doubt() {
	p, first := v.problem, 0
	for k := range v.Sources {
		s := &v.Sources[k]
		scan := p.scan(v.Fit, k)
		s.SNR = math.Sqrt(math.Max(0, scan.total-scan.least))
		at, places := first, 2
		if s.Shape == PointShape && !p.planar {
			places = 3
		}
		first += places + 1
		if s.SNR >= linearFrom || math.IsNaN(s.SNR) {
			continue
		}
		unknown := func(why string) {
			s.UX, s.UZ, s.UMass = math.Inf(1), math.Inf(1), math.Inf(1)
			if places == 3 {
				s.UY = math.Inf(1)
			}
			v.Remarks = append(v.Remarks, fmt.Sprintf("source %d has no uncertainty: %s", k+1, why))
		}
		if s.SNR < seenFrom {
			unknown(fmt.Sprintf("with a signal-to-noise ratio of %.1f it may be noise, and may lie elsewhere; from %g on it can be told", s.SNR, seenFrom))
			continue
		}
		one, joint := p.quantiles(v.Fit.DoF, places)
		cut := one * one
		if s.SNR < jointBelow {
			cut = joint
		}
		u := [3]float64{s.UX, s.UY, s.UZ}
		for i := at; i < at+places+1; i++ {
			if math.IsInf(v.Fit.U[i], 1) {
				u = [3]float64{} // the covariance tells no scale: the wide grid alone
			}
		}
		r := scan.region(*s, u, cut)
		if !r.bounded {
			unknown(fmt.Sprintf("with a signal-to-noise ratio of %.1f places as far as the ends of the survey, or as deep as it is long, fit nearly as well", s.SNR))
			continue
		}
		s.UX, s.UZ, s.UMass = math.Max(s.UX, r.x/one), math.Max(s.UZ, r.z/one), math.Max(s.UMass, r.mass/one)
		if places == 3 {
			s.UY = math.Max(s.UY, r.y/one)
		}
	}
}

// quantiles are what 95 % of the normal distribution (or, without Sigma, of
// Student's) lie within, and the chi² (or the like with the scatter for Sigma) that
// bounds 95 % of the places together.
func (p *inversion) quantiles(dof, places int) (one, joint float64) {
	if p.data.Sigma != nil || dof < 1 {
		return distuv.UnitNormal.Quantile(0.975), distuv.ChiSquared{K: float64(places)}.Quantile(0.95)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(dof)}.Quantile(0.975),
		float64(places) * distuv.F{D1: float64(places), D2: float64(dof)}.Quantile(0.95)
}

// A scan works out chi² of one source at any place, in units of Sigma or of the
// scatter, with mass and regional that fit best there, and other sources near where
// they are.
type scan struct {
	p     *inversion
	shape Shape
	sigma []float64
	basis [][]float64 // what is fitted beside
	data  []float64   // without the basis
	total float64     // of data
	least float64     // chi² of the fit
}

func (p *inversion) scan(r *fit.Result, source int) *scan {
	n := len(p.data.GZ)
	c := &scan{p: p, shape: p.shapes[source], sigma: p.data.Sigma, least: r.Chi2}
	if c.sigma == nil {
		scatter := math.Sqrt(r.Chi2 / float64(max(r.DoF, 1)))
		c.least = float64(max(r.DoF, 1))
		c.sigma = make([]float64, n)
		for i := range c.sigma {
			c.sigma[i] = scatter
		}
	}
	for _, column := range p.regional {
		c.basis = extend(c.basis, c.scaled(column))
	}
	if len(p.shapes) > 1 {
		jacobian := mat.NewDense(n, len(r.P), nil)
		p.jacobian(r.P, jacobian)
		k := 0
		p.sources(r.P, func(s Shape, first int, _, _, _, _ float64) {
			last := first + 2
			if s == PointShape && !p.planar {
				last++
			}
			for j := first; k != source && j <= last; j++ {
				c.basis = extend(c.basis, c.scaled(mat.Col(nil, j, jacobian)))
			}
			k++
		})
	}
	c.data = c.scaled(p.data.GZ)
	without(c.data, c.basis)
	c.total = dot(c.data, c.data)
	return c
}

func (c *scan) scaled(v []float64) []float64 {
	w := append([]float64(nil), v...)
	for i := range w {
		w[i] /= c.sigma[i]
	}
	return w
}

// at returns by how much chi² at a place is above that of the fit, the mass there and
// its standard uncertainty.
func (c *scan) at(x, y, z float64) (above, mass, u float64) {
	column := make([]float64, len(c.data))
	for i, s := range c.p.data.Stations {
		g, _, _, _ := effect(c.shape, x-s.X, y-s.Y, z-s.Z)
		column[i] = g / c.sigma[i]
	}
	before := dot(column, column)
	without(column, c.basis)
	size := dot(column, column)
	if !(size > 1e-12*before) {
		return math.Inf(1), 0, 0
	}
	gain := dot(column, c.data)
	return c.total - gain*gain/size - c.least, gain / size, 1 / math.Sqrt(size)
}

// region finds how far the places reach whose chi² lies by at most cut above that of
// the source s: on a wide grid under the stations, as the search for a first guess has
// it, and on a fine one of four standard uncertainties u of the covariance to each
// side.
func (c *scan) region(s Source, u [3]float64, cut float64) reach {
	p, r := c.p, reach{bounded: true}
	planar := p.planar || c.shape != PointShape
	if planar {
		s.Y = p.middle.Y
	}
	try := func(x, y, z float64, edge bool) {
		above, mass, u := c.at(x, y, z)
		if above > cut {
			return
		}
		r.x, r.y, r.z = math.Max(r.x, math.Abs(x-s.X)), math.Max(r.y, math.Abs(y-s.Y)), math.Max(r.z, math.Abs(z-s.Z))
		r.mass = math.Max(r.mass, math.Abs(mass-s.Mass)+u*math.Sqrt(cut-math.Max(above, 0)))
		r.bounded = r.bounded && !edge
	}
	nx, ny, nz := 49, 1, 24
	if !planar {
		nx, ny, nz = 17, 17, 14
	}
	even := func(i, n int) float64 { // from -1 to 1
		if n == 1 {
			return 0
		}
		return 2*float64(i)/float64(n-1) - 1
	}
	for i := range nx {
		for j := range ny {
			for k := range nz {
				edge := i == 0 || i == nx-1 || ny > 1 && (j == 0 || j == ny-1) || k == nz-1
				try(p.middle.X+even(i, nx)*p.extent.X/2, p.middle.Y+even(j, ny)*p.extent.Y/2,
					p.level+p.reach*0.02*math.Pow(50, float64(k)/float64(nz-1)), edge)
			}
		}
	}
	nx, ny, nz = 41, 1, 41
	if !planar {
		nx, ny, nz = 21, 13, 21
	}
	for i := range nx {
		for j := range ny {
			for k := range nz {
				if z := s.Z + 4*u[2]*even(k, nz); z > p.level+0.005*p.reach {
					try(s.X+4*u[0]*even(i, nx), s.Y+4*u[1]*even(j, ny), z, false)
				}
			}
		}
	}
	return r
}
