package apparatus

import (
	"math"
	"testing"

	"gravity.example/gravlab"
)

// TestDescent: the numbers are those of two balls in one another, worked out here, at 200
// settings; g is 0 at the centre.
func TestDescent(t *testing.T) {
	shown := func(set map[string]float64) (map[string]float64, bool) {
		state, err := descent.At(set, 0)
		if err != nil {
			return nil, false // the sentence says what to change
		}
		out := map[string]float64{}
		for _, n := range state.Numbers {
			out[n.ID] = n.Value
		}
		return out, true
	}
	for set := range settingsOf(descent) {
		got, ok := shown(set)
		if !ok {
			continue
		}
		a, c, inner, outer := 1e3*set["radius"], 1e3*set["core"], set["inner"], set["outer"]
		ball := func(r, density float64) float64 { return 4.0 / 3 * math.Pi * r * r * r * density }
		within := func(r float64) float64 {
			if r <= c {
				return ball(r, inner)
			}
			return ball(c, inner-outer) + ball(r, outer)
		}
		r := a * (1 - set["depth"]/100)
		want := map[string]float64{"mean": within(a) / ball(a, 1), "inertia": 0.4 * (ball(c, inner-outer)*c*c + ball(a, outer)*a*a) / (within(a) * a * a)}
		if r > 1 {
			want["g"] = gravlab.G * within(r) / (r * r)
			want["still"] = within(r) / (2 * math.Pi * r * r * r)
		}
		for id, w := range want {
			if math.Abs(got[id]-w) > 1e-9*math.Abs(w) {
				t.Errorf("%v: %s is %g, want %g", set, id, got[id], w)
			}
		}
	}
	if got, ok := shown(map[string]float64{"depth": 100}); !ok || got["g"] != 0 {
		t.Errorf("at the centre g is %g", got["g"])
	}
}
