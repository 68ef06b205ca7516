package buried

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
)

func closeTo(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s = %.16g, want %.16g within %g of it", what, got, want, rel)
	}
}

// What the bodies return where it is delicate: on faces, edges and corners and
// at centres g and U are continuous, so that a station a hair's breadth beside
// must say the same.
func TestContinuousOnSurfaces(t *testing.T) {
	prism := Prism{Min: xyz(-1, -1, 0), Max: xyz(1, 1, 2), Contrast: 2000}
	cylinder := Cylinder{Centre: xyz(0, 0, 3), Axis: xyz(0, 0, 1), Radius: 1, Length: 2, Contrast: 2000}
	polygon := Polygon{Vertices: []XZ{{-1, 1}, {1, 1}, {1, 3}, {-1, 3}}, Contrast: 2000}
	sphere := Sphere{Centre: xyz(0, 0, 3), Radius: 1, Contrast: 2000}
	slab := Slab{Top: 1, Thickness: 2, Contrast: 2000}
	tunnel := InfiniteCylinder{Z: 3, Radius: 1, Contrast: 2000}
	step := SemiInfiniteSlab{Top: 1, Thickness: 2, Contrast: 2000}
	stations := []struct {
		body Body
		at   r3.Vec
		what string
	}{
		{prism, xyz(0.2, 0.3, 0), "on the top face"},
		{prism, xyz(1, 0.3, 0.7), "on a side face"},
		{prism, xyz(1, 0.3, 0), "on an edge"},
		{prism, xyz(1, 1, 0.6), "on an upright edge"},
		{prism, xyz(1, 1, 0), "on a corner"},
		{prism, xyz(1, 1, -3), "above a corner, on the line of an edge"},
		{prism, xyz(1, 5, 0), "beside a corner, on the line of an edge"},
		{prism, xyz(0, 0, 1), "at the centre"},
		{prism, xyz(-1, 0.5, 9), "below a face's plane"},
		{cylinder, xyz(0, 0, 2), "on the middle of an end"},
		{cylinder, xyz(1, 0, 3), "on the wall"},
		{cylinder, xyz(1, 0, 2), "on the rim"},
		{cylinder, xyz(1, 0, 0), "above the rim"},
		{cylinder, xyz(0, 0, 3), "at the centre"},
		{cylinder, xyz(0, 0, 0), "on the axis"},
		{polygon, xyz(0, 0, 1), "on an edge"},
		{polygon, xyz(1, 0, 1), "on a vertex"},
		{polygon, xyz(1, 0, -2), "on the line of an edge"},
		{sphere, xyz(0, 0, 2), "on the surface"},
		{sphere, xyz(0, 0, 3), "at the centre"},
		{slab, xyz(0, 0, 1), "on the face"},
		{tunnel, xyz(0, 0, 2), "on the wall"},
		{tunnel, xyz(0, 0, 3), "on the axis"},
		{step, xyz(0, 0, 1), "on the edge"},
		{step, xyz(3, 0, 1), "on the face"},
		{step, xyz(0, 0, 0), "above the edge"},
	}
	for _, s := range stations {
		here, err := s.body.GZ(s.at)
		if err != nil {
			t.Errorf("%T %s: %v", s.body, s.what, err)
			continue
		}
		scale := gravlab.G * 2000 * 6
		for _, e := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}, {X: -1}, {Y: -1}, {Z: -1}, {X: 1, Y: 2, Z: -3}} {
			there, err := s.body.GZ(r3.Add(s.at, r3.Scale(1e-9, e)))
			if err != nil {
				t.Fatal(err)
			}
			// g changes by at most T times the step, with a logarithm at edges.
			if math.Abs(there-here) > 1e-7*scale {
				t.Errorf("%T %s: gz %g there, %g a nanometre beside (%v)", s.body, s.what, here, there, e)
			}
		}
		if _, isStep := s.body.(SemiInfiniteSlab); isStep {
			continue
		}
		u, err := s.body.Potential(s.at)
		if err != nil {
			t.Errorf("%T %s: %v", s.body, s.what, err)
			continue
		}
		beside, _ := s.body.Potential(r3.Add(s.at, xyz(1e-9, -2e-9, 1e-9)))
		if math.Abs(u-beside) > 1e-7*scale {
			t.Errorf("%T %s: U %g there, %g beside", s.body, s.what, u, beside)
		}
	}
}

