package survey

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gravity.example/gravlab/earth"
)

// rough is hilly ground on square cells, its middle at 0, 0.
func rough(cells int, cell, relief float64) Terrain {
	t := Terrain{North: -cell * float64(cells-1) / 2, East: -cell * float64(cells-1) / 2, Cell: cell, Density: 2670}
	size := cell * float64(cells)
	for i := range cells {
		row := make([]float64, cells)
		for j := range row {
			y, x := t.North+cell*float64(i), t.East+cell*float64(j)
			row[j] = 300 + relief*(math.Sin(9*y/size)*math.Cos(7*x/size)+0.3*math.Sin(31*y/size+2)*math.Sin(37*x/size)) + 0.05*y
		}
		t.Heights = append(t.Heights, row)
	}
	return t
}

// TestTerrainPyramid: blocks are the cells they are made of, to the stated 0.2 % and
// 0.1 µGal, on low and on steep ground, with the same number of cells.
func TestTerrainPyramid(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	for _, relief := range []float64{3, 40, 200} {
		ground := rough(301, 10, relief)
		p, err := NewTerrainPyramid(ground)
		if err != nil {
			t.Fatal(err)
		}
		for range 3 {
			north, east := 600*(rng.Float64()-0.5), 600*(rng.Float64()-0.5)
			h, _, _, err := ground.Ground(north, east)
			if err != nil {
				t.Fatal(err)
			}
			want, cells, err := ground.Correction(north, east, h, 30, 1100)
			if err != nil {
				t.Fatal(err)
			}
			got, n, err := p.Correction(north, east, h, 30, 1100)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(got-want) > 0.002*want+1e-9 || n != cells {
				t.Errorf("relief %g m: %.4g m/s² of %d cells, want %.4g of %d (%.2g %%)", relief, got, n, want, cells, 100*(got/want-1))
			}
		}
	}
}

// TestNearSlope: on an even slope it is Slope itself, with no uncertainty.
func TestNearSlope(t *testing.T) {
	ground := rough(61, 5, 0)
	p, err := NewTerrainPyramid(ground)
	if err != nil {
		t.Fatal(err)
	}
	got, slope, u, err := p.NearSlope(3, 4, 20)
	if err != nil {
		t.Fatal(err)
	}
	want, err := Slope(math.Atan(0.05), 20, 2670)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(slope-math.Atan(0.05)) > 1e-9 || math.Abs(got-want) > 1e-9*want || u > 1e-6*want {
		t.Errorf("%v ± %v at %v rad, want %v", got, u, slope, want)
	}
}

// TestFrame: there and back, and distances that agree with the arc of the meridian and the
// circle of latitude, whose radii are in any textbook.
func TestFrame(t *testing.T) {
	f := Frame{Lat: 54.6 * math.Pi / 180, Lon: -2.4 * math.Pi / 180, Ellipsoid: earth.GRS80}
	rng := rand.New(rand.NewPCG(1, 2))
	for range 50 {
		n, e := 4e4*(rng.Float64()-0.5), 4e4*(rng.Float64()-0.5)
		lat, lon, err := f.Place(n, e)
		if err != nil {
			t.Fatal(err)
		}
		n2, e2, err := f.Metres(lat, lon)
		if err != nil || math.Hypot(n-n2, e-e2) > 1e-6 {
			t.Errorf("north %v, east %v comes back as %v, %v (%v)", n, e, n2, e2, err)
		}
	}
	across, err := f.Ellipsoid.PrimeVertical(f.Lat)
	if err != nil {
		t.Fatal(err)
	}
	s := math.Sin(f.Lat)
	along := f.Ellipsoid.A * (1 - f.Ellipsoid.E2()) / math.Pow(1-f.Ellipsoid.E2()*s*s, 1.5)
	const step = 1e-4
	n, e, err := f.Metres(f.Lat+step, f.Lon)
	if err != nil || math.Abs(n-along*step) > 2e-3 || math.Abs(e) > 1e-6 {
		t.Errorf("a step north is %v, %v, want %v, 0", n, e, along*step)
	}
	n, e, err = f.Metres(f.Lat, f.Lon+step)
	if err != nil || math.Abs(e-across*math.Cos(f.Lat)*step) > 1e-3 {
		t.Errorf("a step east is %v, %v, want %v", n, e, across*math.Cos(f.Lat)*step)
	}
	if _, _, err := f.Metres(f.Lon, f.Lat); err == nil {
		t.Error("latitude and longitude exchanged went through")
	}
}

