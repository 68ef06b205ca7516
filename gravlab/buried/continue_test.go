package buried

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
)

// A map continued upward is the field of its body at that height.
func TestUpwardOfAPoint(t *testing.T) {
	body := Point{At: r3.Vec{X: 0.3, Y: -0.2, Z: 4}, Mass: 1e9}
	const half, height = 40, 3.0
	for _, step := range []float64{2, 1} {
		n := int(2*half/step) + 1
		x, gz := make([]float64, n), make([][]float64, n)
		for i := range x {
			x[i] = -half + float64(i)*step
		}
		for i := range x {
			gz[i] = make([]float64, n)
			for j := range x {
				gz[i][j] = gravlab.Must(body.GZ(r3.Vec{X: x[i], Y: x[j]}))
			}
		}
		c, err := Upward(x, x, gz, height)
		if err != nil {
			t.Fatal(err)
		}
		m := n / 2
		want := gravlab.Must(body.GZ(r3.Vec{Z: -height}))
		// A cell of one value widens the map by step²/12 each way, which the middle of a point's
		// field feels as 3/2 step²/12/(z+h)² each way. Beyond the map, where a fifteenth of the
		// half space lies, the field is at most 0.05 % of the peak off the rim's mean.
		tolerance := 2*1.5*step*step/12/49 + 0.07*0.005
		if math.Abs(c.GZ[m][m]/want-1) > tolerance || c.Seen[m][m] < 0.9 || c.Seen[0][0] > 0.4 {
			t.Errorf("step %g: %g, want %g; seen %.3f and %.3f", step, c.GZ[m][m], want, c.Seen[m][m], c.Seen[0][0])
		}
	}
}

// Waves keep exp(−2π h/λ), one value everywhere keeps itself.
func TestUpwardOfAWave(t *testing.T) {
	// The waves of the rim cancel: its mean is 0 at 10.5 wavelengths from end to end.
	const n, wavelength, height = 127, 12.0, 2.0
	x, gz := make([]float64, n), make([][]float64, n)
	for i := range x {
		x[i] = float64(i - n/2)
	}
	for i := range x {
		gz[i] = make([]float64, n)
		for j := range x {
			gz[i][j] = 1e-5 * math.Cos(2*math.Pi*x[i]/wavelength)
		}
	}
	c := gravlab.Must(Upward(x, x, gz, height))
	// Beyond the map, 3 % of the half space, one value stands for all waves. A cell's
	// mean of a wave is sin(u)/u of its middle, u = π step/λ.
	u := math.Pi / wavelength
	want := 1e-5 * math.Exp(-2*math.Pi*height/wavelength) * math.Sin(u) / u
	if got := c.GZ[n/2][n/2]; math.Abs(got/want-1) > 0.02 {
		t.Errorf("the wave keeps %g, want %g", got/1e-5, want/1e-5)
	}
	for i := range gz {
		for j := range gz {
			gz[i][j] = 3e-5
		}
	}
	c = gravlab.Must(Upward(x, x, gz, 5))
	if math.Abs(c.GZ[0][7]/3e-5-1) > 1e-12 {
		t.Errorf("one value everywhere becomes %g", c.GZ[0][7])
	}
}

func TestUpwardRefuses(t *testing.T) {
	x := []float64{0, 1, 2}
	row := func() []float64 { return []float64{0, 0, 0} }
	good := [][]float64{row(), row(), row()}
	for name, f := range map[string]func() error{
		"uneven":   func() error { _, err := Upward([]float64{0, 1, 3}, x, good, 1); return err },
		"downward": func() error { _, err := Upward(x, x, good, -1); return err },
		"ragged":   func() error { _, err := Upward(x, x, [][]float64{row(), row(), {0}}, 1); return err },
		"a gap":    func() error { _, err := Upward(x, x, [][]float64{row(), row(), {0, math.NaN(), 0}}, 1); return err },
		"absolute": func() error { _, err := Upward(x, x, [][]float64{row(), row(), {9.8, 9.8, 9.8}}, 1); return err },
	} {
		if f() == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
