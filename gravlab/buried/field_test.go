package buried

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
)

// solid is a body with what the harness needs to know of it.
type solid struct {
	name    string
	body    Body
	inside  func(r3.Vec) float64 // density contrast at a point, kg/m³
	mass    float64              // excess mass; NaN for bodies without end
	centre  r3.Vec
	size    float64
	endless bool // no finite horizontal pull and potential
}

func solids() []solid {
	none := func(r3.Vec) float64 { return 0 }
	tilted := Cylinder{Centre: xyz(1, -2, 6), Axis: xyz(0.3, -0.7, 1.1), Radius: 1.4, Length: 3.1, Contrast: -1700}
	shaft := Cylinder{Centre: xyz(0, 0, 5.5), Axis: xyz(0, 0, 2), Radius: 3.5, Length: 6, Contrast: -1900}
	prism := Prism{Min: xyz(-3, -2, 1.5), Max: xyz(4.5, 2.5, 5), Contrast: -1900}
	poly := Polygon{Vertices: []XZ{{10, 4}, {14, 4}, {14, 9}, {12, 6}, {10, 9}}, Contrast: 450}
	rod := Rod{From: xyz(-4, 2, 6), To: xyz(9, -3, 11), LineDensity: 130}
	in := func(ok bool, c float64) float64 {
		if ok {
			return c
		}
		return 0
	}
	sphere := Sphere{Centre: xyz(0, 0, 6.1), Radius: 2.3, Contrast: -1850}
	tunnel := InfiniteCylinder{X: 1, Z: 7.4, Radius: 1.15, Contrast: -2100}
	lined := LinedTunnel{X: 0.5, Z: 8, Inner: 1, Outer: 1.25, Lining: 2400, Host: 1950, Fill: 1000}
	step := SemiInfiniteSlab{X: 2, Top: 3, Thickness: 5, Contrast: 350}
	inCylinder := func(c Cylinder) func(r3.Vec) float64 {
		return func(p r3.Vec) float64 {
			f := frameOf(c.Centre, c.Axis, p)
			return in(f.s < c.Radius && math.Abs(f.z) < c.Length/2, c.Contrast)
		}
	}
	inPrism := func(p r3.Vec) float64 {
		return in(p.X > -3 && p.X < 4.5 && p.Y > -2 && p.Y < 2.5 && p.Z > 1.5 && p.Z < 5, -1900)
	}
	turned := Rotated{Body: prism, Heading: 0.7}
	list := []solid{
		{"point", Point{At: xyz(1, 2, 6), Mass: 4e4}, none, 4e4, xyz(1, 2, 6), 0.5, false},
		{"sphere", sphere, func(p r3.Vec) float64 { return in(r3.Norm(r3.Sub(p, sphere.Centre)) < 2.3, -1850) }, sphere.Mass(), sphere.Centre, 2.3, false},
		{"tunnel", tunnel, func(p r3.Vec) float64 { return in(math.Hypot(p.X-1, p.Z-7.4) < 1.15, -2100) }, math.NaN(), xyz(1, 0, 7.4), 1.2, false},
		{"lined tunnel", lined, func(p r3.Vec) float64 {
			r := math.Hypot(p.X-0.5, p.Z-8)
			return in(r < 1, 1000-1950) + in(r >= 1 && r < 1.25, 2400-1950)
		}, math.NaN(), xyz(0.5, 0, 8), 1.3, false},
		{"tilted cylinder", tilted, inCylinder(tilted), tilted.Mass(), tilted.Centre, 2.1, false},
		{"shaft", shaft, inCylinder(shaft), shaft.Mass(), shaft.Centre, 4.6, false},
		{"disc", Disc{Centre: xyz(0, 1, 4), Radius: 5, SurfaceDensity: 1300}, none, math.Pi * 25 * 1300, xyz(0, 1, 4), 5, false},
		{"slab", Slab{Top: 3, Thickness: 5, Contrast: 350}, func(p r3.Vec) float64 { return in(p.Z > 3 && p.Z < 8, 350) }, math.NaN(), xyz(0, 0, 5.5), 5, false},
		{"step", step, func(p r3.Vec) float64 { return in(p.X > 2 && p.Z > 3 && p.Z < 8, 350) }, math.NaN(), xyz(2, 0, 5.5), 5, true},
		{"half sheet", SemiInfiniteSheet{X: 1, Z: 4, SurfaceDensity: 900}, none, math.NaN(), xyz(1, 0, 4), 3, true},
		{"rod", rod, none, rod.Mass(), xyz(2.5, -0.5, 8.5), 7, false},
		{"prism", prism, inPrism, prism.Mass(), xyz(0.75, 0.25, 3.25), 4.7, false},
		{"polygon", poly, func(p r3.Vec) float64 {
			depth := 6 + 1.5*math.Abs(p.X-12) // lower edge: 6 in the middle, 9 at the sides
			return in(p.X > 10 && p.X < 14 && p.Z > 4 && p.Z < depth, 450)
		}, math.NaN(), xyz(12, 0, 6.5), 3.2, false},
		{"turned prism", turned, func(p r3.Vec) float64 { return inPrism(turned.local(p, -1)) }, prism.Mass(), turned.local(xyz(0.75, 0.25, 3.25), 1), 4.7, false},
		{"sum", Sum{prism, sphere, tilted}, func(p r3.Vec) float64 {
			return inPrism(p) + in(r3.Norm(r3.Sub(p, sphere.Centre)) < 2.3, -1850) + inCylinder(tilted)(p)
		}, prism.Mass() + sphere.Mass() + tilted.Mass(), xyz(0.5, -0.5, 5), 6, false},
		{"rocks", Rocks{sphere, {Centre: xyz(2, 1, 1), Radius: 0.4, Contrast: 600}}, func(p r3.Vec) float64 {
			return in(r3.Norm(r3.Sub(p, sphere.Centre)) < 2.3, -1850) + in(r3.Norm(r3.Sub(p, xyz(2, 1, 1))) < 0.4, 600)
		}, math.NaN(), xyz(0, 0, 5), 4, false},
	}
	return list
}

