package fieldday

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/buried"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/internal/parallel"
)

// A Body is what the anomalies say about one body under the field.
type Body struct {
	Lines []string // in words
	Fits  []BodyFit
}

// A BodyFit is one kind of body fitted to the stations on the map, with a plane.
type BodyFit struct {
	Kind  string
	Chi2  float64
	DoF   int
	Text  string
	Names []string
	// P is the body, SI. Twice U is how far a parameter can be moved, all others fitted anew,
	// until chi² has risen by 4, on the farther side; infinite where it never does. U is nil where
	// the fit does not hold or ends at a bound.
	P, U   []float64
	Result *fit.Result
	holds  bool
}

// A kind of body: its field at a station for parameters p, of which the last is its size
// (mass, mass per length, mass per area), in which it is linear. Places are north, east and
// height.
type kind struct {
	name   string
	params []string
	gz     func(p []float64, at r3.Vec) float64 // m/s²
	bounds func(f *field) (lower, upper []float64)
	starts func(f *field) [][]float64
}

// A field is the anomalies to be explained.
type field struct {
	at              []r3.Vec // z down
	value, u        []float64
	spacing, extent float64
	n0, e0, top     float64  // middle, and mean height
	under           []r3.Vec // the stations under which a body is looked for first
}

func newField(north, east, height, value, u []float64) *field {
	f := &field{value: value, u: u}
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for i := range north {
		f.at = append(f.at, r3.Vec{X: north[i], Y: east[i], Z: -height[i]})
		n := float64(len(north))
		f.n0, f.e0, f.top = f.n0+north[i]/n, f.e0+east[i]/n, f.top+height[i]/n
		lo[0], hi[0] = min(lo[0], north[i]), max(hi[0], north[i])
		lo[1], hi[1] = min(lo[1], east[i]), max(hi[1], east[i])
	}
	f.extent = math.Hypot(hi[0]-lo[0], hi[1]-lo[1])
	f.spacing = f.extent / math.Sqrt(float64(len(north)))
	f.under = f.at
	if len(f.at) > mostAround {
		f.under = f.likeliest()
	}
	return f
}

// likeliest are the [mostAround] stations under which a ball, at the best of four depths and
// by the nearest stations alone, improves most on a plane. Elsewhere no search starts.
func (f *field) likeliest() []r3.Vec {
	gain := make([]float64, len(f.at))
	parallel.Each(len(f.at), func(i int) {
		away := func(j int) float64 { return math.Hypot(f.at[j].X-f.at[i].X, f.at[j].Y-f.at[i].Y) }
		g := &field{n0: f.at[i].X, e0: f.at[i].Y, extent: f.extent, spacing: f.spacing}
		for _, j := range least(numbers(len(f.at)), mostAround, away) {
			g.at, g.value, g.u = append(g.at, f.at[j]), append(g.value, f.value[j]), append(g.u, f.u[j])
		}
		plain, _ := g.linear(kind{}, nil, false)
		for _, d := range []float64{0.4, 0.8, 1.5, 3} {
			chi2, _ := g.linear(kinds[0], []float64{f.at[i].X, f.at[i].Y, -f.at[i].Z - d*f.spacing, 1}, true)
			gain[i] = max(gain[i], plain-chi2)
		}
	})
	var list []r3.Vec
	for _, j := range least(numbers(len(f.at)), mostAround, func(j int) float64 { return -gain[j] }) {
		list = append(list, f.at[j])
	}
	return list
}

// numbers are those from 0 to n-1.
func numbers(n int) []int {
	list := make([]int, n)
	for i := range list {
		list[i] = i
	}
	return list
}

// least are the entries of a list, at most that many, of which a measure is least, the least
// first; of equal ones those that come first. It sorts the list.
func least(list []int, most int, measure func(i int) float64) []int {
	slices.SortStableFunc(list, func(a, b int) int { return cmp.Compare(measure(a), measure(b)) })
	return list[:min(len(list), most)]
}

const strikeName = "strike (rad)"

func gzOf(b buried.Body, at r3.Vec) float64 {
	v, err := b.GZ(at)
	if err != nil {
		return math.NaN()
	}
	return v
}

