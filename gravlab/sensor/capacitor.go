package sensor

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

func trim(v float64) string { return fmt.Sprintf("%.4g", v) }

// Plates are flat electrodes facing a movable mass. The field is that between
// parallel plates, without fringe (see DiscFringe): the gap must be small
// against the width. x is the displacement of the mass (m).
type Plates struct {
	Area         float64 // m², of one plate
	Gap          float64 // m, at rest, on each side
	Permittivity float64 // F/m of what fills the gap; 0 is vacuum
}

// Validate says what about p cannot be.
func (p Plates) Validate() error {
	const fn = "sensor.Plates"
	if err := arg.Between(fn, "Area", p.Area, 1e-18, 1e6, "area in m²"); err != nil {
		return err
	}
	if err := arg.Between(fn, "Gap", p.Gap, 1e-12, 1e3, "gap in m"); err != nil {
		return err
	}
	return checkPermittivity(fn, p.Permittivity)
}

func checkPermittivity(fn string, e float64) error {
	if e == 0 {
		return nil
	}
	return arg.Between(fn, "Permittivity", e, gravlab.VacuumPermittivity*(1-1e-6), 1e5*gravlab.VacuumPermittivity, "permittivity in F/m, or 0 for vacuum")
}

func permittivity(e float64) float64 {
	if e == 0 {
		return gravlab.VacuumPermittivity
	}
	return e
}

// Capacitances returns the capacitances (F) of the mass to the plate that it
// approaches when x grows, and to the plate on the other side:
// εA/(gap - x) and εA/(gap + x). x must lie between the plates.
func (p Plates) Capacitances(x float64) (towards, away float64, err error) {
	if err := p.Validate(); err != nil {
		return 0, 0, err
	}
	if !(math.Abs(x) < p.Gap) {
		return 0, 0, arg.Bad("sensor.Plates.Capacitances", "x", x, fmt.Sprintf("a displacement smaller than the gap, %g m", p.Gap))
	}
	c := permittivity(p.Permittivity) * p.Area
	return c / (p.Gap - x), c / (p.Gap + x), nil
}

// PairGradient returns d(C1 - C2)/dx of a differential pair at the centre,
// 2εA/gap² (F/m).
func (p Plates) PairGradient() (float64, error) {
	if err := p.Validate(); err != nil {
		return 0, err
	}
	return 2 * permittivity(p.Permittivity) * p.Area / p.Gap / p.Gap, nil
}

// BridgeSensitivity returns the output of a half bridge per displacement (V/m):
// the plates driven at +V and -V (amplitude excitation, V), the mass watched
// without load: V(C1-C2)/(C1+C2) = V x/gap, exactly linear in x.
func (p Plates) BridgeSensitivity(excitation float64) (float64, error) {
	if err := p.Validate(); err != nil {
		return 0, err
	}
	if err := arg.Positive("sensor.Plates.BridgeSensitivity", "excitation", excitation, "voltage in V"); err != nil {
		return 0, err
	}
	return excitation / p.Gap, nil
}

// PullIn returns the voltage (V) at which a mass on a spring (N/m) snaps to one
// fixed plate at held voltage: √(8 k gap³/(27 ε A)). Just below, the mass has
// moved by a third of the gap. With held charge there is no pull-in before the
// plates meet.
func (p Plates) PullIn(stiffness float64) (float64, error) {
	v, err := p.voltage("sensor.Plates.PullIn", stiffness)
	return v * math.Sqrt(8.0/27), err
}

// PairPullIn returns the voltage (V) at which the centre becomes unstable when
// both plates are at the same potential against the mass: the electrostatic
// stiffness -2εAV²/gap³ then cancels the spring's, V = √(k gap³/(2εA)).
func (p Plates) PairPullIn(stiffness float64) (float64, error) {
	v, err := p.voltage("sensor.Plates.PairPullIn", stiffness)
	return v * math.Sqrt(0.5), err
}

// voltage returns √(k gap³/(εA)), V.
func (p Plates) voltage(fn string, stiffness float64) (float64, error) {
	if err := p.Validate(); err != nil {
		return 0, err
	}
	if err := arg.Between(fn, "stiffness", stiffness, 1e-30, 1e30, "spring constant in N/m"); err != nil {
		return 0, err
	}
	return p.Gap * math.Sqrt(stiffness*p.Gap/(permittivity(p.Permittivity)*p.Area)), nil
}

// PairSoftening returns the natural frequency of the mass at the centre of a
// pair with a bias (V, both plates) over that without: √(1 - (V/PairPullIn)²).
// A bias at or above pull-in is refused.
func (p Plates) PairSoftening(stiffness, bias float64) (float64, error) {
	const fn = "sensor.Plates.PairSoftening"
	limit, err := p.PairPullIn(stiffness)
	if err != nil {
		return 0, err
	}
	r := math.Abs(bias) / limit
	if !(r < 1) {
		return 0, arg.Bad(fn, "bias", bias, fmt.Sprintf("a voltage below pull-in, %.6g V", limit))
	}
	return math.Sqrt((1 - r) * (1 + r)), nil
}

