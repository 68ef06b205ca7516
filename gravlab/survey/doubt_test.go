package survey

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"
)

// walked is a day of readings in this order, eleven minutes apart, with a drift, a
// noise of u, and a step after one of them.
func walked(rng *rand.Rand, order string, after int, size, u float64) (readings []Reduced, truth map[string]float64) {
	at := time.Date(2021, 4, 14, 8, 0, 0, 0, time.UTC)
	truth = map[string]float64{}
	for i, name := range strings.Fields(order) {
		truth[name] = 1e-5 * float64(name[0]-'B')
		v := truth[name] + 2e-8*float64(i)/5 + u*rng.NormFloat64()
		if i > after {
			v += size
		}
		readings = append(readings, Reduced{Reading: Reading{Station: name, Time: at.Add(time.Duration(i) * 11 * time.Minute)}, Value: v, UValue: u})
	}
	return readings, truth
}

func stepAfter(readings []Reduced, after int) Drift {
	from, to := readings[after].Time, readings[after+1].Time
	return Drift{Degree: 1, Tares: []time.Time{from.Add(to.Sub(from) / 2)}}
}

// J and K, readings 13 and 14, are read once each, and the step is between
// them: all three places about them fit alike, and the values of J and K hang on
// the choice. The first place has J wrong by the whole step.
func TestTareBesideStationsReadOnce(t *testing.T) {
	const order, size, u = "B C B C D C D E D E F E F J K F B C B", 45e-8, 3e-8
	readings, truth := walked(seeded(12), order, 13, size, u)
	guess, err := FindTare(readings, nil, Drift{Degree: 1})
	if err != nil {
		t.Fatal(err)
	}
	if guess.After != 12 || !slices.Equal(guess.Candidates, []int{12, 13, 14}) || !slices.Equal(guess.Ambiguous, []string{"J", "K"}) {
		t.Errorf("found %+v, want 12, 13 and 14 alike and J and K in doubt", guess)
	}
	for _, after := range guess.Candidates {
		a, err := Adjust(readings, nil, stepAfter(readings, after))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "step", a.Steps[0], guess.Size, 1e-9)
		for _, s := range a.Stations {
			want := 0.0
			if s.Name == "J" || s.Name == "K" {
				want = math.Abs(guess.Size)
			}
			if math.Abs(s.Ambiguity-want) > 1e-6*size {
				t.Errorf("step after %d: %s has a doubt of %g, want %g", after, s.Name, s.Ambiguity, want)
			}
			// The right place is right, and a wrong one is wrong by no more than Doubt.
			wrong := math.Abs(s.Value - truth[s.Name])
			if after == 13 && wrong > 4*s.U || wrong > s.Ambiguity+4*s.U {
				t.Errorf("step after %d: %s is off by %g, u %g, doubt %g", after, s.Name, wrong, s.U, s.Ambiguity)
			}
		}
	}
	first, _ := Adjust(readings, nil, stepAfter(readings, 12))
	if j := stationOf(t, first, "J"); math.Abs(j.Value-truth["J"]) < 6*j.U {
		t.Errorf("after 12 J is off by %g with u %g: the day shows nothing", j.Value-truth["J"], j.U)
	}
	// With the doubt in u all is within reach, and the others are none the worse.
	all, err := AdjustUnknownTare(readings, nil, Drift{Degree: 1})
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range all.Stations {
		sharp := stationOf(t, first, s.Name)
		if s.Ambiguity != 0 || math.Abs(s.Value-truth[s.Name]) > 3*s.U {
			t.Errorf("%s is off by %g, u %g, doubt %g", s.Name, s.Value-truth[s.Name], s.U, s.Ambiguity)
		}
		if s.Name == "J" || s.Name == "K" {
			// Two of three places put it on one side.
			near(t, "u of "+s.Name, s.U, math.Hypot(sharp.U, math.Sqrt(2)/3*guess.Size), 0.02)
		} else if math.Abs(s.U-sharp.U) > 0.02*sharp.U {
			t.Errorf("%s has u %g, without the doubt %g", s.Name, s.U, sharp.U)
		}
	}
	// One of them read again settles it for both.
	again, _ := walked(seeded(12), "B C B C D C D E D E F E F J K J F B C B", 13, size, u)
	guess, err = FindTare(again, nil, Drift{Degree: 1})
	if err != nil || guess.After != 13 || !slices.Equal(guess.Candidates, []int{13, 14}) || !slices.Equal(guess.Ambiguous, []string{"K"}) {
		t.Errorf("J read again after K: found %+v, %v", guess, err)
	}
}

