package apparatus

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"gravity.example/gravlab"
	"gravity.example/gravlab/pendulum"
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
				state, err := s.At(settings(t, s), rapid.Float64Range(0, 1e4).Draw(t, "time"))
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

// TestLabels: at all ends of the sliders no writing of the balance lies on a thing, a
// line or another writing, but for the letter of a thing on that thing and on what
// that is drawn over.
func TestLabels(t *testing.T) {
	for _, s := range []Scene{balance, lift, turntable, stone, tide, descent, gate, iceCap, walk, pendant, sources, pier, drains} {
		said := 0
		ends := 1
		for range s.Controls {
			ends *= 3
		}
		for n := range ends {
			set, k := map[string]float64{}, n
			for _, c := range s.Controls {
				set[c.ID] = []float64{c.Min, c.Start, c.Max}[k%3]
				k /= 3
			}
			moments := []float64{0, 3, 100, 250, 1000}
			if s.Speed == 0 {
				moments = moments[:1]
			}
			for _, at := range moments {
				state, err := s.At(set, at)
				if err != nil {
					continue // the sentence says what to change
				}
				for _, what := range covered(state) {
					if said++; said < 4 {
						t.Errorf("%s, %v, %g s: %s", s.ID, set, at, what)
					}
				}
			}
		}
	}
}

// covered lists what lies under the writing of a state. A writing is taken as a box
// of 0.6 of its height for each letter, as apparatus.css sets it.
func covered(s State) (list []string) {
	unit := s.View[2] / 400
	type writing struct {
		text       string
		l, t, r, b float64
		of         int // the shape that it names
	}
	var all []writing
	for i, shape := range s.Shapes {
		y := shape.Points[1]
		switch {
		case shape.Text == "":
			continue
		case shape.Kind == "circle":
			y += 4 * unit
		}
		half := 0.3 * 11 * unit * float64(len([]rune(shape.Text)))
		all = append(all, writing{text: shape.Text, l: shape.Points[0] - half, r: shape.Points[0] + half, t: y - 8*unit, b: y, of: i})
	}
	for i, w := range all {
		if w.l < s.View[0] || w.r > s.View[0]+s.View[2] || w.t < s.View[1] || w.b > s.View[1]+s.View[3] {
			list = append(list, w.text+" runs out of the picture")
		}
		for _, o := range all[i+1:] {
			if w.l < o.r && o.l < w.r && w.t < o.b && o.t < w.b {
				list = append(list, w.text+" lies on "+o.text)
			}
		}
		for j, shape := range s.Shapes {
			if j == w.of {
				continue
			}
			switch p := shape.Points; shape.Kind {
			case "circle":
				x, y := math.Max(w.l, math.Min(p[0], w.r)), math.Max(w.t, math.Min(p[1], w.b))
				own := s.Shapes[w.of]
				over := own.Kind == "circle" && math.Hypot(own.Points[0]-p[0], own.Points[1]-p[1]) < own.R+shape.R
				if math.Hypot(x-p[0], y-p[1]) < shape.R && !over {
					list = append(list, w.text+" lies on a "+shape.Role+" "+shape.Text)
				}
			case "line", "arrow", "path":
				for k := 0; k+3 < len(p); k += 2 {
					if crosses(w.l, w.t, w.r, w.b, p[k], p[k+1], p[k+2], p[k+3]) {
						list = append(list, w.text+" lies on a line: "+shape.Role)
						break
					}
				}
			}
		}
	}
	return list
}

