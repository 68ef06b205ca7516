package sandbox

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/buried"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/pendulum"
	"gravity.example/gravlab/signal"
	"gravity.example/gravlab/survey"
	"gravity.example/gravlab/torsion"
)

// allRoutines calls what a confined program has the host do, and prints every bit of what
// comes back. TestRoutinesSame runs it here, and this file as a cell. Its numbers are made from
// whole ones, so that they are the same in both.
func allRoutines() string {
	var b strings.Builder
	say := func(name string, v any, err error) {
		fmt.Fprintf(&b, "%s ", name)
		bitsOf(&b, v)
		fmt.Fprintf(&b, " %v\n", err)
	}
	rng := rand.New(rand.NewPCG(3, 4))
	noise := func() float64 { return float64(rng.IntN(2001)-1000) / 1000 }

	p := pendulum.Pendulum{Bob: pendulum.Bob{Mass: 20, Radius: 0.07}, Length: 1.5, Gravity: 9.8, Amplitude: 0.2}
	s := pendulum.Station{At: r3.Vec{X: 0.5, Z: 1.5}, Axis: r3.Vec{X: 1}}
	times := make([]float64, 300)
	for i := range times {
		times[i] = float64(i) / 8
	}
	pull, err := p.Series(times, s)
	say("series", pull, err)
	lines, err := p.Harmonics(s, 4)
	say("harmonics", lines, err)
	across, down, err := p.ReactionHarmonics(3)
	say("reaction", [][]float64{across, down}, err)
	r := pendulum.Recording{Rate: 8, Release: 300}
	for i := range 600 {
		r.Reference = append(r.Reference, 1e-8*noise())
		r.Test = append(r.Test, r.Reference[i]+1e-9*noise())
		if i >= r.Release {
			r.Test[i] += pull[i-r.Release]
		}
	}
	d, err := pendulum.Analysis{Pendulum: p, Station: s, Lags: 1, Order: 2, UPlace: 1e-3, ULength: 1e-3}.Detect(r)
	say("detect", []any{d.Mass, d.U, d.UNoise, d.Period, d.Z, d.DoF, d.Before, d.After, len(d.Lines), d.Remarks}, err)
	_, err = pendulum.Analysis{Pendulum: p, Station: s, Lags: -1}.Detect(r)
	say("refused", nil, err)

	var a buried.Anomaly
	for i := range 21 {
		x := float64(i-10) / 2
		a.Stations = append(a.Stations, r3.Vec{X: x})
		a.GZ, a.Sigma = append(a.GZ, 1e-6/(4+x*x)/math.Sqrt(4+x*x)+1e-8*noise()), append(a.Sigma, 1e-8)
	}
	v, err := buried.Invert(a, []buried.Shape{buried.PointShape}, nil)
	say("invert", []any{v.Sources[0].X, v.Sources[0].Z, v.Sources[0].UZ, v.Offset, v.Fit.P, v.Fit.Residuals, v.Fit.Names, v.Fit.Cov.At(1, 2), v.Remarks, v.LogPosterior(v.Fit.P)}, err)
	_, err = buried.Invert(a, nil, nil)
	say("refused", nil, err)
	c := buried.Channel{At: r3.Vec{Z: 1}, Axis: r3.Vec{Z: -1}, Sigma: 1e-9}
	for i := range 200 {
		t := float64(i) / 10
		h := (t-10)*(t-10) + 0.25
		c.Times, c.Reading = append(c.Times, t), append(c.Reading, 6.67e-8*0.5/h/math.Sqrt(h)+1e-9*noise())
	}
	f, err := buried.FitLoads([]buried.Channel{c}, 1, []buried.Load{{X: -9.8, Mass: 900, Height: 0.5}}, nil, []float64{2000})
	say("loads", []any{f.Loads[0].X, f.Loads[0].Mass, f.UX, f.UMass, f.Total, f.Fit.P, f.Fit.Iterations}, err)

	site := earth.Site{Lat: 0.95, Lon: -0.05, Height: 250}
	start := time.Date(2024, 3, 1, 0, 0, 0, 0, time.FixedZone("", 3600))
	tide, err := site.Tide(start)
	say("tide", []float64{tide.Moon, tide.Sun}, err)
	hourly, err := site.TideSeries(start, time.Hour, 800)
	say("series", hourly, err)
	for i := range hourly {
		hourly[i] += 1e-9 * noise()
	}
	hours := make([]float64, len(hourly))
	for i := range hours {
		hours[i] = 3600 * float64(i)
	}
	tides, err := earth.Analyse(hours, hourly, gravlab.Must(earth.ConstituentsNamed("O1", "M2")))
	say("analyse", []any{tides.Harmonics[1].Amplitude, tides.Harmonics[1].UPhase, tides.Harmonics[0].Name, tides.Residuals, tides.Unresolved}, err)
	trend, err := earth.TrendModel{Annual: true, Year: 24}.Fit(times, hourly[:len(times)])
	say("trend", []any{trend.Rate.Value, trend.Rate.U, trend.Sigma, trend.LagOne, trend.EffectiveDoF, trend.Residuals}, err)

	grid := survey.Terrain{Cell: 20, Density: 2600}
	for range 21 {
		var row []float64
		for range 21 {
			row = append(row, 100+4*noise())
		}
		grid.Heights = append(grid.Heights, row)
	}
	ground, _, _, err := grid.Ground(200, 200)
	say("ground", ground, err)
	correction, cells, err := grid.Correction(200, 200, ground, 30, 150)
	say("terrain", []any{correction, cells}, err)
	_, _, err = grid.Correction(200, 200, ground, 30, 1500)
	say("refused", nil, err)

	spectrum, err := signal.Welch{Segment: 64}.PSD(hourly, 1)
	say("density", []any{spectrum.PSD, spectrum.Freq, spectrum.DoF}, err)
	pair, err := signal.Welch{Segment: 60, Step: 20}.Pair(hourly, hours, 1)
	say("pair", []any{pair.PXX, pair.PYY, real(pair.PXY[3]), imag(pair.PXY[3])}, err)
	balance := torsion.Skelmire()
	balance.Kappa = 1e-6
	snap, err := balance.SnapIn()
	say("snap", []any{snap.FoldMass, snap.FoldAngle, snap.TouchMass, snap.Touches}, err)
	return b.String()
}

func bitsOf(b *strings.Builder, v any) {
	switch x := v.(type) {
	case float64:
		fmt.Fprintf(b, "%x ", math.Float64bits(x))
	case []float64:
		for _, y := range x {
			bitsOf(b, y)
		}
	case [][]float64:
		for _, y := range x {
			bitsOf(b, y)
		}
	case []any:
		for _, y := range x {
			bitsOf(b, y)
		}
	default:
		fmt.Fprintf(b, "%v ", x)
	}
}