// At the centre of a symmetric body g is zero.
func TestZeroAtCentre(t *testing.T) {
	for _, b := range []Body{
		Sphere{Centre: xyz(1, 2, 3), Radius: 1, Contrast: 2000},
		Prism{Min: xyz(0, 1, 2), Max: xyz(2, 3, 4), Contrast: 2000},
		Cylinder{Centre: xyz(1, 2, 3), Axis: xyz(0, 1, 1), Radius: 1, Length: 2, Contrast: 2000},
		InfiniteCylinder{X: 1, Z: 3, Radius: 1, Contrast: 2000},
		Slab{Top: 2, Thickness: 2, Contrast: 2000},
	} {
		g, err := b.Gravity(xyz(1, 2, 3))
		if err != nil || r3.Norm(g) > 1e-15*gravlab.G*2000*10 {
			t.Errorf("%T: g at the centre %v, %v", b, g, err)
		}
	}
}

// Where something is undefined the error names the station.
func TestUndefinedStations(t *testing.T) {
	prism := Prism{Min: xyz(-1, -1, 0), Max: xyz(1, 1, 2), Contrast: 2000}
	cylinder := Cylinder{Centre: xyz(0, 0, 3), Axis: xyz(0, 0, 1), Radius: 1, Length: 2, Contrast: 2000}
	polygon := Polygon{Vertices: []XZ{{-1, 1}, {1, 1}, {1, 3}, {-1, 3}}, Contrast: 2000}
	gz := func(b Body, at r3.Vec) error { _, err := b.GZ(at); return err }
	gradient := func(b Body, at r3.Vec) error { _, err := b.Gradient(at); return err }
	potential := func(b Body, at r3.Vec) error { _, err := b.Potential(at); return err }
	rod := Rod{From: xyz(0, 0, 1), To: xyz(0, 0, 2), LineDensity: 5}
	for _, c := range []struct {
		f    func(Body, r3.Vec) error
		body Body
		at   r3.Vec
		word string
	}{
		{gz, Point{At: xyz(1, 2, 3), Mass: 5}, xyz(1, 2, 3), "the point itself"},
		{potential, Point{At: xyz(1, 2, 3), Mass: 5}, xyz(1, 2, 3), "the point itself"},
		{gz, rod, xyz(0, 0, 1.5), "off the rod"},
		{gz, rod, xyz(0, 0, 2), "off the rod"},
		{potential, rod, xyz(0, 0, 1), "off the rod"},
		{gz, Disc{Centre: xyz(0, 0, 2), Radius: 1, SurfaceDensity: 5}, xyz(0.5, 0, 2), "off the disc"},
		{gz, SemiInfiniteSheet{Z: 2, SurfaceDensity: 5}, xyz(3, 0, 2), "off the sheet"},
		{gradient, prism, xyz(0.2, 0.1, 0), "faces"},
		{gradient, prism, xyz(1, 0.1, 0), "edges"},
		{gradient, prism, xyz(1, 1, 2), "corners"},
		{gradient, cylinder, xyz(0, 1, 3), "surface"},
		{gradient, cylinder, xyz(0, 1, 2), "surface"},
		{gradient, polygon, xyz(0.5, 7, 1), "edges"},
		{gradient, polygon, xyz(1, 7, 1), "vertices"},
		{gradient, Sphere{Centre: xyz(0, 0, 3), Radius: 1, Contrast: 2000}, xyz(0, 0, 2), "surface"},
		{gradient, InfiniteCylinder{Z: 3, Radius: 1, Contrast: 2000}, xyz(0, 4, 2), "wall"},
		{gradient, LinedTunnel{Z: 3, Inner: 1, Outer: 2, Lining: 2400, Host: 2000}, xyz(0, 4, 2), "wall"},
		{gradient, Slab{Top: 1, Thickness: 2, Contrast: 2000}, xyz(0, 0, 3), "faces"},
		{gradient, SemiInfiniteSlab{Top: 1, Thickness: 2, Contrast: 2000}, xyz(4, 0, 3), "faces"},
		{gradient, SemiInfiniteSlab{Top: 1, Thickness: 2, Contrast: 2000}, xyz(0, 0, 2), "edges"},
	} {
		err := c.f(c.body, c.at)
		var bad *gravlab.ArgumentError
		if !errors.As(err, &bad) || !strings.Contains(err.Error(), c.word) {
			t.Errorf("%T at %v: %v, want an error with %q", c.body, c.at, err, c.word)
		}
	}
	// On the lines of edges but outside, everything is defined.
	for _, b := range []Body{prism, rod, cylinder, polygon} {
		if _, err := b.Gradient(xyz(1, 1, -3)); err != nil {
			t.Errorf("%T above a corner: %v", b, err)
		}
		if _, err := b.Gradient(xyz(0, 0, -3)); err != nil {
			t.Errorf("%T on its axis: %v", b, err)
		}
	}
}

