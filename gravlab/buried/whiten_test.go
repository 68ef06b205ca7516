package buried

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/signal"
)

// snrByCholesky is the long way: the covariance in full, factorised and solved
// by a general-purpose library, whatever its structure.
func snrByCholesky(p Plan, b Body) (float64, error) {
	signal, err := GZAt(b, p.Stations)
	if err != nil {
		return 0, err
	}
	var place []Tensor
	if p.Place > 0 {
		if place, err = GradientAt(b, p.Stations); err != nil {
			return 0, err
		}
	}
	var factor mat.Cholesky
	if !factor.Factorize(p.covariance(place)) {
		return 0, p.lost()
	}
	var lower mat.TriDense
	factor.LTo(&lower)
	columns := append(regional(p.Stations), signal)
	for i, v := range columns {
		var w mat.VecDense
		if err := w.SolveVec(&lower, mat.NewVecDense(len(v), v)); err != nil {
			return 0, err
		}
		columns[i] = w.RawVector().Data
	}
	return ratio(columns)
}

// Every way of making the noise white gives the ratio that the full covariance
// gives, whatever disturbs and wherever the stations are.
func TestEveryWayOfWhitening(t *testing.T) {
	rng := seeded(61)
	ways := map[string]int{}
	for trial := range 300 {
		n := 2 + rng.IntN(60)
		spacing, heading := 0.3+2*rng.Float64(), 2*math.Pi*rng.Float64()
		p := Plan{Noise: 2e-8 * math.Exp(rng.NormFloat64()), Stations: make([]r3.Vec, n)}
		scattered := rng.IntN(3) == 0
		for i := range p.Stations {
			at := (float64(i) - float64(n/3)) * spacing
			p.Stations[i] = r3.Vec{X: at * math.Cos(heading), Y: at * math.Sin(heading), Z: -0.3 * rng.Float64()}
			if scattered {
				p.Stations[i].X += spacing * rng.NormFloat64()
				p.Stations[i].Y += spacing * rng.NormFloat64()
			}
		}
		if rng.IntN(2) == 0 {
			p.Drift = 1e-8 * rng.ExpFloat64()
		}
		if rng.IntN(2) == 0 {
			p.Height = 0.01 * rng.Float64()
		}
		if rng.IntN(3) == 0 {
			p.Place = rng.Float64()
		}
		if rng.IntN(3) > 0 {
			top := 0.5 + 2*rng.Float64()
			p.Clutter = &Clutter{Number: 0.3, Mass: 100 * rng.Float64(), Top: top, Bottom: top + 5*rng.Float64() + 0.1}
		}
		body := Sphere{Centre: r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: 3}, Radius: 1, Contrast: -1900}
		way := "dense"
		if _, even := evenSpacing(p.Stations); p.Clutter == nil {
			way = "walk"
		} else if even && p.Place == 0 {
			way = "even line"
		}
		ways[way]++
		got, err := p.SNR(body)
		if err != nil {
			t.Fatal(err)
		}
		want, err := snrByCholesky(p, body)
		if err != nil {
			t.Fatal(err)
		}
		// The second 1e-9 is for two or three stations, where base level and
		// slope leave nothing of the signal.
		if math.Abs(got-want) > 1e-9*want+1e-9 {
			t.Errorf("trial %d, %s, %d stations: %.12g, by the full covariance %.12g", trial, way, n, got, want)
		}
	}
	for _, way := range []string{"walk", "even line", "dense"} {
		if ways[way] < 30 {
			t.Errorf("only %d trials by the way %q", ways[way], way)
		}
	}
}

// Without a drift the order of the stations does not matter, though an even line
// out of order is no even line any more.
func TestOrderWithoutDrift(t *testing.T) {
	stations, _ := Line(80, 0.5)
	p := Plan{Stations: stations, Noise: 2e-8, Clutter: &Clutter{Number: 0.5, Mass: 60, Top: 1, Bottom: 6}}
	tunnel := InfiniteCylinder{X: 2, Z: 4, Radius: 0.8, Contrast: -1900}
	want, err := p.SNR(tunnel)
	if err != nil {
		t.Fatal(err)
	}
	p.Stations = append([]r3.Vec(nil), stations...)
	seeded(4).Shuffle(len(stations), func(i, j int) { p.Stations[i], p.Stations[j] = p.Stations[j], p.Stations[i] })
	got, err := p.SNR(tunnel)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "out of order", got, want, 1e-10)
}

// Where the drift is all the noise there is, the differences of neighbours are
// independent: what they keep of the signal when their mean, the slope, is taken
// off is all that counts.
func TestDriftAlone(t *testing.T) {
	stations, _ := Line(2000, 0.05)
	tunnel := InfiniteCylinder{Z: 4, Radius: 0.8, Contrast: -1900}
	got, err := Plan{Stations: stations, Noise: 1e-13, Drift: 1e-8}.SNR(tunnel)
	if err != nil {
		t.Fatal(err)
	}
	gz, _ := GZAt(tunnel, stations)
	mean, sum := (gz[1999]-gz[0])/1999, 0.0
	for i := range 1999 {
		d := gz[i+1] - gz[i] - mean
		sum += d * d
	}
	closeTo(t, "drift alone", got, math.Sqrt(sum)/1e-8, 1e-6)
}

