package earth

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"gravity.example/gravlab"
	"gravity.example/testdata"
)

func close(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s = %.15g, want %.15g within %g of it", what, got, want, rel)
	}
}

// On the ellipsoid the closed form is Somigliana's formula, and the vector
// stands on the surface.
func TestNormalGravityIsSomiglianaAtTheSurface(t *testing.T) {
	for _, e := range []Ellipsoid{GRS80, WGS84} {
		for deg := -90.0; deg <= 90; deg += 7.5 {
			lat := deg * degree
			v, err := e.NormalGravityVector(lat, 0)
			if err != nil {
				t.Fatal(err)
			}
			s, c := math.Sincos(lat)
			want := (e.A*e.Equatorial()*c*c + e.B()*e.Polar()*s*s) / math.Sqrt(e.A*e.A*c*c+e.B()*e.B()*s*s)
			close(t, "down", v.Z, want, 1e-14)
			if math.Abs(v.X) > 1e-14 || v.Y != 0 {
				t.Errorf("%s at %g°: north %g, east %g m/s² on the surface", e.Name, deg, v.X, v.Y)
			}
		}
	}
	close(t, "J2 of GRS80", GRS80.J2(), 108263e-8, 1e-13)
}

func TestNormalGravityVectorAgainstTable(t *testing.T) {
	for _, row := range testdata.Table("normal_gravity.csv") {
		e := GRS80
		if row["system"] == "WGS84" {
			e = WGS84
		}
		v, err := e.NormalGravityVector(row.Float("lat_deg")*degree, row.Float("h_m"))
		if err != nil {
			t.Fatal(err)
		}
		// The table gives seven digits of the north component.
		north := row.Float("gamma_north_m_s2")
		if d := v.X - north; math.Abs(d) > 5e-7*math.Abs(north)+1e-14 {
			t.Errorf("%v: north differs by %g", row, d)
		}
		if d := v.Z - row.Float("gamma_down_m_s2"); math.Abs(d) > 1e-12 {
			t.Errorf("%v: down differs by %g", row, d)
		}
	}
}

// Far away the field is a point mass and a rotation.
func TestNormalGravityFarAway(t *testing.T) {
	r := 5e8 + GRS80.A
	got, err := GRS80.NormalGravity(0, 5e8)
	if err != nil {
		t.Fatal(err)
	}
	close(t, "far field", got, math.Abs(GRS80.GM/(r*r)*(1+1.5*GRS80.J2()*GRS80.A*GRS80.A/r/r)-GRS80.Omega*GRS80.Omega*r), 1e-12)
}

// The field outside has no sources: the trace of its gradient, with the
// rotation, is 2ω².
func TestTraceOfNormalGravity(t *testing.T) {
	const lat, h, step = 0.7, 1000.0, 200.0
	n := GRS80.primeVertical(lat)
	p, z := (n+h)*math.Cos(lat), (n*(1-GRS80.E2())+h)*math.Sin(lat)
	field := func(dp, dz float64) (gp, gz float64) {
		// Back to latitude and height by repeated substitution.
		pp, zz := p+dp, z+dz
		phi := math.Atan2(zz, pp*(1-GRS80.E2()))
		var hh float64
		for range 50 {
			nn := GRS80.primeVertical(phi)
			hh = pp/math.Cos(phi) - nn
			phi = math.Atan2(zz, pp*(1-GRS80.E2()*nn/(nn+hh)))
		}
		v := GRS80.normal(phi, hh)
		s, c := math.Sincos(phi)
		return -v.X*s - v.Z*c, v.X*c - v.Z*s
	}
	gp1, _ := field(step, 0)
	gp0, _ := field(-step, 0)
	_, gz1 := field(0, step)
	_, gz0 := field(0, -step)
	gp, _ := field(0, 0)
	trace := (gp1-gp0)/(2*step) + (gz1-gz0)/(2*step) + gp/p
	close(t, "trace", trace, 2*GRS80.Omega*GRS80.Omega, 1e-3)
}

