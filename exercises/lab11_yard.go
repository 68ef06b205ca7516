package exercises

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/buried"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

// freeAirGradient is how gravity falls with height in free air, 1/s²: common
// practice, 0.3086 mGal/m.
const freeAirGradient = 3.086e-6

// A yardRecord is the recording of one sheet: a profile over two drains in
// rubble, some of it read from a taller stand, which makes gravity less there.
type yardRecord struct {
	ground float64 // kg/m³
	tall   string  // where the taller stand was used, for the reasoning
	at     []r3.Vec
	height []float64
	make   func() []float64 // as read, m/s²
	fit    func() *buried.Inversion
	raw    func() *buried.Inversion // without regard to the heights; nil where the search finds no minimum
}

func drawYard(d *Draw) yardRecord {
	y := yardRecord{ground: d.Between("yard ground", 1850, 2000, 50)}
	south := buried.Tunnel{X: d.Between("south place", -6, -4, 0.1), Z: d.Between("south depth", 2.6, 3.2, 0.1), Radius: d.Between("south radius", 0.8, 0.95, 0.05), Contrast: 1.2 - y.ground}
	north := buried.Tunnel{X: d.Between("north place", 3.5, 5.5, 0.1), Z: d.Between("north depth", 1.8, 2.2, 0.1), Radius: d.Between("north radius", 0.6, 0.7, 0.05), Contrast: 1.2 - y.ground}
	const n, spacing, low = 73, 0.5, 0.12
	from, to := int(d.Between("tall from", 56, 58, 1)), 0 // at 10 to 11 m
	to = from + int(d.Between("tall stations", 8, 10, 1))
	lift := d.Between("tall lift", 0.08, 0.1, 0.01)
	var stand []r3.Vec
	for i := range n {
		h := low
		if i >= from && i < to {
			h = clean(low + lift)
		}
		x := spacing * float64(i-n/2)
		y.height = append(y.height, h)
		y.at = append(y.at, r3.Vec{X: x})
		stand = append(stand, r3.Vec{X: x, Z: -h})
	}
	y.tall = fmt.Sprintf("from %.1f m to %.1f m", y.at[from].X, y.at[to-1].X)
	middle := (y.at[from].X + y.at[to-1].X) / 2
	rubble := buried.Rubble{
		Min: r3.Vec{X: -26, Y: -12, Z: 1}, Max: r3.Vec{X: 26, Y: 12, Z: 4},
		Number: 0.05, Smallest: 0.3, Largest: 0.5, Contrast: 450,
	}
	meter := buried.Instrument{
		Noise: 1 * gravlab.MicroGal, Step: 0.1 * gravlab.MicroGal,
		Offset: d.Between("yard level", 80, 200, 5) * gravlab.MicroGal,
		North:  d.Pick("yard slope sign", -1, 1) * d.Between("yard slope", 0.2, 0.5, 0.05) * gravlab.MicroGal,
	}
	y.make = sync.OnceValue(func() []float64 {
		random := d.Rand("yard")
		rocks := gravlab.Must(rubble.Scatter(random, south, north))
		gz := gravlab.Must(meter.Readings(random, buried.Sum{south, north, rocks}, stand))
		for i := range gz {
			gz[i] = 0.1 * gravlab.MicroGal * math.Round((gz[i]-float64(freeAirGradient*(y.height[i]-low)))/(0.1*gravlab.MicroGal))
		}
		return gz
	})
	a := buried.Source{Shape: buried.LineShape, X: south.X, Z: south.Z, Mass: south.MassPerLength()}
	b := buried.Source{Shape: buried.LineShape, X: north.X, Z: north.Z, Mass: north.MassPerLength()}
	invert := func(stations []r3.Vec, gz []float64, start ...buried.Source) (*buried.Inversion, error) {
		return buried.Invert(buried.Anomaly{Stations: stations, GZ: gz}, []buried.Shape{buried.LineShape, buried.LineShape}, start)
	}
	y.fit = sync.OnceValue(func() *buried.Inversion {
		gz := append([]float64(nil), y.make()...)
		for i := range gz {
			gz[i] += freeAirGradient * (y.height[i] - low)
		}
		return gravlab.Must(invert(stand, gz, a, b))
	})
	y.raw = sync.OnceValue(func() *buried.Inversion {
		v, err := invert(stand, y.make(), a, buried.Source{Shape: buried.LineShape, X: middle, Z: 2.5, Mass: b.Mass})
		if err != nil {
			return nil
		}
		return v
	})
	return y
}

