package survey

import (
	"errors"
	"fmt"
	"math"

	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/internal/arg"
)

// A Frame turns latitude and longitude into metres north and east of an origin, and
// back: the places where the normals of an ellipsoid through the points meet its
// surface, seen on the plane that touches it at the origin.
//
// Distances on it are short by at most d²/2R² of themselves, d from the origin and R the
// radius of the Earth: 1.2e-6 at 10 km (1 cm), 3e-5 at 50 km. Beyond 200 km it refuses.
type Frame struct {
	Lat, Lon  float64 // of the origin, rad
	Ellipsoid earth.Ellipsoid
}

const frameReach = 200e3 // m

// surface is a place on the ellipsoid, x to longitude 0, z to the pole.
func (f Frame) surface(lat, lon float64) (x, y, z float64, err error) {
	n, err := f.Ellipsoid.PrimeVertical(lat)
	if err != nil {
		return 0, 0, 0, err
	}
	sin, cos := math.Sincos(lat)
	return n * cos * math.Cos(lon), n * cos * math.Sin(lon), n * (1 - f.Ellipsoid.E2()) * sin, nil
}

// Metres is how far a place at geodetic latitude and longitude (rad) lies north and east of
// the origin, m.
func (f Frame) Metres(lat, lon float64) (north, east float64, err error) {
	const fn = "survey.Frame.Metres"
	if err := f.check(fn, lat, lon); err != nil {
		return 0, 0, err
	}
	x0, y0, z0, err := f.surface(f.Lat, f.Lon)
	if err != nil {
		return 0, 0, err
	}
	x, y, z, err := f.surface(lat, lon)
	if err != nil {
		return 0, 0, err
	}
	x, y, z = x-x0, y-y0, z-z0
	sinLat, cosLat := math.Sincos(f.Lat)
	sinLon, cosLon := math.Sincos(f.Lon)
	north = -sinLat*cosLon*x - sinLat*sinLon*y + cosLat*z
	east = -sinLon*x + cosLon*y
	if d := math.Sqrt(x*x + y*y + z*z); d > frameReach {
		return 0, 0, arg.Bad(fn, "the place", fmt.Sprintf("%.0f km from the origin", d/1000), "within 200 km: is a digit of the latitude or longitude wrong?")
	}
	return north, east, nil
}

// Place is the geodetic latitude and longitude (rad) of a place north and east of the
// origin, m. It undoes [Frame.Metres] to 1 µm.
func (f Frame) Place(north, east float64) (lat, lon float64, err error) {
	const fn = "survey.Frame.Place"
	if !(math.Hypot(north, east) <= frameReach) {
		return 0, 0, arg.Bad(fn, "the place", fmt.Sprintf("north %g m, east %g m", north, east), "within 200 km of the origin")
	}
	lat, lon = f.Lat, f.Lon
	for range 20 {
		n, e, err := f.Metres(lat, lon)
		if err != nil {
			return 0, 0, err
		}
		if math.Hypot(north-n, east-e) < 1e-7 {
			break
		}
		across, err := f.Ellipsoid.PrimeVertical(lat)
		if err != nil {
			return 0, 0, err
		}
		sin, cos := math.Sincos(lat)
		along := across * (1 - f.Ellipsoid.E2()) / (1 - f.Ellipsoid.E2()*sin*sin) // the radius of curvature of the meridian
		// The axes of the frame, turned by the convergence of the meridians.
		c := (lon - f.Lon) * math.Sin(f.Lat)
		dn, de := north-n, east-e
		lat += (dn*math.Cos(c) - de*math.Sin(c)) / along
		lon += (dn*math.Sin(c) + de*math.Cos(c)) / (across * cos)
	}
	return lat, lon, nil
}

func (f Frame) check(fn string, lat, lon float64) error {
	return errors.Join(f.Ellipsoid.Validate(),
		arg.Between(fn, "Lat", f.Lat, -1.57, 1.57, "latitude of the origin in rad, off the poles"),
		arg.Between(fn, "lat", lat, -math.Pi/2, math.Pi/2, "latitude in rad"),
		arg.Between(fn, "lon", lon, -2*math.Pi, 2*math.Pi, "longitude in rad"))
}
