package buried

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/internal/arg"
)

// An Anomaly is a measured set of gz values, with or without a regional. Values
// that nothing buried can make are refused, since they are probably in µGal or mGal:
// above 0.1 m/s² in size, unless they are absolute gravity (9.7 to 9.9), and more than
// 0.02 m/s² apart. All gravity on the ground of the Earth, pole to equator and
// sea to summit, lies within 0.07 m/s² (9.764 to 9.834; C. Hirt et al., Geophys.
// Res. Lett. 40, 4279, 2013; from memory); a slab of 3000 kg/m³ that is 10 km
// thick makes 2πG 3000 × 10⁴ = 0.013 m/s².
type Anomaly struct {
	Stations []r3.Vec  // m
	GZ       []float64 // m/s²
	Sigma    []float64 // standard uncertainties, m/s²; nil: equal and unknown
}

// Validate reports what cannot be used.
func (a Anomaly) Validate() error {
	const fn = "buried.Anomaly"
	err := errors.Join(
		arg.AtLeast(fn, "Stations", len(a.Stations), 3),
		arg.SameLength(fn, "Stations", len(a.Stations), "GZ", len(a.GZ)),
		arg.AllFinite(fn, "GZ", a.GZ, "gravity in m/s²"))
	if err != nil {
		return err
	}
	for i, s := range a.Stations {
		if !finite3(s) || math.Abs(s.X)+math.Abs(s.Y)+math.Abs(s.Z) > 1e9 {
			return arg.Bad(fn, fmt.Sprintf("Stations[%d]", i), s, "three finite coordinates in m")
		}
		if g := a.GZ[i]; !(math.Abs(g) <= 0.1 || g >= 9.7 && g <= 9.9) {
			return arg.Bad(fn, fmt.Sprintf("GZ[%d]", i), g, "gravity in m/s², at most 0.1 in size (more than all its range on the ground of the Earth) or, absolute, 9.7 to 9.9"+otherUnit)
		}
	}
	if lo, hi := floats.Min(a.GZ), floats.Max(a.GZ); hi-lo > 0.02 {
		return arg.Bad(fn, "GZ", fmt.Sprintf("from %g to %g", lo, hi), "values in m/s² that differ by at most 0.02 (10 km of rock, all taken away, make 0.013)"+otherUnit)
	}
	if a.Sigma != nil {
		if err := arg.SameLength(fn, "Stations", len(a.Stations), "Sigma", len(a.Sigma)); err != nil {
			return err
		}
		for i, s := range a.Sigma {
			if err := arg.Between(fn, fmt.Sprintf("Sigma[%d]", i), s, 1e-20, 1e3, "standard uncertainty in m/s²"); err != nil {
				return err
			}
		}
	}
	return nil
}

// A Source is one fitted body: a point or a line along y. X, Y, Z say where (m;
// a line has no Y), Mass is its excess mass (kg, or kg/m for a line).
type Source struct {
	Shape      Shape
	X, Y, Z    float64
	Mass       float64
	UX, UY, UZ float64 // standard uncertainties, m; +Inf where there is none
	UMass      float64 // kg or kg/m; likewise
	// SNR is the signal-to-noise ratio of the source in the data: the root of the
	// amount by which it reduces chi², beside everything else that is fitted.
	SNR       float64
	DepthMass float64 // correlation of Z and Mass: the trade-off between the two
}

// An Inversion is the outcome of Invert.
type Inversion struct {
	Sources []Source
	// Offset is the base level at the middle of the stations, m/s²; North and
	// East the slopes of the regional, 1/s².
	Offset, North, East    float64
	UOffset, UNorth, UEast float64
	// Fit holds the parameters in the order of its names, with covariance,
	// correlations, residuals, chi², and what is not determined.
	Fit *fit.Result
	// Remarks say, a sentence each, which sources have no uncertainty, and why.
	Remarks []string

	problem *inversion
}

// inversion is the problem in the form that fit wants.
type inversion struct {
	data     Anomaly
	shapes   []Shape
	planar   bool // all stations on one line of equal Y: a point's Y is held there
	regional [][]float64
	scale    []float64 // lengths by which the slope columns were divided
	level    float64   // deepest station: the sources stay below it
	reach    float64   // extent of the stations
	middle   r3.Vec
	extent   r3.Vec
}

