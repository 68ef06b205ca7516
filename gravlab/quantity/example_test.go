package quantity_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"

	"gravity.example/gravlab/quantity"
)

func ExampleParse() {
	want := quantity.MustUnit("m/s²")
	for _, text := range []string{"8,4e-8 m/s²", "0.25 ng", "12.0(3) µGal"} {
		r, err := quantity.Parse(text, want)
		if err != nil {
			fmt.Println(err)
			continue
		}
		fmt.Printf("%.4g ± %.2g: %s\n", r.Value, r.U, r.Understood())
	}
	// Output:
	// 8.4e-08 ± 0: 8.4 × 10⁻⁸ m/s² (decimal comma)
	// 2.452e-09 ± 0: 0.25 ng (ng: nano-standard gravity, 9.80665 × 10⁻⁹ m/s²)
	// 1.2e-07 ± 3e-09: 12.0 ± 0.3 µGal
}

// What cannot be read without guessing is answered with a question.
func ExampleInputError() {
	for _, text := range []string{"1,234 m", "1.234", "1.234 kg"} {
		_, err := quantity.Parse(text, quantity.MustUnit("m"))
		fmt.Println(err)
		var e *quantity.InputError
		if errors.As(err, &e) && e.HasNumber {
			fmt.Println("  the number is", e.Number)
		}
	}
	// Output:
	// "1,234 m": this can be read in two ways: is the comma a decimal sign or does it part thousands? Type 1.234 or 1234
	// "1.234": the unit is missing: type it with the number, such as 1.234 m
	//   the number is 1.234
	// "1.234 kg": this is a unit of something else: kg (kilogram) does not fit; write it in m
	//   the number is 1.234
}

func ExampleQuantity_String() {
	q := quantity.Quantity{Value: 1.2345e-8, U: 4.1e-10, Unit: quantity.MustUnit("N m/rad")}
	fmt.Println(q)
	fmt.Println(q.Concise())
	q.Unit = q.Unit.Suited(q.Value)
	fmt.Println(q)
	// Output:
	// (1.23 ± 0.04) × 10⁻⁸ N·m/rad
	// 1.23(4) × 10⁻⁸ N·m/rad
	// 12.3 ± 0.4 nN·m/rad
}

// G from the swing of a torsion balance; angle and period come from one fit
// and are correlated.
func ExamplePropagate() {
	correlation, err := quantity.Correlations(5, [3]float64{0, 1, 0.6})
	if err != nil {
		fmt.Println(err)
		return
	}
	b, err := quantity.Propagate(func(x []float64) float64 {
		theta, period, d, mass, arm := x[0], x[1], x[2], x[3], x[4]
		omega := 2 * math.Pi / period
		return omega * omega * theta * d * d * arm / mass
	}, []quantity.Input{
		{Name: "theta", Value: 0.00413, U: 0.00004},
		{Name: "T", Value: 512.3, U: 0.7},
		{Name: "d", Value: 0.0468, U: 0.00012},
		{Name: "M", Value: 1.492, U: 0.0004},
		{Name: "b", Value: 0.0497, U: 0.00005},
	}, correlation)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, l := range b.Lines {
		fmt.Printf("%-5s %4.1f %%\n", l.Name, 100*l.Share)
	}
	fmt.Printf("correlation %.1f %%\n", 100*b.Correlated)
	fmt.Println(quantity.Quantity{Value: b.Value, U: b.U, Unit: quantity.MustUnit("m³/(kg s²)")})
	// Output:
	// theta 96.8 %
	// T      7.7 %
	// d     27.1 %
	// M      0.1 %
	// b      1.0 %
	// correlation -32.8 %
	// (4.53 ± 0.04) × 10⁻¹¹ m³/(kg·s²)
}

// A square is far from normal near zero: its 95 % interval is not 2 U wide.
func ExampleMonteCarlo() {
	rng := rand.New(rand.NewPCG(1, 0))
	d, err := quantity.MonteCarlo(rng, func(x []float64) float64 { return x[0] * x[0] },
		[]quantity.Input{{Name: "x", Value: 0.3, U: 0.5}}, nil, 200_000)
	if err != nil {
		fmt.Println(err)
		return
	}
	_, high, err := d.Symmetric(0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("mean %.2f, U %.2f, 95 %% symmetric up to %.1f\n", d.Mean, d.U, high)
	// Output: mean 0.34, U 0.46, 95 % symmetric up to 1.7
}
