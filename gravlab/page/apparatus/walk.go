package apparatus

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/fit"
)

var walk = Scene{
	ID: "walk", Title: "A loop walked on a field", Labs: []string{"12"},
	Controls: []Control{
		{ID: "drift", Label: "drift of the meter", Unit: "µGal/h", Min: -40, Max: 40, Step: 1, Start: 12},
		{ID: "tare", Label: "step when it is knocked", Unit: "µGal", Min: -80, Max: 80, Step: 1, Start: 0},
		{ID: "when", Label: "knocked after reading", Min: 1, Max: 17, Step: 1, Start: 9},
		{ID: "noise", Label: "noise of a reading", Unit: "µGal", Min: 0, Max: 15, Step: 0.5, Start: 3},
		{ID: "back", Label: "back to the base", Max: 2, Step: 1, Start: 1, Choices: []string{"at the end only", "after every six stations", "after every three stations"}},
	},
	Speed:  1,
	Record: &Record{Column: "reading", rows: walkRows},
	Note:   "The field from above; a reading every ten minutes, walked in a second. Right, what the meter shows beyond the true difference from the base, which only we know: rings are readings at the base, which you know too, and the dashed line is the drift through them. What lies off that line is the error of a station. A record that you take has the readings themselves, and the true differences as a column of its own.",
	view:   viewWalk,
}

// order is the order of the readings: 0 is the base.
func order(back float64) (list []int) {
	every := []int{12, 6, 3}[int(back+0.5)]
	list = []int{0}
	for i := 1; i <= 12; i++ {
		list = append(list, i)
		if i%every == 0 {
			list = append(list, 0)
		}
	}
	return list
}

// readings are what the meter shows beyond the true difference from the base (µGal), reading by
// reading.
func readings(set map[string]float64) (stations []int, hours, beyond []float64) {
	stations = order(set["back"])
	rng := rand.New(rand.NewPCG(12, 40))
	for i := range stations {
		h := float64(i) / 6
		v := set["drift"]*h + set["noise"]*rng.NormFloat64()
		if float64(i) >= set["when"] {
			v += set["tare"]
		}
		hours, beyond = append(hours, h), append(beyond, v)
	}
	return stations, hours, beyond
}

// trueDifference is the gravity of a station of the field less that of the base, µGal: a slope,
// and a dip over the middle of the field.
func trueDifference(station int) float64 {
	if station == 0 {
		return 0
	}
	row, column := (station-1)/4, (station-1)%4
	if row%2 == 1 {
		column = 3 - column
	}
	x, y := float64(column)-1.5, float64(row)-1
	return 14*(x+1.5) - 9*(y+1) - 25/math.Pow(1+x*x+y*y, 1.5)
}

func walkRows(set map[string]float64, until float64) (heads []string, rows [][]float64, err error) {
	stations, hours, beyond := readings(set)
	for i := range min(len(stations), 1+int(until)) {
		known := trueDifference(stations[i])
		rows = append(rows, []float64{hours[i], float64(stations[i]), known + beyond[i], known})
	}
	return []string{"time (h)", "station (1)", "reading (µGal)", "truth (µGal)"}, rows, nil
}

func viewWalk(set map[string]float64, t float64) (State, error) {
	stations, hours, beyond := readings(set)
	n := len(stations)
	so := min(n, 1+int(t))
	// The line through the readings at the base.
	var rows, y []float64
	for i := range so {
		if stations[i] == 0 {
			rows, y = append(rows, 1, hours[i]), append(y, beyond[i])
		}
	}
	level, slope := y[0], 0.0
	if len(y) > 1 {
		f, err := fit.Linear(mat.NewDense(len(y), 2, rows), y, ones(len(y)))
		if err != nil {
			return State{}, err
		}
		level, slope = f.P[0], f.P[1]
	}
	worst, close := 0.0, y[len(y)-1]-y[0]
	for i := range so {
		if off := beyond[i] - level - slope*hours[i]; stations[i] != 0 && math.Abs(off) > math.Abs(worst) {
			worst = off
		}
	}
	s := State{
		View: [4]float64{0, 0, 400, 340},
		Numbers: []Number{
			counted("so", "readings so far", so),
			counted("base", "of these at the base", len(y)),
			number("close", "base, last minus first", close, "µGal"),
			number("slope", "drift through the base readings", slope, "µGal/h"),
			number("worst", "largest error of a station after that drift", worst, "µGal"),
		},
		Says: fmt.Sprintf("After %d readings the base has changed by %s µGal. With a straight drift the largest error of a station is %s µGal.", so, digits(close), digits(math.Abs(worst))),
	}
	// The field: base in the corner, twelve stations in three rows, walked there and back.
	place := func(k int) (float64, float64) {
		if k == 0 {
			return 22, 268
		}
		row, column := (k-1)/4, (k-1)%4
		if row%2 == 1 {
			column = 3 - column
		}
		return 40 + 38*float64(column), 220 - 60*float64(row)
	}
	for k := 1; k <= 12; k++ {
		x, y := place(k)
		s.Shapes = append(s.Shapes, circle("plain", x, y, 4, ""))
	}
	bx, by := place(0)
	s.Shapes = append(s.Shapes, box("support", bx-5, by-5, bx+5, by+5), label(bx+6, by+22, "base"))
	var way []float64
	for _, k := range stations[:so] {
		x, y := place(k)
		way = append(way, x, y)
	}
	if part := t - float64(so-1); so < n && part > 0 {
		x1, y1 := place(stations[so-1])
		x2, y2 := place(stations[so])
		way = append(way, x1+part*(x2-x1), y1+part*(y2-y1))
	}
	s.Shapes = append(s.Shapes, path("guide", way), circle("sensor", way[len(way)-2], way[len(way)-1], 5, ""))
	lo, hi := -10.0, 10.0
	for i := range beyond {
		lo, hi = min(lo, beyond[i]), max(hi, beyond[i])
	}
	room := 0.1 * (hi - lo)
	chart := axes{left: 240, top: 40, right: 390, bottom: 288, x1: hours[n-1], y0: lo - room, y1: hi + room, xName: "time (h)", yName: "error (µGal)"}
	s.Drags = []Drag{chart.dragTime(0, hours[n-1], 6)}
	s.Shapes = append(s.Shapes, chart.frame()...)
	s.Shapes = append(s.Shapes, chart.curve("curve2", []float64{0, hours[so-1]}, []float64{level, level + slope*hours[so-1]}))
	for i := range so {
		x, y := chart.at(hours[i], beyond[i])
		if stations[i] == 0 {
			s.Shapes = append(s.Shapes, circle("plain", x, y, 4.5, ""))
		}
		s.Shapes = append(s.Shapes, circle("sensor", x, y, 2, ""))
	}
	return s, nil
}

func ones(n int) []float64 {
	list := make([]float64, n)
	for i := range list {
		list[i] = 1
	}
	return list
}
