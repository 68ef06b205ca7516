package earth

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/internal/arg"
)

// A Constituent is one line of the tide.
type Constituent struct {
	Name        string
	Description string
	// Doodson are the multiples of tau (mean lunar time), s, h, p, N' and p_s
	// that make up its argument.
	Doodson [6]int
	// Speed is the rate of that argument at J2000, rad/s.
	Speed float64
}

// Period is 2π over the speed, s.
func (c Constituent) Period() float64 { return 2 * math.Pi / c.Speed }

// Rates of the fundamental arguments at J2000 in rad/s of s, h, p, N' and p_s,
// and of mean lunar time, from the linear terms of the Delaunay arguments
// (IERS Conventions 2010, eq. 5.43, from memory; the tests hold the speeds that
// follow against published ones).
var argumentRates = func() [6]float64 {
	const (
		century = 36525 * 86400.0
		l       = 1717915923.2178 * arcsec / century
		lPrime  = 129596581.0481 * arcsec / century
		f       = 1739527262.8478 * arcsec / century
		d       = 1602961601.2090 * arcsec / century
		node    = -6962890.5431 * arcsec / century
	)
	s := f + node
	h := s - d
	return [6]float64{2*math.Pi/86400 - s + h, s, h, s - l, -node, h - lPrime}
}()

func newConstituent(name, description string, doodson [6]int) Constituent {
	c := Constituent{Name: name, Description: description, Doodson: doodson}
	for i, n := range doodson {
		c.Speed += float64(n) * argumentRates[i]
	}
	return c
}

// Constituents returns the named lines that this package knows, from long
// period to third-diurnal. Names and Doodson numbers are those of P. Schureman,
// Manual of Harmonic Analysis and Prediction of Tides, C&GS Special
// Publication 98 (1940), and of later lists that follow it.
func Constituents() []Constituent {
	return []Constituent{
		newConstituent("Sa", "solar annual", [6]int{0, 0, 1, 0, 0, -1}),
		newConstituent("Ssa", "solar semiannual", [6]int{0, 0, 2, 0, 0, 0}),
		newConstituent("Msm", "lunar evection monthly", [6]int{0, 1, -2, 1, 0, 0}),
		newConstituent("Mm", "lunar monthly", [6]int{0, 1, 0, -1, 0, 0}),
		newConstituent("MSf", "lunisolar synodic fortnightly", [6]int{0, 2, -2, 0, 0, 0}),
		newConstituent("Mf", "lunar fortnightly", [6]int{0, 2, 0, 0, 0, 0}),
		newConstituent("Mtm", "lunar third-monthly", [6]int{0, 3, 0, -1, 0, 0}),
		newConstituent("2Q1", "lunar elliptic diurnal of second order", [6]int{1, -3, 0, 2, 0, 0}),
		newConstituent("sigma1", "lunar variational diurnal", [6]int{1, -3, 2, 0, 0, 0}),
		newConstituent("Q1", "larger lunar elliptic diurnal", [6]int{1, -2, 0, 1, 0, 0}),
		newConstituent("rho1", "larger lunar evectional diurnal", [6]int{1, -2, 2, -1, 0, 0}),
		newConstituent("O1", "lunar diurnal", [6]int{1, -1, 0, 0, 0, 0}),
		newConstituent("M1", "smaller lunar elliptic diurnal", [6]int{1, 0, 0, 1, 0, 0}),
		newConstituent("chi1", "smaller lunar evectional diurnal", [6]int{1, 0, 2, -1, 0, 0}),
		newConstituent("pi1", "larger solar elliptic diurnal", [6]int{1, 1, -3, 0, 0, 1}),
		newConstituent("P1", "solar diurnal", [6]int{1, 1, -2, 0, 0, 0}),
		newConstituent("S1", "solar diurnal, of the weather", [6]int{1, 1, -1, 0, 0, 1}),
		newConstituent("K1", "lunisolar diurnal", [6]int{1, 1, 0, 0, 0, 0}),
		newConstituent("psi1", "smaller solar elliptic diurnal", [6]int{1, 1, 1, 0, 0, -1}),
		newConstituent("phi1", "solar diurnal of second order", [6]int{1, 1, 2, 0, 0, 0}),
		newConstituent("theta1", "lunar evectional diurnal of second order", [6]int{1, 2, -2, 1, 0, 0}),
		newConstituent("J1", "lunar elliptic diurnal of second order", [6]int{1, 2, 0, -1, 0, 0}),
		newConstituent("SO1", "lunar variational diurnal of second order", [6]int{1, 3, -2, 0, 0, 0}),
		newConstituent("OO1", "lunar diurnal of second order", [6]int{1, 3, 0, 0, 0, 0}),
		newConstituent("2N2", "lunar elliptic of second order", [6]int{2, -2, 0, 2, 0, 0}),
		newConstituent("mu2", "variational", [6]int{2, -2, 2, 0, 0, 0}),
		newConstituent("N2", "larger lunar elliptic", [6]int{2, -1, 0, 1, 0, 0}),
		newConstituent("nu2", "larger lunar evectional", [6]int{2, -1, 2, -1, 0, 0}),
		newConstituent("M2", "principal lunar", [6]int{2, 0, 0, 0, 0, 0}),
		newConstituent("lambda2", "smaller lunar evectional", [6]int{2, 1, -2, 1, 0, 0}),
		newConstituent("L2", "smaller lunar elliptic", [6]int{2, 1, 0, -1, 0, 0}),
		newConstituent("T2", "larger solar elliptic", [6]int{2, 2, -3, 0, 0, 1}),
		newConstituent("S2", "principal solar", [6]int{2, 2, -2, 0, 0, 0}),
		newConstituent("R2", "smaller solar elliptic", [6]int{2, 2, -1, 0, 0, -1}),
		newConstituent("K2", "lunisolar", [6]int{2, 2, 0, 0, 0, 0}),
		newConstituent("eta2", "lunar elliptic, from K2", [6]int{2, 3, 0, -1, 0, 0}),
		newConstituent("M3", "lunar third-diurnal", [6]int{3, 0, 0, 0, 0, 0}),
	}
}