var kinds = []kind{
	{
		"ball", []string{"north (m)", "east (m)", "height of its middle (m)", "mass (kg)"},
		func(p []float64, at r3.Vec) float64 {
			return gzOf(buried.Point{At: r3.Vec{X: p[0], Y: p[1], Z: -p[2]}, Mass: p[3]}, at)
		},
		func(f *field) (lower, upper []float64) {
			return []float64{f.n0 - f.extent, f.e0 - f.extent, f.top - 2*f.extent, math.Inf(-1)}, []float64{f.n0 + f.extent, f.e0 + f.extent, f.top - 0.3, math.Inf(1)}
		},
		func(f *field) (list [][]float64) {
			for _, a := range f.under {
				for _, d := range []float64{0.4, 0.8, 1.5, 3} {
					list = append(list, []float64{a.X, a.Y, -a.Z - d*f.spacing, 1})
				}
			}
			return list
		},
	},
	{
		"long body of finite length", []string{"north (m)", "east (m)", "height of its axis (m)", strikeName, "length (m)", "mass per length (kg/m)"},
		func(p []float64, at r3.Vec) float64 {
			sin, cos := math.Sincos(p[3])
			half := r3.Vec{X: cos * p[4] / 2, Y: sin * p[4] / 2}
			middle := r3.Vec{X: p[0], Y: p[1], Z: -p[2]}
			return gzOf(buried.Rod{From: r3.Sub(middle, half), To: r3.Add(middle, half), LineDensity: p[5]}, at)
		},
		func(f *field) (lower, upper []float64) {
			return []float64{f.n0 - f.extent, f.e0 - f.extent, f.top - 2*f.extent, -7, f.spacing / 2, math.Inf(-1)}, []float64{f.n0 + f.extent, f.e0 + f.extent, f.top - 0.3, 7, 4 * f.extent, math.Inf(1)}
		},
		func(f *field) (list [][]float64) {
			for _, a := range f.under {
				for _, d := range []float64{0.4, 0.8, 1.6} {
					for k := range 6 {
						for _, l := range []float64{2, 5} {
							list = append(list, []float64{a.X, a.Y, -a.Z - d*f.spacing, math.Pi * float64(k) / 6, l * f.spacing, 1})
						}
					}
				}
			}
			return list
		},
	},
	{
		"step of a thin layer", []string{"distance of its edge from the middle (m)", "bearing of its far side (rad)", "height of the layer (m)", "mass per area (kg/m²)"},
		func(p []float64, at r3.Vec) float64 {
			sin, cos := math.Sincos(p[1])
			d := at.X*cos + at.Y*sin - p[0]
			depth := -p[2] - at.Z
			if depth <= 0 {
				return math.NaN()
			}
			return 2 * gravlab.G * p[3] * (math.Pi/2 + math.Atan2(d, depth))
		},
		func(f *field) (lower, upper []float64) {
			return []float64{-1e7, -7, f.top - 2*f.extent, math.Inf(-1)}, []float64{1e7, 7, f.top - 0.3, math.Inf(1)}
		},
		func(f *field) (list [][]float64) {
			for k := range 12 {
				b := math.Pi * float64(k) / 6
				middle := f.n0*math.Cos(b) + f.e0*math.Sin(b)
				for _, o := range []float64{-0.3, -0.15, 0, 0.15, 0.3} {
					for _, d := range []float64{0.5, 1, 2} {
						list = append(list, []float64{middle + o*f.extent, b, f.top - d*f.spacing, 1})
					}
				}
			}
			return list
		},
	},
}

// plane is 1, north and east, scaled.
func (f *field) plane(at r3.Vec) [3]float64 {
	return [3]float64{1, (at.X - f.n0) / f.extent, (at.Y - f.e0) / f.extent}
}