func TestGradientsAgainstDifferences(t *testing.T) {
	for _, deg := range []float64{-71, -20, 0, 33, 45, 80} {
		lat := deg * degree
		v, err := GRS80.VerticalGradient(lat, 500)
		if err != nil {
			t.Fatal(err)
		}
		near := gravlab.Must(GRS80.NormalGravity(lat, 510)) - gravlab.Must(GRS80.NormalGravity(lat, 490))
		close(t, "vertical gradient", v, near/20, 1e-8)
		n, err := GRS80.NorthwardGradient(lat)
		if err != nil {
			t.Fatal(err)
		}
		const step = 1e-4
		s := math.Sin(lat)
		meridian := GRS80.A * (1 - GRS80.E2()) / math.Pow(1-GRS80.E2()*s*s, 1.5)
		diff := (gravlab.Must(GRS80.NormalGravity(lat+step, 0)) - gravlab.Must(GRS80.NormalGravity(lat-step, 0))) / (2 * step * meridian)
		if math.Abs(n-diff) > 1e-15 {
			t.Errorf("northward gradient at %g° = %g, difference %g", deg, n, diff)
		}
		first := gravlab.Must(GRS80.FreeAirSeries(lat, 3000, 1))
		second := gravlab.Must(GRS80.FreeAirSeries(lat, 3000, 2))
		exact := gravlab.Must(GRS80.FreeAirEffect(lat, 3000))
		if math.Abs(second-exact) > 0.03e-5 || math.Abs(first-exact) > 0.7e-5 || math.Abs(first-exact) < 0.5e-5 {
			t.Errorf("free air at %g°: first order off by %g, second by %g m/s²", deg, first-exact, second-exact)
		}
	}
}

func TestLatitudesGoBack(t *testing.T) {
	for deg := -90.0; deg <= 90; deg += 15 {
		psi, err := WGS84.Geocentric(deg*degree, 0)
		if err != nil {
			t.Fatal(err)
		}
		phi, err := WGS84.Geodetic(psi)
		if err != nil || math.Abs(phi-deg*degree) > 1e-15 {
			t.Errorf("%g° comes back as %g° (%v)", deg, phi/degree, err)
		}
	}
}

// A whole shell pulls as all its mass in the middle; a narrow cap as a disc; a
// wide flat one as a slab.
func TestCapLimits(t *testing.T) {
	shell := Cap{Density: 2670, Thickness: 1000, HalfAngle: math.Pi, Radius: 6371000}
	r := 6372000.0
	volume := 4 * math.Pi / 3 * (r*r*r - 6371000.0*6371000*6371000)
	close(t, "shell", gravlab.Must(shell.Effect()), gravlab.G*2670*volume/(r*r), 1e-9)

	// A thin one: (r³-R³)/(3r²) with its digits.
	thin := Cap{Density: 2670, Thickness: 2.3, HalfAngle: math.Pi, Radius: 1e9}
	share := thin.Thickness / (thin.Radius + thin.Thickness)
	close(t, "thin shell", gravlab.Must(thin.Effect()), 4*math.Pi*gravlab.G*2670*thin.Thickness*(1-share+share*share/3), 1e-13)

	// Radius to thickness 1:20, and a disc of the same shape by its own formula.
	narrow := Cap{Density: 2000, Thickness: 2000, HalfAngle: 100 / 6373000.0, Radius: 6371000}
	disc := 2 * math.Pi * gravlab.G * 2000 * (2000 + 100 - math.Hypot(2000, 100))
	close(t, "narrow cap", gravlab.Must(narrow.Effect()), disc, 1e-3)

	slab := gravlab.Must(Slab(2670, 10))
	close(t, "small height", gravlab.Must(BouguerCap(2670, 10).Effect()), slab, 0.02)
	close(t, "scaling with density", gravlab.Must(BouguerCap(1335, 800).Effect())*2, gravlab.Must(BouguerCap(2670, 800).Effect()), 1e-15)
}

