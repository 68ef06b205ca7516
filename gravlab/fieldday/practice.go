package fieldday

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
	"gravity.example/gravlab/fieldbook"
	"gravity.example/gravlab/survey"
)

// A Truth is what a practice day was made of.
type Truth struct {
	Gravity                  map[string]float64 // at the marks, m/s²
	Anomaly                  map[string]float64 // the body's pull, m/s²
	Drift, Tare, Scale       float64            // m/s² per s, m/s², 1
	TareAt                   time.Time          // the middle between two readings
	Blunder                  string             // station of the reading that was written down wrong
	BlunderSize              float64            // m/s²
	BlunderTimes             int                // how often that station was read
	Density                  float64            // kg/m³
	BodyDepth, BodyPerLength float64            // of the axis below the base, m, and kg/m; no body where that is 0
	BodyNorth, BodyEast      float64            // of the middle of the axis, m
	BodyStrike, BodyLength   float64            // rad, m
}

// PracticePlan says what a practice day holds.
type PracticePlan struct {
	Seed    uint64
	Blunder int // index of the reading written down wrong, -1 for none
	NoTare  bool
	NoBody  bool
	NoU     bool // the file states no uncertainties
}

// The field above the farm: a slope with a knoll and a hollow, heights in m above the
// ellipsoid.
func practiceGround(north, east float64) float64 {
	h := 310 + 0.06*north + 0.03*east
	h += 9 * math.Exp(-((north-120)*(north-120)+(east+90)*(east+90))/(2*60*60))
	h -= 6 * math.Exp(-((north+70)*(north+70)+(east-110)*(east-110))/(2*45*45))
	h += 1.2 * math.Sin(north/31) * math.Cos(east/37)
	return h
}

const practiceOuter = 400.0 // m, out to which the ground of a practice day is not level

// practiceTerrain is the terrain correction by quadrature over columns of the ground itself,
// in rings and sectors round the station: it knows no grid.
func practiceTerrain(north, east, height, density float64) float64 {
	const rings, sectors = 90, 72
	sum := 0.0
	// Radii as a square make the rings narrow near the station.
	for i := range rings {
		r0, r1 := practiceOuter*math.Pow(float64(i)/rings, 2), practiceOuter*math.Pow(float64(i+1)/rings, 2)
		r := (r0 + r1) / 2
		for k := range sectors {
			sin, cos := math.Sincos(2 * math.Pi * (float64(k) + 0.5) / sectors)
			u := practiceGround(north+r*cos, east+r*sin) - height
			sum += (r1 - r0 - (math.Hypot(r1, u) - math.Hypot(r0, u))) * 2 * math.Pi / sectors
		}
	}
	return gravlab.G * density * sum
}

