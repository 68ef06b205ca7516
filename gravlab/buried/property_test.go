package buried

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// odd draws any float64: ordinary sizes, and now and then what nobody should
// pass.
func odd(t *rapid.T, name string) float64 {
	switch rapid.IntRange(0, 11).Draw(t, name+" kind") {
	case 0:
		return rapid.SampledFrom([]float64{0, math.Copysign(0, -1), math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64, -math.MaxFloat64, 5e-324, 1e-300, 1e300, 1e-30, 1e30, 2.67}).Draw(t, name)
	case 1:
		return rapid.Float64().Draw(t, name)
	case 2:
		return float64(rapid.IntRange(-3, 3).Draw(t, name))
	case 3:
		return math.Pow(10, rapid.Float64Range(-12, 12).Draw(t, name))
	}
	return rapid.Float64Range(-20, 20).Draw(t, name)
}

func contrastOf(t *rapid.T) float64 {
	if rapid.IntRange(0, 9).Draw(t, "contrast kind") == 0 {
		return odd(t, "contrast")
	}
	return rapid.Float64Range(-3000, 3000).Draw(t, "contrast")
}

func sizeOf(t *rapid.T, name string) float64 {
	if rapid.IntRange(0, 5).Draw(t, name+" kind") == 0 {
		return odd(t, name)
	}
	return math.Abs(odd(t, name))
}

func vecOf(t *rapid.T, name string) r3.Vec {
	return r3.Vec{X: odd(t, name+".X"), Y: odd(t, name+".Y"), Z: odd(t, name+".Z")}
}

func bodyOf(t *rapid.T) Body {
	switch rapid.IntRange(0, 13).Draw(t, "body") {
	case 0:
		return Point{At: vecOf(t, "At"), Mass: odd(t, "Mass")}
	case 1:
		return Sphere{Centre: vecOf(t, "Centre"), Radius: sizeOf(t, "Radius"), Contrast: contrastOf(t)}
	case 2:
		return InfiniteCylinder{X: odd(t, "X"), Z: odd(t, "Z"), Radius: sizeOf(t, "Radius"), Contrast: contrastOf(t)}
	case 3:
		inner := sizeOf(t, "Inner")
		return LinedTunnel{X: odd(t, "X"), Z: odd(t, "Z"), Inner: inner, Outer: inner + sizeOf(t, "wall"), Lining: 2400, Host: math.Abs(contrastOf(t)), Fill: math.Abs(contrastOf(t))}
	case 4:
		return Cylinder{Centre: vecOf(t, "Centre"), Axis: vecOf(t, "Axis"), Radius: sizeOf(t, "Radius"), Length: sizeOf(t, "Length"), Contrast: contrastOf(t)}
	case 5:
		return Disc{Centre: vecOf(t, "Centre"), Radius: sizeOf(t, "Radius"), SurfaceDensity: odd(t, "sigma")}
	case 6:
		return Slab{Top: odd(t, "Top"), Thickness: sizeOf(t, "Thickness"), Contrast: contrastOf(t)}
	case 7:
		return SemiInfiniteSlab{X: odd(t, "X"), Top: odd(t, "Top"), Thickness: sizeOf(t, "Thickness"), Contrast: contrastOf(t)}
	case 8:
		return SemiInfiniteSheet{X: odd(t, "X"), Z: odd(t, "Z"), SurfaceDensity: odd(t, "sigma")}
	case 9:
		return Rod{From: vecOf(t, "From"), To: vecOf(t, "To"), LineDensity: odd(t, "lambda")}
	case 10:
		var v []XZ
		for range rapid.IntRange(0, 6).Draw(t, "vertices") {
			v = append(v, XZ{odd(t, "X"), odd(t, "Z")})
		}
		return Polygon{Vertices: v, Contrast: contrastOf(t)}
	case 11:
		return Rocks{{Centre: vecOf(t, "Centre"), Radius: sizeOf(t, "Radius"), Contrast: contrastOf(t)}}
	case 12:
		return Rotated{Body: Prism{Min: vecOf(t, "Min"), Max: vecOf(t, "Max"), Contrast: contrastOf(t)}, Heading: odd(t, "Heading")}
	}
	lo := vecOf(t, "Min")
	return Prism{Min: lo, Max: r3.Add(lo, xyz(sizeOf(t, "dx"), sizeOf(t, "dy"), sizeOf(t, "dz"))), Contrast: contrastOf(t)}
}