func (y yardRecord) recording() Recording {
	return Recording{
		ID: "yard", Title: "A profile across the yard of Ashgill Farm: gravity over the base at the sensor, tide and drift taken off",
		Columns: []Column{{Name: "place", Unit: "m"}, {Name: "height", Unit: "m"}, {Name: "gravity", Unit: "m/s²"}},
		Make: func() ([][]float64, error) {
			var x, g []float64
			for i, v := range y.make() {
				x, g = append(x, y.at[i].X), append(g, clean(v))
			}
			return [][]float64{x, y.height, g}, nil
		},
	}
}

// of is a quantity of the southern (0) or the northern (1) drain.
func (y yardRecord) of(i int, f func(s buried.Source) float64) func(Known) float64 {
	return func(Known) float64 { return f(y.fit().Sources[i]) }
}

// ignoring is the same quantity from the readings as they stand, NaN where it
// happens to be so near the right value, or those of other mistakes, that nobody
// could tell.
func (y yardRecord) ignoring(i int, f func(s buried.Source) float64, u func() float64, others ...float64) func(Known) float64 {
	return func(Known) float64 {
		if y.raw() == nil {
			return math.NaN()
		}
		right := f(y.fit().Sources[i])
		for j := range others {
			others[j] *= right
		}
		return measuredApart(f(y.raw().Sources[i]), right, u(), others...)
	}
}

// yardReading is the code with which the worked answers about the yard start.
const yardReading = "rec := sheet.Recording(\"yard\")\nx, h, g := rec.Column(\"place\"), rec.Column(\"height\"), rec.Column(\"gravity\")\nvar a buried.Anomaly\nfor i := range x {\n\ta.Stations = append(a.Stations, r3.Vec{X: x[i], Z: -h[i]})\n\ta.GZ = append(a.GZ, g[i]+3.086e-6*h[i]) // m/s²: down to the ground\n}\n" +
	"v := gravlab.Must(buried.Invert(a, []buried.Shape{buried.LineShape, buried.LineShape}, nil))\nsouth, north := v.Sources[0], v.Sources[1]\nif south.X > north.X {\n\tsouth, north = north, south\n}\n"

func (y yardRecord) place() Question {
	place := func(s buried.Source) float64 { return s.X }
	u := func() float64 { return y.fit().Sources[1].UX }
	return Question{
		ID: "place", Kind: judge.Measured, Marks: 3, Title: "Where does the northern drain run?",
		Prompt: "`sheet.Recording(\"yard\")` holds your profile across the yard: `place` along the tape in m (north is positive), `height` of the sensor above the ground in m, and `gravity` over the base in m/s², *at the sensor*. Tide and drift have been taken off; a reading has a noise of 1 µGal, and the stones in the ground add a scatter of their own, so let the scatter of the fit speak (leave `Sigma` out). " +
			"The old plan shows two long drains across the profile and no more. At which place does the *northern* one cross the tape, and how well do you know it?",
		Unit:  "m",
		Solve: y.of(1, place), U: u,
		Slips: []Slip{
			{Name: "the heights of the sensor not looked at", Value: y.ignoring(1, place, u), Fix: "Plot the column height beside the gravity. A higher sensor reads less:\nbring every reading down to the ground first."},
			{Name: "the place of the southern drain", Value: y.of(0, place), Fix: "North is where the tape counts upwards."},
		},
		Range:     [2]float64{3, 6},
		Hints:     [2]string{"Plot all three columns. What else changes where gravity is low?", "Add 3.086e-6 s⁻² times the height to each reading; then buried.Invert with two LineShapes, and X and UX of the northern source."},
		Worked:    "%%\n// A raised sensor reads 0.3086 mGal less for each metre: bring all readings to\n// the ground before looking for drains.\n" + yardReading + "sheet.Measured(\"place\", north.X, north.UX, \"m\")",
		Reasoning: fmt.Sprintf("Some centimetres of stand make a low as deep as a drain: 0.3086 mGal/m is 31 µGal for 10 cm. On this sheet the taller stand stood %s. Its low has straight flanks, from one station to the next; no body at a depth makes such.", y.tall),
		Source:    Source{Text: "free air 0.3086 mGal/m: common practice, no source; least squares on the sheet's own recording. The stones and the noise are not in the fitted model"},
	}
}