// Invert fits one source for each shape (PointShape or LineShape) to an anomaly,
// together with a base level and a slope in the directions in which the
// stations extend. start are first guesses; nil lets a search find them. When
// all stations have one Y, a point is taken to lie below the profile: its Y is
// held there, and a mass off to the side would come out too deep. (So lay a
// single profile along north.)
//
// The covariance in Fit is that of a linear model at the solution, and so are the
// uncertainties of level and slope. Those of a source are too from a signal-to-noise
// ratio of 18 on (Source.SNR); of a weaker one they cover what fits nearly as well: X
// ± 1.96 UX holds all places, wherever they lie, whose chi² is within the 95 % limit
// of the least one, and so for Y, Z and Mass. (Without Sigma the factor is that of
// Student's distribution.) Between 7 and 10 the limit is that of the joint region of
// the place, and the intervals hold more than 95 %. Below 7, and where that region
// reaches the ends of the survey or a depth as large as its length, they are +Inf:
// there is none, and Remarks says so. Simulated, for lines and points under profiles
// and maps with true ratios from 5.9 to 35, the intervals of 95 % hold in 93 % or
// more of those fits that have any.
//
// Depth and mass always trade against each other (DepthMass); where the correlation
// is near 1 or u is not small beside the depth itself, look at the posterior
// (LogPosterior, with its limits, and Sample) as well. A good fit does not show that
// the shape is right.
//
// When the search does not end at a minimum the error wraps
// fit.ErrNotConverged, and the Inversion beside it says where it stood.
func Invert(data Anomaly, shapes []Shape, start []Source) (*Inversion, error) {
	return invert(inverting{data, shapes, start})
}

// inverting are the arguments of Invert.
type inverting struct {
	Data   Anomaly
	Shapes []Shape
	Start  []Source
}

func (in inverting) invert() (*Inversion, error) {
	data, shapes, start := in.Data, in.Shapes, in.Start
	const fn = "buried.Invert"
	if err := errors.Join(data.Validate(), arg.AtLeast(fn, "shapes", len(shapes), 1)); err != nil {
		return nil, err
	}
	p := newInversion(data, shapes)
	for i, s := range shapes {
		if s != PointShape && s != LineShape {
			return nil, arg.Bad(fn, fmt.Sprintf("shapes[%d]", i), s, "PointShape or LineShape")
		}
	}
	if !(p.reach > 0) {
		return nil, arg.Bad(fn, "Stations", "at one place", "stations at several places")
	}
	if names, _, _ := p.names(); len(data.GZ) < len(names) {
		return nil, arg.Bad(fn, "Stations", len(data.GZ), fmt.Sprintf("at least %d, one for each of %v", len(names), names))
	}
	guesses := [][]Source{start}
	if start == nil {
		guesses = p.search()
	}
	var best *fit.Result
	var bestErr error
	for _, guess := range guesses {
		if err := p.checkGuess(guess); err != nil {
			return nil, err
		}
		result, err := p.fit(guess)
		if result == nil {
			return nil, err
		}
		if best == nil || err == nil && (bestErr != nil || result.Chi2 < best.Chi2) {
			best, bestErr = result, err
		}
	}
	v := p.inversion(best)
	v.doubt()
	return v, bestErr
}

func (p *inversion) checkGuess(guess []Source) error {
	const fn = "buried.Invert"
	if err := arg.SameLength(fn, "shapes", len(p.shapes), "start", len(guess)); err != nil {
		return err
	}
	for i, s := range guess {
		if !finite3(r3.Vec{X: s.X, Y: s.Y, Z: s.Z}) || !(s.Z > p.level) || !isFinite(s.Mass) {
			return arg.Bad(fn, fmt.Sprintf("start[%d]", i), s, fmt.Sprintf("finite numbers and a depth below the stations (Z > %g)", p.level))
		}
	}
	return nil
}

func (p *inversion) fit(guess []Source) (*fit.Result, error) {
	names, lower, upper := p.names()
	x := make([]float64, len(p.data.GZ))
	for i := range x {
		x[i] = float64(i)
	}
	return fit.Curve{
		X: x, Y: p.data.GZ, Sigma: p.data.Sigma,
		Model:    func(par, _, dst []float64) { p.model(par, dst) },
		Jacobian: func(par, _ []float64, dst *mat.Dense) { p.jacobian(par, dst) },
		Start:    p.parameters(guess), Lower: lower, Upper: upper, Names: names,
	}.Fit()
}