// linear fits size and plane for the shape of p, whose size is 1, and returns chi².
func (f *field) linear(k kind, p []float64, with bool) (chi2 float64, coefficients []float64) {
	columns := 3
	if with {
		columns = 4
	}
	var normal [4][4]float64
	var right [4]float64
	row := make([]float64, columns)
	rows := make([][4]float64, len(f.at))
	scale := 0.0
	for i, at := range f.at {
		b := f.plane(at)
		copy(row, b[:])
		if with {
			row[3] = k.gz(p, at)
			scale = math.Max(scale, math.Abs(row[3]))
		}
		copy(rows[i][:], row)
	}
	if with && !(scale > 0) {
		return math.Inf(1), nil
	}
	for i := range rows {
		if with {
			rows[i][3] /= scale
		}
		w := 1 / (f.u[i] * f.u[i])
		for a := range columns {
			right[a] += w * rows[i][a] * f.value[i]
			for b := range columns {
				normal[a][b] += w * rows[i][a] * rows[i][b]
			}
		}
	}
	m := mat.NewSymDense(columns, nil)
	for a := range columns {
		for b := a; b < columns; b++ {
			m.SetSym(a, b, normal[a][b])
		}
	}
	var c mat.Cholesky
	if !c.Factorize(m) {
		return math.Inf(1), nil
	}
	x := mat.NewVecDense(columns, nil)
	if c.SolveVecTo(x, mat.NewVecDense(columns, right[:columns])) != nil {
		return math.Inf(1), nil
	}
	for i := range rows {
		v := f.value[i]
		for a := range columns {
			v -= rows[i][a] * x.AtVec(a)
		}
		chi2 += v * v / (f.u[i] * f.u[i])
	}
	coefficients = append(coefficients, x.RawVector().Data...)
	if with {
		coefficients[3] /= scale
	}
	return chi2, coefficients
}

// fitKind fits a body with a plane, from the best starts.
func (f *field) fitKind(k kind, starts int) (*fit.Result, error) {
	minima, err := f.minima(k, starts)
	if err != nil {
		return nil, err
	}
	return minima[0], nil
}

// minima are where the searches from the best starts have ended, the best first.
func (f *field) minima(k kind, starts int) ([]*fit.Result, error) {
	type start struct {
		p    []float64
		chi2 float64
	}
	var best []start
	for _, p := range k.starts(f) {
		chi2, c := f.linear(k, p, true)
		if c == nil || math.IsNaN(chi2) {
			continue
		}
		q := append([]float64(nil), p...)
		q[len(q)-1] = c[3]
		q = append(q, c[:3]...)
		at := len(best)
		for at > 0 && best[at-1].chi2 > chi2 {
			at--
		}
		// Starts in another place first: one of each neighbourhood.
		near := false
		for _, b := range best[:at] {
			near = near || math.Hypot(b.p[0]-q[0], b.p[1]-q[1]) < 0.7*f.spacing && math.Abs(b.p[2]-q[2]) < 0.5*f.spacing
		}
		if near {
			continue
		}
		best = append(best[:at], append([]start{{q, chi2}}, best[at:]...)...)
		if len(best) > starts {
			best = best[:starts]
		}
	}
	if len(best) == 0 {
		return nil, errors.New("no body of this kind can be laid under the stations")
	}
	var found []*fit.Result
	for _, s := range best {
		if r := f.refine(k, s.p, -1); r != nil {
			found = append(found, r)
		}
	}
	if len(found) == 0 {
		return nil, errors.New("the search did not end")
	}
	slices.SortStableFunc(found, func(a, b *fit.Result) int { return cmp.Compare(a.Chi2, b.Chi2) })
	return found, nil
}

