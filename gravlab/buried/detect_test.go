package buried

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/signal"
)

// White noise: the general formula is the sum of squares of what is left of the
// signal when its mean and slope are taken off.
func TestSNRWithWhiteNoise(t *testing.T) {
	stations, _ := Line(21, 2.5)
	tunnel := InfiniteCylinder{Z: 10, Radius: 1.2, Contrast: -2100}
	p := Plan{Stations: stations, Noise: 4e-8}
	got, err := p.SNR(tunnel)
	if err != nil {
		t.Fatal(err)
	}
	gz, _ := GZAt(tunnel, stations)
	mean := 0.0
	for _, g := range gz {
		mean += g / 21
	}
	sum := 0.0
	for _, g := range gz { // centred profile: no slope
		sum += (g - mean) * (g - mean)
	}
	closeTo(t, "SNR", got, math.Sqrt(sum)/4e-8, 1e-12)
	// It is also |mass|/u of a fit with known place; scaling with contrast and noise.
	twice, _ := Plan{Stations: stations, Noise: 8e-8}.SNR(tunnel)
	closeTo(t, "half for twice the noise", twice, got/2, 1e-12)
	// A slab is all base level, a slope all slope: nothing is left.
	none, err := p.SNR(Slab{Top: 3, Thickness: 5, Contrast: -2000})
	if err != nil || none > 1e-6 {
		t.Errorf("a slab is seen with %g (%v)", none, err)
	}
}

// Everything that disturbs lowers the ratio; correlated clutter more than white
// noise of the same size would, for a signal as wide as its correlation.
func TestWhatLowersTheSNR(t *testing.T) {
	stations, _ := Line(31, 1)
	tunnel := InfiniteCylinder{Z: 4, Radius: 0.8, Contrast: -1900}
	clean := Plan{Stations: stations, Noise: 2e-8}
	best, err := clean.SNR(tunnel)
	if err != nil {
		t.Fatal(err)
	}
	c := Clutter{Number: 0.5, Mass: 120, Top: 1, Bottom: 8}
	rms, _ := c.RMS()
	for name, worse := range map[string]Plan{
		"height":  {Stations: stations, Noise: 2e-8, Height: 0.01},
		"place":   {Stations: stations, Noise: 2e-8, Place: 0.5},
		"drift":   {Stations: stations, Noise: 2e-8, Drift: 1e-8},
		"clutter": {Stations: stations, Noise: 2e-8, Clutter: &c},
	} {
		got, err := worse.SNR(tunnel)
		if err != nil || got >= best || got <= 0 {
			t.Errorf("%s: %g (%v), without it %g", name, got, err, best)
		}
	}
	with, _ := Plan{Stations: stations, Noise: 2e-8, Clutter: &c}.SNR(tunnel)
	white, _ := Plan{Stations: stations, Noise: math.Hypot(2e-8, rms)}.SNR(tunnel)
	if with > 0.95*white {
		t.Errorf("correlated clutter leaves %g, white noise of its size %g", with, white)
	}
	// Height error is 3086 E times it.
	h, _ := Plan{Stations: stations, Noise: 2e-8, Height: 0.01}.SNR(tunnel)
	same, _ := Plan{Stations: stations, Noise: math.Hypot(2e-8, 3086*gravlab.Eotvos*0.01)}.SNR(tunnel)
	closeTo(t, "height as noise", h, same, 1e-9)
}

