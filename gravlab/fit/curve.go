package fit

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/internal/arg"
)

// A Curve is a set of measured points and the model that should go through them.
type Curve struct {
	// X and Y are the points. X is only handed on to the model, so it may also
	// be the number of each point.
	X, Y []float64
	// Sigma are the standard uncertainties of Y, all above zero; nil when they
	// are equal and unknown.
	Sigma []float64
	// Model fills dst with the model's values at x, len(dst) = len(x), for the
	// parameters p. It must not change p or x. NaN or an infinity says that
	// the model does not exist at p: the search then tries a shorter step.
	Model func(p, x, dst []float64)
	// Jacobian fills dst, len(x) by len(p), with the derivatives of the model
	// by each parameter. Optional: nil means central differences, which cost
	// two calls of Model for each parameter.
	Jacobian func(p, x []float64, dst *mat.Dense)
	// Start are the first guesses. With central differences a parameter that
	// starts at 0 is first moved by 6e-6, and never by more than 1 % of the
	// larger of its start (1 for a start at 0) and its value.
	Start []float64
	// Lower and Upper are the bounds of the parameters, ends included; nil
	// means none, ±Inf none for one parameter. Equal bounds fix a parameter.
	Lower, Upper []float64
	// Names are the names of the parameters for messages. Optional.
	Names []string
}

// Below these shares of the largest singular value a direction counts as not
// determined: rounding of the Jacobian (times the number of points that add
// up) is about 1e-13, that of central differences about 1e-10, and two digits
// of margin make the verdict independent of the last bits of the model.
const (
	looseAnalytic = 1e-11
	looseNumeric  = 1e-8
)

// Fit minimises chi² from Start by Levenberg–Marquardt.
//
// It returns an error, and no result, for arguments that cannot be used
// (*gravlab.ArgumentError; several at once are joined) and for a model that is
// not finite at Start. When the search does not end at a minimum the error
// wraps [ErrNotConverged], and the result says where the search stood.
// Parameters that the data do not determine are no error: see
// Result.Undetermined. A nil Model panics.
func (c Curve) Fit() (*Result, error) {
	if err := c.validate(); err != nil {
		return nil, err
	}
	m, n := len(c.Y), len(c.Start)
	weights, err := weightsOf("fit.Curve", c.Sigma, m)
	if err != nil {
		return nil, err
	}
	f := make([]float64, m)
	model := func(p, dst []float64) {
		c.Model(p, c.X, dst)
	}
	residuals := func(p []float64) float64 {
		model(p, f)
		sum := 0.0
		for i := range f {
			f[i] = (f[i] - c.Y[i]) * weights[i]
			sum += f[i] * f[i]
		}
		return sum
	}
	s := &search{
		p:     append([]float64(nil), c.Start...),
		lower: boundsOf(c.Lower, n, math.Inf(-1)),
		upper: boundsOf(c.Upper, n, math.Inf(1)),
		chi2:  residuals,
		// Where the residuals are large, steps shrink only slowly towards the
		// end, and the steps left out add up: far below what is visible.
		enough: 1e-25,
		loose:  looseNumeric,
		noise:  0x1p-53 * weightedNorm(c.Y, weights),
		advice: "try a start nearer to the solution, and see that the model is smooth and its Jacobian, if given, is right",
	}
	if v := residuals(s.p); math.IsNaN(v) || math.IsInf(v, 0) {
		for i := range f {
			if math.IsNaN(f[i]) || math.IsInf(f[i], 0) {
				return nil, arg.Bad("fit.Curve", "Start", fmt.Sprint(c.Start), fmt.Sprintf("values for which the model is finite everywhere; it is not at X[%d] = %g", i, c.X[i]))
			}
		}
		return nil, arg.Bad("fit.Curve", "Start", fmt.Sprint(c.Start), "values for which chi² can be written as a float64")
	}
	if c.Jacobian != nil {
		s.loose = looseAnalytic
	}
	jf := mat.NewDense(m, n+1, nil)
	columns := jf.Slice(0, m, 0, n).(*mat.Dense)
	d := newDifferences(c, s, weights, model)
	s.linearise = func(p []float64) (*mat.Dense, []float64, error) {
		if c.Jacobian != nil {
			columns.Zero()
			c.Jacobian(p, c.X, columns)
			for i := range m {
				floats.Scale(weights[i], columns.RawRowView(i))
			}
		} else {
			d.fill(p, columns)
		}
		residuals(p)
		jf.SetCol(n, f)
		if !allFinite(jf) {
			return nil, nil, fmt.Errorf("%w: the Jacobian is not finite at %v", ErrNotConverged, p)
		}
		r, q := triangle(jf)
		return r, q, nil
	}
	r, chi2, iterations, err := s.minimum()
	if r == nil {
		return nil, err
	}
	result := newResult(s, r, chi2, m, c.Sigma == nil, names(c.Names, n))
	result.Iterations = iterations
	result.Residuals = make([]float64, m)
	model(s.p, result.Residuals)
	floats.SubTo(result.Residuals, c.Y, result.Residuals)
	return result, err
}

