package quantity

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"text/tabwriter"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/internal/arg"
)

// An Input is a quantity that a result is computed from, in SI units.
type Input struct {
	Name  string
	Value float64
	U     float64 // standard uncertainty, 0 for an exact value
	// Shape is the distribution that MonteCarlo draws from. Propagate uses
	// only Value and U.
	Shape Shape
	// DoF are the degrees of freedom of U, 0 when it is known as such. A
	// StudentT needs them; Propagate turns them into those of the result.
	DoF float64
}

// A Budget is the outcome of the law of propagation of uncertainty.
type Budget struct {
	Value float64 // of the result at the values of the inputs
	U     float64 // its standard uncertainty
	Lines []Line  // one for each input, in the order given
	// Correlated is what the correlations add to the variance, as a fraction of
	// U²; it may be negative. It and Line.Share, over all lines, add up to 1.
	Correlated float64
	// DoF are the effective degrees of freedom of U (+Inf when no input has
	// any). With correlations they are NaN: the formula does not hold then.
	DoF float64
}

// A Line is the part of one input in a budget.
type Line struct {
	Name        string
	Value, U    float64
	Sensitivity float64 // derivative of the result by the input
	Part        float64 // |Sensitivity| U, in the unit of the result
	Share       float64 // Part² over U² of the result
}

// Propagate applies the law of propagation of uncertainty to the result f(x)
// of the inputs:
//
//	u² = sum of (c_i u_i)² + 2 sum over i<j of c_i c_j u_i u_j r_ij
//
// with the sensitivities c = df/dx at the values, and the correlation
// coefficients r; a nil correlation matrix means independent inputs. It is
// first order: where f bends within an uncertainty, compare with [MonteCarlo].
// The degrees of freedom are those of Welch and Satterthwaite.
// Source: JCGM 100:2008, 5.1.2, 5.2.2 and G.4.1 (from memory).
//
// It returns an error for inputs that are not finite, a negative U, a matrix
// that is no correlation matrix of the inputs, and for an f that is not finite
// at and around the values. f must not change x. A nil f panics.
func Propagate(f func(x []float64) float64, inputs []Input, correlation mat.Symmetric) (*Budget, error) {
	const fn = "quantity.Propagate"
	if err := checkInputs(fn, inputs, correlation); err != nil {
		return nil, err
	}
	n := len(inputs)
	x := make([]float64, n)
	for i, in := range inputs {
		x[i] = in.Value
	}
	b := &Budget{Value: f(x), Lines: make([]Line, n)}
	if !isFinite(b.Value) {
		return nil, arg.Bad(fn, "f", b.Value, "a function that is finite at the values of the inputs")
	}
	parts := make([]float64, n) // with sign
	scale := 0.0
	for i, in := range inputs {
		c, ok := sensitivity(f, x, i, in.U)
		if !ok {
			return nil, arg.Bad(fn, "f", "not finite", fmt.Sprintf("a function that is finite around %s = %g", nameOf(in, i), in.Value))
		}
		parts[i] = c * in.U
		scale = math.Max(scale, math.Abs(parts[i]))
		b.Lines[i] = Line{Name: nameOf(in, i), Value: in.Value, U: in.U, Sensitivity: c, Part: math.Abs(parts[i])}
	}
	if scale == 0 {
		b.DoF = math.Inf(1)
		return b, nil
	}
	// Relative to the largest part, squares neither overflow nor vanish.
	own, cross, spread := 0.0, 0.0, 0.0
	for i := range parts {
		p := parts[i] / scale
		own += p * p
		if dof := inputs[i].DoF; dof > 0 && !math.IsInf(dof, 1) {
			spread += p * p * p * p / dof
		}
		for j := range i {
			if correlation != nil {
				cross += 2 * p * (parts[j] / scale) * correlation.At(i, j)
			}
		}
	}
	total := math.Max(0, own+cross)
	b.U = scale * math.Sqrt(total)
	if !isFinite(b.U) {
		return nil, arg.Bad(fn, "inputs", "too large", "uncertainties whose effect a float64 can hold")
	}
	if total == 0 { // correlations that cancel everything: nothing to share out
		b.DoF = math.NaN()
		return b, nil
	}
	for i := range b.Lines {
		p := parts[i] / scale
		b.Lines[i].Share = p * p / total
	}
	b.Correlated = cross / total
	switch {
	case cross != 0:
		b.DoF = math.NaN()
	case spread == 0:
		b.DoF = math.Inf(1)
	default:
		b.DoF = total * total / spread
	}
	return b, nil
}

// sensitivity returns df/dx_i by central differences extrapolated to step
// zero from two steps (Richardson): the error left is of order h⁴. The steps
// stand in the golden ratio, so that no period divides both.
func sensitivity(f func([]float64) float64, x []float64, i int, u float64) (float64, bool) {
	size := math.Abs(x[i])
	// A step of the order of u stays where f is meant to be used; within
	// 1e-4 and 1e-3 of the value, truncation and rounding are both near 1e-12.
	h := math.Max(1e-4*size, math.Min(u, 1e-3*size))
	if size == 0 {
		h = u
	}
	if h == 0 {
		h = 1e-4
	}
	if h/4 == 0 {
		return 0, false
	}
	y := append([]float64(nil), x...)
	slope := func(h float64) float64 {
		y[i] = x[i] + h
		up, high := y[i], f(y)
		y[i] = x[i] - h
		down, low := y[i], f(y)
		return (high - low) / (up - down)
	}
	const golden = 0.6180339887498949
	wide, narrow := slope(h), slope(golden*h)
	off := math.Abs(wide - narrow)
	// Where f turns round within the step (the phase of a late time), the two
	// slopes differ. Then shorter steps are tried, down to rounding, and the one
	// is taken whose slopes agree best.
	if best := off; off > 1e-4*math.Abs(narrow) {
		for range 8 {
			if h /= 10; h < 1e-11*size || h/4 == 0 {
				break
			}
			w, n := slope(h), slope(golden*h)
			if off = math.Abs(w - n); off < best {
				wide, narrow, best = w, n, off
			}
		}
	}
	c := narrow + (narrow-wide)*golden // r²/(1-r²) is r again for this ratio r
	return c, isFinite(c)
}

