package lab11

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/buried"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

// freeAirGradient is how gravity falls with height in free air, 1/s²: common
// practice, 0.3086 mGal/m.
const freeAirGradient = 3.086e-6

// The noise of a reading, and the stones as the prompt states them: those that are
// strewn have this mass in the mean of squares.
const yardNoise = 0.5 * gravlab.MicroGal

var yardStones = buried.Clutter{Number: 0.1, Mass: 240, Top: 1, Bottom: 4}

// A yardRecord is the recording of one sheet: a profile over two drains in
// rubble, some of it read from a taller stand, which makes gravity less there.
type yardRecord struct {
	ground float64 // kg/m³
	tall   string  // where the taller stand was used, for the reasoning
	at     []r3.Vec
	height []float64
	make   func() []float64 // as read, m/s²
	fit    func() *buried.Inversion
	stony  func() []buried.Source   // the same with the stones in the uncertainties
	raw    func() *buried.Inversion // without regard to the heights; nil where the search finds no minimum
}

func drawYard(d *bank.Draw) yardRecord {
	y := yardRecord{ground: d.Between("yard ground", 1850, 2000, 50)}
	south := buried.InfiniteCylinder{X: d.Between("south place", -6, -4, 0.1), Z: d.Between("south depth", 2.6, 3.2, 0.1), Radius: d.Between("south radius", 0.8, 0.95, 0.05), Contrast: 1.2 - y.ground}
	north := buried.InfiniteCylinder{X: d.Between("north place", 3.5, 5.5, 0.1), Z: d.Between("north depth", 1.8, 2.2, 0.1), Radius: d.Between("north radius", 0.6, 0.7, 0.05), Contrast: 1.2 - y.ground}
	const n, spacing, low = 73, 0.5, 0.12
	from, to := int(d.Between("tall from", 56, 58, 1)), 0 // at 10 to 11 m
	to = from + int(d.Between("tall stations", 8, 10, 1))
	lift := d.Between("tall lift", 0.08, 0.1, 0.01)
	var stand []r3.Vec
	for i := range n {
		h := low
		if i >= from && i < to {
			h = bank.Clean(low + lift)
		}
		x := spacing * float64(i-n/2)
		y.height = append(y.height, h)
		y.at = append(y.at, r3.Vec{X: x})
		stand = append(stand, r3.Vec{X: x, Z: -h})
	}
	y.tall = fmt.Sprintf("from %.1f m to %.1f m", y.at[from].X, y.at[to-1].X)
	middle := (y.at[from].X + y.at[to-1].X) / 2
	rubble := buried.Rubble{
		Min: r3.Vec{X: -26, Y: -12, Z: yardStones.Top}, Max: r3.Vec{X: 26, Y: 12, Z: yardStones.Bottom},
		Number: yardStones.Number, Smallest: 0.5, Largest: 0.7, Contrast: 250,
	}
	meter := buried.Instrument{
		Noise: yardNoise, Step: 0.1 * gravlab.MicroGal,
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
	y.stony = sync.OnceValue(func() []buried.Source { return gravlab.Must(y.fit().InClutter(yardNoise, yardStones)) })
	y.raw = sync.OnceValue(func() *buried.Inversion {
		v, err := invert(stand, y.make(), a, buried.Source{Shape: buried.LineShape, X: middle, Z: 2.5, Mass: b.Mass})
		if err != nil {
			return nil
		}
		return v
	})
	return y
}

func (y yardRecord) recording() bank.Recording {
	return bank.Recording{
		ID:      "yard",
		Columns: []bank.Column{{Name: "place", Unit: "m"}, {Name: "height", Unit: "m"}, {Name: "gravity", Unit: "m/s²"}},
		Make: func() ([][]float64, error) {
			var x, g []float64
			for i, v := range y.make() {
				x, g = append(x, y.at[i].X), append(g, bank.Clean(v))
			}
			return [][]float64{x, y.height, g}, nil
		},
	}
}

// of is a quantity of the southern (0) or the northern (1) drain.
func (y yardRecord) of(i int, f func(s buried.Source) float64) func(bank.Answers) float64 {
	return func(bank.Answers) float64 { return f(y.fit().Sources[i]) }
}

// ignoring is the same quantity from the readings as they stand.
func (y yardRecord) ignoring(i int, f func(s buried.Source) float64) func(bank.Answers) float64 {
	return func(bank.Answers) float64 {
		if y.raw() == nil {
			return math.NaN()
		}
		return f(y.raw().Sources[i])
	}
}

func (y yardRecord) place() bank.Question {
	place := func(s buried.Source) float64 { return s.X }
	u := func(s buried.Source) float64 { return s.UX }
	return bank.Question{
		ID: "place", Kind: judge.KindMeasured, Marks: 3, Unit: "m",
		Fields: bank.Fields{"tall": y.tall, "stones": yardStones.Number, "stoneMass": yardStones.Mass, "top": yardStones.Top, "bottom": yardStones.Bottom},
		Solve:  y.of(1, place),
		U:      func() float64 { return u(y.stony()[1]) },
		Slips: []bank.Slip{
			{ID: "height-ignored", Value: y.ignoring(1, place)},
			{ID: "southern-drain", Value: y.of(0, place)},
		},
		USlips: []bank.Slip{{ID: "stones-as-noise", Value: y.of(1, u)}},
		Range:  [2]float64{3, 6},
	}
}

func (y yardRecord) depth() bank.Question {
	depth := func(s buried.Source) float64 { return s.Z }
	u := func(s buried.Source) float64 { return s.UZ }
	return bank.Question{
		ID: "depth", Kind: judge.KindMeasured, Marks: 3, Unit: "m",
		Solve: y.of(0, depth),
		U:     func() float64 { return u(y.stony()[0]) },
		Slips: []bank.Slip{
			{ID: "northern-drain", Value: y.of(1, depth)},
			{ID: "compact-body", Value: y.of(0, func(s buried.Source) float64 { return compact * s.Z })},
			{ID: "raw", Value: y.ignoring(0, depth)},
		},
		USlips: []bank.Slip{{ID: "stones-as-noise", Value: y.of(0, u)}},
		Range:  [2]float64{2, 4},
	}
}

// uGround is the standard uncertainty of the density of the made ground, kg/m³.
const uGround = 200.0

func (y yardRecord) radius() bank.Question {
	radius := func(s buried.Source) float64 { return math.Sqrt(s.Mass / (math.Pi * -y.ground)) }
	fitted := func(s buried.Source) float64 { return math.Abs(radius(s) * s.UMass / s.Mass / 2) }
	u := func(s buried.Source) float64 { return math.Hypot(fitted(s), radius(s)*uGround/y.ground/2) }
	return bank.Question{
		ID: "radius", Kind: judge.KindMeasured, Marks: 3, Unit: "m",
		Fields: bank.Fields{"ground": y.ground, "uGround": uGround},
		Solve:  y.of(0, radius),
		U:      func() float64 { return u(y.stony()[0]) },
		Slips: []bank.Slip{
			{ID: "diameter", Value: y.of(0, func(s buried.Source) float64 { return 2 * radius(s) })},
			{ID: "water-for-empty", Value: y.of(0, func(s buried.Source) float64 { return math.Sqrt(s.Mass / (math.Pi * (1000 - y.ground))) })},
			{ID: "no-pi", Value: y.of(0, func(s buried.Source) float64 { return math.Sqrt(s.Mass / -y.ground) })},
		},
		USlips: []bank.Slip{
			{ID: "ground-exact", Value: bank.Later(func() float64 { return fitted(y.stony()[0]) })},
			{ID: "stones-and-ground", Value: y.of(0, fitted)},
		},
		Range: [2]float64{0.6, 1.2},
	}
}

// textbook is a profile that a textbook prints as an exercise, with the fit of
// a tunnel at the depth of 6 m that it states. In g.u., 1e-6 m/s².
var textbook = sync.OnceValue(func() (t struct {
	row  testdata.Row
	x, g []float64
	fit  *fit.Result
}) {
	t.row = testdata.Find(testdata.Examples, "cylinder-03")
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

func textbookProfile() bank.Recording {
	return bank.Recording{
		ID: "textbook", Shared: true,
		Columns: []bank.Column{{Name: "place", Unit: "m"}, {Name: "gravity", Unit: "m/s²"}},
		Make: func() ([][]float64, error) {
			t := textbook()
			var g []float64
			for _, v := range t.g {
				g = append(g, bank.Clean(v*1e-6))
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

func textbookFill() bank.Question {
	const rock = 2500
	peak := func() float64 { return textbook().fit.P[1] }
	value := func(f func() float64) func(bank.Answers) float64 { return func(bank.Answers) float64 { return f() } }
	row := textbook().row
	return bank.Question{
		ID: "textbook", Kind: judge.KindMeasured, Marks: 4, Unit: "kg/m³",
		Fields: bank.Fields{"rowSource": row["source"]},
		Solve:  value(func() float64 { return rock + textbookContrast(peak()) }),
		U:      func() float64 { return textbookContrast(textbook().fit.U[1]) },
		Slips: []bank.Slip{
			{ID: "contrast", Value: value(func() float64 { return textbookContrast(peak()) })},
			{ID: "roof-for-axis", Value: value(func() float64 { return rock + textbookContrast(peak())*3.5/6 })},
			{ID: "diameter", Value: value(func() float64 { return rock + textbookContrast(peak())/4 })},
			{ID: "sign", Value: value(func() float64 { return rock - textbookContrast(peak()) })},
			{ID: "factor-2", Value: value(func() float64 { return rock + 2*textbookContrast(peak()) })},
		},
		Range: [2]float64{980, 1020},
		Source: bank.Source{Check: &bank.SourceCheck{
			Table: testdata.Examples, ID: "cylinder-03", Got: -peak(), Want: 0.656, Within: 0.0005}},
	}
}