func (c Curve) validate() error {
	const fn = "fit.Curve"
	n := len(c.Start)
	free := n
	var errs []error
	if c.Lower != nil {
		errs = append(errs, arg.SameLength(fn, "Start", n, "Lower", len(c.Lower)))
	}
	if c.Upper != nil {
		errs = append(errs, arg.SameLength(fn, "Start", n, "Upper", len(c.Upper)))
	}
	if c.Names != nil {
		errs = append(errs, arg.SameLength(fn, "Start", n, "Names", len(c.Names)))
	}
	errs = append(errs,
		arg.AtLeast(fn, "Start", n, 1),
		arg.AllFinite(fn, "Start", c.Start, "first guess"),
		arg.SameLength(fn, "Y", len(c.Y), "X", len(c.X)),
		arg.AllFinite(fn, "X", c.X, "number"),
		arg.AllFinite(fn, "Y", c.Y, "number"))
	if err := errors.Join(errs...); err != nil {
		return err
	}
	lower, upper := boundsOf(c.Lower, n, math.Inf(-1)), boundsOf(c.Upper, n, math.Inf(1))
	for j, p := range c.Start {
		if !(lower[j] <= upper[j]) {
			errs = append(errs, arg.Bad(fn, fmt.Sprintf("Lower[%d]", j), lower[j], fmt.Sprintf("a number no larger than Upper[%d], which is %g", j, upper[j])))
		} else if !(p >= lower[j] && p <= upper[j]) {
			errs = append(errs, arg.Bad(fn, fmt.Sprintf("Start[%d]", j), p, fmt.Sprintf("a first guess within the bounds %g to %g", lower[j], upper[j])))
		}
		if lower[j] == upper[j] {
			free--
		}
	}
	errs = append(errs, enoughPoints(fn, "Y", len(c.Y), free, c.Sigma == nil))
	return errors.Join(errs...)
}

// enoughPoints asks for as many points as parameters, one more when their
// scatter must also give sigma.
func enoughPoints(fn, name string, points, parameters int, unknownSigma bool) error {
	switch {
	case unknownSigma && points <= parameters:
		return arg.Bad(fn, name, fmt.Sprintf("of length %d", points), fmt.Sprintf("at least %d values: more points than the %d parameters, because sigma is unknown", parameters+1, parameters))
	case points < parameters || points == 0:
		return arg.Bad(fn, name, fmt.Sprintf("of length %d", points), fmt.Sprintf("at least %d values: as many points as parameters", max(parameters, 1)))
	}
	return nil
}

// weightsOf returns 1/sigma, or ones.
func weightsOf(fn string, sigma []float64, m int) ([]float64, error) {
	w := make([]float64, m)
	if sigma == nil {
		for i := range w {
			w[i] = 1
		}
		return w, nil
	}
	if err := arg.SameLength(fn, "Y", m, "Sigma", len(sigma)); err != nil {
		return nil, err
	}
	for i, v := range sigma {
		w[i] = 1 / v
		if !(v > 0) || math.IsInf(v, 1) || math.IsInf(w[i], 1) {
			return nil, arg.Bad(fn, fmt.Sprintf("Sigma[%d]", i), v, "a finite standard uncertainty above zero")
		}
	}
	return w, nil
}

func weightedNorm(y, weights []float64) float64 {
	sum := 0.0
	for i := range y {
		sum = math.Hypot(sum, y[i]*weights[i])
	}
	return sum
}

func boundsOf(given []float64, n int, none float64) []float64 {
	if given != nil {
		return given
	}
	b := make([]float64, n)
	for j := range b {
		b[j] = none
	}
	return b
}

// differences fills a weighted Jacobian by central differences.
//
// The best step h balances truncation, about (h/s)²/6 of the derivative where s
// is the way over which the model changes by its own size, with rounding, about
// eps (size of y)/(variation of y) s/h. A step relative to the parameter would
// be far too long for a place given in a large coordinate or a late time, so s
// is taken from the variation of y over the length of the column.
type differences struct {
	model        func(p, dst []float64)
	lower, upper []float64
	weights      []float64
	variation    float64 // length of the weighted data less their mean
	relative     float64 // best h/s
	scale        []float64
	norms        []float64 // lengths of the columns last time, 0 at first
	high, low    []float64
}

// firstStep is the step relative to the start, cbrt(eps), before anything is
// known of the model; longestStep is the longest one allowed.
const (
	firstStep   = 6e-6
	longestStep = 1e-2
)

