package fieldday

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/fieldbook"
	"gravity.example/gravlab/survey"
)

// large makes the files of an invented survey of so many stations, 50 a day with a return to
// the base after every ten, one of them read twice and one shared with the day before; five
// dense lumps under the ground make anomalies. The terrain has side by side cells of 2 m.
func large(t testing.TB, stations, side int) fieldbook.Files {
	t.Helper()
	rng := rand.New(rand.NewPCG(uint64(stations), 7))
	frame := survey.Frame{Lat: 54.6250 * degree, Lon: -2.3750 * degree, Ellipsoid: earth.GRS80}
	width := 25 * math.Sqrt(float64(stations)) // m
	var points, readings, ground strings.Builder
	points.WriteString("station,latitude (deg),longitude (deg),ellipsoidal height (m),u height (m),north (m),east (m)\n")
	readings.WriteString("station,time (UTC),reading (mGal),u (µGal)\n")
	gravity := make([]float64, stations+1)
	sites := make([]earth.Site, stations+1)
	for i := range gravity {
		north, east := width*(rng.Float64()-0.5), width*(rng.Float64()-0.5)
		if i == 0 {
			north, east = 0, 0
		}
		h := practiceGround(north, east)
		lat, lon, err := frame.Place(north, east)
		if err != nil {
			t.Fatal(err)
		}
		normal, err := earth.GRS80.NormalGravity(lat, h)
		if err != nil {
			t.Fatal(err)
		}
		sites[i] = earth.Site{Lat: lat, Lon: lon, Height: h}
		gravity[i] = normal + 2*math.Pi*gravlab.G*2400*h
		for k := range 5 {
			n, e, z := width*math.Sin(float64(3*k))/2.5, width*math.Cos(float64(5*k))/2.5, width/8
			d := math.Sqrt((n-north)*(n-north) + (e-east)*(e-east) + z*z)
			gravity[i] += 30e-8 * math.Pow(z/d, 3)
		}
		fmt.Fprintf(&points, "P%d,%.8f,%.8f,%.3f,0.010,%.2f,%.2f\n", i, lat/degree, lon/degree, h, north, east)
	}
	read := func(i int, at time.Time) {
		tide, err := sites[i].TideCorrection(at, earth.GravimetricFactor, earth.ZeroTide)
		if err != nil {
			t.Fatal(err)
		}
		g := gravity[i] - gravity[0] - tide + 5e-8*rng.NormFloat64() + 10e-8*float64(at.Hour()*3600+at.Minute()*60)/3600
		fmt.Fprintf(&readings, "P%d,%s,%.4f,5\n", i, at.Format("2006-01-02 15:04"), 100+g/gravlab.MilliGal)
	}
	for first := 1; first <= stations; first += 50 {
		at := time.Date(2021, 4, 1+first/50, 8, 0, 0, 0, time.UTC)
		next := func(i int) { read(i, at); at = at.Add(8 * time.Minute) }
		next(0)
		if first > 1 {
			next(first - 1)
		}
		for i := first; i < min(first+50, stations+1); i++ {
			next(i)
			if (i-first)%10 == 9 || i == stations {
				next(0)
			}
			if i == first+24 {
				next(first)
			}
		}
	}
	const cell = 2.0
	corner := -cell * float64(side) / 2
	fmt.Fprintf(&ground, "ncols %d\nnrows %d\nxllcorner %.2f\nyllcorner %.2f\ncellsize %g\nNODATA_value -9999\n", side, side, corner, corner, cell)
	for i := side - 1; i >= 0; i-- {
		for j := range side {
			if j > 0 {
				ground.WriteByte(' ')
			}
			fmt.Fprintf(&ground, "%.2f", practiceGround(corner+cell*(float64(i)+0.5), corner+cell*(float64(j)+0.5)))
		}
		ground.WriteByte('\n')
	}
	return fieldbook.Files{Zone: time.UTC, Readings: []fieldbook.File{{Name: "readings.csv", Text: readings.String()}},
		Points:  fieldbook.File{Name: "points.csv", Text: points.String()},
		Terrain: []fieldbook.File{{Name: "terrain.txt", Text: ground.String()}}}
}

// BenchmarkSurvey is the whole way from the files to the report, without reading from a disk,
// and with a body fitted. Time grows as the stations of a day squared for the search of tares,
// as the days times the stations for what the map says of them, as the stations cubed for the
// map (of 1000 it is a tenth of the whole), and as the cells.
func BenchmarkSurvey(b *testing.B) {
	for _, size := range []struct{ stations, side int }{{250, 1000}, {500, 1000}, {1000, 1000}, {1000, 2000}, {1000, 3163}} {
		files := large(b, size.stations, size.side)
		for _, body := range []bool{false, true} {
			b.Run(fmt.Sprintf("stations=%d/cells=%.0e/body=%v", size.stations, float64(size.side*size.side), body), func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					book, err := fieldbook.Read(files)
					if err != nil {
						b.Fatal(err)
					}
					r, err := Work(book, nil)
					if err != nil {
						b.Fatal(err)
					}
					if body {
						if err := r.FitBody(); err != nil {
							b.Fatal(err)
						}
					}
					if _, err := r.Files(); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}