func TestBadFields(t *testing.T) {
	for _, c := range []struct {
		err  error
		want string
	}{
		{Sphere{Radius: -1, Contrast: 100}.Validate(), "Radius is -1"},
		{Sphere{Radius: 1, Contrast: 2.67}.Validate(), "did you mean 2670?"},
		{Prism{Max: xyz(1, 1, 1), Contrast: -2.2}.Validate(), "kg/m³; did you mean -2200?"},
		{Prism{Max: xyz(1, 1, 0), Contrast: 200}.Validate(), "Max"},
		{LinedTunnel{Z: 5, Inner: 1, Outer: 2, Lining: 2.4, Host: 1950}.Validate(), "did you mean 2400?"},
		{LinedTunnel{Z: 5, Inner: 1, Outer: 1, Lining: 2400, Host: 1950}.Validate(), "Outer is 1"},
		{InfiniteCylinder{Radius: 0, Contrast: 100}.Validate(), "Radius is 0"},
		{Slab{Thickness: math.NaN(), Contrast: 100}.Validate(), "Thickness is NaN"},
		{Cylinder{Radius: 1, Length: 1, Contrast: 100}.Validate(), "Axis"},
		{Rod{LineDensity: 1}.Validate(), "To"},
		{Polygon{Vertices: []XZ{{0, 1}, {1, 1}}, Contrast: 100}.Validate(), "at least 3"},
		{Polygon{Vertices: []XZ{{0, 1}, {1, 2}, {1, 1}, {0, 2}}, Contrast: 100}.Validate(), "do not cross"},
		{Polygon{Vertices: []XZ{{0, 1}, {1, 1}, {2, 1}}, Contrast: 100}.Validate(), "area"},
		{Sum{}.Validate(), "at least 1"},
		{Sum{nil}.Validate(), "not nil"},
		{Rotated{}.Validate(), "not nil"},
		{Rocks{{Radius: 1, Contrast: 2.6}}.Validate(), "rock 0"},
	} {
		if c.err == nil || !strings.Contains(c.err.Error(), c.want) {
			t.Errorf("got %v, want an error with %q", c.err, c.want)
		}
	}
	// The methods refuse what Validate refuses.
	if _, err := (Sphere{Radius: 1, Contrast: 2.67}).GZ(xyz(0, 0, -4)); err == nil {
		t.Error("GZ took a contrast of 2.67")
	}
	if _, err := (Prism{Max: xyz(1, 1, 1), Contrast: 2.67}).GZ(xyz(0, 0, -4)); err == nil {
		t.Error("GZ took a contrast of 2.67")
	}
	if _, err := GZAt(nil, nil); err == nil {
		t.Error("GZAt took a nil body")
	}
	if _, err := GZAt(Slab{Thickness: 1, Contrast: 100}, nil); err == nil {
		t.Error("GZAt took no stations")
	}
}