// stations around and inside a body, off round numbers.
func (s *solid) stations(n int) []r3.Vec {
	rng := rand.New(rand.NewPCG(3, uint64(len(s.name))))
	out := make([]r3.Vec, n)
	for i := range out {
		out[i] = r3.Add(s.centre, xyz(s.size*rng.NormFloat64(), s.size*rng.NormFloat64(), s.size*rng.NormFloat64()))
	}
	return out
}

// nearEdge reports whether the density changes within d of a point, where a
// finite difference means nothing.
func (s *solid) nearEdge(p r3.Vec, d float64) bool {
	for _, e := range []r3.Vec{{X: d}, {Y: d}, {Z: d}, {X: d, Y: d, Z: d}, {X: d, Y: -d, Z: d}, {X: -d, Y: d, Z: d}, {X: -d, Y: -d, Z: d}} {
		if s.inside(r3.Add(p, e)) != s.inside(p) || s.inside(r3.Sub(p, e)) != s.inside(p) {
			return true
		}
	}
	switch b := s.body.(type) { // thin bodies
	case Point:
		return r3.Norm(r3.Sub(p, b.At)) < 5*d
	case Disc:
		f := frameOf(b.Centre, r3.Vec{Z: 1}, p)
		return math.Abs(f.z) < d && f.s < b.Radius+2*d
	case SemiInfiniteSheet:
		return math.Abs(p.Z-b.Z) < 2*d
	case Rod:
		v, err := b.view("", p)
		return err != nil || v.h < 5*d
	}
	return false
}

// slope is the derivative of f along e by two central differences, with an
// estimate of its error.
func slope(f func(r3.Vec) float64, at, e r3.Vec, h float64) float64 {
	central := func(h float64) float64 {
		return (f(r3.Add(at, r3.Scale(h, e))) - f(r3.Sub(at, r3.Scale(h, e)))) / (2 * h)
	}
	return (4*central(h/2) - central(h)) / 3
}

var axes = [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}

func components(t Tensor) [3][3]float64 {
	return [3][3]float64{{t.XX, t.XY, t.XZ}, {t.XY, t.YY, t.YZ}, {t.XZ, t.YZ, t.ZZ}}
}

