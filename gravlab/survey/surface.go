package survey

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/internal/arg"
	"gravity.example/gravlab/internal/parallel"
)

// A Surface is what scattered values of a field tell about it everywhere, with its
// uncertainty: a plane, and about it a random field whose covariance falls with distance
// as that of gravity above sources strewn over a plane at depth L/2,
//
//	C(d) = s² (1 + (d/L)²)^(-3/2)
//
// (from the autocorrelation of a point's gz, by Fourier transform: e^(-2kz) to z/(d²+4z²)^(3/2)).
// s and L are those under which the values are likeliest, with the plane integrated out
// (restricted maximum likelihood), among 14 by 14 of them evenly spaced in the logarithm.
// Value and uncertainty are those of least-squares collocation (H. Moritz, Advanced Physical
// Geodesy, 1980; C. E. Rasmussen, C. K. I. Williams, Gaussian Processes for Machine
// Learning, 2006, sections 2.2 and 2.7; from memory). The uncertainty holds for a field of that
// covariance, which few values cannot prove; s and L are taken as known in it.
type Surface struct {
	north, east, value, u []float64
	s, l                  float64 // of the covariance
	northScale, eastScale float64 // of the plane
	n0, e0                float64
	chol                  mat.Cholesky
	alpha                 *mat.VecDense // K⁻¹ (y − X b)
	b                     *mat.VecDense // of the plane
	kx                    *mat.Dense    // K⁻¹ X
	xkx                   mat.Cholesky  // of Xᵀ K⁻¹ X
}

// MostForShape is the most values from which s and L of a [Surface] are found; of more, that
// many are taken, evenly from the list.
const MostForShape = 120

// FitSurface takes values with standard uncertainties at places north and east (m), in one
// unit of the caller's. At least 5 places that do not lie in one line are wanted.
func FitSurface(north, east, value, u []float64) (*Surface, error) {
	const fn = "survey.FitSurface"
	if err := errors.Join(
		arg.AtLeast(fn, "value", len(value), 5),
		arg.SameLength(fn, "value", len(value), "north", len(north)), arg.SameLength(fn, "value", len(value), "east", len(east)),
		arg.SameLength(fn, "value", len(value), "u", len(u)),
		arg.AllFinite(fn, "north", north, "place in m"), arg.AllFinite(fn, "east", east, "place in m"),
		arg.AllFinite(fn, "value", value, "value")); err != nil {
		return nil, err
	}
	for i, v := range u {
		if !(v > 0) || math.IsInf(v, 0) {
			return nil, arg.Bad(fn, fmt.Sprintf("u[%d]", i), v, "a standard uncertainty above zero")
		}
	}
	chosen := all(len(value))
	if len(value) > MostForShape {
		chosen = nil
		for k := range MostForShape {
			chosen = append(chosen, k*len(value)/MostForShape)
		}
	}
	list := shapes(north, east, value, u)
	likely, failed := make([]float64, len(list)), make([]error, len(list))
	parallel.Each(len(list), func(k int) {
		likely[k] = math.Inf(-1)
		var f *Surface
		if f, failed[k] = newSurface(north, east, value, u, chosen, list[k][0], list[k][1]); failed[k] == nil {
			likely[k] = f.likelihood()
		}
	})
	best := 0
	for k, v := range likely {
		if v > likely[best] {
			best = k
		}
	}
	if math.IsInf(likely[best], -1) {
		return nil, fmt.Errorf("%s: no plane can be laid through the places; do they lie in one line? %w", fn, failed[best])
	}
	return newSurface(north, east, value, u, all(len(value)), list[best][0], list[best][1])
}

// shapes are the pairs of s and L to try.
func shapes(north, east, value, u []float64) (list [][2]float64) {
	extent := math.Hypot(slices.Max(north)-slices.Min(north), slices.Max(east)-slices.Min(east))
	spacing := extent / math.Sqrt(float64(len(north)))
	spread := slices.Max(value) - slices.Min(value)
	least := slices.Min(u) / 10
	most := math.Max(2*spread, 10*least)
	for i := range 14 {
		for j := range 14 {
			list = append(list, [2]float64{least * math.Pow(most/least, float64(i)/13), spacing / 3 * math.Pow(6*extent/spacing, float64(j)/13)})
		}
	}
	return list
}

func (f *Surface) covariance(dn, de float64) float64 {
	q := 1 + (dn*dn+de*de)/(f.l*f.l)
	return f.s * f.s / (q * math.Sqrt(q))
}

