package apparatus

import (
	"math"
	"testing"
)

// TestTurntable: the reading is what package equivalence documents, and the beam turns as a
// torque m b Δa over κ makes it turn.
func TestTurntable(t *testing.T) {
	set := map[string]float64{"eta": -3.2, "gradient": 5.5, "drift": 12, "period": 25, "kappa": 2.5}
	for _, at := range []float64{0, 100, 731, 1500, 4499} {
		got := numbersAt(t, turntable, set, at)
		p := 2 * math.Pi * at / 1500
		want := -3.2e-10*turnDrive*math.Sin(p) + 5.5e-12*math.Sin(2*p-0.5) + 12e-16*at
		if math.Abs(got["reading"]-1e12*want) > 1e-9*10 {
			t.Errorf("at %g s the reading is %v pm/s², want %v", at, got["reading"], 1e12*want)
		}
		if angle := 1e9 * turnMass * turnArm * want / 2.5e-9; math.Abs(got["beam"]-angle) > 1e-9*1e4 {
			t.Errorf("at %g s the beam is turned by %v nrad, want %v", at, got["beam"], angle)
		}
	}
	// After whole turns only the drift is left of what has changed.
	first, last := numbersAt(t, turntable, set, 0), numbersAt(t, turntable, set, 1e6)
	if math.Abs(last["reading"]-first["reading"]-last["drifted"]) > 1e-9 || math.Abs(last["drifted"]-12e-4*4500) > 1e-9 {
		t.Errorf("three turns change the reading by %v, the drift is %v", last["reading"]-first["reading"], last["drifted"])
	}
}
