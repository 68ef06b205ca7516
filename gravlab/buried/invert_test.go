package buried

import (
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"gravity.example/gravlab"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/mcmc"
	"gravity.example/testdata"
)

func TestInvertFindsWhatWasPutIn(t *testing.T) {
	stations, _ := Line(41, 1)
	truth := Sum{InfiniteCylinder{X: -6, Z: 4, Radius: 1, Contrast: -1900}, InfiniteCylinder{X: 7, Z: 6, Radius: 1.2, Contrast: -1900}}
	gz, err := Instrument{Offset: 3e-7, North: 2e-9}.Readings(seeded(1), truth, stations)
	if err != nil {
		t.Fatal(err)
	}
	v, err := Invert(Anomaly{Stations: stations, GZ: gz}, []Shape{LineShape, LineShape}, nil)
	if err != nil {
		t.Fatal(err)
	}
	a, b := v.Sources[0], v.Sources[1]
	if a.X > b.X {
		a, b = b, a
	}
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"X1", a.X, -6}, {"Z1", a.Z, 4}, {"mass 1", a.Mass, truth[0].(InfiniteCylinder).MassPerLength()},
		{"X2", b.X, 7}, {"Z2", b.Z, 6}, {"mass 2", b.Mass, truth[1].(InfiniteCylinder).MassPerLength()},
		{"offset", v.Offset, 3e-7}, {"slope", v.North, 2e-9},
	} {
		closeTo(t, c.what, c.got, c.want, 1e-5)
	}
	radius, _, err := b.Radius(-1900)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "radius", radius, 1.2, 1e-5)
	again, err := v.Body()
	if err != nil {
		t.Fatal(err)
	}
	x, _ := again.GZ(xyz(3, 0, 0))
	y, _ := truth.GZ(xyz(3, 0, 0))
	closeTo(t, "gz of the fitted bodies", x, y, 1e-5)
}

func TestInvertOnAMap(t *testing.T) {
	truth := Sphere{Centre: xyz(3, -2, 5), Radius: 1.5, Contrast: -1900}
	var data Anomaly
	for i := range 9 {
		for j := range 9 {
			data.Stations = append(data.Stations, xyz(3*float64(i)-12, 3*float64(j)-12, 0))
		}
	}
	var err error
	data.GZ, err = Instrument{Noise: 2e-8, Offset: 1e-6, North: 3e-9, East: -2e-9}.Readings(seeded(4), truth, data.Stations)
	if err != nil {
		t.Fatal(err)
	}
	for range data.GZ {
		data.Sigma = append(data.Sigma, 2e-8)
	}
	v, err := Invert(data, []Shape{PointShape}, nil)
	if err != nil {
		t.Fatal(err)
	}
	s := v.Sources[0]
	for _, c := range []struct {
		what         string
		got, want, u float64
	}{
		{"X", s.X, 3, s.UX}, {"Y", s.Y, -2, s.UY}, {"Z", s.Z, 5, s.UZ}, {"mass", s.Mass, truth.Mass(), s.UMass},
		{"offset", v.Offset, 1e-6, v.UOffset}, {"north", v.North, 3e-9, v.UNorth}, {"east", v.East, -2e-9, v.UEast},
	} {
		if !(c.u > 0) || math.Abs(c.got-c.want) > 4*c.u {
			t.Errorf("%s = %g ± %g, want %g", c.what, c.got, c.u, c.want)
		}
	}
	// A deeper and heavier body does nearly as well: more void, deeper.
	if s.DepthMass > -0.5 {
		t.Errorf("depth and (negative) mass correlate at %g", s.DepthMass)
	}
	if p := v.Fit.PValue(); p < 1e-3 {
		t.Errorf("chi² %g for %d: p = %g", v.Fit.Chi2, v.Fit.DoF, p)
	}
}

