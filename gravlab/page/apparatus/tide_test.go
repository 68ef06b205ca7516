package apparatus

import (
	"math"
	"testing"
	"time"

	"gravity.example/gravlab/earth"
)

// TestTide: the numbers are those of package earth, and a body overhead or underfoot lifts by
// about 2 GM R/d³, one on the horizon presses by half of that.
func TestTide(t *testing.T) {
	for _, at := range []float64{0, 5e3, 123456} {
		got := numbersAt(t, tide, map[string]float64{"lat": -33, "day": 21}, at)
		want, err := earth.Site{Lat: -33 * math.Pi / 180}.Tide(time.Date(2024, 3, 21, 0, 0, 0, 0, time.UTC).Add(time.Duration(at * 1e9)))
		if err != nil {
			t.Fatal(err)
		}
		for id, w := range map[string]float64{"moon": 1e9 * want.Moon, "sun": 1e9 * want.Sun, "both": 1e9 * (want.Moon + want.Sun)} {
			if math.Abs(got[id]-w) > 1e-9*2000 {
				t.Errorf("at %g s %s is %v nm/s², want %v", at, id, got[id], w)
			}
		}
		// Sun: GM and distance from memory, rounded; the distance differs by less than 2 %.
		h := got["sunheight"] * math.Pi / 180
		size := 1e9 * 1.327e20 * 6.37e6 / math.Pow(1.496e11, 3)
		if about := size * (3*math.Sin(h)*math.Sin(h) - 1); math.Abs(got["sun"]-about) > 0.08*2*size {
			t.Errorf("at %g s the Sun %.1f° high lifts by %v nm/s², about %v is expected", at, got["sunheight"], got["sun"], about)
		}
	}
}
