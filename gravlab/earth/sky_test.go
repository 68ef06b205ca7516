package earth_test

import (
	"math"
	"testing"
	"time"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/internal/ode"
)

const deg = math.Pi / 180

// At the pole the altitude is the declination, less the parallax. The worked examples
// are those of J. Meeus, Astronomical Algorithms (2nd ed. 1998): 25.b, the Sun on 13
// October 1992 at 0 h TD, declination -7.78507°, and 47.a, the Moon on 12 April 1992 at
// 0 h TD, declination 13.768368°, 368409.7 km (from memory). TD was 59.2 and 58.7 s
// ahead of UTC.
func TestDirectionsOfThePole(t *testing.T) {
	pole := earth.Site{Lat: math.Pi / 2}
	const polar = 6356752.3 // m, from the centre
	altitude := func(declination, distance float64) float64 {
		return math.Atan2(distance*math.Sin(declination)-polar, distance*math.Cos(declination))
	}
	_, sun, err := pole.Directions(time.Date(1992, 10, 12, 23, 59, 0, 800e6, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	if want := altitude(-7.78507*deg, 0.99766*149597870700); math.Abs(sun.Altitude-want) > 0.01*deg {
		t.Errorf("the Sun stands at %.4f°, want %.4f°", sun.Altitude/deg, want/deg)
	}
	moon, _, err := pole.Directions(time.Date(1992, 4, 11, 23, 59, 1, 300e6, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	if want := altitude(13.768368*deg, 368409.7e3); math.Abs(moon.Altitude-want) > 0.003*deg {
		t.Errorf("the Moon stands at %.4f°, want %.4f°", moon.Altitude/deg, want/deg)
	}
}

// At noon of midsummer the Sun stands in the south, at 90° less the latitude plus the
// obliquity; its distance is within the Earth's orbit, the Moon's within its own.
func TestDirectionsAtNoon(t *testing.T) {
	site := earth.Site{Lat: 54.6 * deg, Lon: -2.4 * deg}
	best := earth.Direction{}
	for minute := range 24 * 60 {
		moon, sun, err := site.Directions(time.Date(2026, 6, 21, 0, minute, 0, 0, time.UTC))
		if err != nil {
			t.Fatal(err)
		}
		if sun.Altitude > best.Altitude {
			best = sun
		}
		if moon.Distance < 350e6 || moon.Distance > 413e6 || sun.Distance < 1.470e11 || sun.Distance > 1.522e11 {
			t.Fatalf("Moon at %g m, Sun at %g m", moon.Distance, sun.Distance)
		}
	}
	if want := (90 - 54.6 + 23.436) * deg; math.Abs(best.Altitude-want) > 0.02*deg || math.Abs(best.Azimuth-math.Pi) > 0.5*deg {
		t.Errorf("the Sun at noon: %.3f° high in the direction %.2f°, want %.3f° and 180°", best.Altitude/deg, best.Azimuth/deg, want/deg)
	}
}

// The vertical part is the tide of Site.Tide, and the horizontal one points to the
// side of the bodies: to first order 3/2 GM R/d³ sin 2z each, with errors of R/d (2 %).
func TestTideVector(t *testing.T) {
	site := earth.Site{Lat: 0.3, Lon: 1.1}
	const radius = 6.378e6
	for hour := range 200 {
		at := time.Date(2026, 3, 1, hour, 0, 0, 0, time.UTC)
		v := gravlab.Must(site.TideVector(at))
		if up := gravlab.Must(site.Tide(at)).Upward(); math.Abs(v.Z+up) > 1e-20 {
			t.Fatalf("down is %g, Tide says %g upward", v.Z, up)
		}
		moon, sun, err := site.Directions(at)
		if err != nil {
			t.Fatal(err)
		}
		north, east := 0.0, 0.0
		for _, b := range []struct {
			gm float64
			d  earth.Direction
		}{{4.9028e12, moon}, {1.32712e20, sun}} {
			// From the site's direction to that from the centre: the parallax.
			centre := math.Sqrt(b.d.Distance*b.d.Distance + radius*radius + 2*b.d.Distance*radius*math.Sin(b.d.Altitude))
			z := math.Atan2(b.d.Distance*math.Cos(b.d.Altitude), b.d.Distance*math.Sin(b.d.Altitude)+radius)
			size := 1.5 * b.gm * radius / (centre * centre * centre) * math.Sin(2*z)
			north, east = north+size*math.Cos(b.d.Azimuth), east+size*math.Sin(b.d.Azimuth)
		}
		if off := math.Hypot(v.X-north, v.Y-east); off > 0.03*1.2e-6 {
			t.Errorf("%v: %.3g north and %.3g east, to first order %.3g and %.3g m/s²", at, v.X, v.Y, north, east)
		}
	}
}

// In a frame that turns with the Earth a long pendulum obeys Coriolis's force; its
// plane, from the second moments of its path, turns as FoucaultPrecession says. At the
// latitude of Paris, 48.85°, a turn takes 31.8 h (31 h 47 min in the accounts of 1851,
// from memory).
func TestFoucaultPrecession(t *testing.T) {
	lat := 48.85 * deg
	turn := gravlab.Must(earth.FoucaultPrecession(lat))
	if hours := 2 * math.Pi / turn / 3600; math.Abs(hours-31.78) > 0.02 {
		t.Errorf("a turn takes %.3f h", hours)
	}
	const omega = 0.383 // rad/s, 67 m
	f := func(_ float64, y, d []float64) {
		d[0], d[1] = y[2], y[3]
		d[2], d[3] = -omega*omega*y[0]+2*turn*y[3], -omega*omega*y[1]-2*turn*y[2] // x north, y west
	}
	// The direction of two swings, 300 swings apart: the plane turns during a swing
	// too, and alike in both.
	const swing, steps, apart = 2 * math.Pi / omega, 400, 300
	times := make([]float64, 2*steps)
	for i := range steps {
		times[i] = swing * float64(i) / steps
		times[steps+i] = times[i] + apart*swing
	}
	rows, err := ode.Solve(f, 0, []float64{3, 0, 0, 0}, times, ode.Tolerance{Rel: 1e-12, Abs: 1e-14})
	if err != nil {
		t.Fatal(err)
	}
	angle := func(rows [][]float64) float64 { // from north to west: clockwise is negative
		xx, xy, yy := 0.0, 0.0, 0.0
		for _, r := range rows {
			xx, xy, yy = xx+r[0]*r[0], xy+r[0]*r[1], yy+r[1]*r[1]
		}
		return math.Atan2(2*xy, xx-yy) / 2
	}
	got, want := angle(rows[steps:])-angle(rows[:steps]), -turn*apart*swing
	if math.Abs(got-want) > 1e-5*math.Abs(want) {
		t.Errorf("the plane turned by %.7f rad, want %.7f", got, want)
	}
	if south := gravlab.Must(earth.FoucaultPrecession(-lat)); south != -turn {
		t.Errorf("in the south %g, in the north %g", south, turn)
	}
	if _, err := earth.FoucaultPrecession(48.85); err == nil {
		t.Error("degrees have no error")
	}
}
