package apparatus

import (
	"math"
	"testing"
)

// TestReversibleMisses: what Bessel's formula misses is the amplitude alone in a
// vacuum, at any place of the weight, and air makes it miss more; where the periods
// are equal and both discs have one size, air makes no difference.
func TestReversibleMisses(t *testing.T) {
	missed := func(place, air, amplitude float64) (both, apart float64) {
		state, err := reversible.At(map[string]float64{"place": place, "air": air, "amplitude": amplitude}, 0.3)
		if err != nil {
			t.Fatal(err)
		}
		for _, n := range state.Numbers {
			switch n.ID {
			case "both":
				both = n.Value
			case "difference":
				apart = n.Value
			}
		}
		return both, apart
	}
	angle := 5 * math.Pi / 180
	for _, place := range []float64{0.1, 0.5, 0.9} {
		got, _ := missed(place, 0, 5)
		want := 981e3 * angle * angle / 8
		if math.Abs(got-want) > 0.002*want { // the next term of the series is 7e-4 of this one
			t.Errorf("weight at %g m: %g mGal are missing, want %g", place, got, want)
		}
	}
	// The place of equal periods lies between two steps of the slider.
	equal, step := 0.3, 0.1
	for range 60 {
		if _, apart := missed(equal+step, 1, 0.1); apart < 0 {
			equal += step
		} else {
			step /= 2
		}
	}
	vacuum, _ := missed(equal, 0, 0.1)
	symmetric, apart := missed(equal, 1, 0.1)
	bare, _ := missed(equal, 2, 0.1)
	if math.Abs(apart) > 1e-9 || math.Abs(symmetric-vacuum) > 1e-3 {
		t.Errorf("at %g m, with periods %g ms apart: %g mGal are missing in air, %g in a vacuum", equal, apart, symmetric, vacuum)
	}
	if math.Abs(bare-vacuum) < 10 {
		t.Errorf("without the hollow disc air makes a difference of only %g mGal", bare-vacuum)
	}
}
