package earth

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/internal/arg"
)

// An Ellipsoid is a level ellipsoid of revolution: it turns with the Earth,
// holds all its mass, and its surface is a surface of equal gravity potential.
// Four numbers fix its field. Use [GRS80] or [WGS84].
type Ellipsoid struct {
	Name       string
	A          float64 // semi-major axis, m
	Flattening float64 // (a-b)/a
	GM         float64 // with the atmosphere, m³/s²
	Omega      float64 // angular velocity, rad/s
}

// The two ellipsoids in use.
//
// GRS80 is defined by a, GM, J2 = 108263e-8 and the angular velocity; the
// flattening follows from J2 (H. Moritz, Geodetic Reference System 1980,
// J. Geodesy 74, 128–133, 2000). WGS84 is defined by its flattening (NIMA
// TR8350.2, 3rd ed., 2000). The surfaces differ by 0.1 mm at the poles, normal
// gravity by 1.4 µm/s² (0.14 mGal) because GM differs.
var (
	GRS80 = Ellipsoid{Name: "GRS80", A: 6378137, Flattening: flatteningOf(6378137, 3.986005e14, 108263e-8, 7.292115e-5), GM: 3.986005e14, Omega: 7.292115e-5}
	WGS84 = Ellipsoid{Name: "WGS84", A: 6378137, Flattening: 1 / 298.257223563, GM: 3.986004418e14, Omega: 7.292115e-5}
)

// flatteningOf solves e² = 3 J2 + (2/15) (omega² a³/GM) e³/q0(e') for the
// flattening (Moritz 2000, the formula for e²), by repeated substitution: each
// round gains more than two digits.
func flatteningOf(a, gm, j2, omega float64) float64 {
	e2 := 3 * j2
	for range 30 {
		e := math.Sqrt(e2)
		// Moritz's 2 q0 is twice ours.
		e2 = 3*j2 + 4.0/15*(omega*omega*a*a*a/gm)*e*e2/(2*q0(e/math.Sqrt(1-e2)))
	}
	return e2 / (1 + math.Sqrt(1-e2))
}

// q0 is ½[(1+3/x²) atan x − 3/x]. The closed form loses ten digits at the
// Earth's x = 0.08; the power series does not. It wants |x| < 0.3.
func q0(x float64) float64 {
	x2 := x * x
	sum, power := 0.0, x*x2
	for n := 1; n < 30; n++ {
		term := power * float64(2*n) / float64((2*n+1)*(2*n+3))
		if n%2 == 0 {
			term = -term
		}
		sum += term
		if math.Abs(term) < 1e-18*math.Abs(sum) {
			break
		}
		power *= x2
	}
	return sum
}

// q0prime is 3(1+1/x²)(1−atan(x)/x) − 1, by its series.
func q0prime(x float64) float64 {
	x2 := x * x
	sum, power := 0.0, x2
	for n := 1; n < 30; n++ {
		term := power * 6 / float64((2*n+1)*(2*n+3))
		if n%2 == 0 {
			term = -term
		}
		sum += term
		if math.Abs(term) < 1e-18*math.Abs(sum) {
			break
		}
		power *= x2
	}
	return sum
}

// Validate reports what cannot be used.
func (e Ellipsoid) Validate() error {
	const fn = "earth.Ellipsoid"
	return errors.Join(
		arg.Between(fn, "A", e.A, 1e5, 1e9, "semi-major axis in m"),
		arg.Between(fn, "Flattening", e.Flattening, 1e-6, 0.04, "flattening"),
		arg.Positive(fn, "GM", e.GM, "gravitational constant times mass in m³/s²"),
		arg.Between(fn, "Omega", e.Omega, 0, 1e-3, "angular velocity in rad/s"),
	)
}

// B is the semi-minor axis in m.
func (e Ellipsoid) B() float64 { return e.A * (1 - e.Flattening) }

// E2 is the first eccentricity squared.
func (e Ellipsoid) E2() float64 { return e.Flattening * (2 - e.Flattening) }

// m is omega² a² b/GM.
func (e Ellipsoid) m() float64 { return e.Omega * e.Omega * e.A * e.A * e.B() / e.GM }

// secondEccentricity is e' = E/b.
func (e Ellipsoid) secondEccentricity() float64 { return math.Sqrt(e.E2()) / (1 - e.Flattening) }

// Equatorial and Polar are normal gravity at the equator and at the poles, on
// the ellipsoid, in m/s² (W. A. Heiskanen, H. Moritz, Physical Geodesy, 1967,
// eqs. 2-73 and 2-74).
func (e Ellipsoid) Equatorial() float64 {
	x := e.secondEccentricity()
	return e.GM / (e.A * e.B()) * (1 - e.m() - e.m()*x*q0prime(x)/(6*q0(x)))
}

// Polar is normal gravity at the poles; see [Ellipsoid.Equatorial].
func (e Ellipsoid) Polar() float64 {
	x := e.secondEccentricity()
	return e.GM / (e.A * e.A) * (1 + e.m()*x*q0prime(x)/(3*q0(x)))
}

