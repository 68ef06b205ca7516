package draw

import (
	"bytes"
	"encoding/xml"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"gravity.example/gravlab/draw/figure"
)

// gallery holds one figure of each kind that the labs draw. Its data are made
// here; none is measured.
func gallery() map[string]*figure.Figure {
	rng := rand.New(rand.NewPCG(1, 2))
	swing := figure.Figure{
		Title:   "The swing dies away and settles off zero",
		Caption: "Deflection of the beam after the spheres were turned.",
		X:       figure.Axis{Label: "time", Unit: "min"},
		Y:       figure.Axis{Label: "deflection", Unit: "mrad"},
	}
	var x, y, u, fit []float64
	for i := range 90 {
		t := float64(i)
		v := 1.2 + 5*math.Exp(-t/40)*math.Cos(2*math.Pi*t/14)
		x, u, fit = append(x, t), append(u, 0.35), append(fit, v)
		y = append(y, v+0.35*rng.NormFloat64())
	}
	swing.Series = []figure.Series{
		{Name: "recording", Kind: figure.Points, X: x, Y: y, U: u},
		{Name: "fit", Kind: figure.Line, X: x, Y: fit},
	}
	swing.Marks = []figure.Mark{{Kind: figure.Horizontal, Y: 1.2, Text: "rest"}}
	swing.AddResiduals("mrad", x, y, u, fit)

	lines := figure.Figure{
		Title: "Where the noise terms cross",
		X:     figure.Axis{Label: "frequency", Unit: "Hz", Log: true},
		Y:     figure.Axis{Label: "acceleration noise", Unit: "m s⁻² Hz⁻¹ᐟ²", Log: true},
		Marks: []figure.Mark{{Kind: figure.Vertical, X: 0.05, Text: "resonance"}, {Kind: figure.Span, X: 0.1, X2: 1, Text: "band of interest"}},
	}
	lines.Y.Unit = "m/s²/√Hz"
	names := []string{"thermal", "readout", "amplifier", "patch charges", "seismic", "tilt", "sum"}
	for k, name := range names {
		s := figure.Series{Name: name, Kind: figure.Line}
		for i := range 200 {
			f := math.Pow(10, -4+5*float64(i)/199)
			s.X = append(s.X, f)
			s.Y = append(s.Y, 1e-9*math.Pow(f, float64(k-3)*0.5)*(1+0.1*float64(k)))
		}
		lines.Series = append(lines.Series, s)
	}

	long := figure.Figure{
		Title: "A day of the quiet pier",
		X:     figure.Axis{Label: "time", Unit: "s"},
		Y:     figure.Axis{Label: "acceleration", Unit: "m/s²"},
	}
	noise := figure.Series{Name: "sensor", Kind: figure.Line}
	for i := range 20000 {
		noise.X = append(noise.X, float64(i)*4)
		noise.Y = append(noise.Y, 3e-8*rng.NormFloat64()+2e-8*math.Sin(float64(i)/3000))
	}
	noise.Y[12000] = 4e-7
	long.Series = []figure.Series{noise}

	cloud := long
	cloud.Title = "The same as points"
	dots := noise
	dots.Kind = figure.Points
	cloud.Series = []figure.Series{dots}

	anomaly := figure.Figure{
		Title: "gz over two tunnels",
		X:     figure.Axis{Label: "east", Unit: "m"},
		Y:     figure.Axis{Label: "north", Unit: "m"},
		Map:   &figure.Map{Label: "anomaly of gz", Unit: "µGal", Signed: true, Lines: true, Square: true},
		Series: []figure.Series{{Name: "stations", Kind: figure.Points,
			X: []float64{-20, -10, 0, 10, 20}, Y: []float64{5, 5, 5, 5, 5}}},
	}
	m := anomaly.Map
	for i := range 61 {
		m.X = append(m.X, float64(i-30))
	}
	for j := range 41 {
		m.Y = append(m.Y, float64(j-20))
	}
	for _, yy := range m.Y {
		for _, xx := range m.X {
			m.Z = append(m.Z, -80/(1+(xx-8)*(xx-8)/50+yy*yy/400)+30/(1+(xx+15)*(xx+15)/20+(yy-5)*(yy-5)/20))
		}
	}

	plain := figure.Figure{
		Title: "Kelvin to tide: an unsigned map in colours alone, with a long title that has to be broken over two lines",
		X:     figure.Axis{Label: "east", Unit: "m"},
		Y:     figure.Axis{Label: "depth", Unit: "m", Flip: true},
		Map:   &figure.Map{Label: "density contrast", Unit: "kg/m³", X: m.X, Y: m.Y},
	}
	for _, z := range m.Z {
		plain.Map.Z = append(plain.Map.Z, 2000+10*z)
	}

	steps := figure.Figure{
		Title: "How 29 results scatter",
		X:     figure.Axis{Label: "mean density of the Earth", Unit: "kg/m³"},
		Y:     figure.Axis{Label: "results in 50 kg/m³", Unit: "1"},
		Series: []figure.Series{
			{Name: "counted", Kind: figure.Steps, X: []float64{5000, 5200, 5250, 5300, 5350, 5400, 5450, 5500, 5550, 5600, 5650}, Y: []float64{0, 2, 3, 5, 4, 3, 4, 4, 3, 1, 0}},
		},
		Marks: []figure.Mark{{Kind: figure.Vertical, X: 5513, Text: "today"}},
	}

	band := figure.Figure{
		Title: "Period grows with amplitude",
		X:     figure.Axis{Label: "amplitude", Unit: "rad"},
		Y:     figure.Axis{Label: "T/T₀", Unit: "1"},
	}
	model := figure.Series{Name: "model ± u", Kind: figure.Line}
	for i := range 50 {
		a := 2 * float64(i) / 49
		model.X, model.Y, model.U = append(model.X, a), append(model.Y, 1+a*a/16), append(model.U, 0.004+0.01*a)
	}
	band.Series = []figure.Series{model,
		{Name: "timed", Kind: figure.Points, X: []float64{0.2, 0.6, 1, 1.4, 1.8}, Y: []float64{1.004, 1.02, 1.07, 1.115, 1.21}, U: []float64{.01, .01, .012, .015, .02}},
		{Name: "timed again", Kind: figure.Points, X: []float64{0.3, 0.7, 1.1, 1.5}, Y: []float64{1.002, 1.03, 1.08, 1.15}, U: []float64{.01, .01, .012, .015}},
	}

	offset := figure.Figure{
		Title:  "Drift of a field meter",
		X:      figure.Axis{Label: "time", Unit: "h"},
		Y:      figure.Axis{Label: "g", Unit: "m/s²"},
		Series: []figure.Series{{Kind: figure.Points, X: []float64{0, 1, 2, 3, 4, 5}, Y: []float64{9.81234501, 9.81234512, 9.81234524, 9.81234535, 9.81234548, 9.81234561}, U: []float64{3e-8, 3e-8, 3e-8, 3e-8, 3e-8, 3e-8}}},
	}
	return map[string]*figure.Figure{"swing": &swing, "lines": &lines, "long": &long, "cloud": &cloud, "anomaly": &anomaly, "plain": &plain, "steps": &steps, "band": &band, "offset": &offset}
}