// cornerSum is the textbook's prism: eight corners, each with its own
// logarithms and arctangent. It is good near by and shows what is lost far off.
func cornerSum(p Prism, at r3.Vec) float64 {
	sum := 0.0
	for i, x := range []float64{p.Min.X - at.X, p.Max.X - at.X} {
		for j, y := range []float64{p.Min.Y - at.Y, p.Max.Y - at.Y} {
			for k, z := range []float64{p.Min.Z - at.Z, p.Max.Z - at.Z} {
				r := math.Sqrt(x*x + y*y + z*z)
				sign := float64(1 - 2*((i+j+k+1)%2))
				sum += sign * (z*math.Atan(x*y/(z*r)) - x*math.Log(y+r) - y*math.Log(x+r))
			}
		}
	}
	return gravlab.G * p.Contrast * sum
}

// gaussPrism is the volume integral by brute force: cells of 8³ Gauss points.
func gaussPrism(p Prism, at r3.Vec, cells int) (u float64, g r3.Vec) {
	for i := range cells {
		for j := range cells {
			for k := range cells {
				d := r3.Scale(1/float64(cells), r3.Sub(p.Max, p.Min))
				lo := r3.Add(p.Min, xyz(float64(i)*d.X, float64(j)*d.Y, float64(k)*d.Z))
				for a, x := range gauss8.at {
					for b, y := range gauss8.at {
						for c, z := range gauss8.at {
							v := r3.Sub(r3.Add(lo, xyz(x*d.X, y*d.Y, z*d.Z)), at)
							m := gauss8.weight[a] * gauss8.weight[b] * gauss8.weight[c] * d.X * d.Y * d.Z
							r := r3.Norm(v)
							u += m / r
							g = r3.Add(g, r3.Scale(m/(r*r*r), v))
						}
					}
				}
			}
		}
	}
	return gravlab.G * p.Contrast * u, r3.Scale(gravlab.G*p.Contrast, g)
}

// The merged corner terms agree with the textbook's sum near by and with brute
// force at all distances, for cubes, plates and needles.
func TestPrismByOtherRoutes(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	shapes := []r3.Vec{xyz(1, 1, 1), xyz(3, 2, 1), xyz(20, 20, 1), xyz(1, 1, 30), xyz(1, 1e-3, 1), xyz(1e-3, 1e-3, 1), xyz(1e-5, 1, 1)}
	for _, half := range shapes {
		p := Prism{Min: r3.Scale(-1, half), Max: half, Contrast: 2000}
		h := r3.Norm(half)
		for _, ratio := range []float64{2, 2.9, 3.1, 8, 20, 39, 41, 100, 1e3, 1e5} {
			for range 4 {
				at := r3.Scale(ratio*h, r3.Unit(xyz(rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64())))
				u, g := gaussPrism(p, at, 3)
				got, err := p.Gravity(at)
				if err != nil {
					t.Fatal(err)
				}
				// The stated errors: 3e-10 by multipole, 1e-11 by quadrature, 1e-16 d³/V by
				// corners.
				tol := 3e-10
				if ratio < 3 {
					tol = 1e-11 + 1e-15*math.Pow(ratio*h, 3)/(8*half.X*half.Y*half.Z)
				}
				if r3.Norm(r3.Sub(got, g)) > tol*r3.Norm(g) {
					t.Errorf("half sides %v at %g half-diagonals: g %v, brute force %v, off by %.1e", half, ratio, got, g, r3.Norm(r3.Sub(got, g))/r3.Norm(g))
				}
				gotU, _ := p.Potential(at)
				closeTo(t, "U", gotU, u, tol)
				gz, _ := p.GZ(at)
				if gz != got.Z {
					t.Errorf("GZ %g, Gravity.Z %g", gz, got.Z)
				}
			}
		}
		for range 50 {
			at := r3.Add(xyz(0, 0, -1.2*half.Z), xyz(h*rng.NormFloat64(), h*rng.NormFloat64(), -h*rng.Float64()))
			got, err := p.GZ(at)
			if err != nil {
				t.Fatal(err)
			}
			if p.method(at) == byCorners {
				if want := cornerSum(p, at); math.Abs(got-want) > 1e-13*gravlab.G*2000*h {
					t.Errorf("half sides %v at %v: %g, corner by corner %g", half, at, got, want)
				}
			}
		}
	}
}

