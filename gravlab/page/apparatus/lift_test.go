package apparatus

import (
	"math"
	"testing"

	"gravity.example/gravlab/equivalence"
)

// numbersAt are the numbers of a scene by their ids.
func numbersAt(t *testing.T, s Scene, set map[string]float64, at float64) map[string]float64 {
	t.Helper()
	state, err := s.At(set, at)
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]float64{}
	for _, n := range state.Numbers {
		all[n.ID] = n.Value
	}
	return all
}

// TestLift: the lift rides, stops and falls, and its scale reads what package equivalence says.
func TestLift(t *testing.T) {
	for _, way := range []struct{ ride, sign float64 }{{ridesUp, 1}, {ridesDown, -1}} {
		set := map[string]float64{"ride": way.ride, "peak": 1.7, "travel": 5.5, "m": 82}
		model := equivalence.Lift{Gravity: liftGravity, Peak: 1.7 * way.sign, Pulse: liftPulse}
		for _, at := range []float64{0.3, 1.4, 2.2, 3.1} {
			got := numbersAt(t, lift, set, at)
			if want := model.Reading(at - liftWait); math.Abs(got["reading"]-want) > 1e-9*want || math.Abs(got["scale"]-82*want/liftGravity) > 1e-9*82 {
				t.Errorf("ride %g at %g s: accelerometer %v, scale %v; want %v, %v", way.ride, at, got["reading"], got["scale"], want, 82*want/liftGravity)
			}
		}
		// Speed is the slope of the height, acceleration that of the speed.
		const h = 1e-4
		for at := 0.5; at < 9.5; at += 0.37 {
			before, here, after := numbersAt(t, lift, set, at-h), numbersAt(t, lift, set, at), numbersAt(t, lift, set, at+h)
			if slope := (after["height"] - before["height"]) / (2 * h); math.Abs(slope-here["speed"]) > 1e-6 {
				t.Errorf("ride %g at %g s: the height grows by %g m/s, the speed is %g", way.ride, at, slope, here["speed"])
			}
			if slope := (after["speed"] - before["speed"]) / (2 * h); math.Abs(slope-here["a"]) > 1e-6 {
				t.Errorf("ride %g at %g s: the speed grows by %g m/s², the acceleration is %g", way.ride, at, slope, here["a"])
			}
		}
		// One pulse gives Peak Pulse/2 of speed, held from the start of one to that of the next.
		first, last := numbersAt(t, lift, set, 0), numbersAt(t, lift, set, 1e4)
		if rise, want := last["height"]-first["height"], way.sign*1.7*liftPulse/2*5.5; math.Abs(rise-want) > 1e-9*math.Abs(want) || math.Abs(last["speed"]) > 1e-9 {
			t.Errorf("ride %g: it rose by %g m, want %g; it ends at %g m/s", way.ride, rise, want, last["speed"])
		}
	}
	set := map[string]float64{"ride": ridesCut, "m": 82, "tilt": 20}
	if got := numbersAt(t, lift, set, 2); got["scale"] != 0 || got["reading"] != 0 || math.Abs(got["speed"]+liftGravity) > 1e-9 {
		t.Errorf("one second after the cable was cut the scale reads %v, at %v m/s", got["scale"], got["speed"])
	}
	if got := numbersAt(t, lift, set, 0.5); math.Abs(got["scale"]-82*math.Cos(20*math.Pi/180)) > 1e-9*82 {
		t.Errorf("at rest a scale that leans by 20° reads %v kg", got["scale"])
	}
}
