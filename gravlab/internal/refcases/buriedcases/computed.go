// Package buriedcases holds the known answers of package buried.
package buriedcases

import (
	"fmt"
	"maps"
	"math"
	"regexp"
	"strconv"
	"strings"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/buried"
	"gravity.example/gravlab/internal/check"
	"gravity.example/gravlab/internal/refcases/rows"
	"gravity.example/testdata"
)

// Cases returns every known answer of package buried.
func Cases() []check.Case {
	return append(modelChecks(), published()...)
}

// method is what the formulas leave of float64: a few hundred roundings, and
// two or three digits where a tensor entry is the small rest of large ones.
const method = 1e-11

const methodWhy = "float64 rounding of a closed form or of Gauss points that have converged (the reference is good to more digits)"

// modelChecks answers the rows of model_checks.csv.
func modelChecks() []check.Case {
	var cases []check.Case
	for _, m := range testdata.ModelChecks("buried") {
		tol := check.Tolerance{Rel: method, Why: methodWhy}
		if size := relative(m.ErrorEstimate); size > method {
			tol = check.Tolerance{Rel: size, Why: "the reference's own error estimate"}
		}
		switch m.Call {
		case "EquivalentLayer.GZ":
			tol = check.Tolerance{Rel: 1e-9, Why: "ring quadrature of the layer to infinity"}
		case "Upward of noise":
			tol = check.Tolerance{Rel: 1e-12, Why: "closed form, a sum over 289 cells"}
		case "MapFraction", "MapIntegral":
			tol = check.Tolerance{Rel: 1e-9, Why: "quadrature over the map, stopped at a change of 1e-9"}
		}
		cases = append(cases, calls().Case(m, tol))
	}
	return cases
}

// relative reads an estimate such as "rel 1e-9 ..." or "rel below 1e-19".
func relative(estimate string) float64 {
	for _, f := range strings.Fields(estimate) {
		if v, err := strconv.ParseFloat(strings.TrimRight(f, ",;"), 64); err == nil {
			return v
		}
	}
	return 0
}

func vec(v [3]float64) r3.Vec { return r3.Vec{X: v[0], Y: v[1], Z: v[2]} }

// station returns the point P of a row.
func station(m testdata.ModelCheck) r3.Vec { return vec(m.Vector("P")) }

// bodies make the body of a row, and its station.
var bodies = map[string]func(m testdata.ModelCheck) (buried.Body, r3.Vec){
	"Sphere": func(m testdata.ModelCheck) (buried.Body, r3.Vec) {
		return sphere(m), station(m)
	},
	"Sphere inside": func(m testdata.ModelCheck) (buried.Body, r3.Vec) {
		return buried.Sphere{Radius: m.Float("R"), Contrast: m.Float("rho")}, r3.Vec{Z: -m.Float("d")}
	},
	"InfiniteCylinder": func(m testdata.ModelCheck) (buried.Body, r3.Vec) {
		return infiniteCylinder(m), r3.Vec{X: m.Float("x")}
	},
	"Cylinder lying": func(m testdata.ModelCheck) (buried.Body, r3.Vec) {
		axis := map[string]r3.Vec{"x": {X: 1}, "y": {Y: 1}, "z": {Z: 1}}[m.Inputs["cylinder_axis"]]
		return buried.Cylinder{Centre: vec(m.Vector("centre")), Axis: axis, Radius: m.Float("R"), Length: m.Float("length"), Contrast: m.Float("rho")}, station(m)
	},
	"Cylinder upright": func(m testdata.ModelCheck) (buried.Body, r3.Vec) {
		return buried.Cylinder{Centre: vec(m.Vector("centre")), Axis: r3.Vec{Z: 1}, Radius: m.Float("R"), Length: m.Float("height"), Contrast: m.Float("rho")}, station(m)
	},
	"Cylinder on its axis": func(m testdata.ModelCheck) (buried.Body, r3.Vec) {
		h := m.Float("height")
		return buried.Cylinder{Centre: r3.Vec{Z: m.Float("z_top") + h/2}, Axis: r3.Vec{Z: 1}, Radius: m.Float("R"), Length: h, Contrast: m.Float("rho")}, r3.Vec{}
	},
	"Disc": func(m testdata.ModelCheck) (buried.Body, r3.Vec) {
		return buried.Disc{Centre: r3.Vec{Z: m.Float("z")}, Radius: m.Float("R"), SurfaceDensity: m.Float("sigma")}, r3.Vec{X: m.Float("s")}
	},
	"Slab": func(m testdata.ModelCheck) (buried.Body, r3.Vec) {
		return buried.Slab{Top: 1, Thickness: m.Float("t"), Contrast: m.Float("rho")}, r3.Vec{}
	},
	"SemiInfiniteSlab": func(m testdata.ModelCheck) (buried.Body, r3.Vec) {
		return buried.SemiInfiniteSlab{Top: m.Float("z"), Thickness: m.Float("t"), Contrast: m.Float("rho")}, r3.Vec{X: m.Float("x")}
	},
	"Rod": func(m testdata.ModelCheck) (buried.Body, r3.Vec) {
		return buried.Rod{From: vec(m.Vector("end1")), To: vec(m.Vector("end2")), LineDensity: m.Float("lambda")}, station(m)
	},
	"Prism": func(m testdata.ModelCheck) (buried.Body, r3.Vec) {
		return prism(m, m.Float("rho")), station(m)
	},
	"Polygon": func(m testdata.ModelCheck) (buried.Body, r3.Vec) {
		at := points(m.Inputs["P"])[0]
		return buried.Polygon{Vertices: points(m.Inputs["vertices"]), Contrast: m.Float("rho")}, r3.Vec{X: at.X, Z: at.Z}
	},
	"LinedTunnel": func(m testdata.ModelCheck) (buried.Body, r3.Vec) {
		return buried.LinedTunnel{Z: m.Float("depth"), Inner: m.Float("r_in"), Outer: m.Float("r_out"), Lining: m.Float("rho_lining"), Host: m.Float("rho_host")}, r3.Vec{X: m.Float("x")}
	},
}