func TestDiscLimitsAndSides(t *testing.T) {
	wide := Disc{SurfaceDensity: 1000, Radius: 1e9}
	close(t, "wide disc", gravlab.Must(wide.Effect(1)), gravlab.Must(Slab(1000, 1)), 1e-8)
	small := Disc{SurfaceDensity: 1000, Radius: 10}
	close(t, "far disc", gravlab.Must(small.Effect(1e6)), gravlab.G*1000*math.Pi*100/1e12, 1e-9)
	if a, b := gravlab.Must(small.Effect(3)), gravlab.Must(small.Effect(-3)); a != -b || a <= 0 {
		t.Errorf("above %g, below %g", a, b)
	}
	// High degrees see a flat Earth: wavelength 2πR/(l+½).
	const l, radius = 2000, 6371000.0
	got := gravlab.Must(SphericalWave(100, l, radius, 5000))
	flat := gravlab.Must(FlatWave(100, 2*math.Pi*radius/(l+0.5), 5000))
	close(t, "sphere of high degree", got, flat, 3e-3)
	if k := gravlab.Must(LoadedGround(17)); !(k < -0.051 && k > -0.058) {
		t.Errorf("k' of degree 17 is %g", k)
	}
}

// Air to the horizon and beyond is a slab of its mass; a narrow column a thin
// rod that hardly pulls.
func TestAirColumnLimits(t *testing.T) {
	slab := -2 * math.Pi * gravlab.G * 100 / 9.81
	close(t, "wide column", gravlab.Must(AirColumn(100, 1e9, 8000, 9.81)), slab, 1e-5)
	// ρH = dp/g; a rod of radius R pulls with 2πGρR as R tends to 0.
	close(t, "narrow column", gravlab.Must(AirColumn(100, 0.8, 8000, 9.81)), slab*0.8/8000, 1e-3)
	close(t, "scaling", gravlab.Must(AirColumn(-300, 5e4, 8000, 9.81)), -3*gravlab.Must(AirColumn(100, 5e4, 8000, 9.81)), 1e-14)
}

// The mean of 18.6 years of tide is its permanent part.
func TestPermanentTide(t *testing.T) {
	for _, deg := range []float64{0, 35, 60, -85} {
		s := Site{Lat: deg * degree, Lon: 1, Height: 100}
		start := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
		// 6798.4 days, a step that is no fraction of a day or a month.
		series, err := s.TideSeries(start, 7*time.Hour+123*time.Second, 6798*86400/25323)
		if err != nil {
			t.Fatal(err)
		}
		mean := 0.0
		for _, v := range series {
			mean += v / float64(len(series))
		}
		want, err := s.PermanentUpward()
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(mean-want) > 1.5e-9 {
			t.Errorf("at %g°: mean %.2f, permanent %.2f nm/s²", deg, mean*1e9, want*1e9)
		}
		at := start.Add(1234 * time.Hour)
		free := gravlab.Must(s.TideCorrection(at, 1.16, TideFree))
		zero := gravlab.Must(s.TideCorrection(at, 1.16, ZeroTide))
		meanTide := gravlab.Must(s.TideCorrection(at, 1.16, MeanTide))
		if math.Abs(free-zero-0.16*want) > 1e-16 || math.Abs(zero-meanTide-want) > 1e-16 {
			t.Errorf("at %g°: tide systems differ by %g and %g, permanent %g", deg, free-zero, zero-meanTide, want)
		}
	}
}

func TestBodyTideSeries(t *testing.T) {
	// P2 over the cube of the distance, for a far body.
	const gm, d, r = 4.9e12, 4e11, 6.4e6
	for _, z := range []float64{0, 0.5, 1.2, 3} {
		c := math.Cos(z)
		close(t, "far body", gravlab.Must(BodyTide(gm, d, r, z)), gm*r/(d*d*d)*(3*c*c-1), 1e-4)
	}
	// Exact difference of two pulls for a near one.
	at := r3.Vec{Z: 6.4e6}
	body := r3.Vec{X: 4e7 * math.Sin(0.4), Z: 4e7 * math.Cos(0.4)}
	close(t, "near body", gravlab.Must(BodyTide(gm, 4e7, 6.4e6, 0.4)), tidalAcceleration(at, body, gm).Z, 1e-13)
}

