package buried

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/internal/arg"
)

// InClutter returns the sources of the same fit with the uncertainties that they
// have when the scatter of a reading is white noise (standard uncertainty, m/s²)
// and the pull of rubble, which neighbouring stations share. Invert takes its
// scatter for independent from station to station, and its uncertainties are too
// small for what changes slowly along the profile.
//
// The covariance is that of the fit's own estimator, A C Aᵀ, with A the
// pseudoinverse of its derivatives, weighted as in the fit, and C the covariance of
// the readings. Each uncertainty is multiplied by the ratio of its root to the
// fit's own; one that is +Inf stays so. Depths of the rubble are below the stations,
// as if all of them stood on one level. That a rubble with the same noise is in the
// scatter of the fit too is not used: noise and rubble are taken as known.
func (v *Inversion) InClutter(noise float64, rubble Clutter) ([]Source, error) {
	const fn = "buried.Inversion.InClutter"
	if v.problem == nil {
		return nil, arg.Bad(fn, "Inversion", "made by hand", "one made by Invert")
	}
	if err := errors.Join(rubble.Validate(), arg.Between(fn, "noise", noise, 0, 1e3, "standard uncertainty of a reading in m/s²")); err != nil {
		return nil, err
	}
	if len(v.Fit.AtBound) > 0 {
		return nil, fmt.Errorf("%s: the fit stopped at the bound of %v: its uncertainties do not hold", fn, v.Fit.AtBound)
	}
	p := v.problem
	n, k := len(p.data.GZ), len(v.Fit.P)
	j := mat.NewDense(n, k, nil)
	p.jacobian(v.Fit.P, j)
	weight := mat.NewDense(n, n, nil)
	for i := range n {
		w := 1.0
		if p.data.Sigma != nil {
			w = 1 / p.data.Sigma[i]
		}
		weight.Set(i, i, w)
		for c := range k {
			j.Set(i, c, w*j.At(i, c))
		}
	}
	// Columns of length 1: masses and places differ by many powers of ten.
	length := make([]float64, k)
	for c := range k {
		length[c] = mat.Norm(j.ColView(c), 2)
		for i := range n {
			j.Set(i, c, j.At(i, c)/length[c])
		}
	}
	var qr mat.QR
	qr.Factorize(j)
	var a mat.Dense
	if err := qr.SolveTo(&a, false, weight); err != nil {
		return nil, fmt.Errorf("%s: the readings do not determine %v: %w", fn, v.Fit.Names, err)
	}
	c := mat.NewSymDense(n, nil)
	for i, s := range p.data.Stations {
		for l := i; l < n; l++ {
			o := p.data.Stations[l]
			cov := rubble.covariance(math.Hypot(s.X-o.X, s.Y-o.Y))
			if l == i {
				cov += noise * noise
			}
			c.SetSym(i, l, cov)
		}
	}
	var half, cov mat.Dense
	half.Mul(&a, c)
	cov.Mul(&half, a.T())
	ratio := make([]float64, k) // of the true uncertainty to the fit's own
	for i := range k {
		ratio[i] = math.Sqrt(cov.At(i, i)) / length[i] / v.Fit.U[i]
	}
	var out []Source
	p.sources(v.Fit.P, func(s Shape, first int, _, _, _, _ float64) {
		src := v.Sources[len(out)]
		src.UX *= ratio[first]
		at := first + 1
		if s == PointShape && !p.planar {
			src.UY *= ratio[at]
			at++
		}
		src.UZ *= ratio[at]
		src.UMass *= ratio[at+1]
		src.DepthMass = cov.At(at, at+1) / math.Sqrt(cov.At(at, at)*cov.At(at+1, at+1))
		out = append(out, src)
	})
	return out, nil
}
