package earth

import (
	"math"
	"testing"
)

// TestOldNormalGravity: the values that were printed with the formulas, at the pole and at
// 45° (980.629 Gal; 983.221 Gal; 983.21773 Gal of the Geodetic Reference System 1967; all from
// memory), to their digits; and by how much they differ from GRS80.
func TestOldNormalGravity(t *testing.T) {
	for _, c := range []struct {
		formula        string
		lat, want, tol float64
	}{
		{"1930", 0, 9.78049, 5e-6}, {"1930", 45, 9.80629, 1e-5}, {"1930", 90, 9.83221, 1e-5},
		{"1967", 0, 9.7803185, 1e-7}, {"1967", 90, 9.8321773, 1e-7},
	} {
		got, err := OldNormalGravity(c.formula, c.lat*math.Pi/180)
		if err != nil || math.Abs(got-c.want) > c.tol {
			t.Errorf("%s at %g°: %.7f m/s², want %v (%v)", c.formula, c.lat, got, c.want, err)
		}
	}
	for lat := 0.0; lat <= 90; lat += 15 {
		now, err := GRS80.NormalGravity(lat*math.Pi/180, 0)
		if err != nil {
			t.Fatal(err)
		}
		for formula, most := range map[string]float64{"1930": 17e-5, "1967": 0.93e-5} {
			old, err := OldNormalGravity(formula, lat*math.Pi/180)
			if d := old - now; err != nil || math.Abs(d) > most {
				t.Errorf("%s differs from GRS80 by %.2f mGal at %g° (%v)", formula, d*1e5, lat, err)
			}
		}
	}
	if _, err := OldNormalGravity("1980", 0); err == nil {
		t.Error("a formula that is none of them was taken")
	}
}
