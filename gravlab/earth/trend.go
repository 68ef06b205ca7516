package earth

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/internal/arg"
)

// A TrendModel says what is fitted to a long record of mass or gravity:
//
//	offset + rate t + ½ acceleration t² + annual + semiannual
//
// with t from the middle of the record, so that the rate is the one there, and
// the acceleration is the second derivative, twice the coefficient of t².
type TrendModel struct {
	Acceleration bool
	Annual       bool
	Semiannual   bool
	// Year is the length of a year in the unit of the times: 0 means times in
	// seconds (31557600), 1 means times in years. Rates are per that unit.
	Year float64
}

// A Quantity is a fitted number with its standard uncertainty.
type Quantity struct{ Value, U float64 }

// A Trend is what [TrendModel.Fit] finds.
//
// U of each quantity allows for correlated residuals (AR(1)); RateInflation is
// the factor by which that of the rate is larger than white noise of the same
// scatter would make it. For a 95 % interval take Student's t with EffectiveDoF.
type Trend struct {
	Middle             float64 // time that t counts from
	Offset, Rate       Quantity
	Acceleration       Quantity // zero when not asked for
	Annual, Semiannual Quantity // amplitudes, zero to peak
	AnnualPhase        float64  // rad: the season peaks at t = phase/2π years from the middle
	Sigma              float64  // standard deviation of the noise
	LagOne             float64  // its correlation over the shortest usual step (not below half the median one)
	RateInflation      float64
	Residuals          []float64
	DoF                int // parameters counted, correlation not
	EffectiveDoF       float64
}

func (m TrendModel) year() float64 {
	if m.Year == 0 {
		return 31557600
	}
	return m.Year
}

func (m TrendModel) parameters() int {
	n := 2
	if m.Acceleration {
		n++
	}
	if m.Annual {
		n += 2
	}
	if m.Semiannual {
		n += 2
	}
	return n
}

func (m TrendModel) check(fn string, t []float64) error {
	return errors.Join(
		arg.Between(fn, "Year", m.Year, 0, 1e12, "length of a year in the unit of the times"),
		arg.AtLeast(fn, "t", len(t), m.parameters()+3),
		arg.Rising(fn, "t", t, "time"),
	)
}

// design has a column for each parameter, times scaled by half the record.
func (m TrendModel) design(t []float64) (a *mat.Dense, middle, half float64) {
	half = (t[len(t)-1] - t[0]) / 2
	middle = t[0] + half
	a = mat.NewDense(len(t), m.parameters(), nil)
	w := 2 * math.Pi / m.year()
	for i, ti := range t {
		x := ti - middle
		row := a.RawRowView(i)
		row[0], row[1] = 1, x/half
		k := 2
		if m.Acceleration {
			row[k] = x / half * (x / half) / 2
			k++
		}
		if m.Annual {
			row[k+1], row[k] = math.Sincos(w * x)
			k += 2
		}
		if m.Semiannual {
			row[k+1], row[k] = math.Sincos(2 * w * x)
		}
	}
	return a, middle, half
}

// Fit fits the model to readings y at increasing times t by ordinary least
// squares, and takes the correlation of the residuals into the uncertainties:
// the noise is AR(1), its correlation over a gap falls as a power of the time,
// and its lag-one correlation and size are those that would leave, on average,
// residuals like the ones seen (the fit itself makes them look less
// correlated). Uncertainties are the sandwich (AᵀA)⁻¹AᵀRA(AᵀA)⁻¹. A negative
// correlation is taken as none.
//
// A season that is left out, a rebound of the ground and a leak from
// neighbouring masses are not in the uncertainty.
func (m TrendModel) Fit(t, y []float64) (*Trend, error) { return fitTrend(record{m, t, y}) }

// A record is what a TrendModel is fitted to.
type record struct {
	Model TrendModel
	T, Y  []float64
}