func TestInvertRefuses(t *testing.T) {
	stations, _ := Line(9, 1)
	gz := make([]float64, 9)
	for _, err := range []error{
		second(Invert(Anomaly{}, []Shape{LineShape}, nil)),
		second(Invert(Anomaly{Stations: stations, GZ: gz[:3]}, []Shape{LineShape}, nil)),
		second(Invert(Anomaly{Stations: stations, GZ: gz}, nil, nil)),
		second(Invert(Anomaly{Stations: stations, GZ: gz}, []Shape{SheetShape}, nil)),
		second(Invert(Anomaly{Stations: stations, GZ: gz}, []Shape{LineShape, LineShape, LineShape}, nil)),
		second(Invert(Anomaly{Stations: stations, GZ: gz, Sigma: gz}, []Shape{LineShape}, nil)),
		second(Invert(Anomaly{Stations: stations, GZ: gz}, []Shape{LineShape}, []Source{{X: 1, Z: -1, Mass: 3}})),
	} {
		if err == nil {
			t.Error("no error")
		}
	}
}

// Values in µGal or mGal are refused with a word about units, by both inversions;
// the same values in m/s² are fitted, on a base of one's own or absolute.
func TestInvertRefusesOtherUnits(t *testing.T) {
	stations, _ := Line(31, 1)
	truth := Point{At: xyz(1, 0, 6), Mass: -215e3}
	gz, err := GZAt(truth, stations)
	if err != nil {
		t.Fatal(err)
	}
	in := func(unit, level float64) Anomaly {
		a := Anomaly{Stations: stations}
		for _, g := range gz {
			a.GZ = append(a.GZ, level+g/unit)
		}
		return a
	}
	cells := Grid{X: []float64{-10, 0, 10}, Z: []float64{1, 5, 11}}
	for what, a := range map[string]Anomaly{
		"µGal": in(gravlab.MicroGal, 0), "mGal": in(gravlab.MilliGal, 0), "mGal over a base": in(gravlab.MilliGal, 12),
		"absolute, in mGal": in(gravlab.MilliGal, 981456.78), "µGal beside absolute": in(gravlab.MicroGal, 9.8),
	} {
		for _, err := range []error{second(Invert(a, []Shape{PointShape}, nil)), second(GridInversion{Grid: cells, Damping: 1}.Solve(a))} {
			if err == nil || !strings.Contains(err.Error(), "GZ") || !strings.Contains(err.Error(), "did you mean µGal or mGal?") {
				t.Errorf("%s: %v", what, err)
			}
		}
	}
	x, micro := make([]float64, len(gz)), in(gravlab.MicroGal, 0).GZ
	for i, s := range stations {
		x[i] = s.X
	}
	for _, err := range []error{
		second(MassPerLength(x, micro, XZ{Z: 6})),
		second(ExcessMass(x[14:16], []float64{-1, 1}, [][]float64{micro[14:16], micro[15:17]}, xyz(0, 0, 6))),
	} {
		if err == nil || !strings.Contains(err.Error(), "did you mean µGal or mGal?") {
			t.Errorf("a mass from µGal: %v", err)
		}
	}
	for _, level := range []float64{0, -3e-4, 9.8145678} {
		v, err := Invert(in(1, level), []Shape{PointShape}, nil)
		if err != nil {
			t.Errorf("level %g: %v", level, err)
			continue
		}
		closeTo(t, "depth", v.Sources[0].Z, 6, 1e-4)
		closeTo(t, "mass", v.Sources[0].Mass, -215e3, 1e-4)
	}
}

// Coverage: 5,000 noisy profiles of one tunnel, each fitted; how often do the
// 95 % intervals hold the truth? Within the limits that 5,000 trials of exactly
// 95 % leave in all but one case in a thousand (exact binomial). The noise is
// small, so that the first-order covariance must be right.
func TestCoverageOfFits(t *testing.T) {
	const trials = 5000
	stations, _ := Line(25, 1)
	truth := InfiniteCylinder{X: 0.7, Z: 4, Radius: 1, Contrast: -1900}
	noise := Instrument{Noise: 5e-9, Offset: 2e-7, North: 1e-9}
	sigma := make([]float64, len(stations))
	for i := range sigma {
		sigma[i] = noise.Noise
	}
	rng := seeded(11)
	want := []float64{0.7, 4, truth.MassPerLength(), 2e-7, 1e-9}
	hits := make([]int, len(want))
	chi2 := 0.0
	for range trials {
		gz, err := noise.Readings(rng, truth, stations)
		if err != nil {
			t.Fatal(err)
		}
		v, err := Invert(Anomaly{Stations: stations, GZ: gz, Sigma: sigma}, []Shape{LineShape}, []Source{{X: 0.5, Z: 4.5, Mass: -6000}})
		if err != nil {
			t.Fatal(err)
		}
		s := v.Sources[0]
		got := [][2]float64{{s.X, s.UX}, {s.Z, s.UZ}, {s.Mass, s.UMass}, {v.Offset, v.UOffset}, {v.North, v.UNorth}}
		for i, g := range got {
			if math.Abs(g[0]-want[i]) <= 1.959964*g[1] {
				hits[i]++
			}
		}
		chi2 += v.Fit.Chi2 / float64(v.Fit.DoF)
	}
	lo, hi := binomialLimits(trials, 0.95, 0.001)
	for i, h := range hits {
		if h < lo || h > hi {
			t.Errorf("parameter %d: %d of %d intervals hold the truth, want %d to %d", i, h, trials, lo, hi)
		}
	}
	// Mean reduced chi² of 5,000 fits with 20 degrees of freedom: 1 within 4 sqrt(2/20/5000).
	if m := chi2 / trials; math.Abs(m-1) > 4*math.Sqrt(2.0/20/trials) {
		t.Errorf("mean reduced chi² %g", m)
	}
}

