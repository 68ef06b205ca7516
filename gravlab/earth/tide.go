package earth

import (
	"errors"
	"math"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/internal/arg"
)

// A Site is a place on the Earth, on WGS84.
type Site struct {
	Lat, Lon float64 // geodetic latitude and longitude, rad, north and east positive
	Height   float64 // above the ellipsoid, m
}

// Validate reports what cannot be used.
func (s Site) Validate() error {
	const fn = "earth.Site"
	return errors.Join(
		arg.Between(fn, "Lat", s.Lat, -math.Pi/2, math.Pi/2, "latitude in rad"),
		arg.Between(fn, "Lon", s.Lon, -2*math.Pi, 2*math.Pi, "longitude in rad"),
		arg.Between(fn, "Height", s.Height, -1e4, 1e6, "height in m above the ellipsoid"),
	)
}

// A Tide is the vertical tidal acceleration on a rigid Earth, m/s², upward
// positive along the ellipsoid's normal, the permanent part included. An
// upward pull makes a gravity reading smaller.
type Tide struct{ Moon, Sun float64 }

// Upward is both bodies together, m/s², upward.
func (t Tide) Upward() float64 { return t.Moon + t.Sun }

// Tide is the tide of a rigid Earth at a moment (any time zone; it is turned
// into UTC): GM (d/|d|³ − r/|r|³) for each body, d from the site to the body
// and r from the Earth's centre, along the normal.
//
// It holds from 1972, when UTC took its present form, to 2100, and other years
// are refused. Against another library's ephemeris it was found good to
// 0.3 nm/s² (see the tests); UT1 is taken as UTC, which can cost 0.15 nm/s²,
// and leap seconds after 2017 are unknown to it, 0.005 nm/s² each.
func (s Site) Tide(at time.Time) (Tide, error) {
	if err := errors.Join(s.Validate(), checkTime("earth.Site.Tide", "at", at)); err != nil {
		return Tide{}, err
	}
	tt, ut1 := daysSinceJ2000(at)
	moonSun := s.tides([]float64{tt, ut1})
	return Tide{moonSun[0], moonSun[1]}, nil
}

// TideSeries is the tide of both bodies, upward, m/s², at n moments from start,
// step apart. See [Site.Tide].
func (s Site) TideSeries(start time.Time, step time.Duration, n int) ([]float64, error) {
	const fn = "earth.Site.TideSeries"
	switch {
	case n < 1 || n > 1e8:
		return nil, arg.Bad(fn, "n", n, "from 1 to 100,000,000 moments")
	case step <= 0 || step > 200*365*24*time.Hour/time.Duration(n):
		return nil, arg.Bad(fn, "step", step, "above zero, and a series that ends before 2100")
	}
	if err := errors.Join(s.Validate(), checkTime(fn, "start", start), checkTime(fn, "the end", start.Add(time.Duration(n-1)*step))); err != nil {
		return nil, err
	}
	series := make([]float64, 0, n)
	for len(series) < n {
		var days []float64
		for i := range min(n-len(series), 10_000) {
			tt, ut1 := daysSinceJ2000(start.Add(time.Duration(len(series)+i) * step))
			days = append(days, tt, ut1)
		}
		moonSun := s.tides(days)
		for i := 0; i < len(moonSun); i += 2 {
			series = append(series, Tide{moonSun[i], moonSun[i+1]}.Upward())
		}
	}
	return series, nil
}

func checkTime(fn, name string, at time.Time) error {
	if y := at.UTC().Year(); y < 1972 || y > 2100 {
		return arg.Bad(fn, name, at.Format(time.RFC3339), "a time from 1972 to 2100")
	}
	return nil
}

// frame is the site's place and the unit vector up along the normal.
func (s Site) frame() (here, up r3.Vec) {
	sinLat, cosLat := math.Sincos(s.Lat)
	sinLon, cosLon := math.Sincos(s.Lon)
	return WGS84.position(s.Lat, s.Lon, s.Height), r3.Vec{X: cosLat * cosLon, Y: cosLat * sinLon, Z: sinLat}
}

// tidesOf returns the tide of the Moon and of the Sun, in turn, at a place with the vector up, at
// days of Terrestrial Time and of UT1 from J2000, in turn.
func tidesOf(in ...[]float64) ([][]float64, string) {
	here, up := r3.Vec{X: in[0][0], Y: in[0][1], Z: in[0][2]}, r3.Vec{X: in[0][3], Y: in[0][4], Z: in[0][5]}
	var moonSun []float64
	for i := 0; i+1 < len(in[1]); i += 2 {
		bodies := skyAt(in[1][i], in[1][i+1])
		moonSun = append(moonSun, r3.Dot(up, tidalAcceleration(here, bodies.moon, gmMoon)), r3.Dot(up, tidalAcceleration(here, bodies.sun, gmSun)))
	}
	return [][]float64{moonSun}, ""
}

// tides asks for those of a site.
func (s Site) tides(days []float64) []float64 {
	here, up := s.frame()
	out, _ := tidesRoutine([]float64{here.X, here.Y, here.Z, up.X, up.Y, up.Z}, days)
	return out[0]
}

