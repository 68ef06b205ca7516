package earth

import (
	"math"
	"testing"

	"gravity.example/gravlab"
)

// The shell theorem: gravity's slope is 4πGρ less what distance takes away, everywhere
// inside a layer, for any density.
func TestPoisson(t *testing.T) {
	for _, r := range []float64{4e5, 2.2e6, 3.6e6, 5.2e6, 5.75e6, 5.9e6, 6.0e6, 6.2e6, 6.35e6, 6.36e6, 6.3695e6} {
		const d = 100.0
		g := func(r float64) float64 { return gravlab.Must(PREM.Gravity(r)) }
		slope := (g(r+d) - g(r-d)) / (2 * d)
		want := 4*math.Pi*gravlab.G*gravlab.Must(PREM.Density(r)) - 2*g(r)/r
		// The third derivative of g is of the size of 4πGρ/r².
		if math.Abs(slope-want) > 1e-8*4*math.Pi*gravlab.G*5500 {
			t.Errorf("at %g m g grows outwards by %g, want %g", r, slope, want)
		}
	}
}

// A ball of one density, and a point of its surface; a hollow ball has no gravity inside.
func TestInteriorOfOneDensity(t *testing.T) {
	ball := Interior{Radius: 1000, Shells: []Shell{{600, []float64{0}}, {1000, []float64{3000}}}}
	if g := gravlab.Must(ball.Gravity(500)); g != 0 {
		t.Errorf("inside a hollow ball g is %g", g)
	}
	want := gravlab.G * 4 * math.Pi / 3 * 3000 * (1 - 0.216) * 1000
	if g := gravlab.Must(ball.Gravity(1000)); math.Abs(g/want-1) > 1e-14 {
		t.Errorf("g is %g, want %g", g, want)
	}
	full := Interior{Radius: 1000, Shells: []Shell{{1000, []float64{3000}}}}
	if f := gravlab.Must(full.Inertia(1000)) / gravlab.Must(full.Mass(1000)) / 1e6; math.Abs(f-0.4) > 1e-15 {
		t.Errorf("moment of inertia over M R² is %g, want 0.4", f)
	}
	if g := gravlab.Must(PREM.Gravity(0)); g != 0 {
		t.Errorf("g at the centre is %g", g)
	}
}

// g is almost constant through the mantle: within 3 % of 10 m/s² down to 2,300 km. It is
// largest at the core.
func TestMantle(t *testing.T) {
	for depth := 30e3; depth <= 2300e3; depth += 10e3 {
		if g := gravlab.Must(PREM.Gravity(PREM.Radius - depth)); math.Abs(g-10) > 0.3 {
			t.Errorf("%g km down g is %.3f m/s²", depth/1000, g)
		}
	}
	most, where := 0.0, 0.0
	for r := 1e3; r <= PREM.Radius; r += 1e3 {
		if g := gravlab.Must(PREM.Gravity(r)); g > most {
			most, where = g, r
		}
	}
	if where != 3480e3 {
		t.Errorf("g is largest at %g m", where)
	}
}

// The shaft and the mine are the same physics: a uniform shell around a round Earth.
func TestShaft(t *testing.T) {
	const rock, radius, depth = 2700.0, 6371e3, 400.0
	mean := 5515.0
	g := 4 * math.Pi / 3 * gravlab.G * mean * radius
	below := gravlab.G * 4 * math.Pi / 3 * (mean*math.Pow(radius, 3) - rock*(math.Pow(radius, 3)-math.Pow(radius-depth, 3))) / math.Pow(radius-depth, 2)
	if d := gravlab.Must(MineDensity(rock, depth, radius, below/g-1)); math.Abs(d/mean-1) > 1e-9 {
		t.Errorf("mean density %g, want %g", d, mean)
	}
	// To first order in depth over radius.
	slope := gravlab.Must(ShaftGradient(2*g/radius, rock))
	if math.Abs(slope-(below-g)/depth) > 3*depth/radius*2*g/radius {
		t.Errorf("the shaft has %g, shells give %g", slope, (below-g)/depth)
	}
	if d := gravlab.Must(ShaftDensity(2*g/radius, slope)); math.Abs(d-rock) > 1e-9 {
		t.Errorf("density %g, want %g", d, rock)
	}
}

func TestInteriorRefuses(t *testing.T) {
	for name, f := range map[string]func() error{
		"outside":   func() error { _, err := PREM.Gravity(6372e3); return err },
		"NaN":       func() error { _, err := PREM.Mass(math.NaN()); return err },
		"no shells": func() error { return Interior{Radius: 1}.Validate() },
		"not rising": func() error {
			return Interior{Radius: 1, Shells: []Shell{{2, []float64{1}}, {1, []float64{1}}}}.Validate()
		},
		"not the end": func() error { return Interior{Radius: 3, Shells: []Shell{{2, []float64{1}}}}.Validate() },
		"no density":  func() error { return Interior{Radius: 2, Shells: []Shell{{2, nil}}}.Validate() },
		"g/cm³":       func() error { _, err := ShaftGradient(3.086e-6, 2.67); return err },
		"mGal":        func() error { _, err := ShaftDensity(0.3086, 0); return err },
		"too steep":   func() error { _, err := MineDensity(2500, 383, 6371e3, 1e-3); return err },
		"sinks":       func() error { _, err := AiryRoot(1000, 3300, 2700); return err },
		"no depth":    func() error { _, err := PrattDensity(1000, 0, 2700); return err },
		"no wave":     func() error { _, _, err := CompensatedWave(2700, 0, 3e4); return err },
	} {
		if f() == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func TestIsostasy(t *testing.T) {
	// Equal columns, whatever carries the plateau.
	const height, crust, mantle, thick = 2500.0, 2750.0, 3300.0, 35e3
	root := gravlab.Must(AiryRoot(height, crust, mantle))
	if plateau, lowland := crust*(height+thick+root), crust*thick+mantle*root; math.Abs(plateau/lowland-1) > 1e-14 {
		t.Errorf("columns of %g and %g kg/m²", plateau, lowland)
	}
	if d := gravlab.Must(PrattDensity(height, 100e3, crust)); math.Abs(d*102.5e3/(crust*100e3)-1) > 1e-14 {
		t.Errorf("density %g", d)
	}
	for _, depth := range []float64{0, 30e3, 1e7} {
		free, bouguer, err := CompensatedWave(crust, 200e3, depth)
		if slab := 2 * math.Pi * gravlab.G * crust; err != nil || math.Abs(free-bouguer-slab) > 1e-14*slab {
			t.Errorf("depth %g: free air %g, Bouguer %g, slab %g, %v", depth, free, bouguer, slab, err)
		}
	}
}