// check that a result is finite, or an error.
func sound(t *rapid.T, what string, err error, values ...float64) {
	if err != nil {
		if err.Error() == "" {
			t.Fatalf("%s: an error without words", what)
		}
		return
	}
	for _, v := range values {
		if !isFinite(v) {
			t.Fatalf("%s: %v without an error", what, values)
		}
	}
}

// Any body at any station: no panic, finite or an error; and what Validate
// refuses the methods refuse too.
func TestAnyBodyAnywhere(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b, at := bodyOf(t), vecOf(t, "at")
		g, err := b.GZ(at)
		sound(t, "GZ", err, g)
		_, isPolygon := b.(Polygon) // trusts that its edges do not cross
		if bad := b.Validate(); bad != nil && err == nil && !isPolygon {
			t.Fatalf("GZ is %g, but Validate says %v", g, bad)
		}
		v, err := b.Gravity(at)
		sound(t, "Gravity", err, v.X, v.Y, v.Z)
		u, err := b.Potential(at)
		sound(t, "Potential", err, u)
		tensor, err := b.Gradient(at)
		sound(t, "Gradient", err, tensor.XX, tensor.XY, tensor.XZ, tensor.YY, tensor.YZ, tensor.ZZ)
		s, err := Sum{b, Sphere{Radius: 1, Contrast: 100}}.GZ(at)
		sound(t, "Sum", err, s)
		r, err := Pair{vecOf(t, "pair")}.Reading(b, at)
		sound(t, "Pair.Reading", err, r)
		r, err = Pair{vecOf(t, "pair")}.True(b, at)
		sound(t, "Pair.True", err, r)
	})
}

// The functions that take numbers and slices.
func TestAnyArguments(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		slice := func(name string) []float64 {
			v := make([]float64, rapid.IntRange(0, 6).Draw(t, name))
			for i := range v {
				v[i] = odd(t, name)
			}
			return v
		}
		f := func(name string) float64 { return odd(t, name) }
		shape := Shape(rapid.IntRange(-1, 5).Draw(t, "shape"))
		v, err := DepthFromHalfWidth(shape, f("w"))
		sound(t, "DepthFromHalfWidth", err, v)
		v, err = DepthBound(shape, f("peak"), f("slope"))
		sound(t, "DepthBound", err, v)
		v, err = MapFraction(f("x1"), f("x2"), f("y1"), f("y2"), vecOf(t, "at"))
		sound(t, "MapFraction", err, v)
		v, err = ProfileFraction(f("x1"), f("x2"), XZ{f("x"), f("z")})
		sound(t, "ProfileFraction", err, v)
		c, err := MassPerLength(slice("x"), slice("gz"), XZ{f("x"), f("z")})
		sound(t, "MassPerLength", err, c.Mass, c.PerOffset)
		c, err = ExcessMass(slice("x"), slice("y"), [][]float64{slice("a"), slice("b")}, vecOf(t, "at"))
		sound(t, "ExcessMass", err, c.Mass, c.PerOffset)
		v, err = HalfWidth(bodyOf(t), vecOf(t, "peak"), vecOf(t, "along"))
		sound(t, "HalfWidth", err, v)
		v, err = RadiusOfSphere(f("m"), contrastOf(t))
		sound(t, "RadiusOfSphere", err, v)
		v, err = EquivalentLayer{Mass: f("m"), Depth: f("d")}.GZ(f("h"), f("x"))
		sound(t, "EquivalentLayer", err, v)
		v, err = EquivalentLayer{Mass: f("m"), Depth: f("d")}.SurfaceDensity(f("s"))
		sound(t, "SurfaceDensity", err, v)
		clutter := Clutter{Number: f("n"), Mass: f("m"), Top: f("top"), Bottom: f("bottom")}
		v, err = clutter.Correlation(f("L"))
		sound(t, "Correlation", err, v)
		v, err = BoussinesqTilt(f("load"), f("r"), f("E"), f("nu"))
		sound(t, "BoussinesqTilt", err, v)
		lo, hi, err := Cargo{f("l"), f("w"), f("h")}.MassBounds(f("least"), f("most"))
		sound(t, "MassBounds", err, lo, hi)
		g, err := Pass{Loads: []Load{{f("x"), f("m"), f("h")}}, Speed: f("v")}.Attraction(vecOf(t, "sensor"), f("t"))
		sound(t, "Attraction", err, g.X, g.Y, g.Z)
		stations := []r3.Vec{vecOf(t, "s1"), vecOf(t, "s2"), vecOf(t, "s3"), vecOf(t, "s4")}
		if line, err := Line(4, f("spacing")); err == nil && rapid.Bool().Draw(t, "line") {
			stations = line
		}
		plan := Plan{Stations: stations, Noise: f("noise"), Height: f("height"), Place: f("place"), Drift: f("drift")}
		if rapid.Bool().Draw(t, "clutter") {
			plan.Clutter = &clutter
		}
		v, err = plan.SNR(bodyOf(t))
		sound(t, "SNR", err, v)
		rng := rand.New(rand.NewPCG(1, 1))
		in := Instrument{Noise: f("noise"), Offset: f("offset"), North: f("north"), East: f("east"), Drift: f("drift"), Height: f("height"), Step: f("step")}
		readings, err := in.Readings(rng, bodyOf(t), stations)
		sound(t, "Readings", err, readings...)
		if spheres, err := NestedSpheres(vecOf(t, "c"), f("m"), slice("radii")...); err == nil && len(spheres) == 0 {
			t.Fatal("NestedSpheres: nothing, without an error")
		}
	})
}

