// Package buriedcases holds the known answers of package buried.
package buriedcases

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/buried"
	"gravity.example/gravlab/internal/check"
	"gravity.example/gravlab/signal"
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

// modelChecks answers the rows of model_checks.csv. It goes by what a row
// holds, not by its number, so that rows of other geometries fit in.
func modelChecks() []check.Case {
	var cases []check.Case
	routes := map[string]string{}
	for _, m := range testdata.ModelChecks("buried") {
		topic := m.ID[len("buried-"):strings.LastIndex(m.ID, "-")]
		family := strings.Join(strings.SplitN(topic, "-", 3)[:min(2, len(strings.Split(topic, "-")))], "-")
		route := m.Route
		if route == "same" && routes[family] != "" {
			route = routes[family]
		}
		routes[family] = route
		tol := check.Tolerance{Rel: method, Why: methodWhy}
		if size := relative(m.ErrorEstimate); size > method {
			tol = check.Tolerance{Rel: size, Why: "the reference's own error estimate"}
		}
		if topic == "nonunique" {
			tol = check.Tolerance{Rel: 1e-9, Why: "ring quadrature of the layer to infinity"}
		}
		if topic == "flux" {
			tol = check.Tolerance{Rel: 1e-9, Why: "quadrature over the map, stopped at a change of 1e-9"}
		}
		cases = append(cases, check.Case{
			ID: m.ID, Quantity: m.Quantity, Unit: m.Unit, Want: m.Value, Tol: tol,
			Source: "independent route: " + route + " (" + m.Source + ")", Known: check.Computed,
			Got: func() (float64, error) { return answer(topic, m) },
		})
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

var entry = regexp.MustCompile(`tensor entry (xx|xy|xz|yy|yz|zz)`)

// of returns the quantity of a body that a row asks for.
func of(m testdata.ModelCheck, b buried.Body, at r3.Vec) (float64, error) {
	q := m.Quantity
	if e := entry.FindStringSubmatch(q); e != nil {
		t, err := b.Gradient(at)
		return tensorEntry(t, e[1]), err
	}
	switch {
	case strings.Contains(q, "d gz/dx"):
		t, err := b.Gradient(at)
		return t.XZ, err
	case strings.Contains(q, "d gz/dz"):
		t, err := b.Gradient(at)
		return t.ZZ, err
	case strings.Contains(q, "potential"):
		return b.Potential(at)
	case strings.Contains(q, "gx"):
		g, err := b.Gravity(at)
		return g.X, err
	case strings.Contains(q, "gy"):
		g, err := b.Gravity(at)
		return g.Y, err
	case strings.Contains(q, "gz"):
		return b.GZ(at)
	}
	return 0, fmt.Errorf("the row asks for %q, which no rule here knows", q)
}

func tensorEntry(t buried.Tensor, name string) float64 {
	return map[string]float64{"xx": t.XX, "xy": t.XY, "xz": t.XZ, "yy": t.YY, "yz": t.YZ, "zz": t.ZZ}[name]
}

func answer(topic string, m testdata.ModelCheck) (float64, error) {
	is := func(text string) bool { return strings.Contains(m.Quantity, text) }
	has := func(name string) bool { _, ok := m.Inputs[name]; return ok }
	or := func(name string, otherwise float64) float64 {
		if has(name) {
			return m.Float(name)
		}
		return otherwise
	}
	switch {
	case strings.HasPrefix(topic, "sphere-inside"):
		s := buried.Sphere{Radius: m.Float("R"), Contrast: m.Float("rho")}
		return of(m, s, r3.Vec{Z: -m.Float("d")})
	case strings.HasPrefix(topic, "sphere"):
		s := buried.Sphere{Centre: vec(m.Vector("centre")), Radius: m.Float("R"), Contrast: m.Float("rho")}
		return of(m, s, vec(m.Vector("P")))
	case topic == "hcyl-inf":
		return of(m, buried.InfiniteCylinder{Z: m.Float("depth"), Radius: m.Float("R"), Contrast: m.Float("rho")}, r3.Vec{X: m.Float("x")})
	case topic == "hcyl-fin":
		axis := map[string]r3.Vec{"x": {X: 1}, "y": {Y: 1}, "z": {Z: 1}}[m.Inputs["cylinder_axis"]]
		c := buried.Cylinder{Centre: vec(m.Vector("centre")), Axis: axis, Radius: m.Float("R"), Length: m.Float("length"), Contrast: m.Float("rho")}
		return of(m, c, vec(m.Vector("P")))
	case topic == "vcyl-axis":
		h := m.Float("height")
		c := buried.Cylinder{Centre: r3.Vec{Z: m.Float("z_top") + h/2}, Axis: r3.Vec{Z: 1}, Radius: m.Float("R"), Length: h, Contrast: m.Float("rho")}
		return of(m, c, r3.Vec{})
	case topic == "vcyl-off":
		c := buried.Cylinder{Centre: vec(m.Vector("centre")), Axis: r3.Vec{Z: 1}, Radius: m.Float("R"), Length: m.Float("height"), Contrast: m.Float("rho")}
		return of(m, c, vec(m.Vector("P")))
	case topic == "disc":
		return of(m, buried.Disc{Centre: r3.Vec{Z: m.Float("z")}, Radius: m.Float("R"), SurfaceDensity: m.Float("sigma")}, r3.Vec{X: m.Float("s")})
	case topic == "slab":
		return of(m, buried.Slab{Top: or("z", 1), Thickness: m.Float("t"), Contrast: m.Float("rho")}, r3.Vec{})
	case topic == "step":
		return of(m, buried.SemiInfiniteSlab{Top: m.Float("z"), Thickness: m.Float("t"), Contrast: m.Float("rho")}, r3.Vec{X: m.Float("x")})
	case topic == "rod":
		return of(m, buried.Rod{From: vec(m.Vector("end1")), To: vec(m.Vector("end2")), LineDensity: m.Float("lambda")}, vec(m.Vector("P")))
	case strings.HasPrefix(topic, "prism"):
		return of(m, prism(m), vec(m.Vector("P")))
	case topic == "polygon":
		vertices := points(m.Inputs["vertices"])
		at := points(m.Inputs["P"])
		return of(m, buried.Polygon{Vertices: vertices, Contrast: m.Float("rho")}, r3.Vec{X: at[0].X, Z: at[0].Z})
	case topic == "lined":
		l := buried.LinedTunnel{Z: m.Float("depth"), Inner: m.Float("r_in"), Outer: m.Float("r_out"), Lining: m.Float("rho_lining"), Host: m.Float("rho_host"), Fill: or("rho_fill", 0)}
		return of(m, l, r3.Vec{X: m.Float("x")})
	case topic == "gradiometer":
		return gradiometer(m)
	case topic == "flux":
		return flux(m)
	case topic == "halfwidth":
		return halfWidth(m)
	case topic == "depthbound":
		return depthBound(is("line"), m.Float("depth"))
	case topic == "truck":
		pass := buried.Pass{Loads: loads(m.Inputs["masses"]), Speed: m.Float("v")}
		g, err := pass.Attraction(vec(m.Vector("P")), m.Float("t"))
		switch {
		case is("component x"):
			return g.X, err
		case is("component y"):
			return g.Y, err
		}
		return g.Z, err
	case topic == "detect":
		stations, err := buried.Line(int(m.Float("stations")), m.Float("spacing"))
		if err != nil {
			return 0, err
		}
		p := buried.Plan{Stations: stations, Noise: m.Float("sigma")}
		snr, err := p.SNR(buried.InfiniteCylinder{Z: m.Float("depth"), Radius: m.Float("R"), Contrast: m.Float("rho")})
		if err != nil || !(is("probability")) {
			return snr, err
		}
		threshold, err := signal.Threshold(or("Pf", or("pf", 0.01)), 1)
		if err != nil {
			return 0, err
		}
		return signal.DetectionProbability(snr, threshold)
	case topic == "nonunique":
		return buried.EquivalentLayer{Mass: m.Float("m"), Depth: m.Float("d")}.GZ(m.Float("h"), m.Float("x"))
	case topic == "clutter":
		c := buried.Clutter{Number: m.Float("n"), Mass: m.Float("m"), Top: m.Float("z1"), Bottom: m.Float("z2")}
		switch {
		case is("correlation"):
			return c.Correlation(m.Float("L"))
		case is("variance"):
			return c.Covariance(0)
		}
		return c.RMS()
	}
	return 0, fmt.Errorf("no rule for the topic %q", topic)
}

func prism(m testdata.ModelCheck) buried.Prism {
	rho := 2000.0 // where only a share is asked for
	if _, ok := m.Inputs["rho"]; ok {
		rho = m.Float("rho")
	}
	return buried.Prism{
		Min:      r3.Vec{X: m.Float("x1"), Y: m.Float("y1"), Z: m.Float("z1")},
		Max:      r3.Vec{X: m.Float("x2"), Y: m.Float("y2"), Z: m.Float("z2")},
		Contrast: rho,
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
		panic(fmt.Sprintf("knownburied: %q is not a number", text))
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

// gradiometer answers pairs: vertical by default, horizontal where the row says so.
func gradiometer(m testdata.ModelCheck) (float64, error) {
	pair := buried.Pair{Separation: r3.Vec{Z: m.Float("baseline")}}
	if strings.Contains(m.Quantity, "horizontal pair") {
		pair = buried.Pair{Separation: r3.Vec{X: m.Float("baseline")}}
	}
	var b buried.Body
	at := r3.Vec{}
	if strings.Contains(m.Quantity, "cylinder") {
		b = buried.InfiniteCylinder{Z: m.Float("depth"), Radius: m.Float("R"), Contrast: m.Float("rho")}
	} else {
		b = buried.Sphere{Centre: vec(m.Vector("centre")), Radius: m.Float("R"), Contrast: m.Float("rho")}
	}
	at.X = m.Float("x")
	reading, err := pair.Reading(b, at)
	if err != nil || m.Unit != "1" {
		return reading, err
	}
	truth, err := pair.True(b, at)
	return reading / truth, err
}

// flux answers the shares that maps and profiles catch.
func flux(m testdata.ModelCheck) (float64, error) {
	X := m.Float("X")
	switch {
	case strings.Contains(m.Quantity, "prism"):
		p := prism(m)
		cx, cy := (p.Min.X+p.Max.X)/2, (p.Min.Y+p.Max.Y)/2
		integral, _, err := buried.MapIntegral(p, cx-X, cx+X, cy-X, cy+X, 0)
		return integral / (2 * math.Pi * gravlab.G * p.Mass()), err
	case strings.Contains(m.Quantity, "profile"):
		return buried.ProfileFraction(-X, X, buried.XZ{Z: m.Float("depth")})
	case strings.Contains(m.Quantity, "circular"):
		d := m.Float("depth")
		return 1 - d/math.Hypot(d, X), nil
	}
	return buried.MapFraction(-X, X, -X, X, r3.Vec{Z: m.Float("depth")})
}

func halfWidth(m testdata.ModelCheck) (float64, error) {
	north := r3.Vec{X: 1}
	q := m.Quantity
	switch {
	case strings.Contains(q, "rod"):
		return buried.HalfWidth(buried.Rod{From: r3.Vec{Z: m.Float("z1")}, To: r3.Vec{Z: m.Float("z2")}, LineDensity: 1}, r3.Vec{}, north)
	case strings.Contains(q, "disc"):
		return buried.HalfWidth(buried.Disc{Centre: r3.Vec{Z: m.Float("z")}, Radius: m.Float("a"), SurfaceDensity: 1}, r3.Vec{}, north)
	case strings.Contains(q, "cylinder"), strings.Contains(q, "line"):
		return buried.HalfWidth(buried.InfiniteCylinder{Z: depthOf(m), Radius: depthOf(m) / 10, Contrast: 1000}, r3.Vec{}, north)
	}
	return buried.HalfWidth(buried.Point{At: r3.Vec{Z: depthOf(m)}, Mass: 1}, r3.Vec{}, north)
}

func depthOf(m testdata.ModelCheck) float64 {
	for _, name := range []string{"depth", "z"} {
		if _, ok := m.Inputs[name]; ok {
			return m.Float(name)
		}
	}
	return 1
}

// depthBound finds the steepest slope of gz numerically on the body's own
// tensor and divides: depth times slope over peak.
func depthBound(line bool, depth float64) (float64, error) {
	var b buried.Body = buried.Point{At: r3.Vec{Z: depth}, Mass: 1000}
	if line {
		b = buried.InfiniteCylinder{Z: depth, Radius: depth / 10, Contrast: 1000}
	}
	peak, err := b.GZ(r3.Vec{})
	if err != nil {
		return 0, err
	}
	_, slope, err := steepest(b, depth)
	return depth * slope / peak, err
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
