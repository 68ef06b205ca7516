package buried_test

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/buried"
)

// gz of an empty drain under Ashgill Farm, along a profile across it.
func ExampleInfiniteCylinder_GZ() {
	drain := buried.InfiniteCylinder{X: 0, Z: 4, Radius: 0.6, Contrast: -1900}
	for _, x := range []float64{0, 4, 8} {
		g, err := drain.GZ(r3.Vec{X: x})
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("%g m: %.2f µGal\n", x, g/gravlab.MicroGal)
	}
	// Output:
	// 0 m: -7.17 µGal
	// 4 m: -3.59 µGal
	// 8 m: -1.43 µGal
}

// The full tensor of a prism. Its trace is zero outside.
func ExamplePrism_Gradient() {
	cellar := buried.Prism{Min: r3.Vec{X: -2, Y: -3, Z: 1}, Max: r3.Vec{X: 2, Y: 3, Z: 3.5}, Contrast: -1900}
	t, err := cellar.Gradient(r3.Vec{X: 2.5, Y: 0, Z: -0.5})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("g_xz %.1f E, g_zz %.1f E, trace %.1f E\n", t.XZ/gravlab.Eotvos, t.ZZ/gravlab.Eotvos, math.Abs(t.Trace()/gravlab.Eotvos))
	// Output:
	// g_xz 150.0 E, g_zz -85.2 E, trace 0.0 E
}

// Where something is undefined the error says so, and a density in g/cm³ is
// recognised.
func ExampleSphere_Validate() {
	fmt.Println(buried.Sphere{Radius: 1, Contrast: -2.2}.Validate())
	_, err := buried.Prism{Max: r3.Vec{X: 1, Y: 1, Z: 1}, Contrast: 300}.Gradient(r3.Vec{X: 0.5, Y: 0.5})
	fmt.Println(err)
	// Output:
	// buried.Sphere: Contrast is -2.2; allowed: a signed contrast of 4 to 100000 kg/m³ in size, or zero (kg/m³; did you mean -2200? If not, take a hundred times the contrast and divide the effect by 100)
	// buried.Prism.Gradient: at is {0.5 0.5 0}; allowed: a station off the faces, edges and corners, where the tensor jumps or is infinite
}

// A brick-lined drain: lining heavier than the soil, water inside.
func ExampleLinedTunnel() {
	for _, fill := range []float64{0, 1000} {
		drain := buried.LinedTunnel{Z: 4, Inner: 0.6, Outer: 0.8, Lining: 2000, Host: 1800, Fill: fill}
		g, err := drain.GZ(r3.Vec{})
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("fill %g kg/m³: %.2f µGal\n", fill, g/gravlab.MicroGal)
	}
	// Output:
	// fill 0 kg/m³: -6.21 µGal
	// fill 1000 kg/m³: -2.43 µGal
}

// A gradiometer with a finite baseline reads less or more than the gradient.
func ExamplePair() {
	void := buried.Sphere{Centre: r3.Vec{Z: 3}, Radius: 0.9, Contrast: -1900}
	pair := buried.Pair{Separation: r3.Vec{Z: 1}}
	reading, err := pair.Reading(void, r3.Vec{})
	if err != nil {
		fmt.Println(err)
		return
	}
	truth, _ := pair.True(void, r3.Vec{})
	fmt.Printf("reads %.2f E, the gradient is %.2f E\n", reading/gravlab.Eotvos, truth/gravlab.Eotvos)
	// Output:
	// reads -30.35 E, the gradient is -28.68 E
}

// Depth from the width of an anomaly, if the shape is known.
func ExampleDepthFromHalfWidth() {
	for _, shape := range []buried.Shape{buried.PointShape, buried.LineShape, buried.ShaftShape} {
		d, err := buried.DepthFromHalfWidth(shape, 4)
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("%v: %.2f m\n", shape, d)
	}
	// Output:
	// point: 5.22 m
	// line: 4.00 m
	// shaft: 2.31 m
}

// Excess mass from a map by Gauss's theorem, and what the map misses.
func ExampleExcessMass() {
	void := buried.Sphere{Centre: r3.Vec{Z: 7}, Radius: 2, Contrast: -1900}
	var x []float64
	for i := range 85 {
		x = append(x, float64(i)/2-21)
	}
	gz := make([][]float64, len(x))
	for i := range x {
		for j := range x {
			g, err := void.GZ(r3.Vec{X: x[i], Y: x[j]})
			if err != nil {
				fmt.Println(err)
				return
			}
			gz[i] = append(gz[i], g)
		}
	}
	c, err := buried.ExcessMass(x, x, gz, r3.Vec{Z: 7})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("caught %.1f t, a share of %.3f; corrected %.1f t; put in %.1f t\n", c.Integral/1e3, c.Fraction, c.Mass/1e3, void.Mass()/1e3)
	fmt.Printf("1 µGal of base level adds %.0f t\n", c.PerOffset*gravlab.MicroGal/1e3)
	// Output:
	// caught -45.4 t, a share of 0.713; corrected -63.7 t; put in -63.7 t
	// 1 µGal of base level adds 59 t
}

// A void and a layer on the surface that no gravity meter above ground tells
// apart.
func ExampleEquivalentLayer() {
	layer := buried.EquivalentLayer{Mass: -5000, Depth: 4}
	point := buried.Point{At: r3.Vec{Z: 4}, Mass: -5000}
	for _, x := range []float64{0, 3} {
		a, err := layer.GZ(0.5, x)
		if err != nil {
			fmt.Println(err)
			return
		}
		b, _ := point.GZ(r3.Vec{X: x, Z: -0.5})
		fmt.Printf("%g m: layer %.6f µGal, point %.6f µGal\n", x, a/gravlab.MicroGal, b/gravlab.MicroGal)
	}
	// Output:
	// 0 m: layer -1.647975 µGal, point -1.647975 µGal
	// 3 m: layer -0.949291 µGal, point -0.949291 µGal
}

