package earth_test

import (
	"fmt"
	"math"
	"time"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
)

const degree = math.Pi / 180

func ExampleEllipsoid_NormalGravity() {
	lat := 54.625 * degree
	g, err := earth.GRS80.NormalGravity(lat, 310)
	if err != nil {
		fmt.Println(err)
		return
	}
	free := gravlab.Must(earth.GRS80.FreeAirEffect(lat, 310))
	fmt.Printf("normal gravity %.8f m/s²\n", g)
	fmt.Printf("free-air effect %.3f mGal\n", free/gravlab.MilliGal)
	_, err = earth.GRS80.NormalGravity(54.625, 310)
	fmt.Println(err)
	// Output:
	// normal gravity 9.81379796 m/s²
	// free-air effect -95.624 mGal
	// earth.Ellipsoid.NormalGravity: lat is 54.625; allowed: a latitude in rad (degrees are too large by 57.3) from -1.5707963267948966 to 1.5707963267948966
}

func ExampleSlab() {
	slab := gravlab.Must(earth.Slab(2670, 310))
	cap := gravlab.Must(earth.BouguerCap(2670, 310).Effect())
	fmt.Printf("slab %.3f mGal, cap %.3f mGal\n", slab/gravlab.MilliGal, cap/gravlab.MilliGal)
	_, err := earth.Slab(2.67, 310)
	fmt.Println(err)
	// Output:
	// slab 34.710 mGal, cap 35.131 mGal
	// earth.Slab: density is 2.67; allowed: a density in kg/m³; did you mean 2670?
}

func ExampleSite_TideCorrection() {
	site := earth.Site{Lat: 54.625 * degree, Lon: -2.375 * degree, Height: 310}
	at := time.Date(2020, 5, 7, 12, 0, 0, 0, time.UTC)
	c := gravlab.Must(site.TideCorrection(at, earth.GravimetricFactor, earth.ZeroTide))
	fmt.Printf("add %.1f µGal to the reading\n", c/gravlab.MicroGal)
	// Output:
	// add 85.9 µGal to the reading
}

func ExampleAnalyse() {
	site := earth.Site{Lat: 54.625 * degree, Lon: -2.375 * degree, Height: 310}
	start := time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)
	tide := gravlab.Must(site.TideSeries(start, time.Hour, 30*24))
	t := make([]float64, len(tide))
	for i := range t {
		t[i] = 3600 * float64(i)
	}
	lines := gravlab.Must(earth.ConstituentsNamed("O1", "P1", "K1", "N2", "M2", "S2"))
	found := gravlab.Must(earth.Analyse(t, tide, lines))
	m2 := gravlab.Must(found.Named("M2"))
	fmt.Printf("M2: %.0f nm/s², every %.4f h\n", m2.Amplitude*1e9, m2.Period()/3600)
	fmt.Println("too short to part:", found.Unresolved)
	// Output:
	// M2: 256 nm/s², every 12.4206 h
	// too short to part: [P1 from K1]
}

func ExampleTrendModel_Fit() {
	// Ten years of monthly mass, in Gt: −20 a year, faster by 1 a year each
	// year, with a season.
	var t, y []float64
	for i := range 120 {
		x := float64(i) / 12
		t = append(t, x)
		y = append(y, -20*(x-5)-0.5*(x-5)*(x-5)+30*math.Cos(2*math.Pi*x)+3*math.Sin(40*x*x))
	}
	trend := gravlab.Must(earth.TrendModel{Acceleration: true, Annual: true, Year: 1}.Fit(t, y))
	fmt.Printf("rate %.1f(%.1f) Gt/a, acceleration %.2f(%.2f) Gt/a²\n", trend.Rate.Value, trend.Rate.U, trend.Acceleration.Value, trend.Acceleration.U)
	// Output:
	// rate -20.0(0.1) Gt/a, acceleration -0.97(0.05) Gt/a²
}

func ExampleDisc_Effect() {
	// A lake 20 km across, 1 m higher: from its shore, and from orbit.
	lake := earth.Disc{SurfaceDensity: 1000, Radius: 10e3}
	fmt.Printf("2 m above: %.1f µGal\n", gravlab.Must(lake.Effect(2))/gravlab.MicroGal)
	fmt.Printf("450 km above: %.3f µGal\n", gravlab.Must(lake.Effect(450e3))/gravlab.MicroGal)
	// Output:
	// 2 m above: 41.9 µGal
	// 450 km above: 0.010 µGal
}
