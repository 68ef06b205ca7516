package apparatus

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"gravity.example/gravlab"
	"gravity.example/gravlab/torsion"
)

// TestStarts: every scene can be shown as it starts, at several moments, and
// every number in it is finite.
func TestStarts(t *testing.T) {
	for _, s := range Scenes() {
		for _, at := range []float64{0, 0.7, 1000} {
			state, err := s.At(nil, at)
			if err != nil {
				t.Errorf("%s at %g s: %v", s.ID, at, err)
				continue
			}
			look(t, s.ID, state)
		}
		if s.Note == "" || len(s.Labs) == 0 || len(s.Controls) < 3 {
			t.Errorf("%s: a note, labs and controls are wanted", s.ID)
		}
	}
}

type failer interface {
	Errorf(string, ...any)
}

func look(t failer, id string, state State) {
	if len(state.Shapes) < 3 || len(state.Numbers) < 3 || state.Says == "" || !(state.View[2] > 0) {
		t.Errorf("%s: %d shapes, %d numbers, %q", id, len(state.Shapes), len(state.Numbers), state.Says)
	}
	for _, shape := range state.Shapes {
		for _, v := range append(shape.Points, shape.R) {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%s: a %s has the coordinate %v", id, shape.Kind, v)
			}
		}
	}
	for _, n := range state.Numbers {
		if math.IsNaN(n.Value) || math.IsInf(n.Value, 0) || n.Text == "" {
			t.Errorf("%s: %s is %v, shown as %q", id, n.Label, n.Value, n.Text)
		}
	}
}

// TestAnySetting: whatever the sliders say, there is a state or a sentence that
// says what to change.
func TestAnySetting(t *testing.T) {
	for _, s := range Scenes() {
		t.Run(s.ID, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				set := map[string]float64{}
				for _, c := range s.Controls {
					steps := int(math.Round((c.Max - c.Min) / c.Step))
					set[c.ID] = math.Min(c.Max, c.Min+c.Step*float64(rapid.IntRange(0, steps).Draw(t, c.ID)))
				}
				state, err := s.At(set, rapid.Float64Range(0, 1e4).Draw(t, "time"))
				if err == nil {
					look(t, s.ID, state)
				} else if err.Error() == "" {
					t.Fatal("an error without words")
				}
			})
		})
	}
}

// TestSceneIsTheModel: the numbers of the balance are those of package torsion.
func TestSceneIsTheModel(t *testing.T) {
	state, err := balance.At(map[string]float64{"d": 80, "kappa": 300}, 0)
	if err != nil {
		t.Fatal(err)
	}
	b := torsion.Skelmire()
	b.Distance, b.Kappa, b.Clearance, b.InLine = 0.080, 300e-9, 0, 0
	b.LargeRadius = math.Cbrt(3 * b.LargeMass / (4 * math.Pi * 11350))
	want := 1e3 * gravlab.Must(b.Deflection())
	for _, n := range state.Numbers {
		if n.ID == "rest" && math.Abs(n.Value-want) > 1e-9*want {
			t.Errorf("the beam rests at %g mrad, want %g", n.Value, want)
		}
	}
}

func TestOutOfRange(t *testing.T) {
	if _, err := balance.At(map[string]float64{"d": 1}, 0); err == nil {
		t.Error("a distance of 1 mm was taken")
	}
	if _, err := balance.At(nil, -1); err == nil {
		t.Error("a time before the start was taken")
	}
}

func TestDigits(t *testing.T) {
	for v, want := range map[float64]string{0: "0", 12.3456: "12.35", -0.012345: "−0.01235", 1.5e-9: "1.500 × 10⁻⁹", 98765: "98765"} {
		if got := digits(v); got != want {
			t.Errorf("digits(%g) = %q, want %q", v, got, want)
		}
	}
}

func BenchmarkFrame(b *testing.B) {
	for _, s := range Scenes() {
		b.Run(s.ID, func(b *testing.B) {
			for b.Loop() {
				if _, err := s.At(nil, 3); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