// Detection and false alarm, counted in 4,000 simulated surveys with noise,
// clutter as a Gaussian field, base level and slope: the matched filter passes
// its threshold as often as the formulas say.
func TestDetectionCounted(t *testing.T) {
	stations, _ := Line(15, 1.5)
	c := Clutter{Number: 0.02, Mass: 150, Top: 1, Bottom: 6}
	p := Plan{Stations: stations, Noise: 3e-8, Clutter: &c}
	tunnel := InfiniteCylinder{Z: 4, Radius: 0.5, Contrast: -1900}
	d, err := p.Detect(tunnel, 0.05, 1)
	if err != nil {
		t.Fatal(err)
	}
	gz, _ := GZAt(tunnel, stations)
	cov := p.covariance(nil)
	lower := choleskyRows(cov.At, len(stations))
	rng := seeded(31)
	// The matched filter by generalised least squares: estimate of the amplitude
	// of the signal beside level and slope, over its standard deviation.
	filter := amplitudeFilter(lower, gz, stations)
	const n = 4000
	alarms, found := 0, 0
	for range n {
		noise := make([]float64, len(stations))
		for i := range noise {
			noise[i] = rng.NormFloat64()
		}
		base, slope := 1e-5*rng.NormFloat64(), 1e-6*rng.NormFloat64()
		x := make([]float64, len(stations))
		for i := range x {
			for j := range i + 1 {
				x[i] += lower[i][j] * noise[j]
			}
			x[i] += base + slope*stations[i].X
		}
		if filter(x) > d.Threshold {
			alarms++
		}
		for i := range x {
			x[i] += gz[i]
		}
		if filter(x) > d.Threshold {
			found++
		}
	}
	if lo, hi := binomialLimits(n, 0.05, 1e-3); alarms < lo || alarms > hi {
		t.Errorf("%d false alarms in %d, want %d to %d", alarms, n, lo, hi)
	}
	if lo, hi := binomialLimits(n, d.Probability, 1e-3); found < lo || found > hi {
		t.Errorf("%d of %d found, want %d to %d (probability %g)", found, n, lo, hi, d.Probability)
	}
	if d.Probability < 0.2 || d.Probability > 0.99 {
		t.Errorf("the probability %g shows little", d.Probability)
	}
}

func choleskyRows(at func(i, j int) float64, n int) [][]float64 {
	l := make([][]float64, n)
	for i := range l {
		l[i] = make([]float64, n)
		for j := range i + 1 {
			sum := at(i, j)
			for k := range j {
				sum -= l[i][k] * l[j][k]
			}
			if i == j {
				l[i][i] = math.Sqrt(sum)
			} else {
				l[i][j] = sum / l[j][j]
			}
		}
	}
	return l
}

func amplitudeFilter(lower [][]float64, signal []float64, stations []r3.Vec) func([]float64) float64 {
	whiten := func(v []float64) []float64 {
		w := make([]float64, len(v))
		for i := range w {
			sum := v[i]
			for j := range i {
				sum -= lower[i][j] * w[j]
			}
			w[i] = sum / lower[i][i]
		}
		return w
	}
	one, x := make([]float64, len(stations)), make([]float64, len(stations))
	for i := range one {
		one[i], x[i] = 1, stations[i].X
	}
	basis := extend(extend(nil, whiten(one)), whiten(x))
	s := whiten(signal)
	without(s, basis)
	norm := math.Sqrt(dot(s, s))
	return func(data []float64) float64 { return dot(whiten(data), s) / norm }
}

