package buried

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/internal/arg"
)

// A Load is a mass on a vehicle. X is its place along the direction of travel
// (+x) when the clock reads zero, Height its height above the road z = 0. The
// vehicle's middle line is y = 0.
type Load struct {
	X      float64 // m
	Mass   float64 // kg
	Height float64 // m, up
}

// A Pass is a vehicle that drives along +x at a steady speed. The sensors stand
// still beside, above or under the road; the loads pull on them as points.
type Pass struct {
	Loads []Load
	Speed float64 // m/s
}

// Validate reports every field that cannot be used.
func (p Pass) Validate() error {
	const fn = "buried.Pass"
	if err := errors.Join(arg.AtLeast(fn, "Loads", len(p.Loads), 1), arg.Between(fn, "Speed", p.Speed, -100, 100, "speed in m/s")); err != nil {
		return err
	}
	for i, l := range p.Loads {
		check := func(name string) error {
			return errors.Join(
				arg.Between(fn, name+"X", l.X, -1e6, 1e6, "place in m"),
				arg.Between(fn, name+"Mass", l.Mass, 0, 1e9, "mass in kg"),
				arg.Between(fn, name+"Height", l.Height, -1e3, 1e3, "height in m"))
		}
		if check("") != nil { // to write a name costs more than the pull
			return check(fmt.Sprintf("Loads[%d].", i))
		}
	}
	return nil
}

// Attraction is the loads' pull on a sensor at the time t (s), m/s². It is an
// error when a load passes through the sensor at that moment.
func (p Pass) Attraction(sensor r3.Vec, t float64) (r3.Vec, error) {
	const fn = "buried.Pass.Attraction"
	if err := errors.Join(p.Validate(), checkVec(fn, "sensor", sensor), arg.Between(fn, "t", t, -1e6, 1e6, "time in s")); err != nil {
		return r3.Vec{}, err
	}
	var g r3.Vec
	for _, l := range p.Loads {
		a, err := Point{At: r3.Vec{X: l.X + p.Speed*t, Z: -l.Height}, Mass: l.Mass}.Gravity(sensor)
		if err != nil {
			return r3.Vec{}, err
		}
		g = r3.Add(g, a)
	}
	return g, nil
}

// A Channel is the record of one fixed sensor during a pass.
type Channel struct {
	At      r3.Vec    // m
	Axis    r3.Vec    // direction in which the sensor reads the pull; any length but zero
	Times   []float64 // s, rising
	Reading []float64 // m/s²
	Sigma   float64   // standard uncertainty of one reading, m/s²
	Step    float64   // digit to which Record rounds, m/s²; 0 for none
}

func (c *Channel) validate(name string, readings bool) error {
	const fn = "buried.Channel"
	err := errors.Join(
		checkVec(fn, name+".At", c.At),
		arg.AtLeast(fn, name+".Times", len(c.Times), 1),
		arg.Rising(fn, name+".Times", c.Times, "time in s"),
		arg.Between(fn, name+".Sigma", c.Sigma, 1e-20, 1e3, "standard uncertainty in m/s²"),
		arg.Between(fn, name+".Step", c.Step, 0, 1e3, "step in m/s²"))
	if n := r3.Norm(c.Axis); err == nil && !(n > 1e-100 && n < 1e100) {
		err = arg.Bad(fn, name+".Axis", c.Axis, "a direction, such as {Y: 1}")
	}
	if err == nil && readings {
		err = errors.Join(
			arg.SameLength(fn, name+".Times", len(c.Times), name+".Reading", len(c.Reading)),
			arg.AllFinite(fn, name+".Reading", c.Reading, "acceleration in m/s²"))
		for i, r := range c.Reading {
			if err == nil {
				err = arg.Between(fn, fmt.Sprintf("%s.Reading[%d]", name, i), r, -1e3, 1e3, "acceleration in m/s²")
			}
		}
	}
	return err
}

// Record fills a copy of the channel with readings of the pass, with an offset
// (m/s²) and normal noise of the channel's Sigma, rounded to its Step. The same
// rng gives the same record to 1e-9, and the same digits where Step is coarser
// than that. A nil rng panics.
func (p Pass) Record(rng *rand.Rand, c Channel, offset float64) (Channel, error) {
	if err := errors.Join(p.Validate(), c.validate("channel", false), arg.Finite("buried.Pass.Record", "offset", offset, "acceleration in m/s²")); err != nil {
		return Channel{}, err
	}
	axis := r3.Unit(c.Axis)
	c.Reading = make([]float64, len(c.Times))
	for i, t := range c.Times {
		a, err := p.Attraction(c.At, t)
		if err != nil {
			return Channel{}, err
		}
		v := float64(a.X*axis.X) + float64(a.Y*axis.Y) + float64(a.Z*axis.Z) + offset + float64(c.Sigma*rng.NormFloat64())
		if c.Step > 0 {
			v = float64(math.Round(v/c.Step) * c.Step)
		}
		c.Reading[i] = v
	}
	return c, nil
}

