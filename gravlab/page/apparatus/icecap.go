package apparatus

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gravity.example/gravlab/earth"
)

var iceCap = Scene{
	ID: "ice-cap", Title: "An ice cap, month by month", Labs: []string{"13"},
	Controls: []Control{
		{ID: "rate", Label: "true change of mass", Unit: "Gt/a", Min: -120, Max: 60, Step: 1, Start: -50},
		{ID: "season", Label: "season, half of its swing", Unit: "Gt", Min: 0, Max: 200, Step: 5, Start: 60},
		{ID: "noise", Label: "noise of a month", Unit: "Gt", Min: 5, Max: 100, Step: 1, Start: 27},
		{ID: "alike", Label: "correlation with the next month", Min: 0, Max: 0.9, Step: 0.05, Start: 0.55},
		{ID: "months", Label: "months in all", Min: 24, Max: 132, Step: 1, Start: 120},
	},
	Speed:  8,
	Record: &Record{Column: "mass", rows: iceRows},
	Note:   "Time runs eight months a second. The pair of satellites circles 500 km up, drawn four times as high as that, and adds up one month after the other; the cap is not to scale. The line is a fit of offset, rate and season (annual and semiannual) to the months so far; the months are always of the same throw of dice, scaled.",
	view:   viewIceCap,
}

// fewestMonths have passed when the scene begins, for a season and a rate.
const fewestMonths = 18

func iceRows(set map[string]float64, until float64) (heads []string, rows [][]float64, err error) {
	all := monthlyOf(set)
	years, mass := all.months()
	for i := range min(all.n, fewestMonths+int(until)) {
		rows = append(rows, []float64{years[i], mass[i]})
	}
	return []string{"time (a)", "mass (Gt)"}, rows, nil
}

func monthlyOf(set map[string]float64) monthly {
	return monthly{set["rate"], set["season"], set["noise"], set["alike"], int(math.Round(set["months"]))}
}

// months are a cap's masses (Gt): a rate, a season, and noise of which a part carries over from
// each month to the next.
func (set monthly) months() (years, mass []float64) {
	rng := rand.New(rand.NewPCG(13, 2002))
	left := 0.0
	for i := range set.n {
		fresh := rng.NormFloat64()
		if i == 0 {
			left = fresh
		} else {
			left = set.alike*left + math.Sqrt(1-set.alike*set.alike)*fresh
		}
		t := (float64(i) + 0.5) / 12
		years = append(years, t)
		mass = append(mass, set.rate*t+set.season*math.Sin(2*math.Pi*t)+set.noise*left)
	}
	return years, mass
}

type monthly struct {
	rate, season, noise, alike float64
	n                          int
}

func viewIceCap(set map[string]float64, t float64) (State, error) {
	all := monthlyOf(set)
	years, mass := all.months()
	so := min(all.n, fewestMonths+int(t))
	model := earth.TrendModel{Annual: true, Semiannual: true, Year: 1}
	fitted, err := model.Fit(years[:so], mass[:so])
	if err != nil {
		return State{}, err
	}
	_, white, _, err := model.Plan(years[:so], all.noise, 0)
	if err != nil {
		return State{}, err
	}
	_, honest, _, err := model.Plan(years[:so], all.noise, all.alike)
	if err != nil {
		return State{}, err
	}
	s := State{
		View: [4]float64{0, 0, 400, 340},
		Numbers: []Number{
			counted("so", "months so far", so),
			number("fit", "rate by the fit", fitted.Rate.Value, "Gt/a"),
			number("off", "fit minus truth", fitted.Rate.Value-all.rate, "Gt/a"),
			number("white", "its standard uncertainty, months taken as independent", white, "Gt/a"),
			number("honest", "its standard uncertainty, with their correlation", honest, "Gt/a"),
			number("ratio", "the second over the first", honest/white, ""),
		},
		Says: fmt.Sprintf("After %d months the rate is %s Gt per year with a standard uncertainty of %s; months taken as independent would give %s.", so, digits(fitted.Rate.Value), digits(honest), digits(white)),
	}
	// The Earth and the pair above the cap.
	const x0, y0, r = 72.0, 200.0, 56.0
	const up = r * (1 + 4*500.0/6371)
	at := func(angle, r float64) (float64, float64) { return x0 + r*math.Sin(angle), y0 - r*math.Cos(angle) }
	orbit := 2 * math.Pi * math.Min(t, float64(all.n-fewestMonths)) / 6
	var cap []float64
	for i := range 21 {
		a := 0.4 * (float64(i)/10 - 1)
		x, y := at(a, r+7*math.Sqrt(math.Max(0, 1-a*a/0.16))*math.Max(0.15, 1+all.rate*float64(so)/12/2000))
		cap = append(cap, x, y)
	}
	s.Shapes = append(s.Shapes, circle("plain", x0, y0, r, ""), path("curve", cap))
	for _, lead := range []float64{0, 0.16} {
		x, y := at(orbit+lead, up)
		s.Shapes = append(s.Shapes, circle("sensor", x, y, 3.5, ""))
	}
	lo, hi := mass[0], mass[0]
	for _, m := range mass {
		lo, hi = min(lo, m), max(hi, m)
	}
	room := 0.08 * (hi - lo)
	chart := axes{left: 212, top: 40, right: 390, bottom: 288, x1: float64(all.n) / 12, y0: lo - room, y1: hi + room, xName: "time (a)", yName: "mass (Gt)"}
	s.Drags = []Drag{chart.dragTime(fewestMonths/12.0, float64(all.n)/12, 12)}
	s.Shapes = append(s.Shapes, chart.frame()...)
	middle := (years[0] + years[so-1]) / 2
	mean := 0.0
	for _, m := range mass[:so] {
		mean += m / float64(so)
	}
	s.Shapes = append(s.Shapes, chart.curve("curve2", []float64{years[0], years[so-1]}, []float64{mean + fitted.Rate.Value*(years[0]-middle), mean + fitted.Rate.Value*(years[so-1]-middle)}))
	for i := range so {
		x, y := chart.at(years[i], mass[i])
		s.Shapes = append(s.Shapes, circle("sensor", x, y, 1.6, ""))
	}
	return s, nil
}