// What the switch is for: at 1e5 sizes the corner sums are noise.
func TestPrismFarAwayIsNotNoise(t *testing.T) {
	p := Prism{Min: xyz(-1, -1, 0), Max: xyz(1, 1, 2), Contrast: 2000}
	at := xyz(1.2e5, 0.7e5, -1.1e5)
	got, err := p.GZ(at)
	if err != nil {
		t.Fatal(err)
	}
	want, _ := Point{At: xyz(0, 0, 1), Mass: p.Mass()}.GZ(at)
	closeTo(t, "gz", got, want, 1e-9)
	if naive := cornerSum(p, at); math.Abs(naive/want-1) < 0.1 {
		t.Errorf("the textbook's corner sum gives %g, which is good: the test shows nothing", naive)
	}
}

// A station inside the prism or below it: atan2 in place of atan would be off
// by multiples of pi G rho z there.
func TestPrismInside(t *testing.T) {
	p := Prism{Min: xyz(-1, -1, 0), Max: xyz(1, 1, 2), Contrast: 2000}
	for _, at := range []r3.Vec{{X: 0.3, Y: -0.2, Z: 0.5}, {X: -0.9, Y: 0.9, Z: 1.9}, {X: 0.1, Y: 0.1, Z: 1e-12}, {Z: 5}, {X: 3, Z: 1}} {
		got, err := p.GZ(at)
		if err != nil {
			t.Fatal(err)
		}
		// Cut at the station's level, the two halves pull from outside.
		want := 0.0
		if at.Z > 0 && at.Z < 2 {
			upper, lower := p, p
			upper.Max.Z, lower.Min.Z = at.Z, at.Z
			a, _ := upper.GZ(at)
			b, _ := lower.GZ(at)
			want = a + b
		} else {
			_, g := gaussPrism(p, at, 8)
			want = g.Z
		}
		if math.Abs(got-want) > 1e-11*gravlab.G*2000 {
			t.Errorf("at %v: %g, want %g", at, got, want)
		}
	}
	// A wide thin prism seen from its face is half a slab's jump on each side.
	wide := Prism{Min: xyz(-1e4, -1e4, 0), Max: xyz(1e4, 1e4, 1), Contrast: 2000}
	above, _ := wide.GZ(xyz(0, 0, -1e-6))
	closeTo(t, "gz over a wide plate", above, 2*math.Pi*gravlab.G*2000, 1e-4)
	// Over the face g_zz jumps by 4 pi G rho.
	out, _ := p.Gradient(xyz(0.2, 0.1, -1e-12))
	in, _ := p.Gradient(xyz(0.2, 0.1, 1e-12))
	closeTo(t, "jump of g_zz", out.ZZ-in.ZZ, 4*math.Pi*gravlab.G*2000, 1e-9)
}