func (y yardRecord) depth() Question {
	depth := func(s buried.Source) float64 { return s.Z }
	u := func() float64 { return y.fit().Sources[0].UZ }
	return Question{
		ID: "depth", Kind: judge.Measured, Marks: 3, Title: "How deep is the southern drain?",
		Prompt: "From the same profile: how deep below the ground is the axis of the *southern* drain, and how well do you know it?",
		Unit:   "m",
		Solve:  y.of(0, depth), U: u,
		Slips: []Slip{
			{Name: "the depth of the northern drain", Value: func(Known) float64 {
				v := y.fit()
				return measuredApart(v.Sources[1].Z, v.Sources[0].Z, u(), pointHalfWidth*v.Sources[0].Z)
			}, Fix: "South is where the tape counts downwards."},
			{Name: "the rule for a compact body", Value: func(Known) float64 {
				z := y.fit().Sources[0].Z
				return measuredApart(pointHalfWidth*z, z, u())
			}, Fix: "A drain is long: LineShape."},
		},
		Range:     [2]float64{2, 4},
		Hints:     [2]string{"Fit both drains at once, with level and slope: their flanks overlap.", "Z and UZ of the southern source."},
		Worked:    "%%\n// Both drains, level and slope in one fit.\n" + yardReading + "sheet.Measured(\"depth\", south.Z, south.UZ, \"m\")",
		Reasoning: "The flanks of the two anomalies overlap, so one drain cannot be read without the other. The fit takes the scatter at each station to be independent; the stones are not, so that the true uncertainty is somewhat larger than the one it gives.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording"},
	}
}

func (y yardRecord) radius() Question {
	radius := func(s buried.Source) float64 { return math.Sqrt(s.Mass / (math.Pi * -y.ground)) }
	u := func() float64 { s := y.fit().Sources[0]; return math.Abs(radius(s) * s.UMass / s.Mass / 2) }
	return Question{
		ID: "radius", Kind: judge.Measured, Marks: 3, Title: "How wide is it, if it is empty?",
		Prompt: fmt.Sprintf("The made ground has %g kg/m³, stones and all. If the southern drain is round, empty and without a lining, what is its radius, and how well do you know it?", y.ground),
		Unit:   "m",
		Solve:  y.of(0, radius), U: u,
		Slips: []Slip{
			{Name: "the diameter for the radius", Value: y.of(0, func(s buried.Source) float64 { return 2 * radius(s) }), Fix: "The question asks for the radius."},
			{Name: "full of water instead of empty", Value: y.of(0, func(s buried.Source) float64 { return math.Sqrt(s.Mass / (math.Pi * (1000 - y.ground))) }), Fix: "Here the drain is taken to be empty."},
		},
		Range:     [2]float64{0.6, 1.2},
		Hints:     [2]string{"Excess mass per metre over the contrast is the area of the section.", "u(R)/R is half of u(λ)/λ: a root halves the relative uncertainty. Source.Radius gives both."},
		Worked:    "%%\n// Mass per metre over the contrast is the area; a root halves the relative u.\n" + yardReading + fmt.Sprintf("R, uR, err := south.Radius(-%s)\nR = gravlab.Must(R, err)\nsheet.Measured(\"radius\", R, uR, \"m\")", lit(y.ground)),
		Reasoning: "$R = \\sqrt{\\lambda/(\\pi\\Delta\\varrho)}$, $u(R)/R = \\tfrac12\\,u(\\lambda)/\\lambda$. The small number rests on *empty* and *no lining*: with water in it the same fit gives a radius nearly half as large again.",
		Source:    Source{Text: "common practice, no source: the area of a circle; propagation by JCGM 100:2008, 5.1.2"},
	}
}

// textbook is a profile that a textbook prints as an exercise, with the fit of
// a tunnel at the depth of 6 m that it states. In g.u., 1e-6 m/s².
var textbook = sync.OnceValue(func() (t struct {
	row  testdata.Row
	x, g []float64
	fit  *fit.Result
}) {
	t.row = testdata.Find("worked_examples.csv", "cylinder-03")
	_, list, _ := strings.Cut(t.row["inputs"], "40 m: ")
	list, _, _ = strings.Cut(list, " g.u.")
	for i, s := range strings.Fields(list) {
		t.x = append(t.x, 2*float64(i))
		t.g = append(t.g, gravlab.Must(strconv.ParseFloat(s, 64)))
	}
	t.fit = gravlab.Must(fit.Curve{
		X: t.x, Y: t.g, Start: []float64{18, -0.7, 5, -0.1},
		Model: func(p, x, dst []float64) {
			for i := range x {
				dst[i] = p[2] + p[3]*x[i] + p[1]*36/(36+(x[i]-p[0])*(x[i]-p[0]))
			}
		},
	}.Fit())
	return t
})

