package ode

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func oscillator(_ float64, y, dydt []float64) {
	dydt[0] = y[1]
	dydt[1] = -y[0]
}

// TestOrder halves a fixed step: the error of the solution of order 5 must fall
// by 2⁵ and that of the continuous extension between the steps by 2⁴ at least.
func TestOrder(t *testing.T) {
	worst := func(step float64, times []float64) float64 {
		rows, err := Solve(oscillator, 0, []float64{1, 0}, times, Tolerance{Rel: 1, Abs: 1e6, MaxStep: step})
		if err != nil {
			t.Fatal(err)
		}
		var e float64
		for i, x := range times {
			e = math.Max(e, math.Abs(rows[i][0]-math.Cos(x)))
		}
		return e
	}
	// The first steps grow from 0.01 by 10 to MaxStep, the last is cut: all the
	// rest are MaxStep, so that the ratio is that of the order.
	end := []float64{20}
	if order := math.Log2(worst(0.1, end) / worst(0.05, end)); math.Abs(order-5) > 0.4 {
		t.Errorf("order of the solution = %.2f, want 5", order)
	}
	var between []float64
	for x := 0.013; x < 20; x += 0.037 {
		between = append(between, x)
	}
	if order := math.Log2(worst(0.1, between) / worst(0.05, between)); order < 4 {
		t.Errorf("order between the steps = %.2f, want 4 or more", order)
	}
}

// TestConditions holds the coefficients to the conditions of order 1 to 5 that
// involve one sum, and each row to its time.
func TestConditions(t *testing.T) {
	for i := range a {
		var sum float64
		for _, v := range a[i] {
			sum += v
		}
		if math.Abs(sum-c[i]) > 1e-14 {
			t.Errorf("row %d of a sums to %v, want %v", i, sum, c[i])
		}
	}
	for power := 0; power < 5; power++ {
		sum := 0.0
		if power == 0 {
			sum = a[5][0]
		}
		for j := 1; j < 6; j++ {
			sum += a[5][j] * math.Pow(c[j-1], float64(power))
		}
		if want := 1 / float64(power+1); math.Abs(sum-want) > 1e-14 {
			t.Errorf("sum of b c^%d = %v, want %v", power, sum, want)
		}
	}
	if sum := e1 + e3 + e4 + e5 + e6 + e7; math.Abs(sum) > 1e-15 {
		t.Errorf("weights of the error sum to %v, want 0", sum)
	}
	if sum := d1 + d3 + d4 + d5 + d6 + d7; math.Abs(sum) > 1e-14 {
		t.Errorf("weights of the extension sum to %v, want 0", sum)
	}
}

func TestErrorFollowsTolerance(t *testing.T) {
	times := make([]float64, 400)
	for i := range times {
		times[i] = 0.25 * float64(i)
	}
	for _, rel := range []float64{1e-6, 1e-9, 1e-12} {
		rows, err := Solve(oscillator, 0, []float64{1, 0}, times, Tolerance{Rel: rel})
		if err != nil {
			t.Fatal(err)
		}
		for i, x := range times {
			// A step is longer than 0.05 at each of these tolerances except the
			// last, where it is longer than 0.01, so at most 10⁴ errors of one
			// step add up; they do so with changing sign, and a tenth of that
			// is already far too much.
			if e := math.Abs(rows[i][0] - math.Cos(x)); e > 1e3*rel {
				t.Errorf("Rel %g: error at t = %g is %g", rel, x, e)
				break
			}
		}
	}
}

// TestArenstorf closes the orbit of a satellite in the plane of Earth and Moon.
// Start and period: Hairer, Nørsett and Wanner, section II.0, eqs. 0.1 and 0.2
// (digits from memory).
func TestArenstorf(t *testing.T) {
	const mu = 0.012277471
	const period = 17.0652165601579625588917206249
	f := func(_ float64, y, dydt []float64) {
		d1 := math.Pow((y[0]+mu)*(y[0]+mu)+y[1]*y[1], 1.5)
		d2 := math.Pow((y[0]-1+mu)*(y[0]-1+mu)+y[1]*y[1], 1.5)
		dydt[0], dydt[1] = y[2], y[3]
		dydt[2] = y[0] + 2*y[3] - (1-mu)*(y[0]+mu)/d1 - mu*(y[0]-1+mu)/d2
		dydt[3] = y[1] - 2*y[2] - (1-mu)*y[1]/d1 - mu*y[1]/d2
	}
	start := []float64{0.994, 0, 0, -2.00158510637908252240537862224}
	rows, err := Solve(f, 0, start, []float64{period}, Tolerance{Rel: 1e-13})
	if err != nil {
		t.Fatal(err)
	}
	// The close pass of the Moon magnifies errors about 10⁶ times.
	for i := range 2 {
		if e := math.Abs(rows[0][i] - start[i]); e > 1e-6 {
			t.Errorf("component %d misses its start by %g after one period", i, e)
		}
	}
}