// refine searches on from a body with a plane; fixed is a parameter that is held, -1 for none.
// It is nil where the search cannot begin.
func (f *field) refine(k kind, start []float64, fixed int) *fit.Result {
	lower, upper := k.bounds(f)
	n := len(k.params)
	for range 3 {
		lower, upper = append(lower, math.Inf(-1)), append(upper, math.Inf(1))
	}
	x := make([]float64, len(f.at))
	for i := range x {
		x[i] = float64(i)
	}
	// The sizes are in units of the start, so that steps are alike.
	unit := math.Abs(start[n-1])
	if !(unit > 0) {
		return nil
	}
	units := make([]float64, n+3)
	for i := range units {
		switch {
		case i == n-1:
			units[i] = unit
		case i >= n:
			units[i] = 1e-8
		default:
			units[i] = 1
		}
	}
	scaled := make([]float64, n+3)
	for i := range scaled {
		scaled[i] = min(max(start[i]/units[i], lower[i]), upper[i])
	}
	if fixed >= 0 {
		lower[fixed], upper[fixed] = scaled[fixed], scaled[fixed]
	}
	q := make([]float64, n)
	pull := func(p []float64, at r3.Vec) float64 {
		for i := range q {
			q[i] = p[i] * units[i]
		}
		return k.gz(q, at)
	}
	curve := fit.Curve{X: x, Y: f.value, Sigma: f.u, Start: scaled, Lower: lower, Upper: upper, Names: append(append([]string(nil), k.params...), "plane", "plane north", "plane east"),
		Model: func(p, _, dst []float64) {
			for i, at := range f.at {
				b := f.plane(at)
				dst[i] = pull(p, at) + 1e-8*(p[n]*b[0]+p[n+1]*b[1]+p[n+2]*b[2])
			}
		}}
	if fixed >= 0 {
		// In its size and in the plane the field is linear: differences are taken for the rest
		// alone. They are good to some nine digits, which ends a search and would not tell what
		// is not determined; here nobody asks.
		curve.Jacobian = func(p, _ []float64, dst *mat.Dense) {
			moved := append([]float64(nil), p...)
			for j := range n {
				if j == fixed {
					continue
				}
				step := 1e-6 * math.Max(math.Abs(p[j]), 1)
				for i, at := range f.at {
					if j == n-1 {
						dst.Set(i, j, pull(p, at)/p[j])
						continue
					}
					moved[j] = p[j] + step
					above := pull(moved, at)
					moved[j] = p[j] - step
					dst.Set(i, j, (above-pull(moved, at))/(2*step))
				}
				moved[j] = p[j]
			}
			for i, at := range f.at {
				for a, b := range f.plane(at) {
					dst.Set(i, n+a, 1e-8*b)
				}
			}
		}
	}
	r, err := curve.Fit()
	if r == nil || err != nil && !errors.Is(err, fit.ErrNotConverged) {
		return nil
	}
	cov := mat.NewSymDense(n+3, nil)
	for i := range units {
		for j := i; j < n+3; j++ {
			cov.SetSym(i, j, r.Cov.At(i, j)*units[i]*units[j])
		}
		r.P[i] *= units[i]
		r.U[i] *= units[i]
	}
	r.Cov = cov
	return r
}

const (
	coverage2 = 4.0 // by how much chi² rises at twice the standard uncertainty
	mostSteps = 14
)

// ranges are how far each parameter of the body can be moved, all others fitted anew, until
// chi² lies [coverage2] above that of the best fit: from the best fit and from every other
// minimum below that. The model bends so much within its uncertainties that its derivatives at
// the best fit do not tell them. A range that has no end within the bounds is infinite. Where
// a better fit turns up on the way it is returned.
func (f *field) ranges(k kind, minima []*fit.Result) (lo, hi []float64, better *fit.Result) {
	best := minima[0]
	limit := best.Chi2 + coverage2
	n := len(k.params)
	lo, hi = append([]float64(nil), best.P[:n]...), append([]float64(nil), best.P[:n]...)
	strike := slices.Index(k.params, strikeName)
	note := func(j int, v float64) {
		if j == strike { // a line and its reverse are one
			v = best.P[j] + math.Remainder(v-best.P[j], math.Pi)
		}
		lo[j], hi[j] = min(lo[j], v), max(hi[j], v)
	}
	for i, m := range minima {
		if m.Chi2 >= limit || slices.ContainsFunc(minima[:i], func(o *fit.Result) bool { return same(o, m, n) }) {
			continue
		}
		for j := range n {
			note(j, m.P[j])
			for _, side := range []float64{-1, 1} {
				end, better := f.end(k, best, m, j, side)
				switch {
				case better != nil:
					return lo, hi, better
				case math.IsInf(end, -1):
					lo[j] = end
				case math.IsInf(end, 1):
					hi[j] = end
				default:
					note(j, end)
				}
			}
		}
	}
	return lo, hi, nil
}