// Lines put into a record come out of it, through gaps and beside a drift.
func TestAnalyseFindsItsOwnLines(t *testing.T) {
	lines := gravlab.Must(ConstituentsNamed("O1", "K1", "M2", "S2"))
	rng := rand.New(rand.NewPCG(4, 2))
	inside, total := 0, 0
	normal := distuv.UnitNormal
	for range 250 {
		var x, y []float64
		for i := range 40 * 24 {
			if i > 200 && i < 230 {
				continue
			}
			ti := 3600 * float64(i)
			v := 100e-9 + 2e-15*ti + 5e-9*rng.NormFloat64()
			for j, c := range lines {
				v += float64(j+1) * 40e-9 * math.Cos(c.Speed*ti-0.5*float64(j))
			}
			x, y = append(x, ti), append(y, v)
		}
		a, err := Analyse(x, y, lines)
		if err != nil {
			t.Fatal(err)
		}
		if len(a.Unresolved) != 0 {
			t.Fatalf("unresolved: %v", a.Unresolved)
		}
		for j, h := range a.Harmonics {
			total += 2
			if math.Abs(h.Amplitude-float64(j+1)*40e-9) < normal.Quantile(0.975)*h.UAmplitude {
				inside++
			}
			if math.Abs(h.Phase-0.5*float64(j)) < normal.Quantile(0.975)*h.UPhase {
				inside++
			}
		}
	}
	binomial(t, "amplitudes and phases", inside, total)
}

// binomial holds a count of 95 % intervals that hold the truth against the
// exact binomial limits of probability 1e-3.
func binomial(t *testing.T, what string, inside, total int) {
	t.Helper()
	b := distuv.Binomial{N: float64(total), P: 0.95}
	t.Logf("%s: %d of %d intervals hold the truth", what, inside, total)
	if b.CDF(float64(inside)) < 5e-4 || 1-b.CDF(float64(inside-1)) < 5e-4 {
		t.Errorf("%s: %d of %d intervals hold the truth, want about 95 %%", what, inside, total)
	}
}

func TestTrendCoverage(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 11))
	const n, phi, sigma = 120, 0.5, 10.0
	x := make([]float64, n)
	y := make([]float64, n)
	var insideRate, insideWhite, total int
	for range 400 {
		e := sigma * rng.NormFloat64()
		for i := range n {
			x[i] = float64(i) / 12
			y[i] = -30*x[i] + 0.7*x[i]*x[i] + 20*math.Sin(2*math.Pi*x[i]) + e
			e = phi*e + sigma*math.Sqrt(1-phi*phi)*rng.NormFloat64()
		}
		trend, err := TrendModel{Acceleration: true, Annual: true, Year: 1}.Fit(x, y)
		if err != nil {
			t.Fatal(err)
		}
		k := distuv.StudentsT{Sigma: 1, Nu: trend.EffectiveDoF}.Quantile(0.975)
		off := math.Abs(trend.Rate.Value - (-30 + 1.4*trend.Middle))
		total++
		if off < k*trend.Rate.U {
			insideRate++
		}
		if off < k*trend.Rate.U/trend.RateInflation {
			insideWhite++
		}
	}
	// The correlation itself is estimated from 120 months, which the effective
	// number of degrees of freedom covers to about two per cent.
	share := float64(insideRate) / float64(total)
	t.Logf("correlated: %d, white: %d of %d intervals hold the truth", insideRate, insideWhite, total)
	if share < 0.90 || share > 0.985 {
		t.Errorf("%d of %d intervals hold the truth, want about 95 %%", insideRate, total)
	}
	if float64(insideWhite)/float64(total) > 0.88 {
		t.Errorf("white noise would have done: %d of %d", insideWhite, total)
	}
}