// The tensor is the derivative of g, g is that of U, the trace is minus 4 pi G
// rho, GZ is the third component of Gravity, and a two-sensor difference tends
// to the tensor.
func TestFieldsAgreeWithEachOther(t *testing.T) {
	for _, s := range solids() {
		t.Run(s.name, func(t *testing.T) {
			if err := s.body.Validate(); err != nil {
				t.Fatal(err)
			}
			tested, within := 0, 0
			for _, at := range s.stations(150) {
				h := 0.01 * s.size
				if s.nearEdge(at, 6*h) {
					continue
				}
				tested++
				must := func(err error) {
					if err != nil {
						t.Helper()
						t.Fatalf("at %v: %v", at, err)
					}
				}
				tensor, err := s.body.Gradient(at)
				must(err)
				gz, err := s.body.GZ(at)
				must(err)
				gzAt := func(p r3.Vec) float64 {
					g, err := s.body.GZ(p)
					must(err)
					return g
				}
				rho := s.inside(at)
				if rho != 0 {
					within++
				}
				c := components(tensor)
				biggest := 0.0
				for i := range 3 {
					for j := range 3 {
						biggest = max(biggest, math.Abs(c[i][j]))
					}
				}
				// The trace.
				if got, want := tensor.Trace(), -pi4G*rho; math.Abs(got-want) > 1e-11*max(biggest, math.Abs(want)) {
					t.Errorf("at %v: trace %g, want %g", at, got, want)
				}
				// gz by differences. Their error is of order h⁴ and eps g/h.
				tol := 3e-4*biggest + 1e-13*math.Abs(gz)/h
				for i, e := range axes {
					if got, want := c[2][i], slope(gzAt, at, e, h); math.Abs(got-want) > tol {
						t.Errorf("at %v: d(gz)/d(%d) is %g, differences give %g", at, i, got, want)
					}
				}
				// The two-sensor difference: its error falls as the square of the baseline.
				for _, dir := range []r3.Vec{{Z: 1}, {X: 1}, {X: 1, Y: 2, Z: -1}} {
					u := r3.Unit(dir)
					truth, err := Pair{dir}.True(s.body, at)
					must(err)
					var errs [2]float64
					for k, b := range []float64{h, h / 2} {
						r, err := Pair{r3.Scale(b, u)}.Reading(s.body, at)
						must(err)
						errs[k] = math.Abs(r - truth)
					}
					if errs[1] > 0.3*errs[0]+1e-7*biggest+1e-13*math.Abs(gz)/h || errs[0] > 0.02*biggest {
						t.Errorf("at %v: the pair's error does not fall as its baseline squared: %g, %g", at, errs[0], errs[1])
					}
				}
				if s.endless {
					if _, err := s.body.Gravity(at); err == nil {
						t.Fatalf("Gravity at %v: no error for an endless body", at)
					}
					continue
				}
				g, err := s.body.Gravity(at)
				must(err)
				if math.Abs(g.Z-gz) > 1e-12*r3.Norm(g) {
					t.Errorf("at %v: Gravity.Z %g, GZ %g", at, g.Z, gz)
				}
				for i, e := range axes {
					for j, component := range []func(r3.Vec) float64{func(v r3.Vec) float64 { return v.X }, func(v r3.Vec) float64 { return v.Y }} {
						got := slope(func(p r3.Vec) float64 { g, err := s.body.Gravity(p); must(err); return component(g) }, at, e, h)
						if math.Abs(got-c[j][i]) > tol+1e-13*r3.Norm(g)/h {
							t.Errorf("at %v: tensor[%d][%d] is %g, differences give %g", at, j, i, c[j][i], got)
						}
					}
					u, err := s.body.Potential(at)
					must(err)
					got := slope(func(p r3.Vec) float64 { u, err := s.body.Potential(p); must(err); return u }, at, e, h)
					want := r3.Dot(g, e)
					if math.Abs(got-want) > 3e-4*biggest*h+3e-4*r3.Norm(g)+1e-13*math.Abs(u)/h {
						t.Errorf("at %v: dU/d(%d) is %g, g is %g", at, i, got, want)
					}
				}
			}
			if tested < 20 {
				t.Errorf("only %d stations were tested", tested)
			}
			if s.inside(s.centre) != 0 && within == 0 {
				t.Errorf("no station inside was tested")
			}
		})
	}
}