// Polygon and Tunnel, Prism: a polygon of many corners is a circle, a long
// prism is a polygon, and its regimes join.
func TestPolygonByOtherRoutes(t *testing.T) {
	const n = 2000
	var ring []XZ
	radius := math.Sqrt(2 * math.Pi / (n * math.Sin(2*math.Pi/n))) // same area as the circle
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / n)
		ring = append(ring, XZ{1 + radius*c, 4 + radius*s})
	}
	poly := Polygon{Vertices: ring, Contrast: -2000}
	tunnel := InfiniteCylinder{X: 1, Z: 4, Radius: 1, Contrast: -2000}
	long := Prism{Min: xyz(-1, -1e6, 2), Max: xyz(3, 1e6, 5), Contrast: 300}
	box := Polygon{Vertices: []XZ{{-1, 2}, {3, 2}, {3, 5}, {-1, 5}}, Contrast: 300}
	backwards := Polygon{Vertices: []XZ{{-1, 5}, {3, 5}, {3, 2}, {-1, 2}}, Contrast: 300}
	for _, at := range []r3.Vec{{}, {X: 5, Z: 1}, {X: -30, Z: -4}, {X: 200, Z: 9}, {X: 5000, Z: -400}} {
		a, err := poly.Gravity(at)
		if err != nil {
			t.Fatal(err)
		}
		b, _ := tunnel.Gravity(at)
		if r3.Norm(r3.Sub(a, b)) > 1e-10*r3.Norm(b) {
			t.Errorf("at %v: polygon %v, circle %v", at, a, b)
		}
		u, _ := poly.Potential(at)
		v, _ := tunnel.Potential(at)
		if math.Abs(u-v) > 1e-9*(math.Abs(v)+2*gravlab.G*2000*math.Pi) {
			t.Errorf("at %v: potential %g, circle %g", at, u, v)
		}
		if math.Abs(at.X) < 300 {
			g, _ := long.GZ(at)
			w, _ := box.GZ(at)
			closeTo(t, "long prism against polygon", g, w, 1e-6)
			w2, _ := backwards.GZ(at)
			// Rounding is eps (d/size)² of g, whose size counts and not gz alone.
			full, _ := box.Gravity(at)
			if math.Abs(w2-w) > 1e-12*r3.Norm(full) {
				t.Errorf("polygon the other way round at %v: %g, want %g", at, w2, w)
			}
		}
	}
	// Across the two switches of method.
	size := math.Hypot(4, 3)
	for _, d := range []float64{50 * size, 1e5 * size} {
		for _, dir := range []r3.Vec{{X: 1, Z: -0.3}, {X: -0.5, Z: -1}} {
			u := r3.Scale(d, r3.Unit(dir))
			inner := r3.Add(xyz(1, 0, 3.5), r3.Scale(1-1e-12, u))
			outer := r3.Add(xyz(1, 0, 3.5), r3.Scale(1+1e-12, u))
			a, _ := box.Gradient(inner)
			b, _ := box.Gradient(outer)
			closeTo(t, "T_xz across a switch", a.XZ, b.XZ, 2e-10)
			g, _ := box.GZ(inner)
			h, _ := box.GZ(outer)
			closeTo(t, "gz across a switch", g, h, 2e-10)
		}
	}
}

