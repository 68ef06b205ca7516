package buried_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/buried"
)

// stonyProfile is a profile over a drain in rubble, inverted as if its scatter were
// white.
func stonyProfile(t *testing.T, random *rand.Rand) (*buried.Inversion, buried.InfiniteCylinder, buried.Clutter, float64) {
	t.Helper()
	drain := buried.InfiniteCylinder{X: 2, Z: 2.5, Radius: 0.9, Contrast: -1900}
	rubble := buried.Rubble{Min: r3.Vec{X: -30, Y: -15, Z: 1}, Max: r3.Vec{X: 30, Y: 15, Z: 4}, Number: 0.1, Smallest: 0.5, Largest: 0.7, Contrast: 500}
	const noise = 1 * gravlab.MicroGal
	var at []r3.Vec
	for x := -18.0; x <= 18; x += 0.5 {
		at = append(at, r3.Vec{X: x})
	}
	rocks := gravlab.Must(rubble.Scatter(random, drain))
	gz := gravlab.Must(buried.Instrument{Noise: noise, Step: 1e-12, Offset: 1e-6}.Readings(random, buried.Sum{drain, rocks}, at))
	v, err := buried.Invert(buried.Anomaly{Stations: at, GZ: gz}, []buried.Shape{buried.LineShape},
		[]buried.Source{{Shape: buried.LineShape, X: drain.X, Z: drain.Z, Mass: drain.MassPerLength()}})
	if err != nil {
		t.Fatal(err)
	}
	return v, drain, gravlab.Must(rubble.Clutter()), noise
}

// In rubble the fit's own uncertainties are too small, and those of InClutter are
// what 200 profiles scatter by.
func TestInClutterCovers(t *testing.T) {
	random := rand.New(rand.NewPCG(11, 12))
	const runs = 200
	var own, honest [3]float64 // sums of squares of deviations over u: X, Z, Mass
	for range runs {
		v, drain, clutter, noise := stonyProfile(t, random)
		s := gravlab.Must(v.InClutter(noise, clutter))[0]
		off := [3]float64{s.X - drain.X, s.Z - drain.Z, s.Mass - drain.MassPerLength()}
		for i, u := range [3]float64{v.Sources[0].UX, v.Sources[0].UZ, v.Sources[0].UMass} {
			own[i] += off[i] * off[i] / (u * u) / runs
		}
		for i, u := range [3]float64{s.UX, s.UZ, s.UMass} {
			honest[i] += off[i] * off[i] / (u * u) / runs
		}
	}
	// The rms of 200 has a standard uncertainty of 5 %; the rubble's box is finite and
	// its stones keep clear of the drain, which takes some per cent away.
	for i, name := range []string{"X", "Z", "Mass"} {
		own, honest := math.Sqrt(own[i]), math.Sqrt(honest[i])
		t.Logf("%-4s scatter over the fit's u %.2f, over that in clutter %.2f", name, own, honest)
		if honest < 0.8 || honest > 1.2 {
			t.Errorf("%s scatters by %.2f of its uncertainty in clutter", name, honest)
		}
		if own < 1.35 {
			t.Errorf("%s scatters by %.2f only of the fit's own uncertainty: this profile tests nothing", name, own)
		}
	}
}

// Without rubble and with the noise that the fit found nothing changes.
func TestInClutterOfNothing(t *testing.T) {
	v, _, clutter, _ := stonyProfile(t, rand.New(rand.NewPCG(1, 2)))
	clutter.Number = 0
	s := gravlab.Must(v.InClutter(math.Sqrt(v.Fit.Chi2/float64(v.Fit.DoF)), clutter))[0]
	was := v.Sources[0]
	for _, c := range [][2]float64{{s.UX, was.UX}, {s.UZ, was.UZ}, {s.UMass, was.UMass}, {s.DepthMass, was.DepthMass}} {
		if math.Abs(c[0]-c[1]) > 1e-6*math.Abs(c[1]) {
			t.Errorf("%+v, want %+v", s, was)
		}
	}
	if _, err := v.InClutter(-1, clutter); err == nil {
		t.Error("a negative noise has no error")
	}
	if _, err := (&buried.Inversion{}).InClutter(1e-8, clutter); err == nil {
		t.Error("an inversion made by hand has no error")
	}
}