func (f *Surface) plane(north, east float64) []float64 {
	return []float64{1, (north - f.n0) / f.northScale, (east - f.e0) / f.eastScale}
}

func newSurface(north, east, value, u []float64, chosen []int, s, l float64) (*Surface, error) {
	f := &Surface{s: s, l: l}
	for _, i := range chosen {
		f.north, f.east = append(f.north, north[i]), append(f.east, east[i])
		f.value, f.u = append(f.value, value[i]), append(f.u, u[i])
	}
	n := len(chosen)
	f.n0, f.e0 = f.north[0], f.east[0]
	f.northScale = math.Max(1e-9, slices.Max(f.north)-slices.Min(f.north))
	f.eastScale = math.Max(1e-9, slices.Max(f.east)-slices.Min(f.east))
	k := mat.NewSymDense(n, nil)
	x := mat.NewDense(n, 3, nil)
	for i := range n {
		x.SetRow(i, f.plane(f.north[i], f.east[i]))
		for j := i; j < n; j++ {
			k.SetSym(i, j, f.covariance(f.north[i]-f.north[j], f.east[i]-f.east[j]))
		}
		k.SetSym(i, i, k.At(i, i)+f.u[i]*f.u[i])
	}
	if !f.chol.Factorize(k) {
		return nil, errors.New("the covariance is not positive")
	}
	f.kx = mat.NewDense(n, 3, nil)
	if err := f.chol.SolveTo(f.kx, x); err != nil {
		return nil, err
	}
	var normal mat.Dense
	normal.Mul(x.T(), f.kx)
	sym := mat.NewSymDense(3, nil)
	for i := range 3 {
		for j := i; j < 3; j++ {
			sym.SetSym(i, j, normal.At(i, j))
		}
	}
	if !f.xkx.Factorize(sym) || f.xkx.Cond() > 1e12 {
		return nil, errors.New("the places lie in one line")
	}
	y := mat.NewVecDense(n, f.value)
	var xy mat.VecDense
	xy.MulVec(f.kx.T(), y)
	f.b, f.alpha = mat.NewVecDense(3, nil), mat.NewVecDense(n, nil)
	if err := f.xkx.SolveVecTo(f.b, &xy); err != nil {
		return nil, err
	}
	var left mat.VecDense
	left.MulVec(x, f.b)
	left.SubVec(y, &left)
	if err := f.chol.SolveVecTo(f.alpha, &left); err != nil {
		return nil, err
	}
	return f, nil
}

// likelihood is the logarithm of the restricted likelihood, less a constant.
func (f *Surface) likelihood() float64 {
	return -0.5 * (mat.Dot(mat.NewVecDense(len(f.value), f.value), f.alpha) + f.chol.LogDet() + f.xkx.LogDet())
}

// Shape is the standard deviation s and the length L (m) of the covariance.
func (f *Surface) Shape() (s, l float64) { return f.s, f.l }

// At is the value of the field at a place (m), and its standard uncertainty.
func (f *Surface) At(north, east float64) (value, u float64) {
	n := len(f.value)
	c := mat.NewVecDense(n, nil)
	for i := range n {
		c.SetVec(i, f.covariance(north-f.north[i], east-f.east[i]))
	}
	x := mat.NewVecDense(3, f.plane(north, east))
	value = mat.Dot(x, f.b) + mat.Dot(c, f.alpha)
	var kc, r, xr mat.VecDense
	if f.chol.SolveVecTo(&kc, c) != nil {
		return value, math.NaN()
	}
	r.MulVec(f.kx.T(), c)
	r.SubVec(x, &r)
	if f.xkx.SolveVecTo(&xr, &r) != nil {
		return value, math.NaN()
	}
	return value, math.Sqrt(math.Max(0, f.s*f.s-mat.Dot(c, &kc)+mat.Dot(&r, &xr)))
}

// Value is the value of the field at a place (m), without the work for its uncertainty.
func (f *Surface) Value(north, east float64) float64 {
	value := mat.Dot(mat.NewVecDense(3, f.plane(north, east)), f.b)
	for i := range f.value {
		value += f.alpha.AtVec(i) * f.covariance(north-f.north[i], east-f.east[i])
	}
	return value
}

// A LeftOut says what the others make of one value.
type LeftOut struct {
	Predicted, U float64 // by all others; U with that of the value itself
	W            float64 // value less Predicted, over U
}

