package buried

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/internal/arg"
)

// A Grid is ground divided into cells by the edges X (north), Y (east) and Z
// (down), m, each rising. Without Y it is a vertical section and the cells run
// without end along y.
type Grid struct{ X, Y, Z []float64 }

// Validate reports edges that cannot be used.
func (g Grid) Validate() error {
	const fn = "buried.Grid"
	err := errors.Join(
		arg.AtLeast(fn, "X", len(g.X), 2), arg.Rising(fn, "X", g.X, "edge in m"),
		arg.AtLeast(fn, "Z", len(g.Z), 2), arg.Rising(fn, "Z", g.Z, "edge in m"))
	if err == nil && g.Y != nil {
		err = errors.Join(arg.AtLeast(fn, "Y", len(g.Y), 2), arg.Rising(fn, "Y", g.Y, "edge in m"))
	}
	for _, edges := range [][]float64{g.X, g.Y, g.Z} {
		for i, e := range edges {
			if err == nil && !(math.Abs(e) < 1e9 && (i == 0 || e-edges[i-1] > 1e-6)) {
				err = arg.Bad(fn, "edge", e, "an edge within 1e9 m of the origin, more than 1e-6 m above the one before")
			}
		}
	}
	if err == nil && g.cells() > 20000 {
		err = arg.Bad(fn, "cells", g.cells(), "at most 20000 cells")
	}
	return err
}

func (g *Grid) ny() int { return max(1, len(g.Y)-1) }

func (g *Grid) cells() int { return (len(g.X) - 1) * g.ny() * (len(g.Z) - 1) }

// Index is the place of cell (i, j, k) along X, Y and Z in a vector of cells (j
// is 0 for a section). It panics for a cell outside the grid.
func (g Grid) Index(i, j, k int) int {
	if i < 0 || j < 0 || k < 0 || i >= len(g.X)-1 || j >= g.ny() || k >= len(g.Z)-1 {
		panic("buried.Grid.Index: no such cell")
	}
	return (k*g.ny()+j)*(len(g.X)-1) + i
}

// cell returns a cell with a contrast of 1000 kg/m³, the depth of its middle,
// and its volume (m³, or m² of section).
func (g *Grid) cell(i, j, k int) (Body, float64, float64) {
	x1, x2, z1, z2 := g.X[i], g.X[i+1], g.Z[k], g.Z[k+1]
	if g.Y == nil {
		return Polygon{Vertices: []XZ{{x1, z1}, {x2, z1}, {x2, z2}, {x1, z2}}, Contrast: 1000}, (z1 + z2) / 2, (x2 - x1) * (z2 - z1)
	}
	p := Prism{Min: r3.Vec{X: x1, Y: g.Y[j], Z: z1}, Max: r3.Vec{X: x2, Y: g.Y[j+1], Z: z2}, Contrast: 1000}
	return p, (z1 + z2) / 2, p.Mass() / 1000
}

// A GridInversion finds contrasts for all cells of a grid at once. There are
// more cells than data, so that the data alone say little: what comes out is
// the smallest model, by a weighted size, that fits them, and its depth follows
// the weighting.
//
//	minimise  sum ((gz - model)/sigma)² + damping sum (v z^-power (m/1000)²)
//
// with m the contrast of a cell in kg/m³, v its fraction of the grid's volume times
// the number of cells, and z its depth below the deepest station plus half the
// width of the first cell along X, over that of the shallowest cell. A base level
// and slopes are fitted beside.
//
// Source: Tikhonov damping with the depth weighting of Y. Li, D. W. Oldenburg,
// Geophysics 63 (1998) 109 (from memory).
type GridInversion struct {
	Grid         Grid
	Lower, Upper float64 // bounds of the contrast, kg/m³, signed; both 0: none
	// DepthPower is the power of depth by which deep cells are favoured; 0
	// means 2 for blocks and 1 for a section, the fall of gz of a cell. Use a
	// small number such as 1e-9 for no weighting: all mass then rises to the
	// top.
	DepthPower float64
	// Damping is the factor of the size of the model; 0 finds the one at which
	// chi² is the number of data less that of the regional (discrepancy
	// principle).
	Damping float64
}

// A GridModel is the outcome of a GridInversion.
type GridModel struct {
	Contrast  []float64 // of each cell, kg/m³, by Grid.Index
	Predicted []float64 // gz at the stations with the regional, m/s²
	Chi2      float64
	Damping   float64
	Mass      float64 // excess mass of all cells, kg (kg/m for a section)
	Depth     float64 // of the centre of that mass by size, m
	Sweeps    int     // of the solver for bounds, from cell to cell; 0 without bounds
}