// binomialLimits are the counts that n trials of probability p leave, on both
// sides together, with probability alpha.
func binomialLimits(n int, p, alpha float64) (lo, hi int) {
	b := distuv.Binomial{N: float64(n), P: p}
	lo, hi = 0, n
	for b.CDF(float64(lo)) < alpha/2 {
		lo++
	}
	for 1-b.CDF(float64(hi-1)) < alpha/2 {
		hi--
	}
	return lo, hi
}

// The posterior of a well-determined fit is the normal one of the covariance;
// and where it is not, the sampler says what the covariance cannot.
func TestPosteriorOfAFit(t *testing.T) {
	stations, _ := Line(25, 1)
	truth := InfiniteCylinder{X: 0.7, Z: 4, Radius: 1, Contrast: -1900}
	noise := Instrument{Noise: 5e-9}
	sigma := make([]float64, len(stations))
	for i := range sigma {
		sigma[i] = noise.Noise
	}
	gz, _ := noise.Readings(seeded(8), truth, stations)
	v, err := Invert(Anomaly{Stations: stations, GZ: gz, Sigma: sigma}, []Shape{LineShape}, nil)
	if err != nil {
		t.Fatal(err)
	}
	rng := seeded(9)
	start, err := mcmc.InitialWalkers(rng, v.LogPosterior, v.Fit.P, v.Fit.U, 24)
	if err != nil {
		t.Fatal(err)
	}
	c, err := mcmc.Sample(rng, v.LogPosterior, start, 5000, 1000)
	if err != nil {
		t.Fatal(err)
	}
	if !c.Converged {
		t.Errorf("not converged: acceptance %g, times %v, split %v", c.Acceptance, c.AutocorrTime, c.RHat)
	}
	for i, u := range v.Fit.U {
		mean, sd, err := c.Mean(i)
		if err != nil {
			t.Fatal(err)
		}
		// 96,000 draws worth about 1,500: the mean is good to u/40, sd to 2 %.
		if math.Abs(mean-v.Fit.P[i]) > 0.15*u || math.Abs(sd/u-1) > 0.1 {
			t.Errorf("%s: posterior %g ± %g, fit %g ± %g", v.Fit.Names[i], mean, sd, v.Fit.P[i], u)
		}
	}
	if !math.IsInf(v.LogPosterior([]float64{1}), -1) || !math.IsInf(v.LogPosterior(append([]float64{0.7, -4}, v.Fit.P[2:]...)), -1) {
		t.Error("the density outside the bounds is not zero")
	}
}