func TestPlans(t *testing.T) {
	tunnel := InfiniteCylinder{Z: 5, Radius: 0.9, Contrast: -1900}
	p, d, err := PlanFor(tunnel, Plan{Noise: 4e-8}, 40, 0.95, 0.01, 8, 500)
	if err != nil {
		t.Fatal(err)
	}
	n := len(p.Stations)
	if d.Probability < 0.95 {
		t.Errorf("%d stations reach %g", n, d.Probability)
	}
	fewer, _ := Line(n-1, 40/float64(n-2))
	if less, _ := (Plan{Stations: fewer, Noise: 4e-8}).Detect(tunnel, 0.01, 8); less.Probability >= 0.95 {
		t.Errorf("%d stations would do: %g", n-1, less.Probability)
	}
	// With clutter, more stations soon stop helping: the error says how far they get.
	c := Clutter{Number: 0.5, Mass: 2000, Top: 1, Bottom: 8}
	if _, d, err := PlanFor(tunnel, Plan{Noise: 4e-8, Clutter: &c}, 40, 0.95, 0.01, 8, 200); err == nil || d.Probability >= 0.95 {
		t.Errorf("in heavy clutter: %v, probability %g", err, d.Probability)
	}
	// The smallest radius: gz goes as R², so that the ratio there is the needed one.
	make := func(r float64) Body { return InfiniteCylinder{Z: 5, Radius: r, Contrast: -1900} }
	r, err := p.SmallestRadius(make, 4.9, 0.95, 0.01, 8)
	if err != nil {
		t.Fatal(err)
	}
	perTrial := -math.Expm1(math.Log1p(-0.01) / 8)
	need, _ := signal.NeededSNR(perTrial, 0.95)
	have, _ := p.SNR(tunnel)
	closeTo(t, "smallest radius", r, 0.9*math.Sqrt(need/have), 1e-9)
	if _, err := p.SmallestRadius(make, 0.1, 0.95, 0.01, 8); err == nil {
		t.Error("a radius of 10 cm was found")
	}
	for _, bad := range []Plan{
		{}, {Stations: p.Stations}, {Stations: p.Stations, Noise: -1},
		{Stations: p.Stations, Noise: 1e-8, Clutter: &Clutter{Number: 1, Mass: 1, Top: 0, Bottom: 2}},
		{Stations: []r3.Vec{{X: math.NaN()}, {}}, Noise: 1e-8},
	} {
		if _, err := bad.SNR(tunnel); err == nil {
			t.Errorf("%v: no error", bad)
		}
	}
}