func newDifferences(c Curve, s *search, weights []float64, model func(p, dst []float64)) *differences {
	m, n := len(c.Y), len(c.Start)
	d := &differences{model: model, lower: s.lower, upper: s.upper, weights: weights,
		scale: make([]float64, n), norms: make([]float64, n), high: make([]float64, m), low: make([]float64, m)}
	for j, p := range c.Start {
		if d.scale[j] = math.Abs(p); p == 0 {
			d.scale[j] = 1
		}
	}
	mean := 0.0
	for _, y := range c.Y {
		mean += y / float64(m)
	}
	size := 0.0
	for i, y := range c.Y {
		size = math.Hypot(size, y*weights[i])
		d.variation = math.Hypot(d.variation, (y-mean)*weights[i])
	}
	d.relative = longestStep
	if d.variation > 0 {
		d.relative = math.Min(longestStep, math.Cbrt(3*0x1p-52*size/d.variation))
	}
	return d
}

func (d *differences) fill(p []float64, dst *mat.Dense) {
	q := append([]float64(nil), p...)
	for j := range p {
		if d.lower[j] == d.upper[j] { // fixed: its column is never used
			for i := range d.weights {
				dst.Set(i, j, 0)
			}
			continue
		}
		first := d.norms[j] == 0
		h := d.step(j, p[j])
		d.column(q, j, h, dst)
		// The first steps only find out how long a step should be.
		for range 3 {
			better := d.step(j, p[j])
			if d.norms[j] == 0 { // perhaps a step right across what there is to see
				better = h / 1000
			}
			if !first || better > h/4 && better < 4*h {
				break
			}
			h = better
			d.column(q, j, h, dst)
		}
	}
}

func (d *differences) step(j int, p float64) float64 {
	size := math.Max(d.scale[j], math.Abs(p))
	if d.norms[j] == 0 || d.variation == 0 {
		return firstStep * size
	}
	// Never so short that p + h is rounded.
	return math.Max(math.Min(d.relative*d.variation/d.norms[j], longestStep*size), 1e-11*math.Abs(p))
}

// column writes column j of the Jacobian at q, from two points h to either
// side or, beside a bound, as far as it allows.
func (d *differences) column(q []float64, j int, h float64, dst *mat.Dense) {
	p := q[j]
	up, down := math.Min(p+h, d.upper[j]), math.Max(p-h, d.lower[j])
	q[j] = up
	d.model(q, d.high)
	q[j] = down
	d.model(q, d.low)
	q[j] = p
	d.norms[j] = 0
	for i, w := range d.weights {
		v := (d.high[i] - d.low[i]) / (up - down) * w
		d.norms[j] = math.Hypot(d.norms[j], v)
		dst.Set(i, j, v)
	}
}

// newResult turns the end of a search into parameters with uncertainties.
func newResult(s *search, r *mat.Dense, chi2 float64, points int, scaled bool, names []string) *Result {
	n := len(s.p)
	result := &Result{P: s.p, U: make([]float64, n), Cov: mat.NewSymDense(n, nil), Chi2: chi2, Scaled: scaled, Names: names}
	held := make([]bool, n)
	fixed := 0
	for j, p := range s.p {
		switch {
		case s.lower[j] == s.upper[j]:
			held[j] = true
			fixed++
		case p <= s.lower[j] || p >= s.upper[j]:
			held[j] = true
			result.AtBound = append(result.AtBound, names[j])
			result.U[j] = math.NaN()
			for k := range n {
				result.Cov.SetSym(j, k, math.NaN())
			}
		}
	}
	result.DoF = points - (n - fixed)
	free := columnsOf(held)
	if len(free) == 0 {
		return result
	}
	sub := mat.NewDense(n, len(free), nil)
	for k, j := range free {
		for i := range n {
			sub.Set(i, k, r.At(i, j))
		}
	}
	variance := 1.0
	if scaled {
		variance = chi2 / float64(result.DoF)
	}
	subNames := make([]string, len(free))
	for k, j := range free {
		subNames[k] = names[j]
	}
	u, cov, undetermined := uncertainties(sub, variance, s.loose, subNames)
	result.Undetermined = undetermined
	for k, j := range free {
		result.U[j] = u[k]
		for l, i := range free {
			result.Cov.SetSym(j, i, cov.At(k, l))
		}
	}
	return result
}

// uncertainties returns those of the parameters behind the columns of a, whose
// AᵀA is the information matrix, times variance.
func uncertainties(a *mat.Dense, variance, loose float64, names []string) (u []float64, cov *mat.SymDense, undetermined []string) {
	_, n := a.Dims()
	u = make([]float64, n)
	svd, ok := newScaledSVD(a, columnNorms(a))
	if !ok { // never seen; then nothing is known
		cov = mat.NewSymDense(n, nil)
		for j := range u {
			u[j] = math.Inf(1)
			cov.SetSym(j, j, math.Inf(1))
		}
		return u, cov, names
	}
	cov, isLoose := svd.covariance(svd.rank(loose), math.Sqrt(loose))
	cov.ScaleSym(variance, cov)
	for j := range u {
		u[j] = math.Sqrt(cov.At(j, j))
		if isLoose[j] {
			undetermined = append(undetermined, names[j])
			u[j] = math.Inf(1)
			for k := range n {
				cov.SetSym(j, k, math.NaN())
			}
			cov.SetSym(j, j, math.Inf(1))
		}
	}
	return u, cov, undetermined
}