// SurfacePotential is the normal gravity potential U0 on the ellipsoid, m²/s²
// (Heiskanen and Moritz eq. 2-61).
func (e Ellipsoid) SurfacePotential() float64 {
	linear := e.A * math.Sqrt(e.E2())
	return e.GM/linear*math.Atan(e.secondEccentricity()) + e.Omega*e.Omega*e.A*e.A/3
}

// J2 is the dynamical form factor (Heiskanen and Moritz eq. 2-90).
func (e Ellipsoid) J2() float64 {
	x := e.secondEccentricity()
	return e.E2() / 3 * (1 - 2.0/15*e.m()*x/q0(x))
}

// PrimeVertical is the radius of curvature N = a/√(1−e² sin²φ) across the
// meridian at geodetic latitude lat (rad), in m: the distance from the surface
// to the axis along the normal.
func (e Ellipsoid) PrimeVertical(lat float64) (float64, error) {
	if err := checkLatitude("earth.Ellipsoid.PrimeVertical", lat); err != nil {
		return 0, err
	}
	return e.primeVertical(lat), nil
}

func (e Ellipsoid) primeVertical(lat float64) float64 {
	s := math.Sin(lat)
	return e.A / math.Sqrt(1-e.E2()*s*s)
}

// Geocentric turns the geodetic latitude (rad) of a point at height h (m) above
// the ellipsoid into its geocentric latitude (rad): the angle at the centre.
// They differ by up to 11.55 minutes of arc; taking one for the other costs up
// to 17 mGal of normal gravity.
func (e Ellipsoid) Geocentric(lat, h float64) (float64, error) {
	const fn = "earth.Ellipsoid.Geocentric"
	if err := errors.Join(checkLatitude(fn, lat), checkHeight(fn, h)); err != nil {
		return 0, err
	}
	n := e.primeVertical(lat)
	sin, cos := math.Sincos(lat)
	return math.Atan2((n*(1-e.E2())+h)*sin, (n+h)*cos), nil
}

// Geodetic turns a geocentric latitude (rad) on the ellipsoid into the
// geodetic latitude (rad).
func (e Ellipsoid) Geodetic(geocentric float64) (float64, error) {
	if err := checkLatitude("earth.Ellipsoid.Geodetic", geocentric); err != nil {
		return 0, err
	}
	sin, cos := math.Sincos(geocentric)
	return math.Atan2(sin, cos*(1-e.E2())), nil
}

// position is the Cartesian place of a point: x to longitude 0, z to the pole.
func (e Ellipsoid) position(lat, lon, h float64) r3.Vec {
	n := e.primeVertical(lat)
	sinLat, cosLat := math.Sincos(lat)
	sinLon, cosLon := math.Sincos(lon)
	return r3.Vec{X: (n + h) * cosLat * cosLon, Y: (n + h) * cosLat * sinLon, Z: (n*(1-e.E2()) + h) * sinLat}
}

// NormalGravity is the size of normal gravity, m/s², at geodetic latitude lat
// (rad) and height h (m) above the ellipsoid: the attraction of the ellipsoid
// and the centrifugal acceleration together, in closed form (Heiskanen and
// Moritz eqs. 2-66 and 6-10; at h = 0 it is Somigliana's formula).
//
// It holds from 10 km below the ellipsoid, where the field is continued as if
// no mass were there, to 1e9 m; other heights are refused.
func (e Ellipsoid) NormalGravity(lat, h float64) (float64, error) {
	v, err := e.NormalGravityVector(lat, h)
	return r3.Norm(v), err
}

// NormalGravityVector is normal gravity in local axes: X north, Y east (always
// zero), Z down along the ellipsoid's normal. Above the ellipsoid the vector
// leans a little, 8e-9 m/s² a metre at 45 degrees towards the equator.
func (e Ellipsoid) NormalGravityVector(lat, h float64) (r3.Vec, error) {
	const fn = "earth.Ellipsoid.NormalGravity"
	if err := errors.Join(e.Validate(), checkLatitude(fn, lat), checkHeight(fn, h)); err != nil {
		return r3.Vec{}, err
	}
	return e.normal(lat, h), nil
}