// The cylinder: on its axis by the closed form, off it by the solenoid's field
// in complete elliptic integrals, near and far by brute force.
func TestCylinderByOtherRoutes(t *testing.T) {
	a, b := 3.5, 3.0
	c := Cylinder{Centre: xyz(0, 0, 5.5), Axis: xyz(0, 0, 1), Radius: a, Length: 2 * b, Contrast: -1900}
	for _, z := range []float64{-4, 0, 2.4, 2.5, 4, 5.5, 8.5, 12, 40} {
		got, err := c.GZ(xyz(0, 0, z))
		if err != nil {
			t.Fatal(err)
		}
		// 2 pi G rho (t-path less rim distances), Telford et al. (1990), 2.5.
		top, bottom := 2.5-z, 8.5-z
		want := 2 * math.Pi * gravlab.G * -1900 * (math.Abs(bottom) - math.Abs(top) + math.Hypot(a, top) - math.Hypot(a, bottom))
		if math.Abs(got-want) > 1e-12*gravlab.G*1900*a {
			t.Errorf("on the axis at %g: %g, want %g", z, got, want)
		}
	}
	// Derby and Olbert's solenoid: T = 4 G rho (field of unit magnetisation).
	rng := rand.New(rand.NewPCG(5, 5))
	for range 300 {
		s, z := 10*rng.Float64(), 10*rng.NormFloat64()
		if math.Abs(s-a) < 1e-3 || math.Abs(math.Abs(z)-b) < 1e-3 {
			continue
		}
		bs, bz := solenoid(a, b, s, z)
		got, err := c.Gradient(xyz(s, 0, 5.5+z))
		if err != nil {
			t.Fatal(err)
		}
		wantSZ := 4 * gravlab.G * -1900 * bs
		wantZZ := 4 * gravlab.G * -1900 * bz
		if s < a && math.Abs(z) < b {
			wantZZ -= 4 * math.Pi * gravlab.G * -1900
		}
		tol := 1e-11 * gravlab.G * 1900 * 4 * math.Pi
		if math.Abs(got.XZ-wantSZ) > tol || math.Abs(got.ZZ-wantZZ) > tol {
			t.Errorf("at s %g z %g: T_sz %g T_zz %g, solenoid %g %g", s, z, got.XZ, got.ZZ, wantSZ, wantZZ)
		}
	}
	// Across the switch to Legendre functions, for plates and needles.
	for _, ratio := range []float64{1e-4, 0.1, 1, 10, 1e3} {
		c := Cylinder{Axis: xyz(0, 0, 1), Radius: ratio, Length: 2, Contrast: 1000}
		h := math.Hypot(ratio, 1)
		for range 20 {
			dir := r3.Unit(xyz(rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()))
			in, err := c.Gravity(r3.Scale(3*h*(1-1e-13), dir))
			if err != nil {
				t.Fatal(err)
			}
			out, _ := c.Gravity(r3.Scale(3*h*(1+1e-13), dir))
			if r3.Norm(r3.Sub(in, out)) > 1e-11*r3.Norm(out) {
				t.Errorf("radius %g: g jumps by %g of itself", ratio, r3.Norm(r3.Sub(in, out))/r3.Norm(out))
			}
			tin, _ := c.Gradient(r3.Scale(3*h*(1-1e-13), dir))
			tout, _ := c.Gradient(r3.Scale(3*h*(1+1e-13), dir))
			if math.Abs(tin.ZZ-tout.ZZ) > 1e-10*math.Abs(tout.Trace()-tout.ZZ)+1e-10*math.Abs(tout.XX) {
				t.Errorf("radius %g: T_zz %g inside, %g outside the switch", ratio, tin.ZZ, tout.ZZ)
			}
		}
	}
	// A long one is a tunnel; a flat one a slab.
	long := Cylinder{Centre: xyz(0, 0, 7.4), Axis: xyz(0, 1, 0), Radius: 1.15, Length: 1e5, Contrast: -2100}
	g, _ := long.GZ(xyz(2.9, 0, 0))
	tunnel, _ := InfiniteCylinder{Z: 7.4, Radius: 1.15, Contrast: -2100}.GZ(xyz(2.9, 0, 0))
	closeTo(t, "long cylinder", g, tunnel, 1e-7)
	// A thin one is a disc.
	thin := Cylinder{Centre: xyz(0, 0, 4), Axis: xyz(0, 0, 1), Radius: 5, Length: 1e-6, Contrast: 1000}
	disc := Disc{Centre: xyz(0, 0, 4), Radius: 5, SurfaceDensity: 1e-3}
	for _, at := range []r3.Vec{{X: 3}, {X: 5}, {X: 12, Z: 3}, {X: 200}} {
		x, _ := thin.Gravity(at)
		y, _ := disc.Gravity(at)
		if r3.Norm(r3.Sub(x, y)) > 1e-10*r3.Norm(y) {
			t.Errorf("thin cylinder %v, disc %v", x, y)
		}
	}
}

// cel is Bulirsch's general complete elliptic integral. Source: R. Bulirsch,
// Numer. Math. 7 (1965) 78 (from memory); checked here against K and E.
func cel(kc, p, c, s float64) float64 {
	k, em, pp, ss, cc := math.Abs(kc), 1.0, p, s, c
	if p > 0 {
		pp = math.Sqrt(p)
		ss = s / pp
	} else {
		f := kc * kc
		q := 1 - f
		g := 1 - pp
		f -= pp
		q *= ss - c*pp
		pp = math.Sqrt(f / g)
		cc = (c - ss) / g
		ss = -q/(g*g*pp) + cc*pp
	}
	f := cc
	cc += ss / pp
	g := k / pp
	ss = 2 * (ss + f*g)
	pp += g
	g = em
	em += k
	kk := k
	for math.Abs(g-k) > g*1e-15 {
		k = 2 * math.Sqrt(kk)
		kk = k * em
		f = cc
		cc += ss / pp
		g = kk / pp
		ss = 2 * (ss + f*g)
		pp += g
		g = em
		em += k
	}
	return math.Pi / 2 * (ss + cc*em) / (em * (em + pp))
}

