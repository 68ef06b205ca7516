package apparatus

import (
	"errors"
	"fmt"
	"math"
	"time"

	"gravity.example/gravlab/earth"
)

var tide = Scene{
	ID: "tide", Title: "The tide of Moon and Sun", Labs: []string{"09"},
	Controls: []Control{
		{ID: "lat", Label: "latitude", Unit: "°", Min: -90, Max: 90, Step: 0.1, Start: 54.6},
		{ID: "day", Label: "day of March 2024", Min: 1, Max: 29, Step: 1, Start: 6},
		{ID: "bodies", Label: "pulled by", Max: 2, Step: 1, Choices: []string{"Moon and Sun", "the Moon alone", "the Sun alone"}},
	},
	Speed:  7200,
	Record: &Record{Number: "both", Column: "tide", Every: 1800},
	Note:   "On the left is the whole sky of the place, at longitude 0: directions across, heights above the horizon upward. What is below the horizon pulls as well. Two days from 0 h UTC; two hours pass in a second. The tide is that of a rigid Earth, as an upward acceleration.",
	view:   viewTide,
}

func viewTide(set map[string]float64, t float64) (State, error) {
	const ends, n = 48 * 3600.0, 96
	t = math.Min(t, ends)
	site := earth.Site{Lat: set["lat"] * math.Pi / 180}
	start := time.Date(2024, 3, int(math.Round(set["day"])), 0, 0, 0, 0, time.UTC)
	moment := func(t float64) time.Time { return start.Add(time.Duration(t * float64(time.Second))) }
	up := func(t float64) (moon, sun, all float64, err error) {
		tide, err := site.Tide(moment(t))
		moon, sun = 1e9*tide.Moon, 1e9*tide.Sun
		switch all = moon + sun; set["bodies"] {
		case 1:
			all = moon
		case 2:
			all = sun
		}
		return moon, sun, all, err
	}
	values := make([]float64, n+1)
	var failed error
	for i := range values {
		var err error
		_, _, values[i], err = up(ends * float64(i) / n)
		failed = errors.Join(failed, err)
	}
	moon, sun, now, err := up(t)
	moonAt, sunAt, err2 := site.Directions(moment(t))
	if err := errors.Join(failed, err, err2); err != nil {
		return State{}, err
	}
	s := State{
		View: [4]float64{0, 0, 400, 340},
		Numbers: []Number{
			number("time", "time, UTC from 0 h", t/3600, "h"),
			number("moonheight", "height of the Moon above the horizon", moonAt.Altitude*180/math.Pi, "°"),
			number("sunheight", "height of the Sun above the horizon", sunAt.Altitude*180/math.Pi, "°"),
			number("moon", "tide of the Moon, upward", moon, "nm/s²"),
			number("sun", "tide of the Sun, upward", sun, "nm/s²"),
			number("both", "tide of both, upward", moon+sun, "nm/s²"),
		},
		Says: fmt.Sprintf("At %s h the tide is %s nm/s² upward.", digits(t/3600), digits(now)),
	}
	const left, right, middle, tall = 22.0, 142.0, 170.0, 110.0 // the horizon, and a right angle above it
	x := func(azimuth float64) float64 {
		turn := math.Mod(azimuth/(2*math.Pi)+1, 1)
		return left + (right-left)*turn
	}
	y := func(altitude float64) float64 { return middle - tall*altitude/(math.Pi/2) }
	s.Shapes = append(s.Shapes, box("guide", left, middle-tall, right, middle+tall), line("support", left, middle, right, middle))
	for i, name := range []string{"N", "E", "S", "W"} {
		s.Shapes = append(s.Shapes, label(left+(right-left)*float64(i)/4, middle+tall+18, name))
	}
	s.Shapes = append(s.Shapes, label(left+(right-left)/2, middle-tall-10, "Moon (blue) and Sun"))
	if set["bodies"] != 1 {
		s.Shapes = append(s.Shapes, circle("mass", x(sunAt.Azimuth), y(sunAt.Altitude), 8, ""))
	}
	if set["bodies"] != 2 {
		s.Shapes = append(s.Shapes, circle("sensor", x(moonAt.Azimuth), y(moonAt.Altitude), 7, ""))
	}
	strips{yName: "tide in nm/s²", xName: "time in h", ends: ends / 3600, values: values, at: t / 3600, now: now}.draw(&s, 3600)
	return s, nil
}