// The grid: bounds hold, the fit is as good as the noise, the mass of a body
// comes out, and without depth weighting it rises to the top.
func TestGridInversion(t *testing.T) {
	stations, _ := Line(41, 1)
	truth := Polygon{Vertices: []XZ{{-3, 3}, {3, 3}, {3, 6}, {-3, 6}}, Contrast: -400}
	noise := Instrument{Noise: 1e-8, Offset: 1e-6, North: 2e-9}
	gz, err := noise.Readings(seeded(5), truth, stations)
	if err != nil {
		t.Fatal(err)
	}
	data := Anomaly{Stations: stations, GZ: gz, Sigma: make([]float64, len(gz))}
	for i := range data.Sigma {
		data.Sigma[i] = noise.Noise
	}
	edges := func(lo, hi float64, n int) []float64 {
		var e []float64
		for i := range n + 1 {
			e = append(e, lo+(hi-lo)*float64(i)/float64(n))
		}
		return e
	}
	grid := Grid{X: edges(-20, 20, 40), Z: edges(0.5, 12.5, 12)}
	in := GridInversion{Grid: grid, Lower: -400}
	m, err := in.Solve(data)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(m.Chi2-39) > 0.05*39 {
		t.Errorf("chi² %g, want 39", m.Chi2)
	}
	for c, x := range m.Contrast {
		if x < -400 || x > 0 {
			t.Fatalf("cell %d: %g is out of bounds", c, x)
		}
	}
	// A wide faint layer looks like the base level that is fitted beside: the
	// mass of the whole grid is known to a few tenths only.
	closeTo(t, "mass per length", m.Mass, truth.MassPerLength(), 0.4)
	if m.Depth < 3 || m.Depth > 6.5 {
		t.Errorf("depth of the mass %g m, want about 4.5", m.Depth)
	}
	for i := range gz {
		if math.Abs(m.Predicted[i]-gz[i]) > 5*noise.Noise {
			t.Errorf("station %d: %g predicted, %g measured", i, m.Predicted[i], gz[i])
		}
	}
	in.DepthPower = 1e-9
	shallow, err := in.Solve(data)
	if err != nil {
		t.Fatal(err)
	}
	if shallow.Depth >= m.Depth-0.3 {
		t.Errorf("without depth weighting the mass lies at %g m, with it at %g", shallow.Depth, m.Depth)
	}
	// Blocks: one cell alone must come out as it was put in.
	block := Grid{X: []float64{-2, 2}, Y: []float64{-2, 2}, Z: []float64{3, 6}}
	cell := Prism{Min: xyz(-2, -2, 3), Max: xyz(2, 2, 6), Contrast: 250}
	clean, _ := GZAt(cell, stations)
	one, err := GridInversion{Grid: block, Damping: 1e-9}.Solve(Anomaly{Stations: stations, GZ: clean, Sigma: data.Sigma})
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "contrast of the one cell", one.Contrast[0], 250, 1e-6)
	for _, err := range []error{
		second(GridInversion{}.Solve(data)),
		second(GridInversion{Grid: grid, Lower: -2.1}.Solve(data)),
		second(GridInversion{Grid: Grid{X: []float64{0, 1}, Z: []float64{-1, 2}}}.Solve(data)),
		second(GridInversion{Grid: grid}.Solve(Anomaly{Stations: stations, GZ: gz})),
	} {
		if err == nil {
			t.Error("no error")
		}
	}
}

// The readings of a seed are frozen: they are the recordings of the labs.
func TestReadingsAreFrozen(t *testing.T) {
	stations, _ := Line(5, 2)
	in := Instrument{Noise: 3e-8, Offset: 1e-6, North: 2e-9, Drift: 1e-8, Height: 0.005, Step: 1e-8}
	got, err := in.Readings(seeded(1), InfiniteCylinder{Z: 4, Radius: 1, Contrast: -1900}, stations)
	if err != nil {
		t.Fatal(err)
	}
	want := frozen
	for i := range got {
		if math.Abs(got[i]-want[i]*gravlab.MicroGal) > 1e-12 {
			t.Errorf("reading %d is %.4f µGal, want %.4f", i, got[i]/gravlab.MicroGal, want[i])
		}
	}
}