// components are what a row may ask of a body.
var components = map[string]func(b buried.Body, at r3.Vec) (float64, error){
	"GZ":          buried.Body.GZ,
	"Potential":   buried.Body.Potential,
	"Gravity.X":   func(b buried.Body, at r3.Vec) (float64, error) { g, err := b.Gravity(at); return g.X, err },
	"Gravity.Y":   func(b buried.Body, at r3.Vec) (float64, error) { g, err := b.Gravity(at); return g.Y, err },
	"Gradient.XX": func(b buried.Body, at r3.Vec) (float64, error) { t, err := b.Gradient(at); return t.XX, err },
	"Gradient.XY": func(b buried.Body, at r3.Vec) (float64, error) { t, err := b.Gradient(at); return t.XY, err },
	"Gradient.XZ": func(b buried.Body, at r3.Vec) (float64, error) { t, err := b.Gradient(at); return t.XZ, err },
	"Gradient.YY": func(b buried.Body, at r3.Vec) (float64, error) { t, err := b.Gradient(at); return t.YY, err },
	"Gradient.YZ": func(b buried.Body, at r3.Vec) (float64, error) { t, err := b.Gradient(at); return t.YZ, err },
	"Gradient.ZZ": func(b buried.Body, at r3.Vec) (float64, error) { t, err := b.Gradient(at); return t.ZZ, err },
}

// calls are those below and every component of every body, as in "Sphere.Gradient.XX".
var calls = sync.OnceValue(func() rows.Calls {
	all := maps.Clone(others)
	for name, body := range bodies {
		for of, component := range components {
			all[name+"."+of] = func(m testdata.ModelCheck) (float64, error) { return component(body(m)) }
		}
	}
	return all
})

