package reduction

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gravity.example/gravlab"
	"gravity.example/gravlab/torsion"
)

// A window that holds too little of a period is refused in words that say what to
// do; from 0.7 on it is fitted, with a period that is right within its uncertainty.
// The noise is a part of the move of the readings.
func TestShortWindows(t *testing.T) {
	b, r := torsion.Skelmire(), recorder()
	swing := gravlab.Must(b.Swing())
	period := gravlab.Must(swing.Period())
	r.Step, r.Interval = 0, 10
	for _, c := range []struct {
		before, holds, noise float64
		fits                 bool
	}{
		{0, 0.34, 1e-3, false}, {0, 0.34, 3e-3, false}, {0, 0.34, 1e-2, false}, {0, 0.34, 3e-2, false},
		{400, 0.34, 1e-3, false}, {400, 0.34, 1e-2, false}, {400, 0.34, 3e-2, false},
		{0, 0.5, 1e-3, false}, {400, 0.5, 1e-3, false}, {400, 0.5, 3e-2, false},
		{0, 0.65, 1e-3, true}, {0, 0.65, 3e-3, true}, {0, 0.7, 1e-2, true}, {0, 0.8, 3e-2, true},
		{400, 0.65, 1e-3, true}, {400, 0.65, 3e-2, true}, {400, 0.8, 3e-2, true},
	} {
		r.Before, r.Noise = c.before, c.noise*4*r.Lever.Distance*swing.Equilibrium
		const n = 60
		fitted, holds := 0, 0
		for seed := range uint64(n) {
			rec := gravlab.Must(b.Record(r, rand.New(rand.NewPCG(9, seed))))
			f, err := Fit(rec, Window{To: c.holds * period})
			if err == nil {
				fitted++
				if math.Abs(f.Period.Value-period) <= 3*f.Period.U {
					holds++
				}
				continue
			}
			for _, want := range []string{"0.6 of a period", "s after the switch"} {
				if !strings.Contains(err.Error(), want) {
					t.Fatalf("%q does not say %q", err, want)
				}
			}
			for _, never := range []string{"start nearer", "-"} {
				if strings.Contains(err.Error(), never) {
					t.Fatalf("%q says %q", err, never)
				}
			}
		}
		if c.fits && (fitted < n-1 || holds < fitted-2) || !c.fits && fitted > n/20 {
			t.Errorf("%g s before, %g of a period, noise %g: %d of %d fitted, %d of them with the period in three standard uncertainties", c.before, c.holds, c.noise, fitted, n, holds)
		}
	}
}

// A swing that is fitted with a negative period is given with the period positive,
// and is the same.
func TestPositivePeriod(t *testing.T) {
	rec := gravlab.Must(torsion.Skelmire().Record(recorder(), rand.New(rand.NewPCG(3, 1))))
	f := gravlab.Must(Fit(rec, Window{}))
	r := *f.Fit
	want := estimates(&r)
	turned := r
	turned.P = append([]float64(nil), r.P...)
	turned.P[atPeriod], turned.P[atSine] = -r.P[atPeriod], -r.P[atSine]
	times := []float64{-10, 0, 77, 500, 1234}
	one, other := make([]float64, len(times)), make([]float64, len(times))
	swingModel(r.P, times, one)
	swingModel(turned.P, times, other)
	for i := range one {
		if math.Abs(one[i]-other[i]) > 1e-15 {
			t.Errorf("at %g s: %g and %g", times[i], one[i], other[i])
		}
	}
	sign := func(i int) float64 {
		if i == atPeriod || i == atSine {
			return -1
		}
		return 1
	}
	c := r.Cov
	for i := range parameters {
		for j := i; j < parameters; j++ {
			c.SetSym(i, j, sign(i)*sign(j)*c.At(i, j))
		}
	}
	positive(&turned)
	got := estimates(&turned)
	if got.Undamped != want.Undamped || got.Period != want.Period || got.Correlation != want.Correlation || got.Start != want.Start {
		t.Errorf("turned round %+v, want %+v", got, want)
	}
}
