package equivalence_test

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/equivalence"
)

func ExampleSpecificForce() {
	g := r3.Vec{Z: 9.81} // z is down
	atRest := equivalence.SpecificForce(r3.Vec{}, g)
	falling := equivalence.SpecificForce(g, g)
	fmt.Println("accelerometer on the table:", atRest, "gravity meter:", equivalence.MeterReading(atRest))
	fmt.Println("accelerometer in free fall:", falling)
	// Output:
	// accelerometer on the table: {0 0 -9.81} gravity meter: 9.81
	// accelerometer in free fall: {0 0 0}
}

func ExampleLift() {
	lift := equivalence.Lift{Gravity: 9.81, Peak: 1.2, Pulse: 2}
	fmt.Printf("reading at most %.2f m/s², then %.2f m/s upward\n", lift.Reading(1), lift.Speed(2))
	// Output:
	// reading at most 11.01 m/s², then 1.20 m/s upward
}

func ExampleBox() {
	box := equivalence.Box{GM: 3.986004418e14, Radius: 6371000, Height: 400e3, Length: 2}
	fmt.Printf("end to end %.2g m/s²\n", gravlab.Must(box.Difference()))
	fmt.Printf("two coins 2 m apart drift %.1f mm further apart in 30 s\n", 1e3*gravlab.Must(box.Growth(30)))
	// Output:
	// end to end 5.1e-06 m/s²
	// two coins 2 m apart drift 2.3 mm further apart in 30 s
}

func ExampleEarthDrive() {
	for _, lat := range []float64{0, 45, 90} {
		fmt.Printf("%2.0f°: %.4f m/s²\n", lat, gravlab.Must(equivalence.EarthDrive(earth.GRS80, lat*math.Pi/180, 0)))
	}
	// Output:
	//  0°: 0.0000 m/s²
	// 45°: 0.0170 m/s²
	// 90°: 0.0000 m/s²
}

func ExampleFitModulation() {
	drive := gravlab.Must(equivalence.EarthDrive(earth.GRS80, 54.6*math.Pi/180, 0))
	record := equivalence.RotatingBalance{Drive: drive, Eta: 0, Period: 1200, Gradient: 3e-13, Drift: 1e-18, Noise: 2e-13}
	t, reading, err := record.Record(rand.New(rand.NewPCG(1, 2)), 8640, 10)
	if err != nil {
		fmt.Println(err)
		return
	}
	m := gravlab.Must(equivalence.FitModulation(t, reading, 1200, 2))
	eta, u := m.Sine[0]/drive, m.USine[0]/drive
	fmt.Printf("η = %.1f(%.1f)e-13, |η| < %.1fe-13 at 95 %%\n", eta*1e13, u*1e13, gravlab.Must(equivalence.Limit(eta, u, 0.95))*1e13)
	// Output:
	// η = 2.8(1.9)e-13, |η| < 5.9e-13 at 95 %
}

func ExampleRedshift() {
	fmt.Printf("%.3g\n", gravlab.Must(equivalence.Redshift(9.81, 22.5)))
	h, u, _ := equivalence.HeightOf(1e-16, 2e-18, 9.81)
	fmt.Printf("clocks that differ by 1e-16 stand %.2f(%.2f) m apart in height\n", h, u)
	// Output:
	// 2.46e-15
	// clocks that differ by 1e-16 stand 0.92(0.02) m apart in height
}
