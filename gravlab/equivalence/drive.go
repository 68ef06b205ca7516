package equivalence

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/internal/arg"
)

// Orbit of the Earth round the Sun.
const (
	gmSun = 1.32712440041e20 // m³/s², IERS Conventions 2010
	au    = 149597870700.0   // m, IAU 2012
)

// EotvosRatio is η = 2(a₁−a₂)/(a₁+a₂) of two accelerations in free fall, m/s².
func EotvosRatio(a1, a2 float64) (float64, error) {
	const fn = "equivalence.EotvosRatio"
	if err := errors.Join(
		arg.Between(fn, "a1", a1, 1e-100, 1e100, "acceleration in m/s²"),
		arg.Between(fn, "a2", a2, 1e-100, 1e100, "acceleration in m/s²"),
	); err != nil {
		return 0, err
	}
	return 2 * (a1 - a2) / (a1 + a2), nil
}

// EarthDrive is the part of the Earth's attraction that is perpendicular to the
// plumb line, m/s², positive towards the north, at geodetic latitude lat (rad)
// and height h (m): what a torsion balance at rest on the turning ellipsoid
// would feel per unit of η. On the ellipsoid it is ω²N cos φ sin φ: 0.0170 at
// 45 degrees, largest at 45.048, zero at equator and poles. (A sphere with
// its centre's angle is 0.3 % low.)
//
// The attraction and the centrifugal acceleration add up to the plumb line, so
// across it they are equal and opposite.
func EarthDrive(e earth.Ellipsoid, lat, h float64) (float64, error) {
	plumb, err := e.NormalGravityVector(lat, h)
	if err != nil {
		return 0, err
	}
	n, err := e.PrimeVertical(lat)
	if err != nil {
		return 0, err
	}
	sin, cos := math.Sincos(lat)
	// Centrifugal acceleration points away from the axis: south and up.
	out := e.Omega * e.Omega * (n + h) * cos
	down := r3.Unit(plumb)
	// North, perpendicular to the plumb line.
	north := r3.Vec{X: down.Z, Z: -down.X}
	return r3.Dot(r3.Vec{X: out * sin, Z: out * cos}, north), nil
}

// SunDrive gives the amplitudes, at one cycle a solar day, of the east and
// north parts of the Sun's pull, m/s², at latitude lat (rad) for a declination
// (rad) and distance (m, 1.496e11) of the Sun: GM/d² cos δ, and the same times
// sin φ. A balance that compares two materials sees η times this. The pull is
// largest at sunrise and sunset (east), not at noon.
func SunDrive(distance, declination, lat float64) (east, north float64, err error) {
	const fn = "equivalence.SunDrive"
	if err := errors.Join(
		arg.Between(fn, "distance", distance, 1e9, 1e13, "distance in m"),
		arg.Between(fn, "declination", declination, -math.Pi/2, math.Pi/2, "declination in rad"),
		arg.Between(fn, "lat", lat, -math.Pi/2, math.Pi/2, "latitude in rad"),
	); err != nil {
		return 0, 0, err
	}
	east = gmSun / (distance * distance) * math.Cos(declination)
	return east, east * math.Abs(math.Sin(lat)), nil
}

// SunMean is [SunDrive]'s east part for the mean distance and the Sun on the
// equator, 5.93e-3 m/s².
func SunMean() float64 { return gmSun / (au * au) }

// OrbitDrive is the whole pull that drives a test in a drag-free circular orbit at a height
// (m) above a sphere of this radius (m), GM/r², m/s². In a low orbit it is 400 to 600 times
// what a torsion balance at 45 degrees has. Along an axis fixed in inertial space it comes
// once an orbit.
func OrbitDrive(gm, radius, height float64) (float64, error) {
	if err := validateOrbit("equivalence.OrbitDrive", gm, radius, height); err != nil {
		return 0, err
	}
	r := radius + height
	return gm / r / r, nil
}

// OrbitSpeed is the speed on that orbit, m/s.
func OrbitSpeed(gm, radius, height float64) (float64, error) {
	if err := validateOrbit("equivalence.OrbitSpeed", gm, radius, height); err != nil {
		return 0, err
	}
	return math.Sqrt(gm / (radius + height)), nil
}

// PendulumRatio is η from the periods t1 and t2 (s) of two pendulums of the
// same length with bobs of different matter: T = 2π√(L/a), so a goes as 1/T².
// Its uncertainty is about 2√(u₁²+u₂²)/T plus the relative uncertainty with
// which the lengths agree.
func PendulumRatio(t1, t2 float64) (float64, error) {
	const fn = "equivalence.PendulumRatio"
	if err := errors.Join(
		arg.Between(fn, "t1", t1, 1e-6, 1e6, "period in s"),
		arg.Between(fn, "t2", t2, 1e-6, 1e6, "period in s"),
	); err != nil {
		return 0, err
	}
	return 2 * (t2 - t1) * (t2 + t1) / (t1*t1 + t2*t2), nil
}