// end is how far parameter j can be moved from a minimum to one side, as ranges says; infinite
// where chi² stays low within the bounds. Where a better fit than the best turns up on the way it
// is returned.
func (f *field) end(k kind, best, m *fit.Result, j int, side float64) (end float64, better *fit.Result) {
	lower, upper := k.bounds(f)
	step := 0.8 * m.U[j]
	if !(step > 1e-6*math.Abs(m.P[j])) || math.IsInf(step, 0) {
		step = 0.02 * math.Max(math.Abs(m.P[j]), 1e-3)
	}
	at, x := m, m.P[j]
	for i := range mostSteps {
		if i > 0 && i%4 == 0 {
			step *= 2
		}
		x += side * step
		if x < lower[j] || x > upper[j] || k.params[j] == strikeName && math.Abs(x-m.P[j]) >= math.Pi/2 {
			break
		}
		start := append([]float64(nil), at.P...)
		start[j] = x
		next := f.refine(k, start, j)
		if next == nil {
			return x, nil
		}
		if next.Chi2 < best.Chi2-0.01 {
			if free := f.refine(k, next.P, -1); free != nil && free.Chi2 < best.Chi2-0.01 {
				return 0, free
			}
		}
		if next.Chi2 > best.Chi2+coverage2 {
			// Between the two chi² is nearly a parabola about the best fit.
			here, beyond := math.Sqrt(math.Max(0, at.Chi2-best.Chi2)), math.Sqrt(next.Chi2-best.Chi2)
			return at.P[j] + (x-at.P[j])*(math.Sqrt(coverage2)-here)/(beyond-here), nil
		}
		at = next
	}
	return math.Inf(int(side)), nil
}

// same says that two searches have ended at one minimum.
func same(a, b *fit.Result, n int) bool {
	if math.Abs(a.Chi2-b.Chi2) > 0.05 {
		return false
	}
	for j := range n {
		if u := math.Max(a.U[j], b.U[j]); math.Abs(a.P[j]-b.P[j]) > 0.2*u {
			return false
		}
	}
	return true
}

// uncertainties are half of the farther end of each range, so that twice the uncertainty
// reaches it, with the best fit; Inf where the range has no end.
func (f *field) uncertainties(k kind, minima []*fit.Result) (best *fit.Result, u []float64) {
	var lo, hi []float64
	for range 4 {
		var better *fit.Result
		if lo, hi, better = f.ranges(k, minima); better == nil {
			break
		}
		minima = append([]*fit.Result{better}, minima...)
	}
	best = minima[0]
	for j := range k.params {
		u = append(u, max(hi[j]-best.P[j], best.P[j]-lo[j])/2)
	}
	return best, u
}

// field is that of some stations, about their mean.
func (r *Result) field(index []int) (f *field, mean float64) {
	var north, east, height, value, u []float64
	for _, i := range index {
		s := r.Stations[i]
		north, east, height = append(north, s.North), append(east, s.East), append(height, s.Height)
		value, u = append(value, s.Anomaly.Value), append(u, math.Max(s.U.Own(), 1e-10))
	}
	for _, v := range value {
		mean += v / float64(len(value))
	}
	for i := range value {
		value[i] -= mean
	}
	return newField(north, east, height, value, u), mean
}

// mostAround is how many of the nearest stations are asked whether a body explains one. A body
// so wide that it reaches beyond them makes a smooth map there, which expects the station
// already; so what is lost is nothing that the question is about.
const mostAround = 60

// A seenBodies keeps what explained has found, while the stations that it asked are on the map.
type seenBodies struct {
	is     map[int]bool
	around map[int][]int
}

// without forgets what was found with a station.
func (b *seenBodies) without(station int) {
	for i, around := range b.around {
		if i == station || slices.Contains(around, station) {
			delete(b.is, i)
			delete(b.around, i)
		}
	}
}

// around are the stations on the map nearest to station i, in their order, without itself.
func (r *Result) around(i int) (index []int) {
	for j, s := range r.Stations {
		if s.OnMap && j != i {
			index = append(index, j)
		}
	}
	if len(index) <= mostAround {
		return index
	}
	at := r.Stations[i]
	index = least(index, mostAround, func(j int) float64 {
		return math.Hypot(r.Stations[j].North-at.North, r.Stations[j].East-at.East)
	})
	slices.Sort(index)
	return index
}

