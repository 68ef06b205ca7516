package apparatus

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

	"gravity.example/gravlab/equivalence"
)

var turntable = Scene{
	ID: "turntable", Title: "Two materials on a turntable", Labs: []string{"08"},
	Controls: []Control{
		{ID: "eta", Label: "Eötvös ratio η", Unit: "× 10⁻¹⁰", Min: -10, Max: 10, Step: 0.1, Start: 4},
		{ID: "gradient", Label: "pull of a mass nearby", Unit: "pm/s²", Min: 0, Max: 10, Step: 0.1, Start: 3},
		{ID: "drift", Label: "drift of the zero", Unit: "× 10⁻¹⁶ m/s³", Min: 0, Max: 20, Step: 0.5, Start: 4},
		{ID: "period", Label: "time of a turn", Unit: "min", Min: 10, Max: 60, Step: 1, Start: 40},
		{ID: "kappa", Label: "torsion constant κ", Unit: "nN·m/rad", Min: 1, Max: 10, Step: 0.1, Start: 4},
	},
	Speed:  120,
	Record: &Record{Number: "reading", Column: "reading", Every: 60},
	Note:   "Seen from above; two minutes pass in a second. The dashed line is fixed to the table, and the beam is turned away from it by as much as is written. Three turns, without noise; no experiment has found an η that is not zero.",
	view:   viewTurntable,
}

// The balance of the scene: that of lab 08's table of disturbances.
const (
	turnDrive = 0.0164 // m/s² per unit of η
	turnMass  = 0.04   // kg
	turnArm   = 0.06   // m
	turns     = 3
)

func viewTurntable(set map[string]float64, t float64) (State, error) {
	period := 60 * set["period"]
	ends := turns * period
	t = math.Min(t, ends)
	model := equivalence.RotatingBalance{Drive: turnDrive, Eta: set["eta"] * 1e-10, Period: period, Gradient: set["gradient"] * 1e-12, Drift: set["drift"] * 1e-16}
	still := rand.New(rand.NewPCG(1, 1)) // without noise it is of no consequence
	_, record, err := model.Record(still, 60*turns+1, period/60)
	last, interval := 1, t
	if t < 1e-6 { // a record begins at 0, and no step of it is smaller
		last, interval = 0, 1
	}
	_, now, err2 := model.Record(still, 2, interval)
	if err := errors.Join(err, err2); err != nil {
		return State{}, err
	}
	balance := equivalence.Balance{TestMass: turnMass, Arm: turnArm, Kappa: set["kappa"] * 1e-9}
	angle, err := balance.Angle(now[last])
	if err != nil {
		return State{}, err
	}
	largest, pm := 0.0, make([]float64, len(record))
	for i, v := range record {
		pm[i] = 1e12 * v
		largest = math.Max(largest, math.Abs(v))
	}
	most, err := balance.Angle(largest)
	if err != nil {
		return State{}, err
	}
	times := 1.0 // as far as the largest turn of the beam stays below 0.5 rad
	if most > 0 {
		times = math.Pow(10, math.Floor(math.Log10(0.5/most)))
		for _, k := range []float64{5, 2} {
			if k*times*most <= 0.5 {
				times *= k
				break
			}
		}
	}
	phase := 2 * math.Pi * t / period
	s := State{
		View: [4]float64{0, 0, 400, 340},
		Numbers: []Number{
			number("time", "time", t/60, "min"),
			number("table", "angle of the table", math.Mod(phase*180/math.Pi, 360), "°"),
			number("reading", "reading", 1e12*now[last], "pm/s²"),
			number("beam", "turn of the beam", 1e9*angle, "nrad"),
			number("amplitude", "once per turn: η × drive", 1e12*model.Eta*model.Drive, "pm/s²"),
			number("nearby", "twice per turn", set["gradient"], "pm/s²"),
			number("drifted", "drift since the start", 1e12*model.Drift*t, "pm/s²"),
		},
		Says: fmt.Sprintf("The table stands at %s degrees; the reading is %s pm/s².", digits(math.Mod(phase*180/math.Pi, 360)), digits(1e12*now[last])),
	}
	const cx, cy, rim, arm = 84.0, 168.0, 66.0, 46.0
	at := func(angle, r float64) (float64, float64) { return cx + r*math.Sin(angle), cy - r*math.Cos(angle) }
	fixed := func(role string, angle, r1, r2 float64) Shape {
		x1, y1 := at(angle, r1)
		x2, y2 := at(angle, r2)
		return line(role, x1, y1, x2, y2)
	}
	beam := phase + times*angle
	ax, ay := at(beam, arm)
	bx, by := at(beam, -arm)
	s.Shapes = append(s.Shapes, circle("plain", cx, cy, rim, ""), fixed("guide", phase, -arm+14, arm-14),
		fixed("guide", phase, arm+13, rim), fixed("guide", phase, -arm-13, -rim),
		arrow("plain", cx, cy-rim-8, cx, cy-rim-34), label(cx+14, cy-rim-18, "N"),
		fixed("support", beam, arm-13, 13-arm), circle("mass", ax, ay, 13, "Be"), circle("sensor", bx, by, 13, "Ti"), circle("plain", cx, cy, 2.5, ""),
		label(cx, cy+rim+24, "turn of the beam"), label(cx, cy+rim+40, "drawn × "+thousands(times)))
	strips{yName: "reading in pm/s²", xName: "time in min", ends: ends / 60, values: pm, at: t / 60, now: 1e12 * now[last]}.draw(&s, 60)
	return s, nil
}

// thousands writes a power of ten with a space after each three digits.
func thousands(v float64) string {
	s := fmt.Sprintf("%.0f", v)
	var groups []string
	for len(s) > 3 {
		groups = append([]string{s[len(s)-3:]}, groups...)
		s = s[:len(s)-3]
	}
	return strings.Join(append([]string{s}, groups...), "\u00a0")
}