// ConstituentsNamed returns the lines of these names, in this order.
func ConstituentsNamed(names ...string) ([]Constituent, error) {
	all := Constituents()
	chosen := make([]Constituent, 0, len(names))
next:
	for _, name := range names {
		for _, c := range all {
			if c.Name == name {
				chosen = append(chosen, c)
				continue next
			}
		}
		known := ""
		for _, c := range all {
			known += " " + c.Name
		}
		return nil, arg.Bad("earth.ConstituentsNamed", "names", name, "one of"+known)
	}
	return chosen, nil
}

// BeatPeriod is the time in which two lines of periods t1 and t2 come back
// into step, in the unit of t1 and t2: 14.77 days for M2 and S2, from spring
// tide to spring tide. A record must be at least that long to part the two
// (Rayleigh's criterion).
func BeatPeriod(t1, t2 float64) (float64, error) {
	const fn = "earth.BeatPeriod"
	if err := errors.Join(arg.Positive(fn, "t1", t1, "period"), arg.Positive(fn, "t2", t2, "period")); err != nil {
		return 0, err
	}
	if t1 == t2 {
		return 0, arg.Bad(fn, "t2", t2, "a period unlike t1: equal ones never part")
	}
	return 1 / math.Abs(1/t1-1/t2), nil
}

// A Harmonic is one line as a record shows it: Amplitude cos(Speed t − Phase),
// amplitude zero to peak in the unit of the record, phase in rad from −π to π,
// both with standard uncertainty.
type Harmonic struct {
	Constituent
	Amplitude, UAmplitude float64
	Phase, UPhase         float64
}