// Validate reports every field that cannot be used.
func (v GridInversion) Validate() error {
	const fn = "buried.GridInversion"
	err := errors.Join(
		v.Grid.Validate(),
		arg.Between(fn, "Lower", v.Lower, -1e5, 0, "contrast in kg/m³"),
		arg.Between(fn, "Upper", v.Upper, 0, 1e5, "contrast in kg/m³"),
		arg.Between(fn, "DepthPower", v.DepthPower, 0, 10, "power"),
		arg.Between(fn, "Damping", v.Damping, 0, 1e30, "factor"))
	for _, b := range []struct {
		name  string
		bound float64
	}{{"Lower", v.Lower}, {"Upper", v.Upper}} {
		if err == nil {
			err = checkContrast(fn, b.name, b.bound)
		}
	}
	return err
}

// gridProblem is the weighted problem with the regional taken out.
type gridProblem struct {
	columns [][]float64   // of each cell, per 1000 kg/m³
	norm    []float64     // their squared lengths
	gram    *mat.SymDense // sum over the cells of column column' / weight, once it is needed
	weight  []float64     // of each cell in the size of the model
	data    []float64
	lo, hi  float64 // in 1000 kg/m³
}

// Solve inverts an anomaly, whose Sigma must be given. Without bounds the answer
// is worked out at once. With bounds it is approached from cell to cell, slowly
// when the damping is weak: where that does not end at the minimum the error
// wraps fit.ErrNotConverged, and the GridModel beside it says where it stood.
func (v GridInversion) Solve(data Anomaly) (*GridModel, error) {
	const fn = "buried.GridInversion.Solve"
	if err := errors.Join(v.Validate(), data.Validate()); err != nil {
		return nil, err
	}
	if data.Sigma == nil {
		return nil, arg.Bad(fn, "Sigma", nil, "standard uncertainties, without which the damping has no measure")
	}
	n := len(data.GZ)
	scaled := func(x []float64) []float64 {
		w := make([]float64, n)
		for i := range w {
			w[i] = x[i] / data.Sigma[i]
		}
		return w
	}
	var basis [][]float64
	for _, c := range regional(data.Stations) {
		basis = extend(basis, scaled(c))
	}
	level := math.Inf(-1)
	for _, s := range data.Stations {
		level = max(level, s.Z)
	}
	g := &v.Grid
	if g.Z[0] < level {
		return nil, arg.Bad(fn, "Grid.Z", g.Z[0], "cells below the deepest station, which is at "+formatMetres(level))
	}
	power := v.DepthPower
	if power == 0 {
		power = 2
		if g.Y == nil {
			power = 1
		}
	}
	count := g.cells()
	p := &gridProblem{columns: make([][]float64, count), norm: make([]float64, count), weight: make([]float64, count)}
	raw := make([][]float64, count)
	volume, depth := make([]float64, count), make([]float64, count)
	all := 0.0
	for k := range len(g.Z) - 1 {
		for j := range g.ny() {
			for i := range len(g.X) - 1 {
				at := g.Index(i, j, k)
				var body Body
				body, depth[at], volume[at] = g.cell(i, j, k)
				gz, err := GZAt(body, data.Stations)
				if err != nil {
					return nil, err
				}
				raw[at] = gz
				p.columns[at] = scaled(gz)
				without(p.columns[at], basis)
				p.norm[at] = dot(p.columns[at], p.columns[at])
				all += volume[at]
			}
		}
	}
	shift := (g.X[1] - g.X[0]) / 2
	top := (g.Z[0]+g.Z[1])/2 - level + shift
	for c := range p.weight {
		p.weight[c] = volume[c] / all * float64(count) * math.Pow((depth[c]-level+shift)/top, -power)
	}
	p.data = scaled(data.GZ)
	without(p.data, basis)
	p.lo, p.hi = v.Lower/1000, v.Upper/1000
	if v.Lower == 0 && v.Upper == 0 {
		p.lo, p.hi = math.Inf(-1), math.Inf(1)
	}

	m := make([]float64, count)
	lambda, sweeps, ended := v.Damping, 0, true
	if lambda > 0 {
		sweeps, ended = p.solve(m, lambda)
	} else {
		lambda, sweeps, ended = p.discrepancy(m, float64(n-len(basis)))
	}
	out := &GridModel{Contrast: make([]float64, count), Predicted: make([]float64, n), Chi2: p.chi2(m), Damping: lambda, Sweeps: sweeps}
	moment, size := 0.0, 0.0
	for c, x := range m {
		out.Contrast[c] = 1000 * x
		for i := range out.Predicted {
			out.Predicted[i] += raw[c][i] * x
		}
		out.Mass += 1000 * x * volume[c]
		moment += math.Abs(x) * volume[c] * depth[c]
		size += math.Abs(x) * volume[c]
	}
	if size > 0 {
		out.Depth = moment / size
	}
	// The regional is what the data have left along its directions.
	rest := scaled(data.GZ)
	model := scaled(out.Predicted)
	for i := range rest {
		rest[i] -= model[i]
	}
	for _, b := range basis {
		d := dot(rest, b)
		for i := range b {
			out.Predicted[i] += d * b[i] * data.Sigma[i]
		}
	}
	if !isFinite(out.Chi2) || !isFinite(out.Mass) || !isFinite(out.Depth) {
		return nil, arg.Bad(fn, "data", out.Chi2, "data and a grid whose model stays within the range of float64")
	}
	if !ended {
		return out, fmt.Errorf("%s: after %d sweeps with a damping of %.3g the contrasts still change; try more damping: %w", fn, sweeps, lambda, fit.ErrNotConverged)
	}
	return out, nil
}

