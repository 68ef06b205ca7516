package buried

import (
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

var sink float64

var benchPrism = Prism{Min: r3.Vec{X: -3, Y: -2, Z: 1.5}, Max: r3.Vec{X: 4.5, Y: 2.5, Z: 5}, Contrast: -1900}

func benchGZ(b *testing.B, body Body, at r3.Vec) {
	b.ReportAllocs()
	for b.Loop() {
		g, err := body.GZ(at)
		if err != nil {
			b.Fatal(err)
		}
		sink = g
		at.X += 1e-9
	}
}

func BenchmarkPrismGZ(b *testing.B) {
	b.Run("where=above", func(b *testing.B) { benchGZ(b, benchPrism, xyz(0.7, 0.2, 0)) })
	b.Run("where=beside", func(b *testing.B) { benchGZ(b, benchPrism, xyz(20.7, 9.2, 0)) })
	b.Run("where=far", func(b *testing.B) { benchGZ(b, benchPrism, xyz(2000.7, 9.2, 0)) })
}

func BenchmarkPrismGradient(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		t, err := benchPrism.Gradient(xyz(0.7, 0.2, 0))
		if err != nil {
			b.Fatal(err)
		}
		sink = t.ZZ
	}
}

// gz and the full tensor of one sphere.
func BenchmarkSphereGZAndGradient(b *testing.B) {
	s := Sphere{Centre: xyz(-3, -2, 5.5), Radius: 2, Contrast: -1900}
	at := xyz(0.7, 0.2, 0)
	b.ReportAllocs()
	for b.Loop() {
		g, err := s.GZ(at)
		t, err2 := s.Gradient(at)
		if err != nil || err2 != nil {
			b.Fatal(err, err2)
		}
		sink = g + t.ZZ
		at.X += 1e-9
	}
}

func BenchmarkPolygonGZ(b *testing.B) {
	b.Run("vertices=5", func(b *testing.B) {
		benchGZ(b, Polygon{Vertices: []XZ{{-4, 2}, {3, 2.5}, {6, 6}, {1, 8.5}, {-5, 5}}, Contrast: -600}, xyz(0.5, 0, 0))
	})
}

func BenchmarkCylinderGravity(b *testing.B) {
	c := Cylinder{Centre: xyz(0, 0, 6.5), Axis: xyz(0, 1, 0), Radius: 1.2, Length: 18, Contrast: -2100}
	b.Run("where=near", func(b *testing.B) { benchGZ(b, c, xyz(2.2, 4.5, 0)) })
	b.Run("where=far", func(b *testing.B) { benchGZ(b, c, xyz(220, 4.5, 0)) })
}

// 100,000 rocks at 1,000 stations, on all cores.
func BenchmarkRocks(b *testing.B) {
	rubble := Rubble{Min: xyz(-50, -50, 1), Max: xyz(50, 50, 11), Number: 1, Smallest: 0.05, Largest: 0.3, Contrast: 600}
	rocks, err := rubble.Scatter(rand.New(rand.NewPCG(1, 2)))
	if err != nil {
		b.Fatal(err)
	}
	stations, err := Line(1000, 0.1)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		g, err := GZAt(rocks, stations)
		if err != nil {
			b.Fatal(err)
		}
		sink = g[500]
	}
	b.ReportMetric(float64(len(rocks)), "rocks")
}

// One station, one body: no allocation.
func TestNoAllocation(t *testing.T) {
	at := xyz(0.7, 0.2, -0.3)
	for _, s := range solids() {
		if n := testing.AllocsPerRun(20, func() {
			g, _ := s.body.GZ(at)
			tensor, _ := s.body.Gradient(at)
			sink = g + tensor.XX
		}); n != 0 {
			t.Errorf("%s: %g allocations for gz and tensor", s.name, n)
		}
	}
}