// Practice makes the files of an invented day at Ashgill Farm, with what is true of it: 40
// stations in a field, an old culvert beneath them, a drifting meter that gets a knock, and a
// number written down wrong. The clock is British Summer Time.
func Practice(p PracticePlan) (map[string]string, Truth, error) {
	rng := rand.New(rand.NewPCG(p.Seed, 0x617368))
	zone := time.FixedZone("BST", 3600)
	frame := survey.Frame{Lat: 54.6250 * degree, Lon: -2.3750 * degree, Ellipsoid: earth.GRS80}
	truth := Truth{Gravity: map[string]float64{}, Anomaly: map[string]float64{}, Drift: 11e-8 / 3600, Tare: 62e-8, Scale: 1.000412, Density: 2100,
		BodyDepth: 7, BodyNorth: -3, BodyEast: 2, BodyStrike: 25 * degree, BodyLength: 36}
	radius := 2.4
	body := buried.Cylinder{Centre: r3.Vec{X: truth.BodyNorth, Y: truth.BodyEast, Z: -(310 - truth.BodyDepth)}, Axis: r3.Vec{X: math.Cos(truth.BodyStrike), Y: math.Sin(truth.BodyStrike)}, Radius: radius, Length: truth.BodyLength, Contrast: -truth.Density}
	truth.BodyPerLength = -math.Pi * radius * radius * truth.Density
	type mark struct {
		name        string
		north, east float64
		h           float64
		site        earth.Site
	}
	marks := []mark{{name: "base", north: 0, east: 0}}
	for i := range 39 {
		row, column := i/8, i%8
		north, east := -24+12*float64(row)+3*(rng.Float64()-0.5), -42+12*float64(column)+3*(rng.Float64()-0.5)
		marks = append(marks, mark{name: fmt.Sprintf("S%d", i+1), north: math.Round(north*100) / 100, east: math.Round(east*100) / 100})
	}
	// The base is off the field.
	marks[0].north, marks[0].east = -45, -60
	var points strings.Builder
	points.WriteString("station,latitude (deg),longitude (deg),ellipsoidal height (m),u height (m),north (m),east (m)\n")
	for i := range marks {
		m := &marks[i]
		m.h = practiceGround(m.north, m.east)
		lat, lon, err := frame.Place(m.north, m.east)
		if err != nil {
			return nil, truth, err
		}
		m.site = earth.Site{Lat: lat, Lon: lon, Height: m.h}
		normal, err := earth.GRS80.NormalGravity(lat, m.h)
		if err != nil {
			return nil, truth, err
		}
		pull := 0.0
		if !p.NoBody {
			if pull, err = body.GZ(r3.Vec{X: m.north, Y: m.east, Z: -m.h}); err != nil {
				return nil, truth, err
			}
		}
		air, err := earth.Atmosphere(m.h)
		if err != nil {
			return nil, truth, err
		}
		truth.Anomaly[m.name] = pull
		truth.Gravity[m.name] = normal - air + 2*math.Pi*gravlab.G*truth.Density*m.h - practiceTerrain(m.north, m.east, m.h, truth.Density) + pull + 20*gravlab.MilliGal
		fmt.Fprintf(&points, "%s,%.8f,%.8f,%.3f,0.012,%.2f,%.2f\n", m.name, lat/degree, lon/degree, m.h+0.012*rng.NormFloat64(), m.north, m.east)
	}
	if p.NoBody {
		truth.BodyPerLength = 0
	}
	// 51 readings: the base at the start and six times more, every station, four of them twice.
	order := []int{0}
	next := 1
	for loop := range 6 {
		for range 7 {
			if next < 40 && (loop < 5 || next < 40) {
				order = append(order, next)
				next++
			}
		}
		switch loop {
		case 1:
			order = append(order, 4)
		case 2:
			order = append(order, 11)
		case 3:
			order = append(order, 19)
		case 4:
			order = append(order, 27)
		}
		order = append(order, 0)
	}
	// Meter: a table with a bend, and its true scale.
	var table strings.Builder
	table.WriteString("counter,gravity (mGal)\n")
	counters, values := []float64{}, []float64{}
	value := 0.0
	for c := 3900.0; c <= 4100; c += 20 {
		counters, values = append(counters, c), append(values, value)
		fmt.Fprintf(&table, "%.0f,%.4f\n", c, value)
		value += 20 * (1.0402 + 0.0006*math.Sin(c/90))
		value = math.Round(value*1e4) / 1e4
	}
	counter := func(g float64) float64 { // in mGal of the table
		for i := 1; i < len(values); i++ {
			if g <= values[i] {
				return counters[i-1] + (g-values[i-1])*(counters[i]-counters[i-1])/(values[i]-values[i-1])
			}
		}
		return math.NaN()
	}
	var readings strings.Builder
	readings.WriteString("station,date,time,counter,u (µGal),level (arcsec),cross level (arcsec),sensor height (cm),pressure (hPa)\n")
	start := time.Date(2021, 4, 30, 8, 10, 0, 0, zone)
	const tareAfter = 26
	count := map[int]int{}
	for _, k := range order {
		count[k]++
	}
	for i, k := range order {
		m := marks[k]
		at := start.Add(time.Duration(i) * 9 * time.Minute)
		tide, err := m.site.TideCorrection(at, earth.GravimetricFactor, earth.ZeroTide)
		if err != nil {
			return nil, truth, err
		}
		level, cross := 40*rng.NormFloat64(), 40*rng.NormFloat64() // arcsec
		level, cross = math.Round(level), math.Round(cross)
		tilt := 9.81 * (1 - math.Cos(level*degree/3600)*math.Cos(cross*degree/3600))
		sensor := math.Round(250+8*rng.NormFloat64()) / 10 // cm
		hours := at.Sub(start).Hours()
		pressure := 976.5 + 0.4*hours
		normal, err := earth.NormalPressure(m.h)
		if err != nil {
			return nil, truth, err
		}
		air, err := earth.PressureCorrection(math.Round(pressure*10)*10, normal, earth.PressureAdmittance)
		if err != nil {
			return nil, truth, err
		}
		g := truth.Gravity[m.name] - tide - tilt - 3.086e-6*sensor/100 - air + truth.Drift*at.Sub(start).Seconds() + 5e-8*rng.NormFloat64()
		if !p.NoTare && i > tareAfter {
			g += truth.Tare
		}
		c := counter((g-truth.Gravity["base"])/truth.Scale/gravlab.MilliGal + 100)
		if i == p.Blunder {
			c += 0.0875 // about 91 µGal: two digits exchanged
			truth.Blunder, truth.BlunderSize, truth.BlunderTimes = m.name, 0.0875*1.0402*gravlab.MilliGal, count[k]
		}
		u := "5"
		if p.NoU {
			u = ""
		}
		fmt.Fprintf(&readings, "%s,%s,%s,%.3f,%s,%.0f,%.0f,%.1f,%.1f\n", m.name, at.Format("2006-01-02"), at.Format("15:04"), c, u, level, cross, sensor, pressure)
	}
	if !p.NoTare {
		truth.TareAt = start.Add(time.Duration(2*tareAfter+1) * 9 * time.Minute / 2)
	} else {
		truth.Tare = 0
	}
	var line strings.Builder
	line.WriteString("known (mGal),u known (mGal),read (mGal),u read (mGal)\n")
	for i := range 7 {
		known := 20 * float64(i)
		fmt.Fprintf(&line, "%.3f,0.004,%.4f,0.004\n", known, known/truth.Scale+0.004*rng.NormFloat64())
	}
	var ground strings.Builder
	const cell, cells = 5.0, 221
	fmt.Fprintf(&ground, "ncols %d\nnrows %d\nxllcorner %.1f\nyllcorner %.1f\ncellsize 5\nNODATA_value -9999\n", cells, cells, -cell*cells/2, -cell*cells/2)
	for i := cells - 1; i >= 0; i-- {
		for j := range cells {
			if j > 0 {
				ground.WriteByte(' ')
			}
			fmt.Fprintf(&ground, "%.2f", practiceGround(cell*(float64(i)-cells/2), cell*(float64(j)-cells/2)))
		}
		ground.WriteByte('\n')
	}
	return map[string]string{
		"readings.csv": readings.String(), "points.csv": points.String(), "terrain.txt": ground.String(),
		"ties.csv":  fmt.Sprintf("station,gravity (mGal),u (mGal),epoch,datum\nbase,%.4f,0.0100,2019-06-12,absolute\n", truth.Gravity["base"]/gravlab.MilliGal),
		"table.csv": table.String(), "line.csv": line.String(),
	}, truth, nil
}

// PracticeFiles are the files of a practice day as package fieldbook takes them.
func PracticeFiles(text map[string]string) fieldbook.Files {
	file := func(name string) fieldbook.File { return fieldbook.File{Name: name, Text: text[name]} }
	zone, err := time.LoadLocation("Europe/London")
	if err != nil {
		zone = time.FixedZone("BST", 3600)
	}
	return fieldbook.Files{Readings: []fieldbook.File{file("readings.csv")}, Points: file("points.csv"), Terrain: []fieldbook.File{file("terrain.txt")},
		Ties: file("ties.csv"), Calibration: []fieldbook.File{file("table.csv"), file("line.csv")}, Zone: zone}
}
