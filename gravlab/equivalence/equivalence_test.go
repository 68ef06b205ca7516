package equivalence

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
	"gravity.example/testdata"
)

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s = %.15g, want %.15g within %g of it", what, got, want, rel)
	}
}

// A cabin that accelerates without gravity reads what one at rest with gravity
// does: the principle itself.
func TestAccelerationLooksLikeGravity(t *testing.T) {
	g := r3.Vec{X: 0.1, Y: -0.3, Z: 9.8}
	if SpecificForce(r3.Vec{}, g) != SpecificForce(r3.Scale(-1, g), r3.Vec{}) {
		t.Error("rest with gravity and acceleration without it differ")
	}
	if SpecificForce(g, g) != (r3.Vec{}) {
		t.Error("free fall reads something")
	}
}

func TestLiftIsTheIntegralOfItsAcceleration(t *testing.T) {
	l := Lift{Gravity: 9.81, Peak: -1.3, Pulse: 1.7}
	const h = 1e-4
	for _, x := range []float64{0.2, 0.85, 1.6, 2.5} {
		if d := (l.Speed(x+h) - l.Speed(x-h)) / (2 * h); math.Abs(d-l.Acceleration(x)) > 1e-7 {
			t.Errorf("slope of the speed at %g is %g, acceleration %g", x, d, l.Acceleration(x))
		}
		if d := (l.Rise(x+h) - l.Rise(x-h)) / (2 * h); math.Abs(d-l.Speed(x)) > 1e-7 {
			t.Errorf("slope of the way at %g is %g, speed %g", x, d, l.Speed(x))
		}
	}
	near(t, "end speed", l.Speed(9), l.Peak*l.Pulse/2, 1e-14)
}

func TestTilt(t *testing.T) {
	tilt := gravlab.Must(TiltFor(9.8, 1e-8))
	near(t, "tilt for 1 µGal", tilt, 45.2e-6, 2e-3)
	near(t, "its loss", gravlab.Must(TiltLoss(9.8, tilt)), 1e-8, 1e-12)
	near(t, "loss of 100 µrad", gravlab.Must(TiltLoss(9.80665, 100e-6)), 4.9e-8, 2e-3)
}

// Short falls are the gradient; long ones keep their energy.
func TestBoxGrowth(t *testing.T) {
	b := Box{GM: 3.986004418e14, Radius: 6371000, Height: 0, Length: 1}
	difference := gravlab.Must(b.Difference())
	near(t, "difference", difference, 2*b.GM/math.Pow(b.Radius, 3), 1e-12)
	near(t, "short fall", gravlab.Must(b.Growth(1)), difference/2, 1e-6)
	// The cycloid of a radial fall, for bodies far enough apart to subtract.
	far := Box{GM: 1, Radius: 1, Height: 0.5, Length: 1}
	place := func(r0, time float64) float64 {
		lo, hi := 0.0, math.Pi/2
		for range 100 {
			eta := (lo + hi) / 2
			if math.Sqrt(r0*r0*r0/2)*(eta+math.Sin(eta)*math.Cos(eta)) < time {
				lo = eta
			} else {
				hi = eta
			}
		}
		c := math.Cos(lo)
		return r0 * c * c
	}
	for _, time := range []float64{0.1, 0.5, 0.88} {
		near(t, fmt.Sprintf("growth after %g", time), gravlab.Must(far.Growth(time)), place(2, time)-place(1, time)-1, 1e-10)
	}
	// A short box almost all the way; the two cycloids in 60 digits.
	short := Box{GM: 3.986004418e14, Radius: 6378137, Height: 1000, Length: 1}
	near(t, "growth of a short box", gravlab.Must(short.Growth(708.1184751279116)), 1.2516181789500432, 1e-12)
	small := gravlab.Must(SmallestBox(3.986004418e14, 6371000, 0, 1e-9, 1))
	near(t, "smallest box", gravlab.Must(Box{3.986004418e14, 6371000, 0, small}.Difference()), 1e-9, 1e-12)
	b.Length = small
	near(t, "time to tell", gravlab.Must(b.TimeToTell(1e-9, 1)), 1, 1e-9)
}

