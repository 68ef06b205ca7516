package buried

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
)

func seeded(n uint64) *rand.Rand { return rand.New(rand.NewPCG(n, 77)) }

// Split by station, the result is that of one station after the other.
func TestManyStationsInParallel(t *testing.T) {
	rocks, err := Rubble{Min: xyz(-5, -5, 0.5), Max: xyz(5, 5, 4), Number: 2, Smallest: 0.05, Largest: 0.3, Contrast: 600}.Scatter(seeded(1))
	if err != nil {
		t.Fatal(err)
	}
	stations, _ := Line(101, 0.2)
	gz, err := GZAt(rocks, stations)
	if err != nil {
		t.Fatal(err)
	}
	tensors, err := GradientAt(rocks, stations)
	if err != nil {
		t.Fatal(err)
	}
	for i, at := range stations {
		var sum Sum
		for _, r := range rocks {
			sum = append(sum, r)
		}
		want, _ := sum.GZ(at)
		closeTo(t, "gz", gz[i], want, 1e-12)
		tensor, _ := sum.Gradient(at)
		closeTo(t, "T_zz", tensors[i].ZZ, tensor.ZZ, 1e-9)
	}
	// An error in the middle comes out, and it is the first one.
	stations[40] = xyz(math.NaN(), 0, 0)
	stations[60] = xyz(0, math.Inf(1), 0)
	if _, err := GZAt(rocks, stations); err == nil || !contains(err, "NaN") {
		t.Errorf("got %v, want the error of station 40", err)
	}
}

// No rock lies in a void, and without voids the number is a Poisson number.
func TestScatter(t *testing.T) {
	r := Rubble{Min: xyz(-10, -10, 0.5), Max: xyz(10, 10, 6), Number: 1, Smallest: 0.1, Largest: 0.4, Contrast: 600}
	drain := InfiniteCylinder{X: 0, Z: 3, Radius: 1, Contrast: -1900}
	box := Prism{Min: xyz(4, 4, 1), Max: xyz(6, 7, 3), Contrast: -1900}
	ball := Sphere{Centre: xyz(-5, 5, 3), Radius: 1.5, Contrast: -1900}
	tank := Cylinder{Centre: xyz(-5, -5, 3), Axis: xyz(0, 0, 1), Radius: 1, Length: 2, Contrast: -1900}
	rocks, err := r.Scatter(seeded(2), drain, box, ball, tank, LinedTunnel{X: 8, Z: 4, Inner: 0.5, Outer: 0.7, Lining: 2400, Host: 1900})
	if err != nil {
		t.Fatal(err)
	}
	for _, rock := range rocks {
		for _, surface := range rim(rock) {
			inside := math.Hypot(surface.X, surface.Z-3) < 1 ||
				surface.X > 4 && surface.X < 6 && surface.Y > 4 && surface.Y < 7 && surface.Z > 1 && surface.Z < 3 ||
				r3.Norm(r3.Sub(surface, ball.Centre)) < 1.5 ||
				math.Hypot(surface.X+5, surface.Y+5) < 1 && math.Abs(surface.Z-3) < 1
			if inside {
				t.Fatalf("rock %v reaches into a void", rock)
			}
		}
	}
	all, _ := r.Scatter(seeded(2))
	expected := 20 * 20 * 5.5
	if math.Abs(float64(len(all))-expected) > 5*math.Sqrt(expected) || len(rocks) >= len(all) {
		t.Errorf("%d rocks, %d beside the voids, want about %g and fewer", len(all), len(rocks), expected)
	}
	again, _ := r.Scatter(seeded(2))
	if again[len(again)-1] != all[len(all)-1] {
		t.Error("the same seed gives other rocks")
	}
}

// rim is some points of a rock's surface.
func rim(s Sphere) []r3.Vec {
	var out []r3.Vec
	for _, d := range []r3.Vec{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}, {Z: 1}, {Z: -1}, {}} {
		out = append(out, r3.Add(s.Centre, r3.Scale(s.Radius, d)))
	}
	return out
}