// An Analysis is a record taken apart into an offset, a linear drift and lines.
type Analysis struct {
	Harmonics       []Harmonic
	Offset, UOffset float64 // at t = 0, unit of the record
	Drift, UDrift   float64 // unit of the record per s
	Residuals       []float64
	RMS             float64 // of the residuals, divided by the degrees of freedom
	// Unresolved lists the pairs that the record is too short to part, by
	// Rayleigh's criterion: their frequencies differ by less than one over its
	// length. Their amplitudes are not to be trusted one by one.
	Unresolved []string
}

// Named returns the harmonic of that name.
func (a *Analysis) Named(name string) (Harmonic, error) {
	for _, h := range a.Harmonics {
		if h.Name == name {
			return h, nil
		}
	}
	return Harmonic{}, arg.Bad("earth.Analysis.Named", "name", name, "a constituent that was fitted")
}

// Analyse fits an offset, a linear drift and the given lines to a record y at
// times t (s, increasing, gaps allowed) by least squares. Phases count from
// t = 0. The uncertainties come from the residuals, taken as white: drift and
// weather make them too small at long periods.
//
// Lines that stand closer to a fitted one than one over the length of the
// record (the 18.6-year companions of M2 or O1, in any record of a few years)
// stay inside it: an amplitude from one year differs from the 18.6-year mean by
// up to 4 % for M2 and 19 % for O1.
func Analyse(t, y []float64, constituents []Constituent) (*Analysis, error) {
	return analyse(tidal{t, y, constituents})
}

// tidal are the arguments of Analyse.
type tidal struct {
	T, Y         []float64
	Constituents []Constituent
}

func (in tidal) analyse() (*Analysis, error) {
	t, y, constituents := in.T, in.Y, in.Constituents
	const fn = "earth.Analyse"
	if err := checkRecord(fn, t, y, constituents); err != nil {
		return nil, err
	}
	length := t[len(t)-1] - t[0]
	middle := t[0] + length/2
	a := mat.NewDense(len(t), 2+2*len(constituents), nil)
	for i, ti := range t {
		row := a.RawRowView(i)
		row[0], row[1] = 1, (ti-middle)/length
		for j, c := range constituents {
			row[3+2*j], row[2+2*j] = math.Sincos(c.Speed * ti)
		}
	}
	r, err := fit.Linear(a, y, nil)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", fn, err)
	}
	analysis := &Analysis{
		Drift: r.P[1] / length, UDrift: r.U[1] / length,
		Offset:    r.P[0] - r.P[1]*middle/length,
		UOffset:   math.Sqrt(math.Max(0, r.Cov.At(0, 0)-2*middle/length*r.Cov.At(0, 1)+middle/length*middle/length*r.Cov.At(1, 1))),
		Residuals: r.Residuals, RMS: math.Sqrt(r.ReducedChi2()),
		Unresolved: unresolved(constituents, length),
	}
	for j, c := range constituents {
		k := 2 + 2*j
		h := Harmonic{Constituent: c}
		h.Amplitude, h.Phase, h.UAmplitude, h.UPhase = polar(r.P[k], r.P[k+1], r.Cov.At(k, k), r.Cov.At(k+1, k+1), r.Cov.At(k, k+1))
		analysis.Harmonics = append(analysis.Harmonics, h)
	}
	return analysis, nil
}

// polar turns the coefficients of cosine and sine, with their covariance, into
// amplitude and phase. A line of no amplitude has no phase: ±π.
func polar(c, s, vc, vs, vcs float64) (amplitude, phase, ua, up float64) {
	amplitude, phase = math.Hypot(c, s), math.Atan2(s, c)
	if amplitude == 0 {
		return 0, 0, math.Sqrt(math.Max(vc, vs)), math.Pi
	}
	ca, sa := c/amplitude, s/amplitude
	ua = math.Sqrt(math.Max(0, ca*ca*vc+sa*sa*vs+2*ca*sa*vcs))
	up = math.Min(math.Pi, math.Sqrt(math.Max(0, sa*sa*vc+ca*ca*vs-2*ca*sa*vcs))/amplitude)
	return amplitude, phase, ua, up
}