// A Cargo is the room in which a load may be, for bounds on its mass.
type Cargo struct{ Length, Width, Height float64 } // m

// MassBounds returns the masses (kg) that a full box has between two densities
// (kg/m³). A bound on mass from density needs the load's own box, not the
// volume of the vehicle.
func (b Cargo) MassBounds(least, most float64) (lower, upper float64, err error) {
	const fn = "buried.Cargo.MassBounds"
	err = errors.Join(
		arg.Between(fn, "Length", b.Length, 1e-3, 1e3, "length in m"),
		arg.Between(fn, "Width", b.Width, 1e-3, 1e3, "length in m"),
		arg.Between(fn, "Height", b.Height, 1e-3, 1e3, "length in m"),
		checkDensity(fn, "least", least), checkDensity(fn, "most", most))
	if err == nil && !(least < most) {
		err = arg.Bad(fn, "most", most, "a density above least")
	}
	v := b.Length * b.Width * b.Height
	return least * v, most * v, err
}

// A LoadFit is the outcome of FitLoads.
type LoadFit struct {
	Loads     []Load    // fitted places and masses, with the heights that were given
	UX, UMass []float64 // standard uncertainties, m and kg
	Offsets   []float64 // of each channel, m/s²
	// Total is the sum of the masses, with its uncertainty: well determined
	// even where the single masses are not, unless two loads are at one place
	// (+Inf: take them as one).
	Total, UTotal float64
	// Fit holds the parameters X1, Mass1, X2, ..., offset1, ... with their
	// covariance, what is not determined, and what a bound holds.
	Fit *fit.Result
}

// FitLoads finds places and masses of loads from the records of one pass at a
// known speed, with one unknown offset for each channel. guess gives the number
// of loads, first places and masses, and the heights, which are taken as known.
// lower and upper bound each mass (kg, see Cargo.MassBounds); nil means 0 and
// none.
//
// What is determined: the place of each load along the vehicle (a few
// centimetres, but it scales with the speed), and the mass over the square of
// the distance. What is not: density and size of a load (a ball pulls as its
// centre), the height and the mass at once from one sensor, two loads closer
// together than their distance from the sensor. The total mass holds the
// driver, fuel and all the rest: it is not the manifest.
//
// When the search does not end at a minimum the error wraps
// fit.ErrNotConverged, and the LoadFit beside it says where it stood.
func FitLoads(channels []Channel, speed float64, guess []Load, lower, upper []float64) (*LoadFit, error) {
	return fitLoads(loading{channels, speed, guess, lower, upper})
}

// loading are the arguments of FitLoads.
type loading struct {
	Channels     []Channel
	Speed        float64
	Guess        []Load
	Lower, Upper []float64
}