// solenoid is pi times the field of a solenoid of radius a and half length b
// per unit of surface current: Derby and Olbert (2010), equations 4 and 5.
func solenoid(a, b, s, z float64) (bs, bz float64) {
	part := func(zz float64) (float64, float64) {
		d := math.Hypot(zz, s+a)
		k := math.Sqrt((zz*zz + (a-s)*(a-s)) / (zz*zz + (a+s)*(a+s)))
		g := (a - s) / (a + s)
		return a / d * cel(k, 1, 1, -1), a / (a + s) * zz / d * cel(k, g*g, 1, g)
	}
	s1, z1 := part(z + b)
	s2, z2 := part(z - b)
	return s1 - s2, z1 - z2
}

func TestBulirschAgreesWithTheLibrary(t *testing.T) {
	for _, m := range []float64{0, 0.3, 0.99} {
		closeTo(t, "K", cel(math.Sqrt(1-m), 1, 1, 1), mathext.CompleteK(m), 1e-14)
		closeTo(t, "E", cel(math.Sqrt(1-m), 1, 1, 1-m), mathext.CompleteE(m), 1e-14)
	}
}

func TestGaussRulesAgreeWithTheLibrary(t *testing.T) {
	for _, r := range []gaussRule{gauss2, gauss4, gauss8, gauss16} {
		n := len(r.at)
		x, w := make([]float64, n), make([]float64, n)
		quad.Legendre{}.FixedLocations(x, w, 0, 1)
		slices.Sort(x) // gonum lists them from the right
		slices.Reverse(w)
		for i := range x {
			if math.Abs(x[i]-r.at[i]) > 2e-15 || math.Abs(w[i]-r.weight[i]) > 2e-15 {
				t.Errorf("%d points: point %d is %.17g, %.17g, gonum has %.17g, %.17g", n, i, r.at[i], r.weight[i], x[i], w[i])
			}
		}
	}
}

// The rod: a stack of points, and a very thin cylinder; beyond its end on its
// line; far off.
func TestRodByOtherRoutes(t *testing.T) {
	rod := Rod{From: xyz(-4, 2, 6), To: xyz(9, -3, 11), LineDensity: 130}
	d := r3.Sub(rod.To, rod.From)
	length := r3.Norm(d)
	thin := Cylinder{Centre: r3.Scale(0.5, r3.Add(rod.From, rod.To)), Axis: d, Radius: 1e-6, Length: length, Contrast: 1000}
	perRod := 130 / (math.Pi * 1e-12 * 1000)
	for _, at := range []r3.Vec{{X: 1, Y: 1, Z: -0.5}, r3.Add(rod.To, r3.Scale(0.3, d)), r3.Add(rod.From, r3.Scale(-2, d)), {X: 3, Y: 0, Z: 9}, {X: 900, Y: 100, Z: -400}} {
		g, err := rod.Gravity(at)
		if err != nil {
			t.Fatal(err)
		}
		c, err := thin.Gravity(at)
		if err != nil {
			t.Fatal(err)
		}
		c = r3.Scale(perRod, c)
		if r3.Norm(r3.Sub(g, c)) > 1e-9*r3.Norm(g) {
			t.Errorf("at %v: rod %v, thin cylinder %v", at, g, c)
		}
		u, _ := rod.Potential(at)
		v, _ := thin.Potential(at)
		closeTo(t, "potential of the rod", u, perRod*v, 1e-9)
		tr, _ := rod.Gradient(at)
		tc, _ := thin.Gradient(at)
		closeTo(t, "T_zz of the rod", tr.ZZ, perRod*tc.ZZ, 1e-8)
	}
}

// A contrast as small as that of soil that takes up a little water is no rock in
// g/cm³.
func TestSmallContrast(t *testing.T) {
	const soil = 8 // kg/m³: 0.8 % of water
	g, err := Slab{Thickness: 2, Contrast: soil}.GZ(xyz(0, 0, -1))
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "slab of moist soil", g, 2*math.Pi*gravlab.G*soil*2, 1e-12)
	for _, rock := range []float64{1.8, 2.67, -2.2, 3.3} {
		if err := (Sphere{Radius: 1, Contrast: rock}).Validate(); err == nil {
			t.Errorf("a contrast of %g, g/cm³ by its looks, went through", rock)
		}
	}
}
