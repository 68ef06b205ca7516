package earth_test

import (
	"fmt"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
)

func ExampleInterior() {
	for _, depth := range []float64{0, 100, 670, 2000, 2891, 5149.5, 6371} {
		r := earth.PREM.Radius - depth*1000
		fmt.Printf("%.1f km down: %5.2f m/s²\n", depth, gravlab.Must(earth.PREM.Gravity(r)))
	}
	// Output:
	// 0.0 km down:  9.82 m/s²
	// 100.0 km down:  9.87 m/s²
	// 670.0 km down: 10.02 m/s²
	// 2000.0 km down: 10.00 m/s²
	// 2891.0 km down: 10.69 m/s²
	// 5149.5 km down:  4.40 m/s²
	// 6371.0 km down:  0.00 m/s²
}

func ExampleShaftDensity() {
	// From the collar to a station 100 m down g grows by 8.62 mGal.
	rho := gravlab.Must(earth.ShaftDensity(3.086e-6, 8.62*gravlab.MilliGal/100))
	fmt.Printf("%.0f kg/m³\n", rho)
	// Output: 2652 kg/m³
}

func ExampleCompensatedWave() {
	free, bouguer, err := earth.CompensatedWave(2670, 300e3, 40e3)
	fmt.Printf("per km of height: free air %.0f mGal, Bouguer %.0f mGal, %v\n", 1e3*free/gravlab.MilliGal, 1e3*bouguer/gravlab.MilliGal, err)
	// Output: per km of height: free air 64 mGal, Bouguer -48 mGal, <nil>
}