// The fits: any data of a few points.
func TestAnyData(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 9).Draw(t, "n")
		// Half the time ordinary numbers, so that the fits themselves are reached.
		number := odd
		if rapid.Bool().Draw(t, "ordinary") {
			number = func(t *rapid.T, name string) float64 { return rapid.Float64Range(-20, 20).Draw(t, name) }
		}
		var a Anomaly
		for range n {
			a.Stations = append(a.Stations, xyz(number(t, "x"), number(t, "y"), number(t, "z")))
			a.GZ = append(a.GZ, number(t, "gz"))
		}
		if rapid.Bool().Draw(t, "sigma") {
			for range n {
				a.Sigma = append(a.Sigma, sizeOf(t, "sigma"))
			}
		}
		if v, err := Invert(a, []Shape{rapid.SampledFrom([]Shape{LineShape, PointShape}).Draw(t, "shape")}, nil); err == nil {
			sound(t, "Invert", nil, v.Fit.P...)
		}
		grid := Grid{X: []float64{-3, 0, odd(t, "x")}, Z: []float64{1, 2, odd(t, "z")}}
		if m, err := (GridInversion{Grid: grid, Damping: sizeOf(t, "damping")}).Solve(a); err == nil {
			sound(t, "Grid", nil, m.Contrast...)
			sound(t, "Grid", nil, m.Predicted...)
			sound(t, "Grid", nil, m.Chi2, m.Mass, m.Depth)
		}
		c := Channel{At: xyz(number(t, "ax"), number(t, "ay"), number(t, "az")), Axis: vecOf(t, "axis"), Sigma: sizeOf(t, "u")}
		for i := range n {
			c.Times = append(c.Times, float64(i))
			c.Reading = append(c.Reading, number(t, "reading"))
		}
		if f, err := FitLoads([]Channel{c}, number(t, "speed"), []Load{{X: number(t, "x"), Mass: math.Abs(number(t, "m")), Height: number(t, "h")}}, nil, nil); err == nil {
			sound(t, "FitLoads", nil, f.Total, f.Loads[0].X)
		}
	})
}