func (e Ellipsoid) normal(lat, h float64) r3.Vec {
	n := e.primeVertical(lat)
	sin, cos := math.Sincos(lat)
	p, z := (n+h)*cos, (n*(1-e.E2())+h)*sin

	// Ellipsoidal coordinates: u the semi-minor axis of the confocal ellipsoid
	// through the point, beta its reduced latitude.
	linear2 := e.A * e.A * e.E2() // E²
	linear := math.Sqrt(linear2)
	q := p*p + z*z - linear2
	u2 := q / 2 * (1 + math.Sqrt(1+4*linear2*z*z/(q*q)))
	u := math.Sqrt(u2)
	v2 := u2 + linear2
	v := math.Sqrt(v2)
	sinB, cosB := z/u, p/v
	if r := math.Hypot(sinB, cosB); r > 0 {
		sinB, cosB = sinB/r, cosB/r
	}
	w := math.Sqrt((u2 + linear2*sinB*sinB) / v2)

	qBase := q0(e.secondEccentricity())
	qu, quPrime := q0(linear/u), q0prime(linear/u)
	omega2 := e.Omega * e.Omega
	gu := (-(e.GM/v2 + omega2*e.A*e.A*linear/v2*quPrime/qBase*(0.5*sinB*sinB-1.0/6)) + omega2*u*cosB*cosB) / w
	gb := (omega2*e.A*e.A/v*qu/qBase - omega2*v) * sinB * cosB / w

	// Unit vectors of u and beta in the meridian plane, then north and down.
	up, uz := u*cosB/(w*v), sinB/w
	bp, bz := -sinB/w, u*cosB/(w*v)
	gp, gz := gu*up+gb*bp, gu*uz+gb*bz
	return r3.Vec{X: -gp*sin + gz*cos, Z: -gp*cos - gz*sin}
}

// VerticalGradient is the change of normal gravity with height, 1/s², at
// geodetic latitude lat (rad) and height h (m): about −3.086e-6, negative
// because gravity falls. It is a five-point difference over 4 km of the closed
// form, good to 1e-11 of its value up to 1000 km and to 2e-10 above.
func (e Ellipsoid) VerticalGradient(lat, h float64) (float64, error) {
	const fn = "earth.Ellipsoid.VerticalGradient"
	if err := errors.Join(e.Validate(), checkLatitude(fn, lat), checkHeight(fn, h)); err != nil {
		return 0, err
	}
	const step = 1000.0
	g := func(k float64) float64 { return r3.Norm(e.normal(lat, h+k*step)) }
	return (8*(g(1)-g(-1)) - (g(2) - g(-2))) / (12 * step), nil
}

// NorthwardGradient is the change of normal gravity on the ellipsoid a metre
// towards the north, 1/s²: 8.12e-9 at 45 degrees (0.812 mGal/km). It is the
// derivative of Somigliana's formula divided by the meridian's radius of
// curvature.
func (e Ellipsoid) NorthwardGradient(lat float64) (float64, error) {
	if err := errors.Join(e.Validate(), checkLatitude("earth.Ellipsoid.NorthwardGradient", lat)); err != nil {
		return 0, err
	}
	sin, cos := math.Sincos(lat)
	ge, e2 := e.Equatorial(), e.E2()
	k := e.B()*e.Polar()/(e.A*ge) - 1
	w2 := 1 - e2*sin*sin
	w := math.Sqrt(w2)
	derivative := ge * sin * cos * (2*k/w + e2*(1+k*sin*sin)/(w*w2))
	return derivative * w * w2 / (e.A * (1 - e2)), nil
}

// FreeAirEffect is what height does to normal gravity: γ(φ,h) − γ(φ,0) in
// m/s², negative above the ellipsoid, by the closed form. The free-air
// correction is minus this.
func (e Ellipsoid) FreeAirEffect(lat, h float64) (float64, error) {
	above, err := e.NormalGravity(lat, h)
	if err != nil {
		return 0, err
	}
	return above - r3.Norm(e.normal(lat, 0)), nil
}

// FreeAirSeries is the free-air effect by the usual power series
//
//	γ [ −(2/a)(1 + f + m − 2 f sin²φ) h + 3 h²/a² ]
//
// to first or second order in h (Heiskanen and Moritz eq. 2-123; NIMA TR8350.2
// eq. 4-3). Second order departs from the closed form by 0.03 mGal or less at
// 3 km; first order by 0.65 mGal there. Any order but 1 and 2 is refused, and
// so are heights beyond 20 km either way.
func (e Ellipsoid) FreeAirSeries(lat, h float64, order int) (float64, error) {
	const fn = "earth.Ellipsoid.FreeAirSeries"
	if err := errors.Join(e.Validate(), checkLatitude(fn, lat), arg.Between(fn, "h", h, -2e4, 2e4, "height in m")); err != nil {
		return 0, err
	}
	if order != 1 && order != 2 {
		return 0, arg.Bad(fn, "order", order, "1 or 2")
	}
	sin := math.Sin(lat)
	series := -2 / e.A * (1 + e.Flattening + e.m() - 2*e.Flattening*sin*sin) * h
	if order == 2 {
		series += 3 * h * h / (e.A * e.A)
	}
	return r3.Norm(e.normal(lat, 0)) * series, nil
}

func checkLatitude(fn string, lat float64) error {
	return arg.Between(fn, "lat", lat, -math.Pi/2, math.Pi/2, "latitude in rad (degrees are too large by 57.3)")
}

func checkHeight(fn string, h float64) error {
	return arg.Between(fn, "h", h, -1e4, 1e9, "height in m above the ellipsoid")
}