// LeaveOneOut predicts each value from all others, with the shape of the covariance held.
func (f *Surface) LeaveOneOut() []LeftOut {
	d := f.Dropping()
	if d == nil {
		return nil
	}
	return d.LeaveOneOut()
}

// Dropping is LeaveOneOut of a surface from which values are taken one by one, with the shape
// of the covariance held. It keeps
//
//	P = K⁻¹ − K⁻¹X (XᵀK⁻¹X)⁻¹ XᵀK⁻¹
//
// of the values left, which loses one value by a formula of rank one: what is left of the
// inverse of a matrix when a row and a column of the matrix go. Of n values the first
// LeaveOneOut takes n³ operations and n² numbers, each one dropped n² operations.
type Dropping struct {
	f    *Surface
	p    []float64 // n by n
	r    []float64 // P y
	gone []bool
}

// Dropping starts with all values; it is nil where the covariance cannot be inverted.
func (f *Surface) Dropping() *Dropping {
	n := len(f.value)
	var inverse mat.SymDense
	var solved mat.Dense
	if f.chol.InverseTo(&inverse) != nil || f.xkx.SolveTo(&solved, f.kx.T()) != nil {
		return nil
	}
	d := &Dropping{f: f, p: make([]float64, n*n), r: make([]float64, n), gone: make([]bool, n)}
	for i := range n {
		for j := range n {
			v := inverse.At(i, j)
			for a := range 3 {
				v -= f.kx.At(i, a) * solved.At(a, j)
			}
			d.p[i*n+j] = v
		}
		d.r[i] = f.alpha.AtVec(i)
	}
	return d
}

// Drop takes value i out.
func (d *Dropping) Drop(i int) {
	if d.gone[i] {
		return
	}
	d.gone[i] = true
	n := len(d.r)
	pivot := d.p[i*n : (i+1)*n]
	for j := range n {
		if d.gone[j] {
			continue
		}
		row := d.p[j*n : (j+1)*n]
		share := row[i] / pivot[i]
		for k := range n {
			row[k] -= share * pivot[k]
		}
		d.r[j] -= share * d.r[i]
	}
}

// LeaveOneOut predicts each value left from all others left; NaN for those dropped.
func (d *Dropping) LeaveOneOut() []LeftOut {
	n := len(d.r)
	out := make([]LeftOut, n)
	for i := range n {
		if d.gone[i] {
			out[i] = LeftOut{math.NaN(), math.NaN(), math.NaN()}
			continue
		}
		p := d.p[i*n+i]
		off := d.r[i] / p
		out[i] = LeftOut{Predicted: d.f.value[i] - off, U: 1 / math.Sqrt(p), W: off * math.Sqrt(p)}
	}
	return out
}

// LikelihoodLog is the logarithm of the likelihood of the values, the plane integrated out,
// less a constant that depends on the places alone: to compare sets of values at the same
// places.
func (f *Surface) LikelihoodLog() float64 { return f.likelihood() }

// LeaveOneOutFreely is LeaveOneOut with, for each value, the shape of the covariance that is
// likeliest for all others, so that a value that is off does not widen what is expected of
// it. W of the largest is to be compared with a critical value for the largest of all: see
// [Adjustment.Worst]. A small body beneath one station looks the same. Above 120 values the
// shape is held.
func (f *Surface) LeaveOneOutFreely() []LeftOut {
	n := len(f.value)
	if n > MostForShape {
		return f.LeaveOneOut()
	}
	list := shapes(f.north, f.east, f.value, f.u)
	likely, outs := make([]float64, len(list)), make([][]LeftOut, len(list))
	parallel.Each(len(list), func(k int) {
		if g, err := newSurface(f.north, f.east, f.value, f.u, all(n), list[k][0], list[k][1]); err == nil {
			likely[k], outs[k] = g.likelihood(), g.LeaveOneOut()
		}
	})
	best, out := make([]float64, n), make([]LeftOut, n)
	for i := range best {
		best[i] = math.Inf(-1)
	}
	for k := range list {
		for i, o := range outs[k] {
			// The likelihood of the others is that of all less that of this one given them.
			if v := likely[k] + 0.5*o.W*o.W + math.Log(o.U); v > best[i] {
				best[i], out[i] = v, o
			}
		}
	}
	return out
}

// all are the numbers from 0 to n-1.
func all(n int) []int {
	list := make([]int, n)
	for i := range list {
		list[i] = i
	}
	return list
}