// Deflection returns how far (m) a mass on a spring (N/m) is drawn towards one
// fixed plate by a held voltage (V): the stable solution of
// k x = εAV²/(2(gap-x)²). A voltage above pull-in has none and is refused.
func (p Plates) Deflection(stiffness, voltage float64) (float64, error) {
	const fn = "sensor.Plates.Deflection"
	limit, err := p.PullIn(stiffness)
	if err != nil {
		return 0, err
	}
	r := math.Abs(voltage) / limit
	if !(r <= 1) {
		return 0, arg.Bad(fn, "voltage", voltage, fmt.Sprintf("a voltage up to pull-in, %.6g V", limit))
	}
	// With u = x/gap: u(1-u)² = (4/27) r². The smallest root in closed form is
	// u = (4/3) sin²(φ/2), sin²(3φ/2) = r² (a triple angle in disguise).
	s := math.Sin(math.Asin(r) / 3)
	return p.Gap * 4 / 3 * s * s, nil
}

// A Comb is a set of strip pairs that change their overlap, not their gap.
type Comb struct {
	Pairs        int     // strip pairs
	Width        float64 // m, across the motion
	Gap          float64 // m
	Permittivity float64 // F/m; 0 is vacuum
}

// Gradient returns dC/dx = n ε w/gap (F/m), without fringe. The force ½V²dC/dx
// does not depend on x: a comb has no pull-in along its motion.
func (c Comb) Gradient() (float64, error) {
	const fn = "sensor.Comb"
	if c.Pairs < 1 || c.Pairs > 1<<30 {
		return 0, arg.Bad(fn, "Pairs", c.Pairs, "at least one pair of strips")
	}
	if err := arg.Between(fn, "Width", c.Width, 1e-12, 1e6, "width in m"); err != nil {
		return 0, err
	}
	if err := arg.Between(fn, "Gap", c.Gap, 1e-12, 1e3, "gap in m"); err != nil {
		return 0, err
	}
	if err := checkPermittivity(fn, c.Permittivity); err != nil {
		return 0, err
	}
	return float64(c.Pairs) * permittivity(c.Permittivity) * c.Width / c.Gap, nil
}

// DiscFringe returns the capacitance of two equal thin coaxial discs of radius
// (m) at a distance gap (m) in free space, over the parallel-plate value
// επR²/gap. For gap/radius of 0.02 and more Love's integral equation is solved
// (Nyström's method, to about 1e-12); below, Kirchhoff's formula
// 1 + h(ln(16/h) - 1), h = gap/(π radius), is used, which there is low by less
// than 0.06 %. Edges without thickness, nothing else near.
func DiscFringe(radius, gap float64) (float64, error) {
	const fn = "sensor.DiscFringe"
	if err := arg.Between(fn, "radius", radius, 1e-12, 1e12, "radius in m"); err != nil {
		return 0, err
	}
	if err := arg.Between(fn, "gap", gap, radius*1e-9, radius*1e9, "gap in m"); err != nil {
		return 0, err
	}
	k := gap / radius
	if k < 0.02 {
		h := k / math.Pi
		return 1 + h*(math.Log(16/h)-1), nil
	}
	// f(x) = 1 + (1/π)∫ k/(k²+(x-t)²) f(t) dt over -1..1; f is even, so the half
	// range serves with the kernel folded. With √w on both sides the matrix is
	// symmetric and positive.
	n := max(16, int(math.Ceil(10/math.Min(k, 1))))
	x, w := make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(x, w, 0, 1)
	l := make([][]float64, n)
	b := make([]float64, n)
	for i := range n {
		l[i] = make([]float64, i+1)
		b[i] = math.Sqrt(w[i])
		for j := 0; j <= i; j++ {
			d, s := x[i]-x[j], x[i]+x[j]
			l[i][j] = -math.Sqrt(w[i]*w[j]) * k / math.Pi * (1/(k*k+d*d) + 1/(k*k+s*s))
		}
		l[i][i]++
	}
	var sum float64 // bᵀA⁻¹b by forward substitution alone
	for i := range n {
		for j := 0; j <= i; j++ {
			s := l[i][j]
			for m := range j {
				s -= l[i][m] * l[j][m]
			}
			if i == j {
				l[i][i] = math.Sqrt(s)
			} else {
				l[i][j] = s / l[j][j]
			}
		}
		s := b[i]
		for m := range i {
			s -= l[i][m] * b[m]
		}
		b[i] = s / l[i][i]
		sum += b[i] * b[i]
	}
	// C = 2εR∫f over -1..1 = 4εR·sum, over επR²/gap.
	return 4 * k * sum / math.Pi, nil
}