func textbookProfile() Recording {
	return Recording{
		ID: "textbook", Title: "A profile across a tunnel, printed as an exercise in a textbook",
		Columns: []Column{{Name: "place", Unit: "m"}, {Name: "gravity", Unit: "m/s²"}},
		Make: func() ([][]float64, error) {
			t := textbook()
			var g []float64
			for _, v := range t.g {
				g = append(g, clean(v*1e-6))
			}
			return [][]float64{t.x, g}, nil
		},
	}
}

// textbookContrast is the contrast of a tunnel of radius 2.5 m at 6 m that makes
// a peak in g.u.
func textbookContrast(peak float64) float64 {
	return peak * 1e-6 * 6 / (2 * math.Pi * gravlab.G * 2.5 * 2.5)
}

func textbookFill() Question {
	const rock = 2500
	peak := func() float64 { return textbook().fit.P[1] }
	value := func(f func() float64) func(Known) float64 { return func(Known) float64 { return f() } }
	row := textbook().row
	return Question{
		ID: "textbook", Kind: judge.Measured, Marks: 4, Title: "What is in the textbook's tunnel?",
		Prompt: "`sheet.Recording(\"textbook\")` is a profile that a textbook prints as an exercise: `place` in m, `gravity` in m/s². It crosses a tunnel of 5 m diameter, its roof 3.5 m below the ground, in rock of 2500 kg/m³. Fit the tunnel with its axis at the depth that follows, together with a level and a slope. What is the density of what fills the tunnel, with the standard uncertainty that the scatter about the fit gives?",
		Unit:   "kg/m³",
		Solve:  value(func() float64 { return rock + textbookContrast(peak()) }),
		U:      func() float64 { return textbookContrast(textbook().fit.U[1]) },
		Slips: []Slip{
			{Name: "the contrast given for the density", Value: value(func() float64 { return textbookContrast(peak()) }), Fix: "The fit gives the density inside less that of the rock."},
			{Name: "the roof taken for the axis", Value: value(func() float64 { return rock + textbookContrast(peak())*3.5/6 }), Fix: "From the roof to the axis is one radius more."},
			{Name: "the diameter taken for the radius", Value: value(func() float64 { return rock + textbookContrast(peak())/4 }), Fix: "A diameter of 5 m is a radius of 2.5 m."},
		},
		Range: [2]float64{980, 1020},
		Hints: [2]string{"Fit four numbers: the place of the axis, the size of the low, level and slope. The axis is roof plus radius down.", "fit.Curve with a Model; then contrast = peak × z/(2π G R²) and density = rock + contrast."},
		Worked: "%%\n// Four numbers to fit: place, size of the low, level, slope; the depth is given.\nrec := sheet.Recording(\"textbook\")\nx, g := rec.Column(\"place\"), rec.Column(\"gravity\")\ny := make([]float64, len(g)) // in g.u., so that all numbers are of one size\nfor i := range g {\n\ty[i] = g[i] / 1e-6\n}\nr := gravlab.Must(fit.Curve{\n\tX: x, Y: y, Start: []float64{18, -0.7, 5, -0.1},\n\tModel: func(p, x, dst []float64) {\n\t\tfor i := range x {\n\t\t\tdst[i] = p[2] + p[3]*x[i] + p[1]*36/(36+(x[i]-p[0])*(x[i]-p[0]))\n\t\t}\n\t},\n}.Fit())\n" +
			"perUnit := 1e-6 * 6 / (2 * math.Pi * gravlab.G * 2.5 * 2.5) // kg/m³ for 1 g.u.\nsheet.Measured(\"textbook\", 2500+r.P[1]*perUnit, r.U[1]*perUnit, \"kg/m³\")",
		Reasoning: "The low is $0.656$ g.u. deep, which is a contrast of about $-1500\\ \\mathrm{kg/m^3}$: the tunnel is full of water. Empty, it would be 1.09 g.u. deep. Here size and depth were *given*; from the profile alone only $\\lambda$ follows.",
		Source: Source{Text: row["source"] + "; it prints no answer. Independently computed: 0.656 g.u. by least squares with a general-purpose library", Check: &SourceCheck{
			Table: "worked_examples.csv", ID: "cylinder-03", Got: -peak(), Want: 0.656, Within: 0.0005}},
	}
}