// crosses reports whether a line from (x1, y1) to (x2, y2) meets a box.
func crosses(l, t, r, b, x1, y1, x2, y2 float64) bool {
	from, to := 0.0, 1.0
	clip := func(at, way, low, high float64) bool {
		if way == 0 {
			return at >= low && at <= high
		}
		a, z := (low-at)/way, (high-at)/way
		from, to = math.Max(from, math.Min(a, z)), math.Min(to, math.Max(a, z))
		return from <= to
	}
	return clip(x1, x2-x1, l, r) && clip(y1, y2-y1, t, b)
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

// settings draws a place for every slider.
func settings(t *rapid.T, s Scene) map[string]float64 {
	set := map[string]float64{}
	for _, c := range s.Controls {
		steps := int(math.Round((c.Max - c.Min) / c.Step))
		set[c.ID] = math.Min(c.Max, c.Min+c.Step*float64(rapid.IntRange(0, steps).Draw(t, c.ID)))
	}
	return set
}

// TestNoBodyInAnother: whatever the sliders say and whenever one looks, no sphere of
// the balance is drawn in another one, nor the beam in a large one. Distances in mm.
func TestNoBodyInAnother(t *testing.T) {
	drawn := 0
	rapid.Check(t, func(t *rapid.T) {
		set := settings(t, balance)
		state, err := balance.At(set, rapid.Float64Range(0, 2000).Draw(t, "time"))
		if err != nil {
			return // the sentence says what to change
		}
		drawn++
		var spheres []Shape
		for _, s := range state.Shapes {
			if s.Kind == "circle" && (s.Role == "mass" || s.Role == "sensor") {
				spheres = append(spheres, s)
			}
		}
		if len(spheres) != 4 {
			t.Fatalf("%d spheres", len(spheres))
		}
		for i, a := range spheres {
			for _, b := range spheres[i+1:] {
				if gap := math.Hypot(a.Points[0]-b.Points[0], a.Points[1]-b.Points[1]) - a.R - b.R; gap < 0 {
					t.Errorf("%v: %s lies %.1f mm in %s", set, a.Text, -gap, b.Text)
				}
			}
			for _, s := range state.Shapes {
				if s.Kind == "line" && s.Role == "support" && a.Role == "mass" {
					if d := fromSegment(a.Points, s.Points); d < a.R {
						t.Errorf("%v: the beam runs %.1f mm into %s", set, a.R-d, a.Text)
					}
				}
			}
		}
	})
	if drawn < 20 {
		t.Errorf("only %d settings could be drawn", drawn)
	}
}

// fromSegment is the distance of a point from a line between two places.
func fromSegment(p, line []float64) float64 {
	dx, dy := line[2]-line[0], line[3]-line[1]
	k := ((p[0]-line[0])*dx + (p[1]-line[1])*dy) / (dx*dx + dy*dy)
	k = math.Max(0, math.Min(1, k))
	return math.Hypot(p[0]-line[0]-k*dx, p[1]-line[1]-k*dy)
}

// TestFloorOfThePendulum: a vertical sensor shows the floor at 2/T, as its lab says,
// one along the swing at 1/T, each as the model has it; the other line is 0, and so
// written, at any setting.
func TestFloorOfThePendulum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set := settings(t, pendulumPast)
		vertical := set["axis"] < 0.5
		state, err := pendulumPast.At(set, rapid.Float64Range(0, 20).Draw(t, "time"))
		if err != nil {
			t.Fatal(err)
		}
		shown := map[string]Number{}
		for _, n := range state.Numbers {
			shown[n.ID] = n
		}
		there, nothing := []string{"line1", "floor1"}, []string{"line2", "floor2"}
		if vertical {
			there, nothing = nothing, there
		}
		for i := range 2 {
			if shown[there[i]].Value == 0 {
				t.Errorf("%v: %s is 0", set, there[i])
			}
			if n := shown[nothing[i]]; n.Text != "0 nm/s²" {
				t.Errorf("%v: %s is written %q", set, nothing[i], n.Text)
			}
		}
		p := pendulum.Pendulum{Length: set["L"], Bob: pendulum.Bob{Mass: set["m"]}, Gravity: 9.81, Amplitude: set["amplitude"] * math.Pi / 180}
		horizontal, down, err := p.ReactionHarmonics(2)
		if err != nil {
			t.Fatal(err)
		}
		// The definitions: g times the tilt, and w² times the sinking.
		stiffness := set["floor"] * 1e6
		w := 4 * math.Pi / gravlab.Must(p.Period())
		want := 9.81 * horizontal[1] * (set["L"] + set["below"]) / stiffness
		if vertical {
			want = w * w * down[2] / (1.5 * stiffness / (1.5 * 1.5))
		}
		if got := shown[there[1]].Value * 1e-9; math.Abs(got/want-1) > 1e-9 {
			t.Errorf("%v: the floor's effect is %g m/s², want %g", set, got, want)
		}
	})
}