// The clutter's variance and correlation, against 300 fields of rocks.
func TestClutterAgainstRocks(t *testing.T) {
	r := Rubble{Min: xyz(-30, -30, 1), Max: xyz(30, 30, 8), Number: 0.02, Smallest: 0.1, Largest: 0.5, Contrast: 600}
	c, err := r.Clutter()
	if err != nil {
		t.Fatal(err)
	}
	stations := []r3.Vec{{}, {X: 2}}
	rng := seeded(3)
	const n = 400
	var sum, s00, s01 float64
	for range n {
		rocks, err := r.Scatter(rng)
		if err != nil {
			t.Fatal(err)
		}
		g, err := GZAt(rocks, stations)
		if err != nil {
			t.Fatal(err)
		}
		sum += g[0] + g[1]
		s00 += g[0]*g[0] + g[1]*g[1]
		s01 += g[0] * g[1]
	}
	mean := sum / (2 * n)
	variance := s00/(2*n) - mean*mean
	covariance := s01/n - mean*mean
	want, _ := c.RMS()
	wantCorrelation, _ := c.Correlation(2)
	// A variance from 400 fields is good to sqrt(2/400) = 7 %, more for the
	// tails of few near rocks; 3.5 such is 25 %. The box cuts about 3 % off.
	if math.Abs(variance/(want*want)-1) > 0.28 {
		t.Errorf("variance %g, want %g", variance, want*want)
	}
	if got := covariance / variance; math.Abs(got-wantCorrelation) > 0.12 {
		t.Errorf("correlation at 2 m %g, want %g", got, wantCorrelation)
	}
}

// Gauss on a map and on a profile: what a finite one catches, corrected; what a
// wrong base level costs.
func TestExcessMass(t *testing.T) {
	sphere := Sphere{Centre: xyz(1, -2, 12), Radius: 2.5, Contrast: -1900}
	x := make([]float64, 121)
	for i := range x {
		x[i] = -30 + 0.5*float64(i)
	}
	gz := make([][]float64, len(x))
	for i := range gz {
		gz[i] = make([]float64, len(x))
		for j := range gz[i] {
			gz[i][j], _ = sphere.GZ(xyz(x[i], x[j], 0))
		}
	}
	c, err := ExcessMass(x, x, gz, sphere.Centre)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "mass", c.Mass, sphere.Mass(), 2e-4) // the trapezoid's edges
	if c.Fraction > 0.75 || c.Fraction < 0.5 {
		t.Errorf("share %g", c.Fraction)
	}
	// The whole of space: shares of the map and of what lies outside add to 1.
	big, _ := MapFraction(-1e7, 1e7, -1e7, 1e7, sphere.Centre)
	closeTo(t, "share of a huge map", big, 1, 2e-6)
	// 10 µGal over 100 m by 100 m are 2400 t (notes of the field: 2.4e6 kg).
	wide, _ := ExcessMass([]float64{-50, 50}, []float64{-50, 50}, [][]float64{{0, 0}, {0, 0}}, xyz(0, 0, 1))
	closeTo(t, "mass of an offset", 10*gravlab.MicroGal*wide.PerOffset*wide.Fraction, 2.385e6, 1e-3)

	tunnel := InfiniteCylinder{X: 1, Z: 7.4, Radius: 1.15, Contrast: -2100}
	profile := make([]float64, len(x))
	for i := range x {
		profile[i], _ = tunnel.GZ(xyz(x[i], 0, 0))
	}
	p, err := MassPerLength(x, profile, XZ{1, 7.4})
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "mass per length", p.Mass, tunnel.MassPerLength(), 1e-4)
	// The map of a body by quadrature against the solid angle.
	integral, change, err := MapIntegral(sphere, -30, 30, -30, 30, 0)
	if err != nil {
		t.Fatal(err)
	}
	share, _ := MapFraction(-30, 30, -30, 30, sphere.Centre)
	closeTo(t, "map integral", integral, 2*math.Pi*gravlab.G*sphere.Mass()*share, 1e-9)
	if !(change <= 1e-9*math.Abs(integral)) {
		t.Errorf("the last change is %g of %g", change, integral)
	}
	for _, err := range []error{
		second(ExcessMass(x, x[:3], gz, sphere.Centre)),
		second(ExcessMass(x, x, gz, xyz(0, 0, -1))),
		second(MassPerLength([]float64{0, 0}, []float64{1, 1}, XZ{0, 1})),
		second(MassPerLength(nil, nil, XZ{0, 1})),
	} {
		if err == nil {
			t.Error("no error")
		}
	}
}

func second[T any](_ T, err error) error { return err }

func contains(err error, text string) bool {
	return err != nil && len(text) > 0 && strings.Contains(err.Error(), text)
}