func balance() *figure.Sketch {
	return &figure.Sketch{
		Title: "The balance from above",
		Unit:  "mm",
		Bar:   50,
		Shapes: []figure.Shape{
			{Kind: figure.Box, Role: figure.Support, X: -90, Y: -25, X2: 90, Y2: 25},
			{Kind: figure.Segment, Role: figure.Sensor, X: -60, Y: 0, X2: 60, Y2: 0},
			{Kind: figure.Circle, Role: figure.Sensor, X: -60, Y: 0, R: 9, Text: "m"},
			{Kind: figure.Circle, Role: figure.Sensor, X: 60, Y: 0, R: 9, Text: "m"},
			{Kind: figure.Circle, Role: figure.Mass, X: -60, Y: 60, R: 30, Text: "M"},
			{Kind: figure.Circle, Role: figure.Mass, X: 60, Y: -60, R: 30, Text: "M"},
			{Kind: figure.Circle, X: 0, Y: 0, R: 2, Text: "fibre"},
			{Kind: figure.Length, X: 0, Y: -40, X2: 60, Y2: -40, Role: figure.Guide},
			{Kind: figure.Text, X: 12, Y: -48, Text: "arm 60 mm"},
			{Kind: figure.Arrow, Role: figure.Light, X: -100, Y: -80, X2: 0, Y2: 0, Text: "laser"},
		},
	}
}

// TestGallery draws everything twice. Set LOOK to a folder to have the figures
// written there for people to look at.
func TestGallery(t *testing.T) {
	folder := os.Getenv("LOOK")
	keep := func(name string, data []byte) {
		if folder == "" {
			return
		}
		if err := os.WriteFile(filepath.Join(folder, name), data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for name, f := range gallery() {
		t.Run(name, func(t *testing.T) {
			first, err := SVG(f)
			if err != nil {
				t.Fatal(err)
			}
			again, err := SVG(f)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(first, again) {
				t.Error("the same figure gave other bytes the second time")
			}
			wellFormed(t, first)
			if len(first) > 300_000 {
				t.Errorf("the SVG has %d bytes, want at most 300000", len(first))
			}
			image, err := PNG(f, 1)
			if err != nil {
				t.Fatal(err)
			}
			keep(name+".svg", first)
			keep(name+".png", image)
		})
	}
	s, err := SketchSVG(balance())
	if err != nil {
		t.Fatal(err)
	}
	wellFormed(t, s)
	image, err := SketchPNG(balance(), 1)
	if err != nil {
		t.Fatal(err)
	}
	keep("sketch.svg", s)
	keep("sketch.png", image)
}

func wellFormed(t *testing.T, data []byte) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(data))
	for {
		if _, err := d.Token(); err == io.EOF {
			return
		} else if err != nil {
			t.Fatalf("the SVG is not XML: %v", err)
		}
	}
}