// Stations read twice, but only in a block between others: the step may be
// before or after the block, not in it.
func TestTareBesideABlock(t *testing.T) {
	readings, _ := walked(seeded(3), "B C B C B J K J K C B C B", 4, 45e-8, 3e-8)
	guess, err := FindTare(readings, nil, Drift{Degree: 1})
	if err != nil || !slices.Equal(guess.Candidates, []int{4, 8}) || !slices.Equal(guess.Ambiguous, []string{"J", "K"}) {
		t.Fatalf("found %+v, %v", guess, err)
	}
	a, err := AdjustUnknownTare(readings, nil, Drift{Degree: 1})
	if err != nil {
		t.Fatal(err)
	}
	// Their doubts are one: the difference of the two has none.
	difference, u, err := a.Between("J", "K")
	if err != nil || u > 4e-8 || math.Abs(difference-1e-5) > 4*u || stationOf(t, a, "J").U < 20e-8 {
		t.Errorf("K less J is %g(%g), J has u %g; %v", difference, u, stationOf(t, a, "J").U, err)
	}
}

// When only the base is tied and only the walk says where the step is, nothing
// hangs on it, and both adjustments agree.
func TestTareWithoutDoubt(t *testing.T) {
	readings, _ := walked(seeded(5), "B C B C D C D E D E F E F E D C B", 9, 60e-8, 2e-8)
	guess, err := FindTare(readings, nil, Drift{Degree: 1})
	if err != nil || !slices.Equal(guess.Candidates, []int{9}) || guess.Ambiguous != nil {
		t.Fatalf("found %+v, %v", guess, err)
	}
	a, _ := Adjust(readings, nil, stepAfter(readings, 9))
	b, err := AdjustUnknownTare(readings, nil, Drift{Degree: 1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "rate", b.Rate, a.Rate, 1e-3)
	near(t, "u of the rate", b.URate, a.URate, 1e-3)
	for i, s := range a.Stations {
		if s.Ambiguity != 0 || math.Abs(b.Stations[i].Value-s.Value) > 1e-3*s.U || math.Abs(b.Stations[i].U-s.U) > 1e-3*s.U {
			t.Errorf("%+v with the place known, %+v with it looked for", s, b.Stations[i])
		}
	}
	if _, err := AdjustUnknownTare(readings[:3], nil, Drift{Degree: 1}); err == nil {
		t.Error("three readings without an error")
	}
	if _, err := AdjustUnknownTare(readings, nil, stepAfter(readings, 9)); err == nil {
		t.Error("a tare among those given without an error")
	}
}

// What is found in one go is what an adjustment for each place finds: which fit
// alike, which stations differ among them, and the means over all places with
// their covariance.
func TestDoubtIsAdjustingAtEachPlace(t *testing.T) {
	rng := seeded(77)
	doubtful, sharp := 0, 0
	for day := range 300 {
		readings := randomDay(rng, 6+rng.IntN(20), 2+rng.IntN(8))
		drift := Drift{Degree: rng.IntN(3)}
		var ties []Tie
		if rng.IntN(2) == 0 {
			ties = []Tie{{Station: readings[rng.IntN(len(readings))].Station, Value: 9.81, U: 4e-8 * float64(rng.IntN(2))}}
		}
		guess, err := FindTare(readings, ties, drift)
		if err != nil {
			continue
		}
		got, err := AdjustUnknownTare(readings, ties, drift)
		if err != nil {
			t.Fatal(err)
		}
		type outcome struct {
			*Adjustment
			weight float64
		}
		var all []outcome
		var alike []int
		best := math.Inf(1)
		for i := range len(readings) - 1 {
			d := stepAfter(readings, i)
			d.Degree = drift.Degree
			a, err := Adjust(readings, ties, d)
			if err != nil {
				continue
			}
			all = append(all, outcome{a, a.USteps[0]})
			best = math.Min(best, a.Chi2)
			if i == guess.After {
				near(t, "chi²", got.Chi2, a.Chi2, 1e-12)
			}
		}
		total := 0.0
		for k := range all {
			all[k].weight *= math.Exp((best - all[k].Chi2) / 2)
			total += all[k].weight
		}
		k := 0
		for i := range len(readings) - 1 {
			d := stepAfter(readings, i)
			d.Degree = drift.Degree
			if _, err := Adjust(readings, ties, d); err != nil {
				continue
			}
			if all[k].Chi2 < best+1e-7*(1+best) {
				alike = append(alike, i)
			}
			k++
		}
		if !slices.Equal(guess.Candidates, alike) {
			t.Errorf("day %d: alike %v, by adjusting %v", day, guess.Candidates, alike)
		}
		var names []string
		rate, rateSquare := 0.0, 0.0
		for j, s := range got.Stations {
			lo, hi, mean, square := math.Inf(1), math.Inf(-1), 0.0, 0.0
			for _, a := range all {
				o := a.Stations[j]
				if a.Chi2 < best+1e-7*(1+best) {
					lo, hi = min(lo, o.Value), max(hi, o.Value)
				}
				mean += a.weight / total * (o.Value - s.Value)
				square += a.weight / total * (o.U*o.U + (o.Value-s.Value)*(o.Value-s.Value))
			}
			if hi-lo > 1e-6*math.Abs(guess.Size) {
				names = append(names, s.Name)
			}
			if math.Abs(mean) > 1e-6*(s.U+1e-9) || math.Abs(math.Sqrt(square)-s.U) > 1e-6*(s.U+1e-12) {
				t.Errorf("day %d, %s: %g(%g); by adjusting at each place off by %g, u %g", day, s.Name, s.Value, s.U, mean, math.Sqrt(square))
			}
			// Doubt at each of them is the farthest that another lies.
			for _, a := range all {
				d := a.Stations[j]
				want := math.Max(hi-d.Value, d.Value-lo)
				if a.Chi2 < best+1e-7*(1+best) && math.Abs(d.Ambiguity-want) > 1e-6*math.Abs(guess.Size)+1e-14 {
					t.Errorf("day %d, %s: doubt %g, want %g", day, s.Name, d.Ambiguity, want)
				}
			}
		}
		for _, a := range all {
			rate += a.weight / total * (a.Rate - got.Rate)
			rateSquare += a.weight / total * (a.URate*a.URate + (a.Rate-got.Rate)*(a.Rate-got.Rate))
		}
		if drift.Degree > 0 && (math.Abs(rate) > 1e-6*got.URate || math.Abs(math.Sqrt(rateSquare)-got.URate) > 1e-6*got.URate) {
			t.Errorf("day %d: drift off by %g, u %g and %g", day, rate, got.URate, math.Sqrt(rateSquare))
		}
		if !slices.Equal(guess.Ambiguous, names) {
			t.Errorf("day %d: doubtful %v, by adjusting %v", day, guess.Ambiguous, names)
		}
		if len(names) > 0 {
			doubtful++
		} else {
			sharp++
		}
	}
	t.Logf("%d days with a doubt, %d without", doubtful, sharp)
	if doubtful < 30 || sharp < 30 {
		t.Errorf("%d days with a doubt and %d without show little", doubtful, sharp)
	}
}

// On 4000 days with a step at any place, the values are as far from the truth as
// their u says when the doubt is in it; with the first of the likeliest places
// taken for the right one, J is many times too sure.
func TestUncertaintyHoldsTheDoubt(t *testing.T) {
	const days = 4000
	rng := seeded(2021)
	var with, without float64
	for range days {
		after := 3 + rng.IntN(6)
		readings, truth := walked(rng, "B C B C J K C B C B D B D", after, 45e-8*rng.NormFloat64(), 3e-8)
		a, err := AdjustUnknownTare(readings, nil, Drift{Degree: 1})
		if err != nil {
			t.Fatal(err)
		}
		guess, _ := FindTare(readings, nil, Drift{Degree: 1})
		b, err := Adjust(readings, nil, stepAfter(readings, guess.After))
		if err != nil {
			t.Fatal(err)
		}
		square := func(s Adjusted) float64 { return math.Pow((s.Value-truth["J"])/s.U, 2) / days }
		with, without = with+square(stationOf(t, a, "J")), without+square(stationOf(t, b, "J"))
	}
	t.Logf("mean square of error over u: %.2f with the doubt, %.1f without", with, without)
	if with > 1.15 || with < 0.85 || without < 5 {
		t.Errorf("mean square of error over u: %.2f with the doubt, want near 1; %.1f without", with, without)
	}
}

func stationOf(t *testing.T, a *Adjustment, name string) Adjusted {
	t.Helper()
	s, err := a.Station(name)
	if err != nil {
		t.Fatal(fmt.Errorf("%s: %w", name, err))
	}
	return s
}
