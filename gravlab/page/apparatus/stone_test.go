package apparatus

import (
	"math"
	"testing"
)

// TestStone: it falls with the gravity of GRS80, and its energy stays.
func TestStone(t *testing.T) {
	// Moritz, Geodetic Reference System 1980: 9.7803267715 at the equator, 9.8321863685 at the
	// poles, in m/s².
	for lat, want := range map[float64]float64{0: 9.7803267715, 90: 9.8321863685} {
		if got := numbersAt(t, stone, map[string]float64{"lat": lat, "above": 0}, 0.5)["g"]; math.Abs(got-want) > 5e-11*1.1 {
			t.Errorf("gravity at latitude %g° is %.11f, want %v", lat, got, want)
		}
	}
	for _, at := range []float64{0, 0.3, 1.1, 100} {
		got := numbersAt(t, stone, nil, at)
		if kinetic := got["speed"] * got["speed"] / 2; math.Abs(kinetic-got["g"]*got["fallen"]) > 1e-9*100 {
			t.Errorf("at %g s it has %v J/kg, and has lost %v", at, kinetic, got["g"]*got["fallen"])
		}
	}
	if got := numbersAt(t, stone, nil, 100)["fallen"]; math.Abs(got-12) > 1e-12 {
		t.Errorf("it comes to rest after %v m", got)
	}
}