// RefinePeriod finds the period, s, at which the constituent of this name
// really stands in a record: all lines are fitted, and that one's speed with
// them. It also returns the standard uncertainty, from the residuals. The
// starting period must be right to about a quarter of its square over the
// length of the record.
func RefinePeriod(t, y []float64, constituents []Constituent, name string) (period, u float64, err error) {
	const fn = "earth.RefinePeriod"
	if err := checkRecord(fn, t, y, constituents); err != nil {
		return 0, 0, err
	}
	lines := append([]Constituent(nil), constituents...)
	target := -1
	for j, c := range lines {
		if c.Name == name {
			target = j
		}
	}
	if target < 0 {
		return 0, 0, arg.Bad(fn, "name", name, "the name of one of the constituents")
	}
	length := t[len(t)-1] - t[0]
	middle := t[0] + length/2
	// Gauss and Newton: beside the line stand its derivatives by speed, from
	// which the change of speed follows. Two rounds leave nothing to gain.
	for range 2 {
		n := 2 + 2*len(lines)
		a := mat.NewDense(len(t), n+2, nil)
		for i, ti := range t {
			row := a.RawRowView(i)
			x := ti - middle
			row[0], row[1] = 1, x/length
			for j, c := range lines {
				row[3+2*j], row[2+2*j] = math.Sincos(c.Speed * x)
			}
			row[n], row[n+1] = x/length*row[2+2*target], x/length*row[3+2*target]
		}
		r, err := fit.Linear(a, y, nil)
		if err != nil {
			return 0, 0, fmt.Errorf("%s: %w", fn, err)
		}
		c, s := r.P[2+2*target], r.P[3+2*target]
		power := c*c + s*s
		if !(power > 0) {
			return 0, 0, fmt.Errorf("%s: the record holds no %s", fn, name)
		}
		lines[target].Speed += (s*r.P[n] - c*r.P[n+1]) / power / length
		du := math.Sqrt(math.Max(0, c*c*r.Cov.At(n+1, n+1)+s*s*r.Cov.At(n, n)-2*c*s*r.Cov.At(n, n+1))) / power / length
		period = lines[target].Period()
		u = period * du / lines[target].Speed
	}
	if !(period > 0) || math.IsInf(period, 0) {
		return 0, 0, fmt.Errorf("%s: the speed of %s ran away; start nearer to it", fn, name)
	}
	return period, u, nil
}

func checkRecord(fn string, t, y []float64, constituents []Constituent) error {
	if err := errors.Join(
		arg.AtLeast(fn, "constituents", len(constituents), 1),
		arg.AtLeast(fn, "t", len(t), 2*len(constituents)+5),
		arg.SameLength(fn, "t", len(t), "y", len(y)),
		arg.Rising(fn, "t", t, "time in s"),
		arg.AllFinite(fn, "y", y, "reading"),
	); err != nil {
		return err
	}
	for i, c := range constituents {
		if !(c.Speed > 0) || math.IsInf(c.Speed, 0) {
			return arg.Bad(fn, "constituents", c.Speed, "speeds above zero, in rad/s")
		}
		for _, other := range constituents[:i] {
			if other.Speed == c.Speed {
				return arg.Bad(fn, "constituents", c.Name, "no line twice")
			}
		}
	}
	if math.IsInf(t[len(t)-1]-t[0], 0) {
		return arg.Bad(fn, "t", t[len(t)-1], "times whose span is finite")
	}
	return nil
}

func unresolved(constituents []Constituent, length float64) []string {
	var pairs []string
	for i, a := range constituents {
		// A line slower than one turn in the record is mixed with the offset.
		if a.Speed*length < 2*math.Pi {
			pairs = append(pairs, a.Name+" from the offset and drift")
		}
		for _, b := range constituents[:i] {
			if math.Abs(a.Speed-b.Speed)*length < 2*math.Pi*(1-1e-9) {
				pairs = append(pairs, b.Name+" from "+a.Name)
			}
		}
	}
	return pairs
}
