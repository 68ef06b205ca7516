package mcmc

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// The sampler on a known density: a normal one in three dimensions, tilted and
// stretched a thousandfold.
func TestSampleOfAKnownNormal(t *testing.T) {
	mean := []float64{3, -50, 0.1}
	sd := []float64{1, 1000, 0.01}
	const rho = 0.95 // between the first two
	log := func(p []float64) float64 {
		x, y, z := (p[0]-mean[0])/sd[0], (p[1]-mean[1])/sd[1], (p[2]-mean[2])/sd[2]
		return -(x*x-2*rho*x*y+y*y)/(2*(1-rho*rho)) - z*z/2
	}
	rng := rand.New(rand.NewPCG(21, 77))
	start, err := InitialWalkers(rng, log, mean, sd, 40)
	if err != nil {
		t.Fatal(err)
	}
	c, err := Sample(rng, log, start, 6000, 500)
	if err != nil {
		t.Fatal(err)
	}
	if !c.Converged || c.Acceptance < 0.3 || c.Acceptance > 0.8 {
		t.Errorf("converged %v, acceptance %g, times %v, split %v", c.Converged, c.Acceptance, c.AutocorrTime, c.RHat)
	}
	var xy float64
	for i := range mean {
		m, s, _ := c.Mean(i)
		// 4 standard errors of c.ESS independent draws.
		e := 4 / math.Sqrt(c.ESS)
		if math.Abs(m-mean[i]) > e*sd[i] || math.Abs(s/sd[i]-1) > e {
			t.Errorf("parameter %d: %g ± %g, want %g ± %g (effective %g)", i, m, s, mean[i], sd[i], c.ESS)
		}
		q, err := c.Quantile(i, 0.975)
		if err != nil || math.Abs((q-mean[i])/sd[i]-1.96) > 2*e {
			t.Errorf("parameter %d: 97.5 %% at %g", i, (q-mean[i])/sd[i])
		}
	}
	for _, d := range c.Draws {
		xy += (d[0] - mean[0]) / sd[0] * (d[1] - mean[1]) / sd[1] / float64(len(c.Draws))
	}
	if math.Abs(xy-rho) > 8/math.Sqrt(c.ESS) {
		t.Errorf("correlation %g, want %g", xy, rho)
	}
	// A chain that has not forgotten its start says so.
	for i := range start {
		start[i][0] += 1e4 * float64(i)
	}
	short, err := Sample(rng, func(p []float64) float64 { return -p[0] * p[0] / 2e-6 }, start, 60, 0)
	if err != nil {
		t.Fatal(err)
	}
	if short.Converged {
		t.Error("a chain of 60 steps from far away calls itself converged")
	}
	for what, bad := range map[string]func() (*Chain, error){
		"no walkers":         func() (*Chain, error) { return Sample(rng, log, nil, 10, 0) },
		"three walkers":      func() (*Chain, error) { return Sample(rng, log, start[:3], 10, 0) },
		"two steps":          func() (*Chain, error) { return Sample(rng, log, start, 2, 0) },
		"burn-in to the end": func() (*Chain, error) { return Sample(rng, log, start, 10, 9) },
		"a density without value": func() (*Chain, error) {
			return Sample(rng, func([]float64) float64 { return math.NaN() }, start, 10, 0)
		},
	} {
		if _, err := bad(); err == nil || !strings.Contains(err.Error(), "mcmc.Sample") {
			t.Errorf("%s: %v", what, err)
		}
	}
}

// The autocorrelation time by Fourier transform is that of the sums themselves.
func TestAutocorrelationTime(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 77))
	for _, n := range []int{4, 97, 1024} {
		const walkers = 3
		c := Chain{}
		var x [walkers]float64
		for range n {
			for w := range x {
				x[w] = 0.8*x[w] + rng.NormFloat64()
				c.Draws = append(c.Draws, []float64{7, 1e3 + x[w]})
			}
		}
		mean := 0.0
		for _, d := range c.Draws {
			mean += d[1] / float64(len(c.Draws))
		}
		cov := func(lag int) float64 {
			sum := 0.0
			for i := 0; i+lag < n; i++ {
				for w := range walkers {
					sum += (c.Draws[i*walkers+w][1] - mean) * (c.Draws[(i+lag)*walkers+w][1] - mean)
				}
			}
			return sum / float64((n-lag)*walkers)
		}
		want := 1.0
		for lag := 1; lag < n/2; lag++ {
			if want += 2 * cov(lag) / cov(0); float64(lag) >= 5*want {
				break
			}
		}
		want = max(want, 1)
		if got := c.autocorrelationTime(walkers, n, 1); math.Abs(got-want) > 1e-9*want {
			t.Errorf("%d steps: autocorrelation time %g, want %g", n, got, want)
		}
		if got := c.autocorrelationTime(walkers, n, 0); got != float64(n) {
			t.Errorf("autocorrelation time of what stands still: %g, want all %d steps", got, n)
		}
	}
}