// TestSurface: the values are met within their uncertainty, what is left out is predicted as
// often within its uncertainty as it should be, and a value that is off is found.
func TestSurface(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 1))
	var n, e, v, u []float64
	field := func(n, e float64) float64 {
		return 3 + 0.1*n - 0.05*e - 60/math.Pow(1+((n-10)*(n-10)+(e+5)*(e+5))/400, 1.5)
	}
	for i := range 60 {
		y, x := 12*float64(i/8)+2*rng.Float64()-40, 12*float64(i%8)+2*rng.Float64()-42
		n, e, v, u = append(n, y), append(e, x), append(v, field(y, x)+3*rng.NormFloat64()), append(u, 3)
	}
	s, err := FitSurface(n, e, v, u)
	if err != nil {
		t.Fatal(err)
	}
	inside, total := 0, 0
	for y := -30.0; y <= 40; y += 7 {
		for x := -35.0; x <= 40; x += 7 {
			got, uGot := s.At(y, x)
			if math.Abs(got-s.Value(y, x)) > 1e-9 {
				t.Errorf("At and Value differ at %g, %g", y, x)
			}
			total++
			if math.Abs(got-field(y, x)) <= 2*uGot {
				inside++
			}
		}
	}
	// Neighbouring places err alike, so that this is a check of size, not of the last per cent.
	if share := float64(inside) / float64(total); share < 0.85 {
		t.Errorf("%.0f %% of the field within twice its uncertainty, want some 95 %%", 100*share)
	}
	sum := 0.0
	for _, o := range s.LeaveOneOut() {
		sum += o.W * o.W
	}
	if mean := sum / float64(len(v)); mean < 0.5 || mean > 1.7 {
		t.Errorf("mean square of the left-out deviations %v, want about 1", mean)
	}
	// Against the definition: the fit without one value predicts it.
	s1, err := newSurface(append(n[:0:0], n[1:]...), append(e[:0:0], e[1:]...), append(v[:0:0], v[1:]...), append(u[:0:0], u[1:]...), all(59), s.s, s.l)
	if err != nil {
		t.Fatal(err)
	}
	p, up := s1.At(n[0], e[0])
	if o := s.LeaveOneOut()[0]; math.Abs(o.Predicted-p) > 1e-6 || math.Abs(o.U-math.Hypot(up, 3)) > 1e-6 {
		t.Errorf("left out: %v ± %v, want %v ± %v", o.Predicted, o.U, p, math.Hypot(up, 3))
	}
	v[20] += 91
	s, err = FitSurface(n, e, v, u)
	if err != nil {
		t.Fatal(err)
	}
	for i, o := range s.LeaveOneOutFreely() {
		if (math.Abs(o.W) > 5) != (i == 20) {
			t.Errorf("value %d is %.1f standard uncertainties off what the others expect", i, o.W)
		}
	}
	if _, err := FitSurface([]float64{0, 1, 2, 3, 4}, []float64{0, 1, 2, 3, 4}, []float64{1, 2, 3, 4, 5}, []float64{1, 1, 1, 1, 1}); err == nil {
		t.Error("a plane was laid through a line")
	}
}

// BenchmarkTerrainStations is 1000 stations on 10⁷ cells on one processor.
func BenchmarkTerrainStations(b *testing.B) {
	for _, cells := range []int{1000, 3163} {
		ground := rough(cells, 5, 40)
		b.Run(fmt.Sprintf("cells=%d", cells*cells), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				p, err := NewTerrainPyramid(ground)
				if err != nil {
					b.Fatal(err)
				}
				for i := range 1000 {
					north, east := float64(i%32)*20-320, float64(i/32)*20-320
					h, _, _, err := ground.ground("", north, east)
					if err != nil {
						b.Fatal(err)
					}
					if _, _, err := p.Correction(north, east, h, 15, 2000); err != nil {
						b.Fatal(err)
					}
				}
			}
		})
	}
}