// A profile with noise and a regional, inverted for a tunnel.
func ExampleInvert() {
	stations, err := buried.Line(31, 1)
	if err != nil {
		fmt.Println(err)
		return
	}
	meter := buried.Instrument{Noise: 1 * gravlab.MicroGal, Offset: 40 * gravlab.MicroGal, North: 3e-9}
	gz, err := meter.Readings(rand.New(rand.NewPCG(7, 1)), buried.InfiniteCylinder{X: 2, Z: 4, Radius: 1, Contrast: -1900}, stations)
	if err != nil {
		fmt.Println(err)
		return
	}
	data := buried.Anomaly{Stations: stations, GZ: gz}
	for range gz {
		data.Sigma = append(data.Sigma, 1*gravlab.MicroGal)
	}
	v, err := buried.Invert(data, []buried.Shape{buried.LineShape}, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	s := v.Sources[0]
	r, ur, _ := s.Radius(-1900)
	fmt.Printf("x %.1f ± %.1f m, depth %.1f ± %.1f m, radius %.2f ± %.2f m if empty\n", s.X, s.UX, s.Z, s.UZ, r, ur)
	fmt.Printf("depth and mass correlate at %.2f\n", s.DepthMass)
	// Output:
	// x 2.0 ± 0.1 m, depth 4.0 ± 0.3 m, radius 0.99 ± 0.04 m if empty
	// depth and mass correlate at -0.90
}

// What a plan could detect: noise, heights and correlated rocks in the way.
func ExamplePlan_Detect() {
	stations, err := buried.Line(21, 2)
	if err != nil {
		fmt.Println(err)
		return
	}
	rocks := buried.Rubble{Min: r3.Vec{X: -40, Y: -40, Z: 1}, Max: r3.Vec{X: 40, Y: 40, Z: 6}, Number: 0.05, Smallest: 0.2, Largest: 0.5, Contrast: 600}
	clutter, err := rocks.Clutter()
	if err != nil {
		fmt.Println(err)
		return
	}
	drain := buried.InfiniteCylinder{Z: 4, Radius: 0.6, Contrast: -1900}
	for _, p := range []buried.Plan{
		{Stations: stations, Noise: 2 * gravlab.MicroGal},
		{Stations: stations, Noise: 2 * gravlab.MicroGal, Height: 0.01, Clutter: &clutter},
	} {
		d, err := p.Detect(drain, 0.01, 8)
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("SNR %.1f against %.1f: detected with probability %.2f\n", d.SNR, d.Threshold, d.Probability)
	}
	// Output:
	// SNR 4.6 against 3.0: detected with probability 0.95
	// SNR 2.5 against 3.0: detected with probability 0.30
}

// Two loads on a lorry, weighed by their pull as it passes.
func ExampleFitLoads() {
	lorry := buried.Pass{Loads: []buried.Load{{X: -2, Mass: 1900, Height: 1.1}, {X: 2, Mass: 5200, Height: 1.5}}, Speed: 1.5}
	sensor := buried.Channel{At: r3.Vec{Y: 2.2}, Axis: r3.Vec{Y: -1}, Sigma: 1e-9}
	for i := range 200 {
		sensor.Times = append(sensor.Times, float64(i)/10-10)
	}
	record, err := lorry.Record(rand.New(rand.NewPCG(3, 1)), sensor, 2e-8)
	if err != nil {
		fmt.Println(err)
		return
	}
	guess := []buried.Load{{X: -1, Mass: 3000, Height: 1.1}, {X: 1, Mass: 3000, Height: 1.5}}
	f, err := buried.FitLoads([]buried.Channel{record}, 1.5, guess, nil, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	for i, l := range f.Loads {
		fmt.Printf("%.2f ± %.2f m, %.0f ± %.0f kg\n", l.X, f.UX[i], l.Mass, f.UMass[i])
	}
	fmt.Printf("together %.0f ± %.0f kg\n", f.Total, f.UTotal)
	// Output:
	// -2.02 ± 0.04 m, 1884 ± 33 kg
	// 1.98 ± 0.02 m, 5188 ± 40 kg
	// together 7071 ± 42 kg
}

// A section of cells: the smallest model that fits.
func ExampleGridInversion() {
	stations, err := buried.Line(21, 1)
	if err != nil {
		fmt.Println(err)
		return
	}
	gz, err := buried.GZAt(buried.InfiniteCylinder{Z: 3, Radius: 1, Contrast: -1900}, stations)
	if err != nil {
		fmt.Println(err)
		return
	}
	data := buried.Anomaly{Stations: stations, GZ: gz}
	for range gz {
		data.Sigma = append(data.Sigma, 1*gravlab.MicroGal)
	}
	var grid buried.Grid
	for i := range 21 {
		grid.X = append(grid.X, float64(i)-10)
	}
	for k := range 7 {
		grid.Z = append(grid.Z, 0.5+float64(k))
	}
	m, err := buried.GridInversion{Grid: grid, Lower: -1900}.Solve(data)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("mass per length %.1f t/m, put in %.1f t/m; its middle %.1f m down\n", m.Mass/1e3, -1900*math.Pi/1e3, m.Depth)
	// Output:
	// mass per length -6.3 t/m, put in -6.0 t/m; its middle 3.5 m down
}