// Rules of thumb, on profiles of the bodies themselves.
func TestReadingRules(t *testing.T) {
	for _, c := range []struct {
		shape Shape
		body  Body
		depth float64
		tol   float64
	}{
		{PointShape, Sphere{Centre: xyz(0, 0, 6), Radius: 2, Contrast: -1800}, 6, 1e-12},
		{LineShape, InfiniteCylinder{Z: 6, Radius: 2, Contrast: -1800}, 6, 1e-12},
		{ShaftShape, Rod{From: xyz(0, 0, 6), To: xyz(0, 0, 1e7), LineDensity: 9}, 6, 1e-5},
	} {
		w, err := HalfWidth(c.body, xyz(0, 0, 0), xyz(1, 0, 0))
		if err != nil {
			t.Fatal(err)
		}
		d, err := DepthFromHalfWidth(c.shape, w)
		if err != nil {
			t.Fatal(err)
		}
		closeTo(t, c.shape.String(), d, c.depth, c.tol)
	}
	// The sheet: a quarter and three quarters lie two depths apart.
	sheet := SemiInfiniteSheet{Z: 6, SurfaceDensity: 900}
	whole := 2 * math.Pi * gravlab.G * 900
	a, _ := sheet.GZ(xyz(-6, 0, 0))
	b, _ := sheet.GZ(xyz(6, 0, 0))
	closeTo(t, "a quarter", a, whole/4, 1e-12)
	closeTo(t, "three quarters", b, whole*3/4, 1e-12)
	d, _ := DepthFromHalfWidth(SheetShape, 12)
	closeTo(t, "depth of the sheet", d, 6, 1e-12)
	// The bound holds, and by how much: a wide body is shallower than it says.
	wide := Prism{Min: xyz(-20, -20, 5), Max: xyz(20, 20, 8), Contrast: 300}
	peak, _ := wide.GZ(xyz(0, 0, 0))
	steep := 0.0
	for x := 0.0; x < 60; x += 0.1 {
		tensor, _ := wide.Gradient(xyz(x, 0, 0))
		steep = max(steep, math.Abs(tensor.XZ))
	}
	bound, err := DepthBound(PointShape, peak, steep)
	if err != nil || bound < 5 {
		t.Errorf("bound %g (%v) on a depth of 5", bound, err)
	}
	if _, err := DepthBound(ShaftShape, 1, 1); err == nil {
		t.Error("a bound for a shaft")
	}
}

// A layer on the surface and a point below it; spheres in one another.
func TestWhatGravityCannotTell(t *testing.T) {
	l := EquivalentLayer{Mass: 1000, Depth: 4}
	for _, at := range []r3.Vec{{Z: -0.02}, {X: 3, Z: -0.7}, {X: 50, Z: -9}, {Z: -400}} {
		got, err := l.GZ(-at.Z, at.X)
		if err != nil {
			t.Fatal(err)
		}
		want, _ := Point{At: xyz(0, 0, 4), Mass: 1000}.GZ(at)
		closeTo(t, "layer", got, want, 1e-9)
	}
	spheres, err := NestedSpheres(xyz(0, 0, 9), -5e4, 1.9, 3, 6)
	if err != nil {
		t.Fatal(err)
	}
	first, _ := spheres[0].Gradient(xyz(1, 2, 0))
	for _, s := range spheres[1:] {
		other, _ := s.Gradient(xyz(1, 2, 0))
		closeTo(t, "T_zz of nested spheres", other.ZZ, first.ZZ, 1e-12)
	}
	if _, err := NestedSpheres(xyz(0, 0, 9), -5e4, 0.1); err == nil {
		t.Error("a contrast of 1e7 kg/m³ was taken")
	}
}

// Radii that nearly agree make the clutter of radii that do.
func TestClutterOfNearlyEqualRocks(t *testing.T) {
	r := Rubble{Min: r3.Vec{X: -9, Y: -9, Z: 1}, Max: r3.Vec{X: 9, Y: 9, Z: 5}, Number: 1, Smallest: 0.3, Contrast: 500}
	for _, k := range []float64{0, 1e-15, 1e-13, 1e-10, 1e-6} {
		r.Largest = r.Smallest * (1 + k)
		c, err := r.Clutter()
		if err != nil {
			t.Fatal(err)
		}
		// Root mean square of R³: R³ of the middle radius, but for k².
		want := Sphere{Radius: r.Smallest * (1 + k/2), Contrast: r.Contrast}.Mass()
		if math.Abs(c.Mass/want-1) > 1e-11 {
			t.Errorf("radii %g apart: mass %.15g, want %.15g", k, c.Mass, want)
		}
	}
}