// explained says that a body and a plane through the nearest other stations expect the value
// of station i, within w of the standard uncertainties.
func (r *Result) explained(seen *seenBodies, i int, w float64) bool {
	if is, ok := seen.is[i]; ok {
		return is
	}
	if seen.is == nil {
		seen.is, seen.around = map[int]bool{}, map[int][]int{}
	}
	around := r.around(i)
	seen.is[i], seen.around[i] = r.explainedBy(around, i, w), around
	return seen.is[i]
}

func (r *Result) explainedBy(around []int, i int, w float64) bool {
	f, mean := r.field(around)
	if len(f.at) < 12 {
		return false
	}
	s := r.Stations[i]
	at, value, u := r3.Vec{X: s.North, Y: s.East, Z: -s.Height}, s.Anomaly.Value-mean, math.Max(s.U.Own(), 1e-10)
	plain, _ := f.linear(kind{}, nil, false)
	for _, body := range kinds[:2] {
		found, err := f.fitKind(body, 3)
		if err != nil || plain-found.Chi2 < 25 || len(found.Undetermined) > 0 {
			continue
		}
		expected := func(p []float64) float64 {
			b := f.plane(at)
			n := len(body.params)
			return body.gz(p[:n], at) + p[n]*b[0] + p[n+1]*b[1] + p[n+2]*b[2]
		}
		middle := expected(found.P)
		gradient := make([]float64, len(found.P))
		for j := range found.P {
			p := append([]float64(nil), found.P...)
			step := 1e-4 * math.Max(math.Abs(p[j]), 1e-10)
			p[j] += step
			gradient[j] = (expected(p) - middle) / step
		}
		variance := u * u
		for a := range gradient {
			for b := range gradient {
				if c := found.Cov.At(a, b); !math.IsNaN(c) && !math.IsInf(c, 0) {
					variance += gradient[a] * c * gradient[b]
				}
			}
		}
		if math.Abs(value-middle) <= w*math.Sqrt(variance) {
			return true
		}
	}
	return false
}