// Gauss: the flux of g through a closed surface is -4 pi G times the mass
// inside, here through a box around the body.
func TestFluxThroughClosedSurface(t *testing.T) {
	for _, s := range solids() {
		if math.IsNaN(s.mass) {
			continue
		}
		r := 3 * s.size
		flux := 0.0
		const n = 6
		for side := range 6 {
			for i := range n * 16 {
				for j := range n * 16 {
					u := -r + 2*r*(float64(i/16)+gauss16.at[i%16])/n
					v := -r + 2*r*(float64(j/16)+gauss16.at[j%16])/n
					w := gauss16.weight[i%16] * gauss16.weight[j%16] * (2 * r / n) * (2 * r / n)
					sign := float64(2*(side%2) - 1)
					p := [3]r3.Vec{{X: sign * r, Y: u, Z: v}, {X: u, Y: sign * r, Z: v}, {X: u, Y: v, Z: sign * r}}[side/2]
					g, err := s.body.Gravity(r3.Add(s.centre, p))
					if err != nil {
						t.Fatal(err)
					}
					flux += sign * w * [3]float64{g.X, g.Y, g.Z}[side/2]
				}
			}
		}
		if want := -pi4G * s.mass; math.Abs(flux-want) > 1e-9*math.Abs(want) {
			t.Errorf("%s: flux %g, want %g", s.name, flux, want)
		}
	}
}

// Far away every finite body is a point of its mass, and U, g and the tensor
// stay good to many digits on the way: compared with the next nearer octave
// they scale as 1/R, 1/R², 1/R³ with corrections of order (size/R)².
func TestFarFieldIsThatOfAPoint(t *testing.T) {
	for _, s := range solids() {
		if math.IsNaN(s.mass) {
			continue
		}
		point := Point{At: s.centre, Mass: s.mass}
		for e := 5.0; e <= 9; e++ {
			d := math.Pow(10, e) * s.size
			at := r3.Add(s.centre, r3.Scale(d, r3.Unit(xyz(1.2, 0.7, -1.1))))
			got, err := s.body.GZ(at)
			if err != nil {
				t.Fatal(err)
			}
			want, _ := point.GZ(at)
			// (size/d)² is at most 1e-10; the sum's own centre is off by up to a size.
			tol := 1e-9
			if s.name == "sum" {
				tol = 10 / math.Pow(10, e)
			}
			if math.Abs(got/want-1) > tol {
				t.Errorf("%s at %g sizes: gz %g, a point %g", s.name, d/s.size, got, want)
			}
			tensor, err := s.body.Gradient(at)
			if err != nil {
				t.Fatal(err)
			}
			truth, _ := point.Gradient(at)
			if math.Abs(tensor.XZ/truth.XZ-1) > tol {
				t.Errorf("%s at %g sizes: T_xz %g, a point %g", s.name, d/s.size, tensor.XZ, truth.XZ)
			}
		}
	}
}

// Scaling: doubling all lengths doubles g, leaves the tensor, quadruples U.
func TestScaling(t *testing.T) {
	small := Prism{Min: xyz(-3, -2, 1.5), Max: xyz(4.5, 2.5, 5), Contrast: -1900}
	large := Prism{Min: xyz(-6, -4, 3), Max: xyz(9, 5, 10), Contrast: -1900}
	cyl := Cylinder{Centre: xyz(0, 0, 4), Axis: xyz(1, 0, 1), Radius: 1, Length: 3, Contrast: 500}
	cylLarge := Cylinder{Centre: xyz(0, 0, 8), Axis: xyz(1, 0, 1), Radius: 2, Length: 6, Contrast: 500}
	for _, pair := range [][2]Body{{small, large}, {cyl, cylLarge}} {
		at := xyz(2, 0.7, -1)
		g1, _ := pair[0].GZ(at)
		g2, _ := pair[1].GZ(r3.Scale(2, at))
		u1, _ := pair[0].Potential(at)
		u2, _ := pair[1].Potential(r3.Scale(2, at))
		t1, _ := pair[0].Gradient(at)
		t2, _ := pair[1].Gradient(r3.Scale(2, at))
		if math.Abs(g2/g1-2) > 1e-12 || math.Abs(u2/u1-4) > 1e-12 || math.Abs(t2.ZZ/t1.ZZ-1) > 1e-12 {
			t.Errorf("%T: factors %g %g %g, want 2 4 1", pair[0], g2/g1, u2/u1, t2.ZZ/t1.ZZ)
		}
	}
}