// One reading taken soon after another must not hide that months are correlated.
func TestTrendWithOneShortStep(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	const n, phi, trials = 180, 0.7, 200
	x, y := make([]float64, n), make([]float64, n)
	var square, lag float64
	for range trials {
		e := rng.NormFloat64()
		for i := range n {
			x[i] = float64(i) / 12
			if i == 90 {
				x[i] = x[89] + 0.001/12
			}
			if i > 0 {
				p := math.Pow(phi, 12*(x[i]-x[i-1]))
				e = p*e + math.Sqrt(1-p*p)*rng.NormFloat64()
			}
			y[i] = 0.1*x[i] + e
		}
		trend, err := TrendModel{Year: 1}.Fit(x, y)
		if err != nil {
			t.Fatal(err)
		}
		z := (trend.Rate.Value - 0.1) / trend.Rate.U
		square += z * z / trials
		lag += trend.LagOne / trials
	}
	// The root of the mean square of 200 normal values scatters by 0.05.
	if rms := math.Sqrt(square); rms < 0.8 || rms > 1.2 || math.Abs(lag-phi) > 0.05 {
		t.Errorf("errors of the rate are %.2f of the stated uncertainty, and the correlation is %.2f; want 1 and %.2f", rms, lag, phi)
	}
}

// The quick product with the AR(1) matrix is the slow one, gaps included.
func TestCorrelationProduct(t *testing.T) {
	x := []float64{0, 1, 2, 4, 5, 9, 10}
	a, _, _ := TrendModel{}.design(x)
	s, err := newSandwich(a, x)
	if err != nil {
		t.Fatal(err)
	}
	r := mat.NewDense(len(x), len(x), nil)
	for i := range x {
		for j := range x {
			r.Set(i, j, math.Pow(0.6, math.Abs(x[i]-x[j])))
		}
	}
	var want mat.Dense
	want.Mul(r, s.q)
	if !mat.EqualApprox(s.times(0.6, s.q), &want, 1e-13) {
		t.Error("times differs from the full product")
	}
	// Expected residual products against the full matrices.
	var h, m, mr, mrm mat.Dense
	h.Mul(s.q, s.q.T())
	eye := mat.NewDiagDense(len(x), []float64{1, 1, 1, 1, 1, 1, 1})
	m.Sub(eye, &h)
	mr.Mul(&m, r)
	mrm.Mul(&mr, &m)
	square, product := s.expected(0.6)
	var wantProduct float64
	for i := 1; i < len(x); i++ {
		wantProduct += mrm.At(i, i-1)
	}
	close(t, "expected square", square, mat.Trace(&mrm), 1e-12)
	close(t, "expected product", product, wantProduct, 1e-12)
}

func anyFloat() *rapid.Generator[float64] {
	return rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{0, 1, -1, math.NaN(), math.Inf(1), math.Inf(-1), 1e308, 5e-324, 0.9, 310, 2670}))
}