// A textbook's profile over a tunnel of 5 m diameter with its axis at 6 m in
// rock of 2500 kg/m³: is it full of water or of air? (Kearey, Brooks, Hill,
// 3rd ed. 2002; data only, the book prints no answer.)
func TestTextbookTunnel(t *testing.T) {
	row := testdata.Find(testdata.Examples, "cylinder-03")
	_, list, ok := strings.Cut(row["inputs"], "40 m:")
	if !ok {
		t.Fatalf("the row has changed: %q", row["inputs"])
	}
	var data Anomaly
	for i, f := range strings.Fields(list) {
		v, err := strconv.ParseFloat(f, 64)
		if err != nil {
			break // the unit
		}
		data.Stations = append(data.Stations, xyz(2*float64(i), 0, 0))
		data.GZ = append(data.GZ, v*1e-6) // gravity units
	}
	if len(data.GZ) != 21 {
		t.Fatalf("%d values, want 21", len(data.GZ))
	}
	v, err := Invert(data, []Shape{LineShape}, nil)
	if err != nil {
		t.Fatal(err)
	}
	s := v.Sources[0]
	if math.Abs(s.X-18) > 0.1 || math.Abs(s.Z-6) > 0.3 {
		t.Errorf("axis at x = %g, z = %g; the recomputed fit has 18.00 and 6", s.X, s.Z)
	}
	contrast := s.Mass / (math.Pi * 2.5 * 2.5)
	if math.Abs(contrast+1500) > 100 {
		t.Errorf("contrast %g kg/m³: want about -1500 (water), not -2500 (air)", contrast)
	}
	// The amplitude that the recomputation found: 0.656 g.u.
	closeTo(t, "amplitude", -2*gravlab.G*s.Mass/s.Z, 0.656e-6, 0.02)
}

// Without bounds a grid's contrasts are at the minimum, however weak the damping:
// there the data's pull on every cell, sum of a r/sigma², is the damping's. With
// bounds that are not reached in time the error says so.
func TestGridInversionEndsAtTheMinimum(t *testing.T) {
	stations, _ := Line(31, 1)
	noise := Instrument{Noise: 1e-8, Offset: 1e-6, North: 2e-9}
	gz, err := noise.Readings(seeded(6), InfiniteCylinder{X: 1, Z: 4, Radius: 1, Contrast: -2000}, stations)
	if err != nil {
		t.Fatal(err)
	}
	data := Anomaly{Stations: stations, GZ: gz, Sigma: make([]float64, len(gz))}
	for i := range data.Sigma {
		data.Sigma[i] = noise.Noise
	}
	grid := Grid{}
	for i := range 21 {
		grid.X = append(grid.X, float64(i)-10)
	}
	for i := range 9 {
		grid.Z = append(grid.Z, float64(i)+0.5)
	}
	for _, damping := range []float64{0.1, 10, 1000} {
		m, err := GridInversion{Grid: grid, Damping: damping}.Solve(data)
		if err != nil {
			t.Fatal(err)
		}
		largest, worst := 0.0, 0.0
		for k := range len(grid.Z) - 1 {
			for i := range len(grid.X) - 1 {
				x1, x2, z1, z2 := grid.X[i], grid.X[i+1], grid.Z[k], grid.Z[k+1]
				pull, err := GZAt(Polygon{Vertices: []XZ{{x1, z1}, {x2, z1}, {x2, z2}, {x1, z2}}, Contrast: 1000}, stations)
				if err != nil {
					t.Fatal(err)
				}
				byData := 0.0
				for s := range gz {
					byData += pull[s] / noise.Noise * (gz[s] - m.Predicted[s]) / noise.Noise
				}
				weight := 1.5 / ((z1+z2)/2 + 0.5) // over the shallowest cell, at 1 m + 0.5 m
				byDamping := damping * weight * m.Contrast[grid.Index(i, 0, k)] / 1000
				largest = math.Max(largest, math.Abs(byDamping))
				worst = math.Max(worst, math.Abs(byData-byDamping))
			}
		}
		if !(worst < 1e-8*largest) {
			t.Errorf("damping %g: the pull of data and damping on a cell differ by %g of %g", damping, worst, largest)
		}
	}
	m, err := GridInversion{Grid: grid, Lower: -1e5, Upper: 1e5, Damping: 1e-3}.Solve(data)
	if !errors.Is(err, fit.ErrNotConverged) || m == nil {
		t.Errorf("weak damping with bounds: %v, %v; want a model and fit.ErrNotConverged", m, err)
	}
	// Uncertainties that are far too small ask for ever less damping: it is given up
	// at the first that does not end.
	for i := range data.Sigma {
		data.Sigma[i] = noise.Noise / 1000
	}
	m, err = GridInversion{Grid: grid, Lower: -300}.Solve(data)
	if m != nil && m.Sweeps > 20000 {
		t.Errorf("with uncertainties that are too small: %d sweeps", m.Sweeps)
	}
	if !errors.Is(err, fit.ErrNotConverged) || m == nil {
		t.Errorf("uncertainties that are too small: %v, %v; want a model and fit.ErrNotConverged", m, err)
	}
}