func (in loading) fit() (*LoadFit, error) {
	channels, speed, guess, lower, upper := in.Channels, in.Speed, in.Guess, in.Lower, in.Upper
	const fn = "buried.FitLoads"
	if err := errors.Join(arg.AtLeast(fn, "channels", len(channels), 1), Pass{Loads: guess, Speed: speed}.Validate()); err != nil {
		return nil, err
	}
	if speed == 0 {
		return nil, arg.Bad(fn, "speed", speed, "a speed in m/s that is not zero")
	}
	points := 0
	for i := range channels {
		if err := channels[i].validate(fmt.Sprintf("channels[%d]", i), true); err != nil {
			return nil, err
		}
		points += len(channels[i].Times)
	}
	n := len(guess)
	for _, b := range []struct {
		name string
		v    []float64
	}{{"lower", lower}, {"upper", upper}} {
		if b.v != nil {
			if err := errors.Join(arg.SameLength(fn, "guess", n, b.name, len(b.v)), arg.AllFinite(fn, b.name, b.v, "mass in kg")); err != nil {
				return nil, err
			}
		}
	}
	if points < 2*n+len(channels) {
		return nil, arg.Bad(fn, "channels", points, fmt.Sprintf("at least %d readings, one for each unknown", 2*n+len(channels)))
	}
	var start, lo, hi []float64
	var names []string
	for i, l := range guess {
		low, high := 0.0, math.Inf(1)
		if lower != nil {
			low = lower[i]
		}
		if upper != nil {
			high = upper[i]
		}
		if low < 0 || high < low {
			return nil, arg.Bad(fn, fmt.Sprintf("lower[%d] and upper[%d]", i, i), [2]float64{low, high}, "bounds in kg, zero or more, the upper not below the lower")
		}
		start = append(start, l.X, min(max(l.Mass, low), high))
		lo, hi = append(lo, math.Inf(-1), low), append(hi, math.Inf(1), high)
		names = append(names, fmt.Sprintf("X%d", i+1), fmt.Sprintf("Mass%d", i+1))
	}
	var x, y, sigma []float64
	for c := range channels {
		mean := 0.0
		for i, r := range channels[c].Reading {
			x, y, sigma = append(x, float64(len(x))), append(y, r), append(sigma, channels[c].Sigma)
			mean += (r - mean) / float64(i+1)
		}
		start = append(start, mean)
		lo, hi = append(lo, math.Inf(-1)), append(hi, math.Inf(1))
		names = append(names, fmt.Sprintf("offset%d", c+1))
	}
	// each calls f for every reading with its channel and time.
	each := func(f func(row, c int, axis r3.Vec, t float64)) {
		row := 0
		for c := range channels {
			axis := r3.Unit(channels[c].Axis)
			for _, t := range channels[c].Times {
				f(row, c, axis, t)
				row++
			}
		}
	}
	result, err := fit.Curve{
		X: x, Y: y, Sigma: sigma, Start: start, Lower: lo, Upper: hi, Names: names,
		Model: func(p, _, dst []float64) {
			each(func(row, c int, axis r3.Vec, t float64) {
				sum := p[2*n+c]
				for i := range guess {
					d := r3.Sub(r3.Vec{X: p[2*i] + speed*t, Z: -guess[i].Height}, channels[c].At)
					r := math.Sqrt(r3.Norm2(d))
					sum += gravlab.G * p[2*i+1] * r3.Dot(d, axis) / (r * r * r)
				}
				dst[row] = sum
			})
		},
		Jacobian: func(p, _ []float64, dst *mat.Dense) {
			dst.Zero()
			each(func(row, c int, axis r3.Vec, t float64) {
				for i := range guess {
					d := r3.Sub(r3.Vec{X: p[2*i] + speed*t, Z: -guess[i].Height}, channels[c].At)
					r := math.Sqrt(r3.Norm2(d))
					pull := gravlab.G / (r * r * r)
					along := r3.Dot(d, axis)
					dst.Set(row, 2*i, p[2*i+1]*pull*(axis.X-3*along*d.X/(r*r)))
					dst.Set(row, 2*i+1, pull*along)
				}
				dst.Set(row, 2*n+c, 1)
			})
		},
	}.Fit()
	if result == nil {
		return nil, err
	}
	out := &LoadFit{Fit: result, Offsets: result.P[2*n:]}
	variance := 0.0
	for i := range guess {
		out.Loads = append(out.Loads, Load{X: result.P[2*i], Mass: result.P[2*i+1], Height: guess[i].Height})
		out.UX, out.UMass = append(out.UX, result.U[2*i]), append(out.UMass, result.U[2*i+1])
		out.Total += result.P[2*i+1]
		for j := range guess {
			variance += result.Cov.At(2*i+1, 2*j+1)
		}
	}
	out.UTotal = math.Sqrt(variance)
	if math.IsNaN(out.UTotal) { // infinite variances and covariances of what is not determined
		out.UTotal = math.Inf(1)
	}
	return out, err
}

// BoussinesqTilt is the tilt (rad) of the ground at a distance (m) from a wheel load
// (N) on an elastic half-space with Young's modulus (Pa) and Poisson's ratio:
// load (1 - nu²)/(pi E r²). It gives the size only: ground is layered and
// softer near the surface. A horizontal sensor sees g times the tilt, which is
// usually a thousand times the pull of the load.
//
// Source: J. Boussinesq (1885), surface displacement load (1 - nu²)/(pi E r)
// (from memory).
func BoussinesqTilt(load, distance, young, poisson float64) (float64, error) {
	const fn = "buried.BoussinesqTilt"
	err := errors.Join(
		arg.Between(fn, "load", load, 0, 1e9, "load in N"),
		arg.Between(fn, "distance", distance, 0.1, 1e6, "distance in m"),
		arg.Between(fn, "young", young, 1e3, 1e13, "modulus in Pa"),
		arg.Between(fn, "poisson", poisson, 0, 0.5, "ratio"))
	if err != nil {
		return 0, err
	}
	return load * (1 - poisson*poisson) / (math.Pi * young * distance * distance), nil
}
