package equivalence

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/internal/arg"
)

// A RotatingBalance is a torsion balance with two materials on a turntable, and what
// its reading then holds, as an acceleration difference (m/s²):
//
//	η Drive sin(Ωt) + Gradient sin(2Ωt − ½) + Offset + Drift t + noise
//
// The composition signal comes once a turn; a mass nearby pulls twice a turn.
// Noise is white, drawn for each reading.
type RotatingBalance struct {
	Drive    float64 // m/s² per unit of η, e.g. from [EarthDrive]
	Eta      float64
	Period   float64 // of a turn, s
	Gradient float64 // amplitude at two per turn, m/s²
	Offset   float64 // m/s²
	Drift    float64 // m/s³
	Noise    float64 // standard deviation of one reading, m/s²
	Step     float64 // the reading's last digit, m/s²; 0 leaves it unrounded
}

// Validate reports what cannot be used.
func (s RotatingBalance) Validate() error {
	const fn = "equivalence.RotatingBalance"
	return errors.Join(
		arg.Between(fn, "Drive", s.Drive, 1e-12, 1e3, "driving acceleration in m/s²"),
		arg.Between(fn, "Eta", s.Eta, -1, 1, "Eötvös ratio"),
		arg.Between(fn, "Period", s.Period, 1e-3, 1e9, "period in s"),
		arg.Between(fn, "Gradient", s.Gradient, -1, 1, "amplitude in m/s²"),
		arg.Between(fn, "Offset", s.Offset, -1, 1, "offset in m/s²"),
		arg.Between(fn, "Drift", s.Drift, -1, 1, "drift in m/s³"),
		arg.Between(fn, "Noise", s.Noise, 0, 1, "standard deviation in m/s²"),
		arg.Between(fn, "Step", s.Step, 0, 1, "step of the reading in m/s²"),
	)
}

// Record makes n readings, interval (s) apart, the first at t = 0. The same
// source in the same state gives the same bytes.
func (s RotatingBalance) Record(rng *rand.Rand, n int, interval float64) (t, reading []float64, err error) {
	const fn = "equivalence.RotatingBalance.Record"
	if n < 1 || n > 1e7 {
		return nil, nil, arg.Bad(fn, "n", n, "from 1 to 10,000,000 readings")
	}
	if rng == nil {
		return nil, nil, arg.Bad(fn, "rng", "nil", "a source of random numbers with a seed")
	}
	if err := errors.Join(s.Validate(), arg.Between(fn, "interval", interval, 1e-6, 1e6, "time in s")); err != nil {
		return nil, nil, err
	}
	omega := 2 * math.Pi / s.Period
	t, reading = make([]float64, n), make([]float64, n)
	for i := range t {
		t[i] = float64(float64(i) * interval)
		phase := float64(omega * t[i])
		v := float64(s.Eta * s.Drive * math.Sin(phase))
		v += float64(s.Gradient * math.Sin(float64(2*phase)-0.5))
		v += s.Offset
		v += float64(s.Drift * t[i])
		v += float64(s.Noise * rng.NormFloat64())
		if s.Step > 0 {
			v = float64(math.Round(v/s.Step) * s.Step)
		}
		reading[i] = v
	}
	return t, reading, nil
}

// A Modulation is what [FitModulation] finds in a record: at each harmonic k of
// the turning the coefficients of sin(kΩt) and cos(kΩt), an offset and a drift,
// with standard uncertainties.
type Modulation struct {
	Sine, USine     []float64 // of harmonics 1, 2, ..., unit of the record
	Cosine, UCosine []float64
	Offset, UOffset float64
	Drift, UDrift   float64 // unit of the record per s
	RMS             float64 // of the residuals
	Residuals       []float64
	DoF             int
}

// FitModulation fits the first few harmonics of a turning of this period (s),
// an offset and a drift to readings at increasing times t (s) by least squares.
// The uncertainties come from the residuals, taken as white: leave a harmonic
// out that is there and they grow; look at the residuals. At least one whole
// turn is wanted, else sine, offset and drift cannot be told apart.
func FitModulation(t, reading []float64, period float64, harmonics int) (*Modulation, error) {
	const fn = "equivalence.FitModulation"
	if harmonics < 1 || harmonics > 20 {
		return nil, arg.Bad(fn, "harmonics", harmonics, "from 1 to 20")
	}
	if err := errors.Join(
		arg.Between(fn, "period", period, 1e-6, 1e12, "period in s"),
		arg.AtLeast(fn, "t", len(t), 2*harmonics+4),
		arg.SameLength(fn, "t", len(t), "reading", len(reading)),
		arg.Rising(fn, "t", t, "time in s"),
		arg.AllFinite(fn, "reading", reading, "reading"),
	); err != nil {
		return nil, err
	}
	length := t[len(t)-1] - t[0]
	if !(length >= period*(1-1e-9)) || math.IsInf(length, 0) {
		return nil, arg.Bad(fn, "t", fmt.Sprintf("a record of %g s", length), fmt.Sprintf("at least one turn, %g s", period))
	}
	middle := t[0] + length/2
	a := mat.NewDense(len(t), 2+2*harmonics, nil)
	for i, ti := range t {
		row := a.RawRowView(i)
		row[0], row[1] = 1, (ti-middle)/length
		for k := range harmonics {
			row[2+2*k], row[3+2*k] = math.Sincos(2 * math.Pi / period * float64(k+1) * ti)
		}
	}
	r, err := fit.Linear(a, reading, nil)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", fn, err)
	}
	if len(r.Undetermined) > 0 {
		return nil, fmt.Errorf("%s: these times do not determine all coefficients (readings at the same phases of every turn?)", fn)
	}
	shift := middle / length
	m := &Modulation{
		Offset: r.P[0] - r.P[1]*shift, UOffset: math.Sqrt(math.Max(0, r.Cov.At(0, 0)-2*shift*r.Cov.At(0, 1)+shift*shift*r.Cov.At(1, 1))),
		Drift: r.P[1] / length, UDrift: r.U[1] / length, RMS: math.Sqrt(r.ReducedChi2()), Residuals: r.Residuals, DoF: r.DoF,
	}
	for k := range harmonics {
		m.Sine, m.USine = append(m.Sine, r.P[2+2*k]), append(m.USine, r.U[2+2*k])
		m.Cosine, m.UCosine = append(m.Cosine, r.P[3+2*k]), append(m.UCosine, r.U[3+2*k])
	}
	return m, nil
}

// Limit is the half-width of the interval about zero that holds the given
// share (0.95 is usual) of the probability of η, when the estimate eta has
// standard uncertainty u, the distribution is normal and nothing was known
// before (flat prior). For eta = 0 it is 1.96 u.
//
// Use it when the sign is not known beforehand; a one-sided bound (1.645 u) is
// another statement.
func Limit(eta, u, share float64) (float64, error) {
	const fn = "equivalence.Limit"
	if err := errors.Join(
		arg.Between(fn, "eta", eta, -1e100, 1e100, "Eötvös ratio"),
		arg.Between(fn, "u", u, 1e-100, 1e100, "standard uncertainty"),
		arg.Between(fn, "share", share, 1e-6, 1-1e-9, "fraction of the probability"),
	); err != nil {
		return 0, err
	}
	x := math.Abs(eta) / u
	held := func(l float64) float64 { return (math.Erf((l-x)/math.Sqrt2) + math.Erf((l+x)/math.Sqrt2)) / 2 }
	lo, hi := 0.0, x+8
	for range 200 {
		mid := (lo + hi) / 2
		if mid == lo || mid == hi {
			break
		}
		if held(mid) < share {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi * u, nil
}