func newInversion(data Anomaly, shapes []Shape) *inversion {
	p := &inversion{data: data, shapes: shapes, planar: true, regional: regional(data.Stations), level: math.Inf(-1)}
	lo, hi := data.Stations[0], data.Stations[0]
	for _, s := range data.Stations {
		lo = r3.Vec{X: min(lo.X, s.X), Y: min(lo.Y, s.Y)}
		hi = r3.Vec{X: max(hi.X, s.X), Y: max(hi.Y, s.Y)}
		p.level = max(p.level, s.Z)
	}
	p.planar = hi.Y == lo.Y
	p.middle = r3.Scale(0.5, r3.Add(lo, hi))
	p.extent = r3.Sub(hi, lo)
	p.reach = math.Hypot(p.extent.X, p.extent.Y)
	p.scale = []float64{1}
	if hi.X > lo.X {
		p.scale = append(p.scale, hi.X-lo.X)
	}
	if hi.Y > lo.Y {
		p.scale = append(p.scale, hi.Y-lo.Y)
	}
	return p
}

// names lists the parameters with their bounds: for each source X, Y (points on
// a map), Z and Mass, then the regional.
func (p *inversion) names() (names []string, lower, upper []float64) {
	add := func(name string, lo, hi float64) {
		names, lower, upper = append(names, name), append(lower, lo), append(upper, hi)
	}
	inf := math.Inf(1)
	for i, s := range p.shapes {
		n := fmt.Sprintf("%d", i+1)
		add("X"+n, p.middle.X-3*p.reach, p.middle.X+3*p.reach)
		if s == PointShape && !p.planar {
			add("Y"+n, p.middle.Y-3*p.reach, p.middle.Y+3*p.reach)
		}
		add("Z"+n, p.level+1e-4*p.reach, p.level+100*p.reach)
		add("Mass"+n, -inf, inf)
	}
	regional := []string{"offset", "slope", "second slope"}
	for i := range p.regional {
		add(regional[i], -inf, inf)
	}
	return names, lower, upper
}

// effect is gz of a unit source at a station and its derivatives by X, Y, Z of
// the source.
func effect(s Shape, x, y, z float64) (g, gx, gy, gz float64) {
	if s == LineShape {
		r2 := x*x + z*z
		g = 2 * gravlab.G * z / r2
		return g, -2 * g * x / r2, 0, 2 * gravlab.G * (x*x - z*z) / (r2 * r2)
	}
	r2 := x*x + y*y + z*z
	f := gravlab.G / (r2 * math.Sqrt(r2))
	return f * z, -3 * f * z * x / r2, -3 * f * z * y / r2, f * (1 - 3*z*z/r2)
}

// sources calls f for each source with its first parameter's place in par.
func (p *inversion) sources(par []float64, f func(s Shape, first int, x, y, z, mass float64)) int {
	k := 0
	for _, s := range p.shapes {
		first, x, y := k, par[k], p.middle.Y
		k++
		if s == PointShape && !p.planar {
			y = par[k]
			k++
		}
		f(s, first, x, y, par[k], par[k+1])
		k += 2
	}
	return k
}

func (p *inversion) model(par, dst []float64) {
	for i, at := range p.data.Stations {
		sum := 0.0
		k := p.sources(par, func(s Shape, _ int, x, y, z, mass float64) {
			g, _, _, _ := effect(s, x-at.X, y-at.Y, z-at.Z)
			sum += mass * g
		})
		for j, column := range p.regional {
			sum += par[k+j] * column[i]
		}
		dst[i] = sum
	}
}

func (p *inversion) jacobian(par []float64, dst *mat.Dense) {
	for i, at := range p.data.Stations {
		k := p.sources(par, func(s Shape, first int, x, y, z, mass float64) {
			g, gx, gy, gz := effect(s, x-at.X, y-at.Y, z-at.Z)
			dst.Set(i, first, mass*gx)
			first++
			if s == PointShape && !p.planar {
				dst.Set(i, first, mass*gy)
				first++
			}
			dst.Set(i, first, mass*gz)
			dst.Set(i, first+1, g)
		})
		for j, column := range p.regional {
			dst.Set(i, k+j, column[i])
		}
	}
}

// candidate is a place on the search grid with its effect on the data, the
// regional taken out.
type candidate struct {
	at     Source
	column []float64
	norm   float64 // column·column
	gain   float64 // column·data
}