// No argument makes anything panic; what is returned without an error is a
// finite number.
func TestNoPanic(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := func(name string) float64 { return anyFloat().Draw(t, name) }
		finite := func(what string, v float64, err error) {
			if err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
				t.Fatalf("%s gives %v without an error", what, v)
			}
		}
		a, b, c, d := f("a"), f("b"), f("c"), f("d")
		n := rapid.IntRange(-5, 5000).Draw(t, "n")
		e := rapid.SampledFrom([]Ellipsoid{GRS80, WGS84, {A: a, Flattening: b, GM: c, Omega: d}}).Draw(t, "ellipsoid")
		try := func(what string, v float64, err error) { finite(what, v, err) }
		v, err := e.NormalGravity(a, b)
		try("NormalGravity", v, err)
		v, err = e.VerticalGradient(a, b)
		try("VerticalGradient", v, err)
		v, err = e.NorthwardGradient(a)
		try("NorthwardGradient", v, err)
		v, err = e.FreeAirEffect(a, b)
		try("FreeAirEffect", v, err)
		v, err = e.FreeAirSeries(a, b, n)
		try("FreeAirSeries", v, err)
		v, err = GRS80.PrimeVertical(a)
		try("PrimeVertical", v, err)
		v, err = GRS80.Geocentric(a, b)
		try("Geocentric", v, err)
		v, err = GRS80.Geodetic(a)
		try("Geodetic", v, err)
		_, _ = Slab(a, b) // a slab of 1e308 m is infinite, and is said so
		v, err = Cap{a, b, c, d}.Effect()
		try("Cap.Effect", v, err)
		v, err = Cap{a, b, c, d}.LessSlab()
		try("Cap.LessSlab", v, err)
		v, err = Atmosphere(a)
		try("Atmosphere", v, err)
		v, err = EotvosCorrection(a, b, c, d)
		try("EotvosCorrection", v, err)
		v, err = PressureCorrection(a, b, c)
		try("PressureCorrection", v, err)
		v, err = NormalPressure(a)
		try("NormalPressure", v, err)
		v, err = AirColumn(a, b, c, d)
		try("AirColumn", v, err)
		v, err = Disc{a, b}.Effect(c)
		try("Disc.Effect", v, err)
		v, err = FlatWave(a, b, c)
		try("FlatWave", v, err)
		v, err = SphericalWave(a, n, b, c)
		try("SphericalWave", v, err)
		v, err = LoadedGround(n)
		try("LoadedGround", v, err)
		v, err = SeaLevel(a)
		try("SeaLevel", v, err)
		_, _ = BodyTide(a, b, c, d)
		_, _ = BeatPeriod(a, b)
		s := Site{a, b, c}
		at := time.Unix(rapid.Int64Range(-1e11, 1e11).Draw(t, "at"), 0)
		tide, err := s.Tide(at)
		try("Tide", tide.Upward(), err)
		v, err = s.TideCorrection(at, d, PermanentTide(n))
		try("TideCorrection", v, err)
		_, _ = s.TideSeries(at, time.Duration(rapid.Int64().Draw(t, "step")), n%50)
		x, y := rapid.SliceOfN(anyFloat(), 0, 20).Draw(t, "x"), rapid.SliceOfN(anyFloat(), 0, 20).Draw(t, "y")
		if rapid.Bool().Draw(t, "regular") {
			x = x[:0]
			for i := range y {
				x = append(x, float64(i)*1e5)
			}
		}
		_, _ = Analyse(x, y, Constituents()[3:5])
		_, _, _ = RefinePeriod(x, y, Constituents()[3:5], "Mm")
		_, _ = TrendModel{Annual: true, Year: a}.Fit(x, y)
		_, _, _, _ = TrendModel{Acceleration: true}.Plan(x, a, b)
	})
}

func BenchmarkNormalGravity(b *testing.B) {
	for b.Loop() {
		_, _ = GRS80.NormalGravity(0.9, 300)
	}
}

// 400 days of hours, as in testdata/tide_400d.csv.
func BenchmarkTideSeries(b *testing.B) {
	s := Site{Lat: 0.95, Lon: -0.04, Height: 310}
	start := time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)
	for b.Loop() {
		if _, err := s.TideSeries(start, time.Hour, 9600); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkAnalyse400Days(b *testing.B) {
	s := Site{Lat: 0.95, Lon: -0.04, Height: 310}
	tide := gravlab.Must(s.TideSeries(time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC), time.Hour, 9600))
	x := make([]float64, len(tide))
	for i := range x {
		x[i] = 3600 * float64(i)
	}
	lines := Constituents()
	for b.Loop() {
		if _, err := Analyse(x, tide, lines); err != nil {
			b.Fatal(err)
		}
	}
}

// Soil that takes up 0.8 % of water has a contrast of 8 kg/m³, which is no rock in
// g/cm³.
func TestSlabOfSmallContrast(t *testing.T) {
	got, err := Slab(-8, 2)
	if err != nil {
		t.Fatal(err)
	}
	if want := -2 * math.Pi * gravlab.G * 8 * 2; math.Abs(got/want-1) > 1e-15 {
		t.Errorf("a slab of -8 kg/m³ pulls with %g, want %g", got, want)
	}
	for _, rock := range []float64{1.8, 2.67, -2.2, 3.3} {
		if _, err := Slab(rock, 2); err == nil {
			t.Errorf("took %g, g/cm³ by its looks", rock)
		}
	}
}