// FitBody fits the kinds of body to the stations on the map, each with a plane, and says in
// words what can be told. The sign is free: an excess and a lack of mass are both looked for.
func (r *Result) FitBody() error {
	index, _, _, _, _ := r.onMap()
	f, _ := r.field(index)
	if len(f.at) < 12 {
		return fmt.Errorf("%d stations on the map are too few to fit a body with a plane; 12 or more are wanted", len(f.at))
	}
	r.Body = &Body{}
	plain, _ := f.linear(kind{}, nil, false)
	plainDoF := len(f.at) - 3
	say := func(text string, args ...any) { r.Body.Lines = append(r.Body.Lines, fmt.Sprintf(text, args...)) }
	r.Body.Fits = append(r.Body.Fits, BodyFit{Kind: "no body, a plane", Chi2: plain, DoF: plainDoF, Text: "the anomalies vary no more than a plane and their uncertainties"})
	if fit := fitPValue(plain, plainDoF); fit < 0.01 {
		r.Body.Fits[0].Text = "does not hold"
	} else {
		r.Body.Fits[0].holds = true
	}
	for _, k := range kinds {
		minima, err := f.minima(k, 8)
		if err != nil {
			r.Body.Fits = append(r.Body.Fits, BodyFit{Kind: k.name, Chi2: math.NaN(), Text: err.Error()})
			continue
		}
		found, holds := minima[0], false
		var u []float64
		if holds = found.PValue() >= 0.01; holds {
			found, u = f.uncertainties(k, minima)
		}
		b := BodyFit{Kind: k.name, Chi2: found.Chi2, DoF: found.DoF, Names: k.params, P: found.P[:len(k.params)], Result: found}
		b.holds = holds && len(found.Undetermined) == 0
		if b.holds && len(found.AtBound) == 0 {
			b.U = u
		}
		b.Text = r.words(k, b, found)
		r.Body.Fits = append(r.Body.Fits, b)
	}
	best := 0
	cost := func(b BodyFit) float64 { return b.Chi2 + 2*float64(plainDoF-b.DoF) }
	for i, b := range r.Body.Fits {
		if !math.IsNaN(b.Chi2) && cost(b) < cost(r.Body.Fits[best]) {
			best = i
		}
	}
	top := r.Body.Fits[best]
	switch {
	case best == 0:
		say("No body is needed: a plane explains the anomalies. That does not clear the ground.")
	case !top.holds:
		say("None of the bodies tried explains the anomalies (best: %s, chi² %.0f for %d degrees of freedom). No uncertainty is given: it would be that of a wrong model.", top.Kind, top.Chi2, top.DoF)
	default:
		say("Best explained by a %s: %s", top.Kind, top.Text)
		var alike []string
		for i, b := range r.Body.Fits {
			if i != best && b.holds && cost(b)-cost(top) < 6 {
				alike = append(alike, b.Kind)
			}
		}
		if len(alike) > 0 {
			say("These explain it about as well, and cannot be told from it by these stations: %s.", strings.Join(alike, ", "))
		}
	}
	if best > 0 {
		say("What gravity cannot tell: density against size (only the mass counts, so a larger body of less contrast is the same), and, within the uncertainties, mass against depth. Any such body deeper, with more mass, is matched by a wider one nearer.")
		if top.holds && top.Result != nil {
			n := len(top.P)
			if c := top.Result.Correlation(2, n-1); !math.IsNaN(c) {
				say("Correlation of height and mass in the fit: %.2f.", c)
			}
			if place, gain := r.nextStation(f, kinds[best-1], top.Result); gain > 0 {
				say("One more station would help most at %.0f m north and %.0f m east of %s.", place[0]-r.station(r.Base).North, place[1]-r.station(r.Base).East, r.Base)
			}
		}
	}
	for _, depth := range []float64{f.spacing / 2, f.spacing, 2 * f.spacing} {
		if radius := f.smallest(depth, r.Reduction.Density); radius > 0 {
			say("With these stations an empty ball under their middle, %.1f m deep, could be told from a plane (4 standard uncertainties) from a radius of %.1f m.", depth, radius)
		}
	}
	say("A void that gravity does not show may still be there.")
	return nil
}

// fitPValue is that of chi² with so many degrees of freedom.
func fitPValue(chi2 float64, dof int) float64 {
	return (&fit.Result{Chi2: chi2, DoF: dof}).PValue()
}

// smallest is the radius (m) of the smallest empty ball at a depth under the middle that
// stands 4 standard uncertainties out of a plane; 0 for none above it.
func (f *field) smallest(depth, density float64) float64 {
	ball := kinds[0]
	g := &field{at: f.at, u: f.u, spacing: f.spacing, extent: f.extent, n0: f.n0, e0: f.e0, top: f.top}
	p := []float64{f.n0, f.e0, f.top - depth, 1e3}
	for _, a := range f.at {
		v := ball.gz(p, a)
		if math.IsNaN(v) {
			return 0
		}
		g.value = append(g.value, v)
	}
	chi2, _ := g.linear(kind{}, nil, false)
	mass := 1e3 * 4 / math.Sqrt(chi2)
	radius := math.Cbrt(mass / density / (4 * math.Pi / 3))
	if radius > depth {
		return 0
	}
	return radius
}

// nextStation is the place, of a grid over the field, where one more reading would shrink
// the covariance of the body's parameters most (the determinant of all of them).
func (r *Result) nextStation(f *field, k kind, found *fit.Result) (place [2]float64, gain float64) {
	usual := 0.0
	for _, u := range f.u {
		usual += u / float64(len(f.u))
	}
	n := len(k.params)
	for i := range 21 {
		for j := range 21 {
			at := r3.Vec{X: f.n0 + f.extent*0.5*float64(i-10)/10, Y: f.e0 + f.extent*0.5*float64(j-10)/10, Z: -f.top}
			value := func(p []float64) float64 {
				b := f.plane(at)
				return k.gz(p[:n], at) + p[n]*b[0] + p[n+1]*b[1] + p[n+2]*b[2]
			}
			middle := value(found.P)
			gradient := make([]float64, len(found.P))
			for a := range gradient {
				p := append([]float64(nil), found.P...)
				step := 1e-4 * math.Max(math.Abs(p[a]), 1e-10)
				p[a] += step
				gradient[a] = (value(p) - middle) / step
			}
			variance := 0.0
			for a := range gradient {
				for b := range gradient {
					variance += gradient[a] * found.Cov.At(a, b) * gradient[b]
				}
			}
			if g := variance / (usual * usual); g > gain {
				gain, place = g, [2]float64{at.X, at.Y}
			}
		}
	}
	return place, gain
}

