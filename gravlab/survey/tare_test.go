package survey

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat/distuv"
)

// tareByAdjusting is the long way: an adjustment for every place of the step.
func tareByAdjusting(readings []Reduced, ties []Tie, drift Drift) TareGuess {
	best := TareGuess{After: -1}
	for i := 0; i+1 < len(readings); i++ {
		from, to := readings[i].Time, readings[i+1].Time
		at := from.Add(to.Sub(from) / 2)
		drift.Tares = []time.Time{at}
		a, err := Adjust(readings, ties, drift)
		if err != nil {
			continue
		}
		if w := a.Steps[0] / a.USteps[0]; best.After < 0 || math.Abs(w) > math.Abs(best.W)*(1+1e-9) {
			best = TareGuess{After: i, At: at, Size: a.Steps[0], U: a.USteps[0], W: w}
		}
	}
	return best
}

// randomDay is a day of n readings at random stations, of unlike uncertainties,
// with a tare in it.
func randomDay(rng *rand.Rand, n, stations int) []Reduced {
	at := time.Date(2021, 4, 14, 8, 0, 0, 0, time.UTC)
	tare := rng.IntN(n)
	readings := make([]Reduced, n)
	for i := range readings {
		at = at.Add(time.Duration(3+rng.IntN(20)) * time.Minute)
		s := rng.IntN(stations)
		u := 3e-8 * math.Exp(rng.NormFloat64()/2)
		v := 0.04 + 1e-4*float64(s) + 1e-7*at.Sub(time.Date(2021, 4, 14, 12, 0, 0, 0, time.UTC)).Hours() + u*rng.NormFloat64()
		if i > tare {
			v += 12e-8
		}
		readings[i] = Reduced{Reading: Reading{Station: fmt.Sprint(s), Time: at}, Value: v, UValue: u}
	}
	return readings
}

// One adjustment finds what an adjustment for each place finds: the same place,
// and size, uncertainty and probability to a billionth.
func TestFindTareIsAdjustingAtEachPlace(t *testing.T) {
	rng := rand.New(rand.NewPCG(15, 8))
	p := func(w float64) float64 { return 2 * distuv.UnitNormal.Survival(math.Abs(w)) }
	found, none := 0, 0
	for day := range 400 {
		readings := randomDay(rng, 4+rng.IntN(30), 1+rng.IntN(6))
		drift := Drift{Degree: rng.IntN(4)}
		if drift.Degree > 0 && rng.IntN(3) == 0 {
			drift.Knots = []time.Time{readings[len(readings)/2].Time}
		}
		var ties []Tie
		switch rng.IntN(4) {
		case 0:
			ties = []Tie{{Station: readings[0].Station, Value: 9.81, U: 4e-8}}
		case 1:
			ties = []Tie{{Station: readings[1].Station, Value: 9.81}}
		case 2:
			for i := range 6 {
				for _, r := range readings {
					if r.Station == fmt.Sprint(i) {
						ties = append(ties, Tie{Station: r.Station, Value: 9.81 + 1e-4*float64(i), U: 2e-8 * float64(i%3),
							Epoch: readings[0].Time.AddDate(-1, 0, 0), Rate: 1e-17})
						break
					}
				}
			}
		}
		if _, err := Adjust(readings, ties, drift); err != nil {
			continue // more terms than repeats
		}
		want := tareByAdjusting(readings, ties, drift)
		got, err := FindTare(readings, ties, drift)
		if err != nil {
			none++
			if want.After >= 0 {
				t.Errorf("day %d: %v; adjusting finds %+v", day, err, want)
			}
			continue
		}
		found++
		if got.After != want.After || !got.At.Equal(want.At) {
			t.Fatalf("day %d (%d readings, %+v): found %+v, by adjusting %+v", day, len(readings), drift, got, want)
		}
		if math.Abs(got.Size-want.Size) > 1e-9*want.U || math.Abs(got.U/want.U-1) > 1e-9 || math.Abs(got.W/want.W-1) > 1e-9 || math.Abs(p(got.W)/p(want.W)-1) > 1e-9 {
			t.Errorf("day %d: found %+v, by adjusting %+v: size by %g u, u by %g, w by %g", day, got, want,
				(got.Size-want.Size)/want.U, got.U/want.U-1, got.W-want.W)
		}
	}
	t.Logf("%d days with a likeliest place, %d with none", found, none)
	if found < 200 || none < 5 {
		t.Errorf("%d days with a likeliest place and %d with none show little", found, none)
	}
}

// The fall of chi² and the likeliest place are those of an adjustment with the
// step; a reading that nothing checks leaves the side open, and the first place
// is returned.
func TestTareBesideAnUncheckedReading(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 8))
	order := []string{"B", "1", "B", "1", "far", "B", "1", "B", "1", "B"}
	at := time.Date(2021, 4, 14, 8, 0, 0, 0, time.UTC)
	var readings []Reduced
	for i, name := range order {
		v := 1e-8 * rng.NormFloat64()
		if i > 4 {
			v += 4e-7
		}
		readings = append(readings, Reduced{Reading: Reading{Station: name, Time: at.Add(time.Duration(i) * 10 * time.Minute)}, Value: v, UValue: 1e-8})
	}
	guess, err := FindTare(readings, nil, Drift{Degree: 1})
	if err != nil {
		t.Fatal(err)
	}
	if guess.After != 3 || math.Abs(guess.Size-4e-7) > 4*guess.U {
		t.Errorf("found %+v, want a step of 4e-7 after 3 or 4", guess)
	}
	var chi2 [3]float64
	for i, tares := range [][]time.Time{nil, {guess.At}, {guess.At.Add(10 * time.Minute)}} {
		a, err := Adjust(readings, nil, Drift{Degree: 1, Tares: tares})
		if err != nil {
			t.Fatal(err)
		}
		chi2[i] = a.Chi2
	}
	near(t, "fall of chi²", chi2[0]-chi2[1], guess.W*guess.W, 1e-9)
	near(t, "chi² on the other side", chi2[2], chi2[1], 1e-6)
}

// A long day, the long way and the short way side by side.
func BenchmarkFindTare(b *testing.B) {
	for _, size := range []struct{ readings, stations int }{{100, 20}, {400, 80}, {400, 200}} {
		readings := randomDay(rand.New(rand.NewPCG(4, 4)), size.readings, size.stations)
		name := fmt.Sprintf("readings=%d/stations=%d", size.readings, size.stations)
		b.Run(name+"/way=once", func(b *testing.B) {
			for b.Loop() {
				if _, err := FindTare(readings, nil, Drift{Degree: 1}); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run(name+"/way=each place", func(b *testing.B) {
			for b.Loop() {
				if tareByAdjusting(readings, nil, Drift{Degree: 1}).After < 0 {
					b.Fatal("no place")
				}
			}
		})
	}
}