func TestEnergyIsKept(t *testing.T) {
	pendulum := func(_ float64, y, dydt []float64) { dydt[0], dydt[1] = y[1], -math.Sin(y[0]) }
	times := []float64{0, 10, 100, 1000}
	rows, err := Solve(pendulum, 0, []float64{2, 0}, times, Tolerance{Rel: 1e-12})
	if err != nil {
		t.Fatal(err)
	}
	for i, y := range rows {
		energy := y[1]*y[1]/2 - math.Cos(y[0])
		if e := math.Abs(energy + math.Cos(2)); e > 1e-8 { // 10⁴ steps of 1e-12
			t.Errorf("energy at t = %g is off by %g", times[i], e)
		}
	}
}

func TestRefusals(t *testing.T) {
	fine := []float64{1, 0}
	tests := []struct {
		name  string
		f     func(float64, []float64, []float64)
		t0    float64
		y0    []float64
		times []float64
		tol   Tolerance
	}{
		{"before t0", oscillator, 1, fine, []float64{0}, Tolerance{}},
		{"falling", oscillator, 0, fine, []float64{2, 1}, Tolerance{}},
		{"NaN time", oscillator, 0, fine, []float64{math.NaN()}, Tolerance{}},
		{"infinite time", oscillator, 0, fine, []float64{math.Inf(1)}, Tolerance{}},
		{"nothing to integrate", oscillator, 0, nil, []float64{1}, Tolerance{}},
		{"NaN start", oscillator, 0, []float64{math.NaN(), 0}, []float64{1}, Tolerance{}},
		{"tolerance too small", oscillator, 0, fine, []float64{1}, Tolerance{Rel: 1e-16}},
		{"negative tolerance", oscillator, 0, fine, []float64{1}, Tolerance{Abs: -1}},
		{"negative step", oscillator, 0, fine, []float64{1}, Tolerance{MaxStep: -1}},
		{"too many steps", oscillator, 0, fine, []float64{1e6}, Tolerance{MaxSteps: 100}},
		{"blows up", func(_ float64, y, d []float64) { d[0] = y[0] * y[0] }, 0, []float64{1}, []float64{2}, Tolerance{}},
		{"NaN at the start", func(_ float64, y, d []float64) { d[0] = math.NaN() }, 0, []float64{1}, []float64{2}, Tolerance{}},
	}
	for _, test := range tests {
		if _, err := Solve(test.f, test.t0, test.y0, test.times, test.tol); err == nil {
			t.Errorf("%s: no error", test.name)
		}
	}
}

func TestTimesMayRepeat(t *testing.T) {
	rows, err := Solve(oscillator, 0, []float64{1, 0}, []float64{0, 0, 1, 1}, Tolerance{})
	if err != nil {
		t.Fatal(err)
	}
	if rows[0][0] != 1 || rows[1][0] != 1 || rows[2][0] != rows[3][0] {
		t.Errorf("rows = %v", rows)
	}
	if rows, err := Solve(oscillator, 0, []float64{1, 0}, nil, Tolerance{}); err != nil || len(rows) != 0 {
		t.Errorf("no times: %v, %v", rows, err)
	}
}

// TestNeverPanics: any numbers give finite rows or an error.
func TestNeverPanics(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.Float64()
		k, drag := number.Draw(t, "k"), number.Draw(t, "drag")
		f := func(_ float64, y, dydt []float64) { dydt[0], dydt[1] = y[1], -k*y[0]-drag*y[1] }
		y0 := rapid.SliceOfN(number, 2, 2).Draw(t, "y0")
		times := rapid.SliceOfN(number, 0, 4).Draw(t, "times")
		rows, err := Solve(f, number.Draw(t, "t0"), y0, times, Tolerance{Rel: number.Draw(t, "rel"), MaxSteps: 1000})
		if err != nil {
			return
		}
		for _, row := range rows {
			if !finite(row) {
				t.Fatalf("row %v without an error", row)
			}
		}
	})
}

func BenchmarkPendulum60s(b *testing.B) {
	f := func(_ float64, y, dydt []float64) { dydt[0], dydt[1] = y[1], -9.81*math.Sin(y[0]) }
	y0, times := []float64{1, 0}, []float64{60}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Solve(f, 0, y0, times, Tolerance{Rel: 1e-9}); err != nil {
			b.Fatal(err)
		}
	}
}