var others = rows.Calls{
	"Pair.Reading": func(m testdata.ModelCheck) (float64, error) {
		return upright(m).Reading(sphere(m), r3.Vec{X: m.Float("x")})
	},
	"Pair.Reading over Pair.True": func(m testdata.ModelCheck) (float64, error) {
		at := r3.Vec{X: m.Float("x")}
		reading, err := upright(m).Reading(infiniteCylinder(m), at)
		if err != nil {
			return 0, err
		}
		truth, err := upright(m).True(infiniteCylinder(m), at)
		return reading / truth, err
	},
	"Upward of noise": func(m testdata.ModelCheck) (float64, error) {
		// Independent noise adds as squares: the middle's answer to each cell alone. Cells that
		// mirror each other about a diagonal or an axis do the same.
		half := int(m.Float("half"))
		n := 2*half + 1
		x, gz := make([]float64, n), make([][]float64, n)
		for i := range gz {
			x[i], gz[i] = float64(i)*m.Float("step"), make([]float64, n)
		}
		sum := 0.0
		for i := range half + 1 {
			for j := range i + 1 {
				gz[i][j] = 1e-6
				c, err := buried.Upward(x, x, gz, m.Float("height"))
				if err != nil {
					return 0, err
				}
				gz[i][j] = 0
				alike := 8.0
				switch {
				case i == half && j == half:
					alike = 1
				case i == j || i == half || j == half:
					alike = 4
				}
				w := c.GZ[half][half] / 1e-6
				sum += alike * w * w
			}
		}
		return math.Sqrt(sum), nil
	},
	"MapFraction": func(m testdata.ModelCheck) (float64, error) {
		x := m.Float("X")
		return buried.MapFraction(-x, x, -x, x, r3.Vec{Z: m.Float("depth")})
	},
	"MapIntegral": func(m testdata.ModelCheck) (float64, error) {
		x, p := m.Float("X"), prism(m, 2000) // any contrast has the same share
		cx, cy := (p.Min.X+p.Max.X)/2, (p.Min.Y+p.Max.Y)/2
		integral, _, err := buried.MapIntegral(p, cx-x, cx+x, cy-x, cy+x, 0)
		return integral / (2 * math.Pi * gravlab.G * p.Mass()), err
	},
	"HalfWidth of a Rod": func(m testdata.ModelCheck) (float64, error) {
		return buried.HalfWidth(buried.Rod{From: r3.Vec{Z: m.Float("z1")}, To: r3.Vec{Z: m.Float("z2")}, LineDensity: 1}, r3.Vec{}, r3.Vec{X: 1})
	},
	"HalfWidth of a Disc": func(m testdata.ModelCheck) (float64, error) {
		return buried.HalfWidth(buried.Disc{Centre: r3.Vec{Z: m.Float("z")}, Radius: m.Float("a"), SurfaceDensity: 1}, r3.Vec{}, r3.Vec{X: 1})
	},
	"Point.Gradient steepest": func(m testdata.ModelCheck) (float64, error) {
		depth := m.Float("depth")
		b := buried.Point{At: r3.Vec{Z: depth}, Mass: 1000}
		peak, err := b.GZ(r3.Vec{})
		if err != nil {
			return 0, err
		}
		_, slope, err := steepest(b, depth)
		return depth * slope / peak, err
	},
	"Pass.Attraction.X": func(m testdata.ModelCheck) (float64, error) {
		g, err := buried.Pass{Loads: loads(m.Inputs["masses"]), Speed: m.Float("v")}.Attraction(station(m), m.Float("t"))
		return g.X, err
	},
	"Plan.SNR": func(m testdata.ModelCheck) (float64, error) {
		stations, err := buried.Line(int(m.Float("stations")), m.Float("spacing"))
		if err != nil {
			return 0, err
		}
		return buried.Plan{Stations: stations, Noise: m.Float("sigma")}.SNR(infiniteCylinder(m))
	},
	"EquivalentLayer.GZ": func(m testdata.ModelCheck) (float64, error) {
		return buried.EquivalentLayer{Mass: m.Float("m"), Depth: m.Float("d")}.GZ(m.Float("h"), m.Float("x"))
	},
	"Clutter.Correlation": func(m testdata.ModelCheck) (float64, error) {
		return buried.Clutter{Number: m.Float("n"), Mass: m.Float("m"), Top: m.Float("z1"), Bottom: m.Float("z2")}.Correlation(m.Float("L"))
	},
}

func sphere(m testdata.ModelCheck) buried.Sphere {
	return buried.Sphere{Centre: vec(m.Vector("centre")), Radius: m.Float("R"), Contrast: m.Float("rho")}
}

func infiniteCylinder(m testdata.ModelCheck) buried.InfiniteCylinder {
	return buried.InfiniteCylinder{Z: m.Float("depth"), Radius: m.Float("R"), Contrast: m.Float("rho")}
}

// upright returns the vertical pair of a row.
func upright(m testdata.ModelCheck) buried.Pair {
	return buried.Pair{Separation: r3.Vec{Z: m.Float("baseline")}}
}

func prism(m testdata.ModelCheck, contrast float64) buried.Prism {
	return buried.Prism{
		Min:      r3.Vec{X: m.Float("x1"), Y: m.Float("y1"), Z: m.Float("z1")},
		Max:      r3.Vec{X: m.Float("x2"), Y: m.Float("y2"), Z: m.Float("z2")},
		Contrast: contrast,
	}
}

var group = regexp.MustCompile(`\(([^)]*)\)`)

// points reads "(1 2) (3 4)".
func points(text string) []buried.XZ {
	var out []buried.XZ
	for _, g := range group.FindAllStringSubmatch(text, -1) {
		f := strings.Fields(g[1])
		out = append(out, buried.XZ{X: number(f[0]), Z: number(f[1])})
	}
	return out
}

func number(text string) float64 {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		panic(fmt.Sprintf("buriedcases: %q is not a number", text))
	}
	return v
}

// loads reads "(x0=-1.4 m=1900 height=1.1) (...)". The rows' inputs were cut at
// "=" once only, so that the groups are whole.
func loads(text string) []buried.Load {
	var out []buried.Load
	for _, g := range group.FindAllStringSubmatch(text, -1) {
		var l buried.Load
		for _, f := range strings.Fields(g[1]) {
			name, value, _ := strings.Cut(f, "=")
			switch name {
			case "x0":
				l.X = number(value)
			case "m":
				l.Mass = number(value)
			case "height":
				l.Height = number(value)
			}
		}
		out = append(out, l)
	}
	return out
}

// steepest returns where along north, and how steeply, gz changes most.
func steepest(b buried.Body, depth float64) (x, slope float64, err error) {
	lo, hi := 0.0, 3*depth
	at := func(x float64) float64 {
		t, e := b.Gradient(r3.Vec{X: x})
		if e != nil {
			err = e
		}
		return math.Abs(t.XZ)
	}
	for range 200 {
		a, c := lo+(hi-lo)/3, hi-(hi-lo)/3
		if at(a) < at(c) {
			lo = a
		} else {
			hi = c
		}
	}
	return (lo + hi) / 2, at((lo + hi) / 2), err
}