// Noise that rounding loses beside the clutter is an error and no number.
func TestNoiseLostBesideClutter(t *testing.T) {
	stations, _ := Line(200, 0.1)
	tunnel := InfiniteCylinder{Z: 4, Radius: 0.8, Contrast: -1900}
	c := Clutter{Number: 0.5, Mass: 60, Top: 2, Bottom: 6}
	rms, _ := c.RMS()
	for _, drift := range []float64{0, 1e-18} {
		for _, shift := range []float64{0, 0.01} {
			p := Plan{Stations: append([]r3.Vec(nil), stations...), Noise: 1e-10 * rms, Drift: drift, Clutter: &c}
			p.Stations[7].X += shift
			if snr, err := p.SNR(tunnel); err == nil || !strings.Contains(err.Error(), "lost beside") {
				t.Errorf("drift %g, station off by %g: ratio %g, error %v", drift, shift, snr, err)
			}
			p.Noise = 1e-3 * rms
			got, err := p.SNR(tunnel)
			if err != nil {
				t.Fatal(err)
			}
			want, err := snrByCholesky(p, tunnel)
			if err != nil {
				t.Fatal(err)
			}
			closeTo(t, "with a thousandth", got, want, 1e-7)
		}
	}
}

// PlanFor with errors of place beside clutter finds the fewest, and the smallest
// radius is where the ratio is the needed one, whatever way the noise takes.
func TestFewestAndSmallestInClutter(t *testing.T) {
	c := Clutter{Number: 0.05, Mass: 60, Top: 1.5, Bottom: 6}
	noise := Plan{Noise: 1e-7, Clutter: &c}
	body := Sphere{Centre: r3.Vec{Z: 2.5}, Radius: 1.1, Contrast: -1900}
	var fewest [2]int
	for i, place := range []float64{0, 0.6} {
		noise.Place = place
		p, d, err := PlanFor(body, noise, 30, 0.9, 0.01, 3, 300)
		if err != nil || d.Probability < 0.9 {
			t.Fatal(err, d)
		}
		fewest[i] = len(p.Stations)
		for n := 3; n < len(p.Stations); n++ {
			less := noise
			less.Stations, _ = Line(n, 30/float64(n-1))
			if d, err := less.Detect(body, 0.01, 3); err != nil || d.Probability >= 0.9 {
				t.Errorf("place %g: %d stations were planned, %d reach %g (%v)", place, len(p.Stations), n, d.Probability, err)
			}
		}
		for _, shift := range []float64{0, 0.05} {
			p.Stations[1].X += shift
			r, err := p.SmallestRadius(func(r float64) Body { return Sphere{Centre: r3.Vec{Z: 2.5}, Radius: r, Contrast: -1900} }, 2, 0.9, 0.01, 3)
			if err != nil {
				t.Fatal(err)
			}
			perTrial := -math.Expm1(math.Log1p(-0.01) / 3)
			need, _ := signal.NeededSNR(perTrial, 0.9)
			have, _ := snrByCholesky(p, Sphere{Centre: r3.Vec{Z: 2.5}, Radius: r, Contrast: -1900})
			closeTo(t, fmt.Sprintf("ratio at the smallest radius, place %g, station off by %g", place, shift), have, need, 1e-9)
		}
	}
	if fewest[1] <= fewest[0] {
		t.Errorf("%d stations with errors of place, %d without", fewest[1], fewest[0])
	}
}

// Plans of unlike structure, the way that each allows beside the full covariance.
func BenchmarkPlanSNR(b *testing.B) {
	tunnel := InfiniteCylinder{Z: 5, Radius: 0.9, Contrast: -1900}
	c := Clutter{Number: 0.5, Mass: 20, Top: 1, Bottom: 8}
	for _, n := range []int{500, 2000} {
		line, _ := Line(n, 200/float64(n-1))
		scattered := append([]r3.Vec(nil), line...)
		rng := rand.New(rand.NewPCG(1, 1))
		for i := range scattered {
			scattered[i].Y = 20 * rng.Float64()
		}
		for _, kind := range []struct {
			name string
			plan Plan
		}{
			{"no clutter", Plan{Stations: line, Noise: 4e-7, Drift: 1e-9}},
			{"even line", Plan{Stations: line, Noise: 4e-7, Drift: 1e-9, Clutter: &c}},
			{"scattered", Plan{Stations: scattered, Noise: 4e-7, Clutter: &c}},
		} {
			for _, way := range []struct {
				name string
				snr  func(Plan, Body) (float64, error)
			}{{"by structure", Plan.SNR}, {"by full covariance", snrByCholesky}} {
				b.Run(fmt.Sprintf("stations=%d/%s/%s", n, kind.name, way.name), func(b *testing.B) {
					b.ReportAllocs()
					for b.Loop() {
						snr, err := way.snr(kind.plan, tunnel)
						if err != nil {
							b.Fatal(err)
						}
						sink = snr
					}
				})
			}
		}
	}
}

// A tunnel that needs some hundreds of stations in weak clutter: the search by
// structure, and the same numbers of stations by the full covariance.
func BenchmarkPlanFor(b *testing.B) {
	c := Clutter{Number: 0.5, Mass: 20, Top: 1, Bottom: 8}
	tunnel := InfiniteCylinder{Z: 5, Radius: 1.2, Contrast: -1900}
	noise := Plan{Noise: 1.7e-7, Clutter: &c}
	p, _, err := PlanFor(tunnel, noise, 200, 0.9, 0.01, 20, 2000)
	if err != nil {
		b.Fatal(err)
	}
	fewest := len(p.Stations)
	b.Run("by structure", func(b *testing.B) {
		for b.Loop() {
			if _, _, err := PlanFor(tunnel, noise, 200, 0.9, 0.01, 20, 2000); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(fewest), "stations")
	})
	b.Run("by full covariance", func(b *testing.B) {
		for b.Loop() {
			for n := 3; n <= fewest; n++ {
				noise.Stations, _ = Line(n, 200/float64(n-1))
				if sink, err = snrByCholesky(noise, tunnel); err != nil {
					b.Fatal(err)
				}
			}
		}
		b.ReportMetric(float64(fewest), "stations")
	})
}