// search makes first guesses: the best pair of places on a grid and the best
// pair whose masses have one sign (or, for one source, the best place), each
// followed by one place after the other for the rest.
func (p *inversion) search() [][]Source {
	n := len(p.data.GZ)
	scaled := func(v []float64) []float64 {
		w := append([]float64(nil), v...)
		if p.data.Sigma != nil {
			for i := range w {
				w[i] /= p.data.Sigma[i]
			}
		}
		return w
	}
	var basis [][]float64
	for _, c := range p.regional {
		basis = extend(basis, scaled(c))
	}
	data := scaled(p.data.GZ)
	without(data, basis)
	column := func(s Source) []float64 {
		c := make([]float64, n)
		for i, at := range p.data.Stations {
			g, _, _, _ := effect(s.Shape, s.X-at.X, s.Y-at.Y, s.Z-at.Z)
			c[i] = g / gravlab.G
		}
		return scaled(c)
	}
	grid := func(shape Shape) []candidate {
		nx, ny, nz := 33, 1, 14
		if !p.planar && shape == PointShape {
			nx, ny, nz = 13, 13, 8
		}
		var list []candidate
		for i := range nx {
			for j := range ny {
				for k := range nz {
					s := Source{Shape: shape, X: p.middle.X + (float64(i)/float64(nx-1)-0.5)*p.extent.X, Y: p.middle.Y}
					if ny > 1 {
						s.Y += (float64(j)/float64(ny-1) - 0.5) * p.extent.Y
					}
					s.Z = p.level + p.reach*0.02*math.Pow(50, float64(k)/float64(nz-1))
					c := column(s)
					before := dot(c, c)
					without(c, basis)
					if after := dot(c, c); after > 1e-12*before {
						list = append(list, candidate{s, c, after, dot(c, data)})
					}
				}
			}
		}
		return list
	}
	nowhere := func(shape Shape) Source {
		return Source{Shape: shape, X: p.middle.X, Y: p.middle.Y, Z: p.level + p.reach/4}
	}
	// rest fills up a guess, one best place after the other.
	rest := func(guess []Source) []Source {
		for len(guess) < len(p.shapes) {
			full := basis
			for _, s := range guess {
				full = extend(full, column(s))
			}
			shape := p.shapes[len(guess)]
			best, most := nowhere(shape), 0.0
			for _, c := range grid(shape) {
				before := c.norm
				without(c.column, full)
				if after := dot(c.column, c.column); after > 1e-9*before {
					d := dot(c.column, data)
					if gain := d * d / after; gain > most {
						best, most = c.at, gain
					}
				}
			}
			guess = append(guess, best)
		}
		return guess
	}
	guesses := [][]Source{rest(nil)}
	if len(p.shapes) == 1 {
		return guesses
	}
	first := grid(p.shapes[0])
	other := first
	if p.shapes[1] != p.shapes[0] {
		other = grid(p.shapes[1])
	}
	var any, alike []Source
	var mostAny, mostAlike float64
	for i := range first {
		a := &first[i]
		for j := range other {
			b := &other[j]
			ab := dot(a.column, b.column)
			det := a.norm*b.norm - ab*ab
			if !(det > 1e-6*a.norm*b.norm) {
				continue
			}
			ma, mb := (b.norm*a.gain-ab*b.gain)/det, (a.norm*b.gain-ab*a.gain)/det
			gain := ma*a.gain + mb*b.gain
			if gain > mostAny {
				any, mostAny = []Source{a.at, b.at}, gain
			}
			if ma*mb > 0 && gain > mostAlike {
				alike, mostAlike = []Source{a.at, b.at}, gain
			}
		}
	}
	for _, pair := range [][]Source{any, alike} {
		if pair != nil {
			guesses = append(guesses, rest(pair))
		}
	}
	return guesses
}

// parameters turns guesses into a vector, with the masses and the regional that
// fit the data best at those places.
func (p *inversion) parameters(guess []Source) []float64 {
	names, lower, upper := p.names()
	par := make([]float64, len(names))
	k := 0
	var masses []int
	for i, s := range p.shapes {
		par[k] = guess[i].X
		k++
		if s == PointShape && !p.planar {
			par[k] = guess[i].Y
			k++
		}
		par[k] = guess[i].Z
		masses = append(masses, k+1)
		k += 2
	}
	for i := range par {
		par[i] = min(max(par[i], lower[i]), upper[i])
	}
	linear := append(masses, make([]int, len(p.regional))...)
	for j := range p.regional {
		linear[len(masses)+j] = k + j
	}
	full := mat.NewDense(len(p.data.GZ), len(names), nil)
	p.jacobian(par, full)
	a := mat.NewDense(len(p.data.GZ), len(linear), nil)
	for j, c := range linear {
		for i := range p.data.GZ {
			a.Set(i, j, full.At(i, c))
		}
	}
	if r, err := fit.Linear(a, p.data.GZ, p.data.Sigma); err == nil {
		for j, c := range linear {
			par[c] = r.P[j]
		}
	}
	// A mass of zero has no depth: give it a trace of the anomaly.
	for i, c := range masses {
		if par[c] == 0 {
			par[c] = math.Copysign(1e-12/gravlab.G, guess[i].Mass)
		}
	}
	return par
}