func (in record) fit() (*Trend, error) {
	m, t, y := in.Model, in.T, in.Y
	const fn = "earth.TrendModel.Fit"
	if err := errors.Join(m.check(fn, t), arg.SameLength(fn, "t", len(t), "y", len(y)), arg.AllFinite(fn, "y", y, "reading")); err != nil {
		return nil, err
	}
	if len(t) > 4000 {
		return nil, arg.Bad(fn, "t", fmt.Sprintf("of length %d", len(t)), "at most 4000 readings (average them first)")
	}
	a, middle, half := m.design(t)
	r, err := fit.Linear(a, y, nil)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", fn, err)
	}
	if len(r.Undetermined) > 0 {
		return nil, fmt.Errorf("%s: the record does not determine %v: it is too short for this model", fn, r.Undetermined)
	}
	s, err := newSandwich(a, t)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", fn, err)
	}
	phi, sigma := s.match(r.Residuals)
	cov := s.covariance(phi)
	white := s.covariance(0)
	trend := &Trend{Middle: middle, Sigma: sigma, LagOne: phi, Residuals: r.Residuals, DoF: r.DoF,
		RateInflation: math.Sqrt(cov.At(1, 1) / white.At(1, 1))}
	trend.EffectiveDoF = s.effective(phi)
	u := func(i int, scale float64) float64 { return sigma * math.Sqrt(cov.At(i, i)) * scale }
	trend.Offset = Quantity{r.P[0], u(0, 1)}
	trend.Rate = Quantity{r.P[1] / half, u(1, 1/half)}
	k := 2
	if m.Acceleration {
		trend.Acceleration = Quantity{r.P[k] / half / half, u(k, 1/half/half)}
		k++
	}
	amplitude := func() (q Quantity, phase float64) {
		v := sigma * sigma
		q.Value, phase, q.U, _ = polar(r.P[k], r.P[k+1], v*cov.At(k, k), v*cov.At(k+1, k+1), v*cov.At(k, k+1))
		k += 2
		return q, phase
	}
	if m.Annual {
		trend.Annual, trend.AnnualPhase = amplitude()
	}
	if m.Semiannual {
		trend.Semiannual, _ = amplitude()
	}
	return trend, nil
}

// Plan gives the standard uncertainties of offset, rate and acceleration (zero
// when not in the model) that readings at times t would have, for noise of
// standard deviation sigma and lag-one correlation phi: the true uncertainty of
// ordinary least squares, which for white noise is phi = 0.
func (m TrendModel) Plan(t []float64, sigma, phi float64) (offset, rate, acceleration float64, err error) {
	const fn = "earth.TrendModel.Plan"
	if err := errors.Join(
		m.check(fn, t),
		arg.NonNegative(fn, "sigma", sigma, "standard deviation"),
		arg.Between(fn, "phi", phi, 0, 0.999, "lag-one correlation"),
	); err != nil {
		return 0, 0, 0, err
	}
	if len(t) > 4000 {
		return 0, 0, 0, arg.Bad(fn, "t", fmt.Sprintf("of length %d", len(t)), "at most 4000 readings")
	}
	a, _, half := m.design(t)
	s, err := newSandwich(a, t)
	if err != nil {
		return 0, 0, 0, fmt.Errorf("%s: %w", fn, err)
	}
	cov := s.covariance(phi)
	if m.Acceleration {
		acceleration = sigma * math.Sqrt(cov.At(2, 2)) / half / half
	}
	return sigma * math.Sqrt(cov.At(0, 0)), sigma * math.Sqrt(cov.At(1, 1)) / half, acceleration, nil
}

// sandwich holds an orthonormal basis Q of the columns of the design and the
// map from Q to the parameters.
type sandwich struct {
	q    *mat.Dense // n by p
	rInv *mat.Dense // p by p: parameters = rInv Qᵀ y
	lags []float64  // time from each reading to the next, in units of the shortest usual step
}