func TestEarthDrive(t *testing.T) {
	for _, e := range []earth.Ellipsoid{earth.GRS80, earth.WGS84} {
		for deg := -90.0; deg <= 90; deg += 9 {
			lat := deg * math.Pi / 180
			sin, cos := math.Sincos(lat)
			want := e.Omega * e.Omega * gravlab.Must(e.PrimeVertical(lat)) * cos * sin
			if got := gravlab.Must(EarthDrive(e, lat, 0)); math.Abs(got-want) > 1e-15 {
				t.Errorf("%s at %g°: %g, want %g", e.Name, deg, got, want)
			}
		}
	}
	// The same from the attraction itself: normal gravity less centrifugal.
	lat, h := 0.8, 2500.0
	v := gravlab.Must(earth.GRS80.NormalGravityVector(lat, h))
	out := earth.GRS80.Omega * earth.GRS80.Omega * (gravlab.Must(earth.GRS80.PrimeVertical(lat)) + h) * math.Cos(lat)
	attraction := r3.Sub(v, r3.Vec{X: -out * math.Sin(lat), Z: -out * math.Cos(lat)})
	down := r3.Unit(v)
	across := r3.Norm(r3.Sub(attraction, r3.Scale(r3.Dot(attraction, down), down)))
	near(t, "drive at height", gravlab.Must(EarthDrive(earth.GRS80, lat, h)), across, 1e-9)
}

// Fourier analysis of the pull of the Sun through a day.
func TestSunDrive(t *testing.T) {
	const lat, dec, n = 0.9, -0.3, 360
	var es, nc float64
	pull := gmSun / au / au
	for i := range n {
		hour := 2 * math.Pi * float64(i) / n
		e := -pull * math.Cos(dec) * math.Sin(hour)
		north := pull * (math.Sin(dec)*math.Cos(lat) - math.Cos(dec)*math.Sin(lat)*math.Cos(hour))
		es += 2 * e * math.Sin(hour) / n
		nc += 2 * north * math.Cos(hour) / n
	}
	east, north, err := SunDrive(au, dec, lat)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "east", east, math.Abs(es), 1e-12)
	near(t, "north", north, math.Abs(nc), 1e-12)
}

func TestPendulumRatio(t *testing.T) {
	// A bob that falls faster by 1e-6 swings faster by half of that.
	a1, a2 := 9.8*(1+1e-6), 9.8
	got := gravlab.Must(PendulumRatio(2*math.Pi/math.Sqrt(a1), 2*math.Pi/math.Sqrt(a2)))
	near(t, "eta", got, gravlab.Must(EotvosRatio(a1, a2)), 1e-8)
}

func TestGradientTorque(t *testing.T) {
	b := Balance{TestMass: 0.1, Arm: 0.05, Kappa: 1e-8}
	got := gravlab.Must(b.GradientTorque(100, 20))
	near(t, "far mass", got, -3*gravlab.G*100*0.1*0.05*0.05/8000, 2e-5)
	near(t, "scaling", gravlab.Must(b.GradientTorque(100, 40)), got/8, 2e-5)
}

// What each disturbance pretends is the torque of its own formula.
func TestSystematics(t *testing.T) {
	b := Balance{TestMass: 0.02, Arm: 0.04, Kappa: 2e-9}
	near(t, "magnetic", gravlab.Must(b.Magnetic(1e-9, 5e-5)), 1e-9*5e-5/(0.02*0.04), 1e-14)
	near(t, "patch", gravlab.Must(b.Patch(1e-11, 0.1, 1e-3)), 1e-11*0.1*1e-3/(0.02*0.04), 1e-14)
	da := gravlab.Must(b.Thermal(1e-6, 1e-3))
	near(t, "thermal", gravlab.Must(b.Angle(da)), 1e-9, 1e-14)
	da = gravlab.Must(b.Tilt(0.01, 5e-9))
	near(t, "tilt", gravlab.Must(b.Angle(da)), 5e-11, 1e-14)
}

func TestOrbitClocksAgreeAtHalfRadius(t *testing.T) {
	const gm, r = 3.986004418e14, 6371000.0
	if low, high := gravlab.Must(OrbitClock(gm, r, 400e3)), gravlab.Must(OrbitClock(gm, r, 20e6)); low >= 0 || high <= 0 {
		t.Errorf("low %g, high %g", low, high)
	}
	if v := gravlab.Must(OrbitClock(gm, r, r/2)); math.Abs(v) > 1e-24 {
		t.Errorf("at R/2 %g", v)
	}
	near(t, "weak", gravlab.Must(RedshiftSphere(gm, r, 10)), gravlab.Must(Redshift(gm/r/r, 10)), 1e-5)
}