// words says what a fitted body would be.
func (r *Result) words(k kind, b BodyFit, found *fit.Result) string {
	base := r.station(r.Base)
	with := func(i int, digits int, scale float64) string {
		if b.U == nil || math.IsNaN(b.U[i]) || math.IsInf(b.U[i], 0) {
			return fmt.Sprintf("%.*f", digits, b.P[i]*scale)
		}
		return fmt.Sprintf("%.*f ± %.*f", digits, b.P[i]*scale, digits, b.U[i]*scale)
	}
	var t string
	switch k.name {
	case "step of a thin layer":
		t = fmt.Sprintf("layer at %s m height, %.0f kg/m² more on the side of %.0f°", with(2, 1, 1), b.P[3], math.Mod(b.P[1]*180/math.Pi+720, 360))
	default:
		// Its depth is below the stations nearest to it.
		ground, near := 0.0, math.Inf(1)
		for _, s := range r.Stations {
			if d := math.Hypot(s.North-b.P[0], s.East-b.P[1]); d < near {
				near, ground = d, s.Height
			}
		}
		place := func(i int, offset float64) string {
			shifted := b
			shifted.P = append([]float64(nil), b.P...)
			shifted.P[i] -= offset
			b2 := b
			b = shifted
			defer func() { b = b2 }()
			return with(i, 1, 1)
		}
		t = fmt.Sprintf("%s m north and %s m east of %s, its middle at %s m height (%.1f m below the nearest station)", place(0, base.North), place(1, base.East), r.Base, with(2, 1, 1), ground-b.P[2])
		rho := r.Reduction.Density
		if k.name == "ball" {
			t += fmt.Sprintf(", %s t", with(3, 0, 1e-3))
			if b.P[3] < 0 {
				t += fmt.Sprintf("; empty it would have a radius of %.1f m, full of water %.1f m", math.Cbrt(-b.P[3]/rho/(4*math.Pi/3)), math.Cbrt(-b.P[3]/(rho-1000)/(4*math.Pi/3)))
			}
		} else {
			strike := math.Mod(b.P[3]*180/math.Pi+720, 180)
			t += fmt.Sprintf(", strike %.0f°", strike)
			if b.U != nil && !math.IsInf(b.U[3], 0) {
				t += fmt.Sprintf(" ± %.0f°", b.U[3]*180/math.Pi)
			}
			t += fmt.Sprintf(", length %s m, %s t/m", with(4, 0, 1), with(5, 1, 1e-3))
			if b.P[5] < 0 {
				t += fmt.Sprintf("; empty it would have a radius of %.1f m, full of water %.1f m", math.Sqrt(-b.P[5]/rho/math.Pi), math.Sqrt(-b.P[5]/(rho-1000)/math.Pi))
			}
		}
	}
	switch {
	case len(found.AtBound) > 0:
		t += "; at the bound of the search: " + strings.Join(found.AtBound, ", ")
	case len(found.Undetermined) > 0:
		t += "; not determined: " + strings.Join(found.Undetermined, ", ")
	}
	var open []string
	for j, u := range b.U {
		if math.IsInf(u, 0) {
			open = append(open, k.params[j][:strings.LastIndex(k.params[j], " (")])
		}
	}
	if len(open) > 0 {
		t += "; these stations set no limit to its " + strings.Join(open, " and ")
	}
	if found.PValue() < 0.01 {
		t += "; does not hold, so that no uncertainty is given"
	}
	return t
}