func tidalAcceleration(here, body r3.Vec, gm float64) r3.Vec {
	d := r3.Sub(body, here)
	dist, far := r3.Norm(d), r3.Norm(body)
	return r3.Sub(r3.Scale(gm/(dist*dist*dist), d), r3.Scale(gm/(far*far*far), body))
}

// BodyTide is the vertical tide that a body at a zenith angle raises at the
// surface of a rigid sphere: the exact difference of the pull at the station
// and the pull at the centre, m/s², upward positive. gm is in m³/s², distance
// from the centre and radius of the sphere in m, zenith (the angle at the
// centre between station and body) in rad. With the body overhead it tends to
// 2 gm radius/distance³.
func BodyTide(gm, distance, radius, zenith float64) (float64, error) {
	const fn = "earth.BodyTide"
	if err := errors.Join(
		arg.Positive(fn, "gm", gm, "GM in m³/s²"),
		arg.Positive(fn, "radius", radius, "radius in m"),
		arg.Between(fn, "distance", distance, radius*(1+1e-9), 1e18, "distance in m, above the radius"),
		arg.Between(fn, "zenith", zenith, -math.Pi, math.Pi, "angle in rad"),
	); err != nil {
		return 0, err
	}
	cos := math.Cos(zenith)
	// With s = radius/distance, (cos − s)/D³ − cos where D² = 1 − 2 s cos + s².
	// Written with expm1 so that a far body loses no digits.
	s := radius / distance
	lost := math.Expm1(-1.5 * math.Log1p(s*(s-2*cos)))
	return gm / (distance * distance) * (cos*lost - s*(1+lost)), nil
}

// A PermanentTide says what is done with the part of the tide that never
// changes (about +305 nm/s² of upward pull at the equator, −608 at the poles).
type PermanentTide int

const (
	// ZeroTide takes out the permanent pull itself, unenlarged, and leaves the
	// permanent yielding of the Earth in: the practice recommended by the
	// International Association of Geodesy in 1983 (from memory), and the zero
	// value here.
	ZeroTide PermanentTide = iota
	// TideFree takes out the permanent pull times the gravimetric factor, as if
	// the Earth had never yielded.
	TideFree
	// MeanTide leaves the permanent part in the reading.
	MeanTide
)

func (p PermanentTide) String() string {
	switch p {
	case ZeroTide:
		return "zero-tide"
	case TideFree:
		return "tide-free"
	case MeanTide:
		return "mean-tide"
	}
	return "unknown tide system"
}

// GravimetricFactor is how much an elastic Earth enlarges the tide in g:
// 1 + h − 3k/2 with h = 0.61 and k = 0.30, the usual 1.16 (P. Melchior, The
// Tides of the Planet Earth, 1983). Oceans change it by some per cent near a
// coast.
const GravimetricFactor = 1.16

// PermanentUpward is the permanent part of the tide of a rigid Earth, m/s²,
// upward positive:
//
//	2 (GM/R²)(r/R) A0 H0 √5 P2(sin ψ),  A0 H0 = 4.4228e-8 × −0.31460
//
// with geocentric latitude ψ and distance r (IERS Conventions 2010, section
// 6.2.2 and 7.1.3; from memory, held against an 18.6-year mean in the tests).
func (s Site) PermanentUpward() (float64, error) {
	if err := s.Validate(); err != nil {
		return 0, err
	}
	return s.permanent(), nil
}

func (s Site) permanent() float64 {
	const radius, coefficient = 6378136.6, 4.4228e-8 * -0.31460 // m, 1
	here, up := s.frame()
	// Gradient of W = k (3 z² − r²)/2, along the normal.
	k := WGS84.GM / (radius * radius * radius) * coefficient * math.Sqrt(5)
	gradient := r3.Vec{X: -k * here.X, Y: -k * here.Y, Z: 2 * k * here.Z}
	return r3.Dot(gradient, up)
}

// TideCorrection is what to add to a gravity reading, m/s², to take the
// solid-Earth tide out of it: +factor × upward tide, the permanent part
// treated as asked. The usual factor is [GravimetricFactor].
//
// Not included: ocean loading (up to 100 nm/s² near a coast), polar motion,
// and the difference of the factor between constituents (1 %).
func (s Site) TideCorrection(at time.Time, factor float64, permanent PermanentTide) (float64, error) {
	const fn = "earth.Site.TideCorrection"
	tide, err := s.Tide(at)
	if err := errors.Join(err, arg.Between(fn, "factor", factor, 0, 2, "gravimetric factor")); err != nil {
		return 0, err
	}
	always := s.permanent()
	switch permanent {
	case ZeroTide:
		return factor*(tide.Upward()-always) + always, nil
	case TideFree:
		return factor * tide.Upward(), nil
	case MeanTide:
		return factor * (tide.Upward() - always), nil
	}
	return 0, arg.Bad(fn, "permanent", int(permanent), "ZeroTide, TideFree or MeanTide")
}