func (p *gridProblem) residual(m []float64) []float64 {
	r := append([]float64(nil), p.data...)
	for c, x := range m {
		if x != 0 {
			for i, a := range p.columns[c] {
				r[i] -= a * x
			}
		}
	}
	return r
}

func (p *gridProblem) chi2(m []float64) float64 {
	r := p.residual(m)
	return dot(r, r)
}

// solve minimises from m on and returns the number of sweeps, and whether they
// ended at the minimum.
func (p *gridProblem) solve(m []float64, lambda float64) (sweeps int, ended bool) {
	if math.IsInf(p.lo, -1) && math.IsInf(p.hi, 1) && p.free(m, lambda) {
		return 0, true
	}
	return p.descend(m, lambda)
}

// free finds the minimum without bounds, from as many equations as there are
// data: m = W^-1 A' (A W^-1 A' + lambda)^-1 data. It reports whether these could
// be solved, which they cannot where the damping is lost in rounding.
func (p *gridProblem) free(m []float64, lambda float64) bool {
	n := len(p.data)
	if p.gram == nil {
		p.gram = mat.NewSymDense(n, nil)
		for c, a := range p.columns {
			p.gram.SymRankOne(p.gram, 1/p.weight[c], mat.NewVecDense(n, a))
		}
	}
	damped := mat.NewSymDense(n, nil)
	damped.CopySym(p.gram)
	for i := range n {
		damped.SetSym(i, i, damped.At(i, i)+lambda)
	}
	var factor mat.Cholesky
	if !factor.Factorize(damped) {
		return false
	}
	var x mat.VecDense
	if factor.SolveVecTo(&x, mat.NewVecDense(n, p.data)) != nil {
		return false
	}
	for c, a := range p.columns {
		m[c] = dot(a, x.RawVector().Data) / p.weight[c]
	}
	return true
}

// descend goes from cell to cell (coordinate descent), each held within its
// bounds; the problem is convex, so that this leads to the minimum.
func (p *gridProblem) descend(m []float64, lambda float64) (sweeps int, ended bool) {
	r := p.residual(m)
	const most = 3000
	for sweep := 1; sweep <= most; sweep++ {
		change, size := 0.0, 0.0
		for c := range m {
			h := p.norm[c] + lambda*p.weight[c]
			if !(h > 0) {
				continue
			}
			x := m[c] + (dot(p.columns[c], r)-lambda*p.weight[c]*m[c])/h
			x = min(max(x, p.lo), p.hi)
			if d := x - m[c]; d != 0 {
				for i, a := range p.columns[c] {
					r[i] -= a * d
				}
				m[c] = x
				change = max(change, math.Abs(d))
			}
			size = max(size, math.Abs(x))
		}
		if change <= 1e-6*size {
			return sweep, true
		}
	}
	return most, false
}

// discrepancy looks for the damping at which chi² is the wanted one. chi² grows
// with the damping; where even a large or a small one does not reach the wanted
// value, that one is used.
func (p *gridProblem) discrepancy(m []float64, wanted float64) (lambda float64, sweeps int, ended bool) {
	most := 0.0
	for c := range p.norm {
		most = max(most, p.norm[c]/p.weight[c])
	}
	lo, hi := most*1e-9, most*1e6
	if !(most > 0) {
		return 1, 0, true
	}
	for range 30 {
		lambda = math.Sqrt(lo * hi)
		var more int
		more, ended = p.solve(m, lambda)
		sweeps += more
		switch c := p.chi2(m); {
		case math.Abs(c-wanted) < 1e-3*wanted, !ended && c > wanted: // less damping would be slower still
			return lambda, sweeps, ended
		case c > wanted:
			hi = lambda
		default:
			lo = lambda
		}
	}
	return lambda, sweeps, ended
}