// A vehicle passes: what is put in comes out within its uncertainty, places
// much better than the split of the mass between neighbours.
func TestLoadsComeBack(t *testing.T) {
	truth := Pass{Loads: []Load{{X: -2, Mass: 1900, Height: 1.1}, {X: 1.9, Mass: 5200, Height: 1.5}}, Speed: 1.7}
	var times []float64
	for i := range 400 {
		times = append(times, float64(i)*0.05-10)
	}
	rng := seeded(41)
	var channels []Channel
	for _, at := range []r3.Vec{{Y: 2.2}, {Y: -2.5, Z: -1}} {
		c, err := truth.Record(rng, Channel{At: at, Axis: r3.Vec{Y: -at.Y}, Times: times, Sigma: 1e-9}, 3e-8)
		if err != nil {
			t.Fatal(err)
		}
		channels = append(channels, c)
	}
	guess := []Load{{X: -1, Mass: 3000, Height: 1.1}, {X: 1, Mass: 3000, Height: 1.5}}
	f, err := FitLoads(channels, 1.7, guess, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i, l := range f.Loads {
		if math.Abs(l.X-truth.Loads[i].X) > 4*f.UX[i] || math.Abs(l.Mass-truth.Loads[i].Mass) > 4*f.UMass[i] {
			t.Errorf("load %d: %g ± %g m, %g ± %g kg, want %v", i, l.X, f.UX[i], l.Mass, f.UMass[i], truth.Loads[i])
		}
	}
	if math.Abs(f.Total-7100) > 4*f.UTotal {
		t.Errorf("total %g ± %g, want 7100", f.Total, f.UTotal)
	}
	// A wrong speed scales the places about the time of closest approach.
	wrong, err := FitLoads(channels[:1], 1.7*1.1, guess, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	gap := wrong.Loads[1].X - wrong.Loads[0].X
	if gap < 3.9*1.03 {
		t.Errorf("with the speed 10 %% high the loads are %g m apart, want more than 3.9", gap)
	}
	// Bounds from a box and densities.
	lo, hi, err := Cargo{2, 2, 1}.MassBounds(25, 1000)
	if err != nil || lo != 100 || hi != 4000 {
		t.Errorf("bounds %g %g %v", lo, hi, err)
	}
	bounded, err := FitLoads(channels, 1.7, guess, []float64{lo, lo}, []float64{hi, hi})
	if err != nil {
		t.Fatal(err)
	}
	if bounded.Loads[1].Mass > 4000*(1+1e-9) || len(bounded.Fit.AtBound) == 0 {
		t.Errorf("the bound of 4000 kg gives %g kg, at bound: %v", bounded.Loads[1].Mass, bounded.Fit.AtBound)
	}
	// Two loads much closer together than the sensor's distance: the sum is
	// known far better than either.
	near := Pass{Loads: []Load{{X: -0.1, Mass: 2000, Height: 1}, {X: 0.1, Mass: 2000, Height: 1}}, Speed: 1.7}
	c, err := near.Record(rng, Channel{At: r3.Vec{Y: 3}, Axis: r3.Vec{Y: -1}, Times: times, Sigma: 1e-9}, 0)
	if err != nil {
		t.Fatal(err)
	}
	split, err := FitLoads([]Channel{c}, 1.7, near.Loads, nil, nil)
	if split == nil {
		t.Fatal(err)
	}
	if len(split.Fit.Undetermined) == 0 && len(split.Fit.AtBound) == 0 && !(split.UMass[0] > 10*split.UTotal) {
		t.Errorf("masses ± %g and %g, total ± %g", split.UMass[0], split.UMass[1], split.UTotal)
	}
	for _, err := range []error{
		second(FitLoads(nil, 1, guess, nil, nil)), second(FitLoads(channels, 0, guess, nil, nil)),
		second(FitLoads(channels, 1, nil, nil, nil)), second(FitLoads(channels, 1, guess, []float64{1}, nil)),
		second(FitLoads(channels, 1, []Load{{Mass: -5}}, nil, nil)),
		second(Pass{Loads: []Load{{Mass: 1}}}.Attraction(r3.Vec{}, 0)),
		second(BoussinesqTilt(1, 0, 1e8, 0.3)), second(BoussinesqTilt(1, 1, 1e8, 0.7)),
	} {
		if err == nil {
			t.Error("no error")
		}
	}
}

// An even number of stations has none over a narrow body in the middle: fewer
// may do. PlanFor looks at them all.
func TestPlanForFindsTheFewest(t *testing.T) {
	tunnel := InfiniteCylinder{Z: 2, Radius: 1, Contrast: -2000}
	noise := Plan{Noise: 1e-7}
	for _, length := range []float64{20, 60, 200} {
		p, d, err := PlanFor(tunnel, noise, length, 0.9, 0.01, 1, 200)
		if err != nil || d.Probability < 0.9 {
			t.Fatal(err, d.Probability)
		}
		for n := 3; n < len(p.Stations); n++ {
			noise.Stations, _ = Line(n, length/float64(n-1))
			if d, err := noise.Detect(tunnel, 0.01, 1); err != nil || d.Probability >= 0.9 {
				t.Errorf("over %g m %d stations were planned, %d reach %g (%v)", length, len(p.Stations), n, d.Probability, err)
			}
		}
	}
	for most := 3; most < 8; most++ {
		if p, d, err := PlanFor(tunnel, Plan{Noise: 1e-3}, 60, 0.9, 0.01, 1, most); err == nil || len(p.Stations) > 0 || !(d.Probability > 0) {
			t.Errorf("most %d: %v, %v", most, d, err)
		}
	}
}

// Two loads at one place are not told apart: their masses and the total have no
// finite uncertainty, which is not a NaN.
func TestLoadsAtOnePlace(t *testing.T) {
	p := Pass{Loads: []Load{{Mass: 2000, Height: 1}, {Mass: 5000, Height: 1}}, Speed: 2}
	c := Channel{At: r3.Vec{Y: 3, Z: -1}, Axis: r3.Vec{Y: -1}, Sigma: 1e-9}
	for i := range 100 {
		c.Times = append(c.Times, 0.1*float64(i)-5)
	}
	c, err := p.Record(seeded(3), c, 0)
	if err != nil {
		t.Fatal(err)
	}
	f, err := FitLoads([]Channel{c}, 2, []Load{{Mass: 1000, Height: 1}, {Mass: 1000, Height: 1}}, nil, nil)
	if f == nil {
		t.Fatal(err)
	}
	if !math.IsInf(f.UTotal, 1) || !math.IsInf(f.UMass[0], 1) || math.Abs(f.Total-7000) > 500 {
		t.Errorf("masses %v ± %v, total %g ± %g", f.Loads, f.UMass, f.Total, f.UTotal)
	}
}