func TestResultsMatchTheTable(t *testing.T) {
	rows := testdata.Table("eta.csv")
	for _, r := range Results() {
		found := false
		for _, row := range rows {
			first := strings.Fields(strings.NewReplacer("ö", "o", "ő", "o", "á", "a", ",", "").Replace(r.Experiment))[0]
			if row["year"] != fmt.Sprint(r.Year) || row["bodies"] != r.Bodies && r.Bodies != "" {
				continue
			}
			if !strings.Contains(row["experiment"]+row["source"], first) {
				continue
			}
			found = true
			if r.U == 0 {
				near(t, r.Experiment+" limit", r.Bound, row.Float("limit"), 1e-12)
				continue
			}
			near(t, r.Experiment+" estimate", r.Eta, row.Float("eta"), 1e-12)
			switch u := row["uncertainty"]; {
			case strings.Contains(u, "stat"):
				var a, b float64
				if _, err := fmt.Sscanf(u, "%g (stat) %g (syst)", &a, &b); err != nil {
					t.Fatal(err)
				}
				near(t, r.Experiment+" u", r.U, math.Hypot(a, b), 1e-12)
			case row["kind"] == "95 %":
				near(t, r.Experiment+" u", r.U, row.Float("uncertainty")/2, 1e-12)
			default:
				near(t, r.Experiment+" u", r.U, row.Float("uncertainty"), 1e-12)
			}
		}
		if !found {
			t.Errorf("%s (%d): no such row in eta.csv", r.Experiment, r.Year)
		}
	}
	eta, u, err := Combine(Results())
	if err != nil || math.Abs(eta) > 3*u || u > 2.75e-15 {
		t.Errorf("combined %g(%g), %v: the satellite should rule it", eta, u, err)
	}
	if _, _, err := Combine(nil); err == nil {
		t.Error("nothing combined without an error")
	}
}

func TestLimit(t *testing.T) {
	near(t, "zero", gravlab.Must(Limit(0, 1, 0.95)), 1.959963984540054, 1e-13)
	// Far from zero it is a one-sided bound.
	near(t, "far", gravlab.Must(Limit(10, 1, 0.95)), 10+1.6448536269514722, 1e-12)
	if gravlab.Must(Limit(-1, 1, 0.95)) != gravlab.Must(Limit(1, 1, 0.95)) {
		t.Error("the sign of the estimate matters")
	}
}

// 95 % intervals of the composition signal hold the truth as often as they
// should, beside a gradient line, an offset and a drift.
func TestModulationCoverage(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 15))
	inside, total := 0, 5000
	for range total {
		s := RotatingBalance{Drive: 0.016, Eta: 2e-12, Period: 900, Gradient: 3e-13, Offset: 1e-12, Drift: 2e-16, Noise: 1e-13}
		x, y, err := s.Record(rng, 60, 47)
		if err != nil {
			t.Fatal(err)
		}
		m, err := FitModulation(x, y, 900, 2)
		if err != nil {
			t.Fatal(err)
		}
		k := distuv.StudentsT{Sigma: 1, Nu: float64(m.DoF)}.Quantile(0.975)
		if math.Abs(m.Sine[0]-s.Eta*s.Drive) < k*m.USine[0] {
			inside++
		}
	}
	b := distuv.Binomial{N: float64(total), P: 0.95}
	t.Logf("%d of %d intervals hold the truth", inside, total)
	if b.CDF(float64(inside)) < 5e-4 || 1-b.CDF(float64(inside-1)) < 5e-4 {
		t.Errorf("%d of %d intervals hold the truth, want 95 %%", inside, total)
	}
}

// The stream of a record is pinned: labs and marks rest on it.
func TestRecordIsTheSameForever(t *testing.T) {
	s := RotatingBalance{Drive: 0.016, Eta: 1e-11, Period: 1200, Gradient: 3e-13, Offset: 1e-12, Drift: 1e-17, Noise: 1e-13, Step: 1e-14}
	_, y, err := s.Record(rand.New(rand.NewPCG(3, 4)), 100, 10)
	if err != nil {
		t.Fatal(err)
	}
	h := sha256.New()
	for _, v := range y {
		// Counts of the last digit, so that no machine's last bit shows.
		_ = binary.Write(h, binary.LittleEndian, int64(math.Round(v/s.Step)))
	}
	if got, want := fmt.Sprintf("%x", h.Sum(nil)[:8]), "80af87b26608e771"; got != want {
		t.Errorf("record %s, want %s", got, want)
	}
}