func nameOf(in Input, i int) string {
	if in.Name != "" {
		return in.Name
	}
	return fmt.Sprintf("x[%d]", i)
}

func checkInputs(fn string, inputs []Input, correlation mat.Symmetric) error {
	if err := arg.AtLeast(fn, "inputs", len(inputs), 1); err != nil {
		return err
	}
	var errs []error
	for i, in := range inputs {
		name := nameOf(in, i)
		errs = append(errs, arg.Finite(fn, name, in.Value, "value"), arg.NonNegative(fn, "U of "+name, in.U, "standard uncertainty"))
		if !(in.DoF >= 0) {
			errs = append(errs, arg.Bad(fn, "DoF of "+name, in.DoF, "degrees of freedom above zero, or 0 for none"))
		}
		if in.Shape < Normal || in.Shape > StudentT {
			errs = append(errs, arg.Bad(fn, "Shape of "+name, int(in.Shape), "Normal, Rectangular, Triangular or StudentT"))
		}
	}
	if correlation != nil {
		errs = append(errs, checkCorrelation(fn, inputs, correlation))
	}
	return errors.Join(errs...)
}

func checkCorrelation(fn string, inputs []Input, r mat.Symmetric) error {
	if n := r.SymmetricDim(); n != len(inputs) {
		return arg.Bad(fn, "correlation", fmt.Sprintf("%d by %d", n, n), fmt.Sprintf("a row for each of the %d inputs", len(inputs)))
	}
	for i := range inputs {
		if r.At(i, i) != 1 {
			return arg.Bad(fn, fmt.Sprintf("correlation[%d,%d]", i, i), r.At(i, i), "1 on the diagonal")
		}
		for j := range i {
			if v := r.At(i, j); !(v >= -1 && v <= 1) {
				return arg.Bad(fn, fmt.Sprintf("correlation[%d,%d]", i, j), v, "a coefficient from -1 to 1")
			}
		}
	}
	if _, ok := root(r); !ok {
		return arg.Bad(fn, "correlation", "not positive semidefinite", "coefficients that can occur together: every weighted sum of the inputs must have a variance of zero or more")
	}
	return nil
}

// String writes the budget as a table.
func (b *Budget) String() string {
	var text strings.Builder
	w := tabwriter.NewWriter(&text, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "input\tvalue\tu\tsensitivity\tpart\tshare\t")
	for _, l := range b.Lines {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%.1f %%\t\n", l.Name, numberText(l.Value, 6), numberText(l.U, 2), numberText(l.Sensitivity, 3), numberText(l.Part, 2), 100*l.Share)
	}
	if b.Correlated != 0 {
		fmt.Fprintf(w, "correlations\t\t\t\t\t%.1f %%\t\n", 100*b.Correlated)
	}
	w.Flush()
	table := strings.ReplaceAll(text.String(), "-", "−")
	return table + "result: " + Quantity{Value: b.Value, U: b.U}.String()
}

// Correlations returns a correlation matrix of n inputs that are independent
// but for the pairs given: {0, 1, 0.6} says r = 0.6 between the first two.
func Correlations(n int, pairs ...[3]float64) (*mat.SymDense, error) {
	const fn = "quantity.Correlations"
	if n < 1 {
		return nil, arg.Bad(fn, "n", n, "1 or more inputs")
	}
	r := mat.NewSymDense(n, nil)
	for i := range n {
		r.SetSym(i, i, 1)
	}
	for k, p := range pairs {
		i, j := int(p[0]), int(p[1])
		if float64(i) != p[0] || float64(j) != p[1] || i < 0 || j < 0 || i >= n || j >= n || i == j {
			return nil, arg.Bad(fn, fmt.Sprintf("pairs[%d]", k), p, fmt.Sprintf("two different inputs from 0 to %d", n-1))
		}
		if !(p[2] >= -1 && p[2] <= 1) {
			return nil, arg.Bad(fn, fmt.Sprintf("pairs[%d]", k), p, "a coefficient from -1 to 1")
		}
		r.SetSym(i, j, p[2])
	}
	return r, nil
}

// root returns a matrix A with A Aᵀ = r, also for a singular r; ok is false
// when r has a negative eigenvalue beyond rounding.
func root(r mat.Symmetric) (a *mat.Dense, ok bool) {
	var eigen mat.EigenSym
	if !eigen.Factorize(r, true) {
		return nil, false
	}
	a = new(mat.Dense)
	eigen.VectorsTo(a)
	n := r.SymmetricDim()
	for k, value := range eigen.Values(nil) {
		if value < -1e-12*float64(n) {
			return nil, false
		}
		for i := range n {
			a.Set(i, k, a.At(i, k)*math.Sqrt(math.Max(0, value)))
		}
	}
	return a, true
}