func newSandwich(a *mat.Dense, t []float64) (*sandwich, error) {
	n, p := a.Dims()
	var qr mat.QR
	qr.Factorize(a)
	var fullQ, fullR mat.Dense
	qr.QTo(&fullQ)
	qr.RTo(&fullR)
	s := &sandwich{q: mat.DenseCopyOf(fullQ.Slice(0, n, 0, p)), rInv: &mat.Dense{}}
	if err := s.rInv.Inverse(fullR.Slice(0, p, 0, p)); err != nil {
		return nil, errors.New("the record does not determine the model: it is too short")
	}
	// Two readings that happen to lie close together set no step for the rest:
	// no correlation from one such step to the next could be told from none over
	// a usual one. Steps below half the median do not count.
	steps := make([]float64, n-1)
	for i := range steps {
		steps[i] = t[i+1] - t[i]
	}
	slices.Sort(steps)
	usual, _ := slices.BinarySearch(steps, steps[len(steps)/2]/2)
	step := steps[usual]
	for i := range n - 1 {
		s.lags = append(s.lags, (t[i+1]-t[i])/step)
	}
	return s, nil
}

// times multiplies the AR(1) correlation matrix by each column of x, in the
// time that two passes take.
func (s *sandwich) times(phi float64, x *mat.Dense) *mat.Dense {
	n, p := x.Dims()
	out := mat.NewDense(n, p, nil)
	decay := make([]float64, len(s.lags))
	for i, lag := range s.lags {
		decay[i] = math.Pow(phi, lag)
	}
	for j := range p {
		sum := 0.0
		for i := range n {
			if i > 0 {
				sum *= decay[i-1]
			}
			sum += x.At(i, j)
			out.Set(i, j, sum)
		}
		sum = 0
		for i := n - 2; i >= 0; i-- {
			sum = decay[i] * (sum + x.At(i+1, j))
			out.Set(i, j, out.At(i, j)+sum)
		}
	}
	return out
}

// covariance is (AᵀA)⁻¹AᵀRA(AᵀA)⁻¹ for noise of unit variance.
func (s *sandwich) covariance(phi float64) *mat.Dense {
	var core, left, cov mat.Dense
	core.Mul(s.q.T(), s.times(phi, s.q))
	left.Mul(s.rInv, &core)
	cov.Mul(&left, s.rInv.T())
	return &cov
}

// match finds the AR(1) noise whose residuals, after this fit, would have on
// average the lag-one product over the square that was seen.
func (s *sandwich) match(residuals []float64) (phi, sigma float64) {
	var square, product float64
	for i, e := range residuals {
		square += e * e
		if i > 0 {
			product += e * residuals[i-1]
		}
	}
	if square == 0 {
		return 0, 0
	}
	seen := product / square
	lo, hi := 0.0, 0.99
	expectedSquare, expectedProduct := s.expected(0)
	if seen <= expectedProduct/expectedSquare {
		return 0, math.Sqrt(square / expectedSquare)
	}
	for range 40 {
		phi = (lo + hi) / 2
		expectedSquare, expectedProduct = s.expected(phi)
		if expectedProduct/expectedSquare < seen {
			lo = phi
		} else {
			hi = phi
		}
	}
	return phi, math.Sqrt(square / expectedSquare)
}

// expected gives the mean of the sum of squares and of lag-one products of the
// residuals M e, M = 1 − QQᵀ, for AR(1) noise e of unit variance: the traces of
// MR and of L M R M, with L the lag.
func (s *sandwich) expected(phi float64) (square, product float64) {
	n, p := s.q.Dims()
	rq := s.times(phi, s.q)
	var core mat.Dense // QᵀRQ
	core.Mul(s.q.T(), rq)
	square = float64(n)
	for j := range p {
		square -= core.At(j, j)
	}
	// (MRM)_{i,i-1} = R − (QQᵀR) − (RQQᵀ) + Q(QᵀRQ)Qᵀ at that place.
	var qc mat.Dense
	qc.Mul(s.q, &core)
	for i := 1; i < n; i++ {
		product += math.Pow(phi, s.lags[i-1])
		for j := range p {
			product += -s.q.At(i, j)*rq.At(i-1, j) - rq.At(i, j)*s.q.At(i-1, j) + qc.At(i, j)*s.q.At(i-1, j)
		}
	}
	return square, product
}

// effective is the number of independent residuals that AR(1) noise leaves,
// n (1−φ)/(1+φ) less the parameters, at least 1.
func (s *sandwich) effective(phi float64) float64 {
	n, p := s.q.Dims()
	return math.Max(1, float64(n)*(1-phi)/(1+phi)-float64(p))
}