// Turning: a tunnel turned by a right angle runs south–north; a body turned
// there and back is the same.
func TestTurned(t *testing.T) {
	tunnel := InfiniteCylinder{X: 3, Z: 5, Radius: 1, Contrast: -2000}
	turned := Rotated{Body: tunnel, Heading: math.Pi / 2}
	// The axis at X = 3 north goes to Y = 3 east.
	a, _ := turned.GZ(xyz(77, 3, 0))
	b, _ := tunnel.GZ(xyz(3, 0, 0))
	if math.Abs(a/b-1) > 1e-12 {
		t.Errorf("above the turned axis: %g, want %g", a, b)
	}
	p := Prism{Min: xyz(-3, -2, 1.5), Max: xyz(4.5, 2.5, 5), Contrast: -1900}
	back := Rotated{Body: Rotated{Body: p, Heading: 0.4}, Heading: -0.4}
	at := xyz(1, 2, -1)
	x, _ := back.Gradient(at)
	y, _ := p.Gradient(at)
	if math.Abs(x.XY-y.XY)+math.Abs(x.XZ-y.XZ) > 1e-12*math.Abs(y.ZZ) {
		t.Errorf("turned there and back: %v, want %v", x, y)
	}
}

// Superposition: a prism cut in two, and 8 cells of a cube.
func TestPrismCutInPieces(t *testing.T) {
	whole := Prism{Min: xyz(-3, -2, 1.5), Max: xyz(4.5, 2.5, 5), Contrast: -1900}
	var parts Sum
	for i := range 2 {
		for j := range 2 {
			for k := range 2 {
				cut := func(lo, mid, hi float64, n int) (float64, float64) {
					if n == 0 {
						return lo, mid
					}
					return mid, hi
				}
				x1, x2 := cut(-3, 0.3, 4.5, i)
				y1, y2 := cut(-2, 1, 2.5, j)
				z1, z2 := cut(1.5, 2, 5, k)
				parts = append(parts, Prism{Min: xyz(x1, y1, z1), Max: xyz(x2, y2, z2), Contrast: -1900})
			}
		}
	}
	for _, at := range []r3.Vec{{}, {X: 9, Y: -4, Z: 2}, {X: 60, Y: 80, Z: -20}, {X: 0.3, Y: 1, Z: 2}, {X: 0.1, Y: 0.2, Z: 3}} {
		a, err := whole.GZ(at)
		if err != nil {
			t.Fatal(err)
		}
		b, err := parts.GZ(at)
		if err != nil {
			t.Fatal(err)
		}
		u, _ := whole.Potential(at)
		v, _ := parts.Potential(at)
		if math.Abs(a-b) > 1e-10*gravlab.G*1900*5 || math.Abs(u/v-1) > 1e-10 {
			t.Errorf("at %v: whole %g %g, parts %g %g", at, a, u, b, v)
		}
	}
}

// A step and its mirror image make a slab; a thin step is a half sheet; a wide
// prism is a step near its edge.
func TestStepAndSheet(t *testing.T) {
	step := SemiInfiniteSlab{X: 2, Top: 3, Thickness: 5, Contrast: 350}
	mirror := Rotated{Body: SemiInfiniteSlab{X: -2, Top: 3, Thickness: 5, Contrast: 350}, Heading: math.Pi}
	slab := Slab{Top: 3, Thickness: 5, Contrast: 350}
	thin := SemiInfiniteSlab{X: 2, Top: 4, Thickness: 1e-5, Contrast: 1000}
	sheet := SemiInfiniteSheet{X: 2, Z: 4 + 0.5e-5, SurfaceDensity: 1e-2}
	wide := Prism{Min: xyz(2, -1e6, 3), Max: xyz(1e6, 1e6, 8), Contrast: 350}
	for _, at := range []r3.Vec{{}, {X: 5, Z: 5}, {X: -30, Z: 9}, {X: 2, Z: -1}, {X: 1e4, Z: 2}, {X: -1e4}} {
		value := func(b Body) float64 {
			g, err := b.GZ(at)
			if err != nil {
				t.Fatal(err)
			}
			return g
		}
		whole := value(slab)
		if sum := value(step) + value(mirror); math.Abs(sum-whole) > 1e-11*2*math.Pi*gravlab.G*350*5 {
			t.Errorf("at %v: two halves %g, slab %g", at, sum, whole)
		}
		closeTo(t, "half sheet", value(sheet), value(thin), 1e-9)
		// The prism ends 1e6 m away: its far half misses about 1e-5 of a slab.
		if got, want := value(wide), value(step); math.Abs(got-want) > 3e-5*2*math.Pi*gravlab.G*350*5 {
			t.Errorf("at %v: wide prism %g, step %g", at, got, want)
		}
	}
}
