package survey

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/fit"
)

// bigDay is n readings at some stations, with a drift of their own.
func bigDay(rng *rand.Rand, n, stations int, start time.Time) []Reduced {
	var list []Reduced
	for i := range n {
		s := rng.IntN(stations)
		r := Reduced{Reading: Reading{Station: string(rune('A'+s/26/26)) + string(rune('A'+s/26%26)) + string(rune('A'+s%26)), Time: start.Add(time.Duration(i) * time.Minute)}, UValue: 5e-8}
		if i < stations {
			r.Station = string(rune('A'+i/26/26)) + string(rune('A'+i/26%26)) + string(rune('A'+i%26))
		}
		r.Value = float64(r.Station[1])*1e-6 + float64(r.Station[2])*1e-7 + 1e-10*float64(i) + 5e-8*rng.NormFloat64()
		list = append(list, r)
	}
	return list
}

// TestStationsApart: the elimination by stations is the dense fit of the same matrix.
func TestStationsApart(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 2))
	const n, stations, terms = 60, 12, 5
	rows := make([]sparse, n)
	dense := mat.NewDense(n, stations+terms, nil)
	y, sigma := make([]float64, n), make([]float64, n)
	for i := range rows {
		y[i], sigma[i] = rng.NormFloat64(), 0.5+rng.Float64()
		if i%7 > 0 {
			rows[i].add(i%stations, 1)
		}
		for k := range terms {
			if rng.Float64() < 0.7 {
				rows[i].add(stations+k, rng.NormFloat64())
			}
		}
		for k, j := range rows[i].at {
			dense.Set(i, j, rows[i].value[k])
		}
	}
	got, err := stationsApart(rows, y, sigma, stations, stations+terms)
	if err != nil {
		t.Fatal(err)
	}
	want, err := fit.Linear(dense, y, sigma)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(got.Chi2-want.Chi2) > 1e-10*want.Chi2 || got.DoF != want.DoF {
		t.Errorf("chi² %v for %d, want %v for %d", got.Chi2, got.DoF, want.Chi2, want.DoF)
	}
	for i := range want.P {
		if math.Abs(got.P[i]-want.P[i]) > 1e-11 {
			t.Errorf("parameter %d is %v, want %v", i, got.P[i], want.P[i])
		}
		for j := range want.P {
			if math.Abs(got.Cov.At(i, j)-want.Cov.At(i, j)) > 1e-11 {
				t.Errorf("covariance %d, %d is %v, want %v", i, j, got.Cov.At(i, j), want.Cov.At(i, j))
			}
		}
	}
}

// TestAdjustDays: two days in one fit are the one fit with a knot and a step in the night,
// which allows the same; and a day that nothing joins to the other is refused.
func TestAdjustDays(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	start := time.Date(2021, 4, 30, 8, 0, 0, 0, time.UTC)
	one, two := bigDay(rng, 40, 12, start), bigDay(rng, 40, 12, start.Add(24*time.Hour))
	got, err := AdjustDays([]MeterDay{{one, Drift{Degree: 1}}, {two, Drift{Degree: 1}}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	night := start.Add(12 * time.Hour)
	want, err := Adjust(append(append([]Reduced{}, one...), two...), nil, Drift{Degree: 1, Knots: []time.Time{night}, Tares: []time.Time{night.Add(time.Second)}})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(got.Chi2-want.Chi2) > 1e-6*want.Chi2 || got.DoF != want.DoF {
		t.Errorf("chi² %v for %d, want %v for %d", got.Chi2, got.DoF, want.Chi2, want.DoF)
	}
	for i, s := range want.Stations {
		if g := got.Stations[i]; g.Name != s.Name || math.Abs(g.Value-s.Value) > 1e-13 || math.Abs(g.U-s.U) > 1e-13 {
			t.Errorf("%+v, want %+v", g, s)
		}
	}
	for i := range two {
		two[i].Station = "x" + two[i].Station
	}
	if _, err := AdjustDays([]MeterDay{{one, Drift{Degree: 1}}, {two, Drift{Degree: 1}}}, nil); err == nil {
		t.Error("two days without a common station were adjusted")
	}
}

func BenchmarkAdjust5000(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	readings := bigDay(rng, 5000, 2000, time.Date(2021, 4, 1, 0, 0, 0, 0, time.UTC))
	for b.Loop() {
		if _, err := Adjust(readings, nil, Drift{Degree: 1}); err != nil {
			b.Fatal(err)
		}
	}
}