func TestNoPanic(t *testing.T) {
	number := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{0, 1, -1, math.NaN(), math.Inf(1), math.Inf(-1), 1e308, 5e-324, 0.9, 1e-3}))
	rapid.Check(t, func(t *rapid.T) {
		f := func(name string) float64 { return number.Draw(t, name) }
		a, b, c, d, e := f("a"), f("b"), f("c"), f("d"), f("e")
		n := rapid.IntRange(-3, 30).Draw(t, "n")
		finite := func(what string, v float64, err error) {
			if err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
				t.Fatalf("%s gives %v without an error", what, v)
			}
		}
		v, err := Weight(a, b, c)
		finite("Weight", v, err)
		l := Lift{a, b, c}
		if l.Validate() == nil && math.Abs(d) < 1e100 {
			finite("Lift", l.Rise(d)+l.Speed(d)+l.Reading(d), nil)
		}
		table := Turntable{a, b, c}
		if table.Validate() == nil {
			finite("Turntable", r3.Norm(table.SpecificForce()), nil)
		}
		v, err = TiltLoss(a, b)
		finite("TiltLoss", v, err)
		v, err = TiltFor(a, b)
		finite("TiltFor", v, err)
		v, err = EotvosEffect(a, b, c, d)
		finite("EotvosEffect", v, err)
		box := Box{a, b, c, d}
		v, err = box.Difference()
		finite("Difference", v, err)
		v, err = box.Growth(e)
		finite("Growth", v, err)
		v, err = box.TimeToTell(e, a)
		finite("TimeToTell", v, err)
		v, err = SmallestBox(a, b, c, d, e)
		finite("SmallestBox", v, err)
		v, err = EarthDrive(earth.GRS80, a, b)
		finite("EarthDrive", v, err)
		v, _, err = SunDrive(a, b, c)
		finite("SunDrive", v, err)
		v, err = OrbitDrive(a, b, c)
		finite("OrbitDrive", v, err)
		v, err = OrbitSpeed(a, b, c)
		finite("OrbitSpeed", v, err)
		v, err = PendulumRatio(a, b)
		finite("PendulumRatio", v, err)
		v, err = EotvosRatio(a, b)
		finite("EotvosRatio", v, err)
		v, err = Redshift(a, b)
		finite("Redshift", v, err)
		v, err = RedshiftSphere(a, b, c)
		finite("RedshiftSphere", v, err)
		v, err = OrbitClock(a, b, c)
		finite("OrbitClock", v, err)
		v, _, err = HeightOf(a, b, c)
		finite("HeightOf", v, err)
		v, err = Limit(a, b, c)
		finite("Limit", v, err)
		bal := Balance{a, b, c}
		for _, g := range []func(x, y float64) (float64, error){bal.Magnetic, bal.Thermal, bal.Tilt} {
			v, err = g(d, e)
			finite("Balance", v, err)
		}
		v, err = bal.Patch(a, d, e)
		finite("Patch", v, err)
		v, err = bal.GradientTorque(d, e)
		finite("GradientTorque", v, err)
		v, err = bal.Angle(d)
		finite("Angle", v, err)
		_, _, _ = RotatingBalance{a, b, c, d, e, a, b, c}.Record(rand.New(rand.NewPCG(1, 1)), n, d)
		x, y := rapid.SliceOfN(number, 0, 15).Draw(t, "x"), rapid.SliceOfN(number, 0, 15).Draw(t, "y")
		if rapid.Bool().Draw(t, "regular") {
			x = x[:0]
			for i := range y {
				x = append(x, float64(i))
			}
		}
		_, _ = FitModulation(x, y, a, n)
	})
}

func BenchmarkFitModulation(b *testing.B) {
	s := RotatingBalance{Drive: 0.016, Period: 1200, Gradient: 3e-13, Noise: 1e-13}
	x, y, err := s.Record(rand.New(rand.NewPCG(1, 2)), 8640, 10)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := FitModulation(x, y, 1200, 2); err != nil {
			b.Fatal(err)
		}
	}
}
