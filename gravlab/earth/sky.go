package earth

import (
	"errors"
	"math"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/internal/arg"
)

// A Direction is where a body stands in the sky of a site.
type Direction struct {
	Altitude float64 // above the horizon, square to the ellipsoid's normal, rad; refraction left out
	Azimuth  float64 // from north through east, 0 to 2π, rad
	Distance float64 // from the site, m
}

// Directions are where the Moon and the Sun stand in the site's sky at a moment from
// 1972 to 2100. They are good to some hundredths of a degree (see [Site.Tide] for the
// ephemeris).
func (s Site) Directions(at time.Time) (moon, sun Direction, err error) {
	if err := errors.Join(s.Validate(), checkTime("earth.Site.Directions", "at", at)); err != nil {
		return Direction{}, Direction{}, err
	}
	here, up := s.frame()
	bodies := skyAt(daysSinceJ2000(at))
	direction := func(body r3.Vec) Direction {
		local := s.local(up, r3.Sub(body, here))
		d := Direction{Altitude: math.Atan2(-local.Z, math.Hypot(local.X, local.Y)), Azimuth: math.Atan2(local.Y, local.X), Distance: r3.Norm(local)}
		if d.Azimuth < 0 {
			d.Azimuth += 2 * math.Pi
		}
		return d
	}
	return direction(bodies.moon), direction(bodies.sun), nil
}

// TideVector is the tide of Moon and Sun together on a rigid Earth with all its
// components, m/s²: X north, Y east, Z down, so Z is minus [Tide.Upward]. The
// horizontal part tilts a plumb line by the angle that it has over g, up to about
// 0.08 µrad. (A real Earth gives way and tilts with it: a tiltmeter shows
// 1 + k − h, about 0.69, of that.)
func (s Site) TideVector(at time.Time) (r3.Vec, error) {
	if err := errors.Join(s.Validate(), checkTime("earth.Site.TideVector", "at", at)); err != nil {
		return r3.Vec{}, err
	}
	here, up := s.frame()
	bodies := skyAt(daysSinceJ2000(at))
	return s.local(up, r3.Add(tidalAcceleration(here, bodies.moon, gmMoon), tidalAcceleration(here, bodies.sun, gmSun))), nil
}

// local turns a vector of the Earth's frame into north, east and down.
func (s Site) local(up, v r3.Vec) r3.Vec {
	sinLon, cosLon := math.Sincos(s.Lon)
	east := r3.Vec{X: -sinLon, Y: cosLon}
	north := r3.Cross(up, east)
	return r3.Vec{X: r3.Dot(v, north), Y: r3.Dot(v, east), Z: -r3.Dot(v, up)}
}

// FoucaultPrecession is how fast the plane of a long pendulum turns at a latitude (rad),
// rad/s: Ω sin lat, clockwise seen from above where it is positive, in the north. It
// holds for small swings of equal period in all directions; an ellipse of semi-axes a
// and b on a length L turns by 3ab/(8L²) of the swing's angular frequency besides.
func FoucaultPrecession(lat float64) (float64, error) {
	if err := arg.Between("earth.FoucaultPrecession", "lat", lat, -math.Pi/2, math.Pi/2, "latitude in rad"); err != nil {
		return 0, err
	}
	return WGS84.Omega * math.Sin(lat), nil
}