func (p *inversion) inversion(r *fit.Result) *Inversion {
	out := &Inversion{Fit: r, problem: p}
	k := p.sources(r.P, func(s Shape, first int, x, y, z, mass float64) {
		src := Source{Shape: s, X: x, Y: y, Z: z, Mass: mass, UX: r.U[first]}
		at := first + 1
		if s == LineShape {
			src.Y = 0
		} else if !p.planar {
			src.UY = r.U[at]
			at++
		}
		src.UZ, src.UMass = r.U[at], r.U[at+1]
		src.DepthMass = r.Correlation(at, at+1)
		out.Sources = append(out.Sources, src)
	})
	out.Offset, out.UOffset = r.P[k], r.U[k]
	for j := 1; j < len(p.scale); j++ {
		slope, u := r.P[k+j]/p.scale[j], r.U[k+j]/p.scale[j]
		if j == 1 && p.regionalIsNorth() {
			out.North, out.UNorth = slope, u
		} else {
			out.East, out.UEast = slope, u
		}
	}
	return out
}

// regionalIsNorth reports whether the first slope column runs north.
func (p *inversion) regionalIsNorth() bool {
	for _, s := range p.data.Stations {
		if s.X != p.data.Stations[0].X {
			return true
		}
	}
	return false
}

// Body returns the fitted sources as bodies: points as Point, lines as InfiniteCylinder
// with a contrast of 1000 kg/m³ in size and the radius that this needs.
func (v *Inversion) Body() (Sum, error) {
	var sum Sum
	for _, s := range v.Sources {
		if s.Shape == PointShape {
			sum = append(sum, Point{At: r3.Vec{X: s.X, Y: s.Y, Z: s.Z}, Mass: s.Mass})
			continue
		}
		contrast := math.Copysign(1000, s.Mass)
		radius, err := RadiusOfInfiniteCylinder(s.Mass, contrast)
		if err != nil {
			return nil, err
		}
		sum = append(sum, InfiniteCylinder{X: s.X, Z: s.Z, Radius: radius, Contrast: contrast})
	}
	return sum, sum.Validate()
}

// Radius is the radius (m) of a sphere or tunnel of a contrast (kg/m³) with the
// source's mass, and its standard uncertainty when the contrast is exact.
func (s Source) Radius(contrast float64) (radius, u float64, err error) {
	exponent := 1.0 / 3
	if s.Shape == LineShape {
		exponent = 0.5
		radius, err = RadiusOfInfiniteCylinder(s.Mass, contrast)
	} else {
		radius, err = RadiusOfSphere(s.Mass, contrast)
	}
	if err != nil {
		return 0, 0, err
	}
	return radius, math.Abs(radius * exponent * s.UMass / s.Mass), nil
}

// LogPosterior is the logarithm of the posterior density of the fit's
// parameters, in their order, up to a constant: normal errors of the stated
// Sigma, flat priors between the fit's bounds (depth: from the stations to 100
// times their extent). Without Sigma it takes the scatter of the best fit.
//
// Flat priors of depth and mass favour deep, heavy bodies, and near the limit of
// detection that shows: at a signal-to-noise ratio of 8.8 intervals of 95 % held the
// depth in 105 of 120 simulated cases (80 to 93 %), and only 67 of the chains
// converged. Beside level and slope the effect of a unit mass falls with depth as z⁻³
// (a line) or z⁻⁴ (a point), so the volume of what cannot be told from nothing grows
// as z⁴ or z⁵ down to the bound, against exp(-SNR²/2) for a body that is not there:
// below a ratio of about 8 the bound decides. Trust a chain only where Converged is
// true, and take the uncertainties of Invert below a ratio of 10.
// Outside the bounds it is -Inf; a vector of another length has -Inf too.
func (v *Inversion) LogPosterior(par []float64) float64 {
	p := v.problem
	if p == nil { // not made by Invert
		return math.Inf(-1)
	}
	names, lower, upper := p.names()
	if len(par) != len(names) {
		return math.Inf(-1)
	}
	for i, x := range par {
		if !(x >= lower[i] && x <= upper[i]) {
			return math.Inf(-1)
		}
	}
	dst := make([]float64, len(p.data.GZ))
	p.model(par, dst)
	sigma := 1.0
	if p.data.Sigma == nil {
		sigma = math.Sqrt(v.Fit.Chi2 / float64(max(v.Fit.DoF, 1)))
	}
	sum := 0.0
	for i, m := range dst {
		if p.data.Sigma != nil {
			sigma = p.data.Sigma[i]
		}
		d := (p.data.GZ[i] - m) / sigma
		sum += d * d
	}
	if math.IsNaN(sum) {
		return math.Inf(-1)
	}
	return -sum / 2
}
