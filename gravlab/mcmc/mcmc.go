// Package mcmc draws from a probability density that is known up to a factor, by Markov
// chain Monte Carlo: what a posterior looks like where the normal one of a fit's covariance
// does not do.
//
// InitialWalkers strews starting points around a fit, and Sample walks from them. The
// logarithm of the density is a function of yours, such as buried.Inversion.LogPosterior:
//
//	start, err := mcmc.InitialWalkers(rng, v.LogPosterior, v.Fit.P, v.Fit.U, 24)
//	chain, err := mcmc.Sample(rng, v.LogPosterior, start, 5000, 1000)
//
// Look at Chain.Converged before you use the draws. A chain can converge and miss a second
// peak of the density that no walker started near.
package mcmc

import (
	"fmt"
	"math"
	"math/bits"
	"math/rand/v2"
	"sort"

	"gonum.org/v1/gonum/dsp/fourier"

	"gravity.example/gravlab/internal/arg"
)

// A Chain is a sample of a probability density.
type Chain struct {
	// Draws are the points after burn-in, walker by walker within each step.
	Draws [][]float64
	// Acceptance is the fraction of proposals accepted; 0.2 to 0.6 is healthy.
	Acceptance float64
	// AutocorrTime is the integrated autocorrelation time of each parameter, in steps.
	AutocorrTime []float64
	// ESS, the effective sample size, is the number of independent draws that the
	// chain is worth, by the parameter with the longest AutocorrTime.
	ESS float64
	// RHat is, for each parameter, the square root of the pooled over the mean
	// within-walker variance of half chains (Gelman and Rubin's ratio); above
	// about 1.05 the walkers have not forgotten where they started.
	RHat []float64
	// Converged reports that every RHat is below 1.05 and the chain is at least
	// 50 AutocorrTime long.
	Converged bool
}

// Sample draws from a density by an ensemble of walkers that stretch towards
// each other, which does not mind how the parameters are scaled or correlated.
// logDensity is the logarithm of the density up to a constant, -Inf where it is
// zero; start holds one point for each walker (an even number, at least twice
// the number of parameters plus two), all of finite density and not in one
// plane. steps moves of all walkers are made, of which the first burn are
// dropped. The same rng gives the same chain. A nil rng or logDensity panics.
//
// Source: J. Goodman, J. Weare, Comm. Appl. Math. Comput. Sci. 5 (2010) 65,
// with a = 2; A. Gelman, D. B. Rubin, Statist. Sci. 7 (1992) 457; the window of
// A. D. Sokal's lecture notes for the autocorrelation time (citations from
// memory).
func Sample(rng *rand.Rand, logDensity func([]float64) float64, start [][]float64, steps, burn int) (*Chain, error) {
	const fn = "mcmc.Sample"
	if err := arg.AtLeast(fn, "start", len(start), 2); err != nil {
		return nil, err
	}
	dim := len(start[0])
	switch {
	case dim == 0:
		return nil, arg.Bad(fn, "start[0]", "empty", "at least one parameter")
	case len(start) < 2*dim+2 || len(start)%2 == 1:
		return nil, arg.Bad(fn, "start", fmt.Sprintf("of %d walkers", len(start)), fmt.Sprintf("an even number of walkers, %d or more for %d parameters", 2*dim+2, dim))
	case steps < 4 || steps > 1e8:
		return nil, arg.Bad(fn, "steps", steps, "4 to 1e8 steps")
	case burn < 0 || burn > steps-4:
		return nil, arg.Bad(fn, "burn", burn, "zero or more, and at least 4 below steps")
	}
	walkers := len(start)
	at := make([][]float64, walkers)
	density := make([]float64, walkers)
	for w, p := range start {
		if err := arg.SameLength(fn, "start[0]", dim, fmt.Sprintf("start[%d]", w), len(p)); err != nil {
			return nil, err
		}
		if err := arg.AllFinite(fn, fmt.Sprintf("start[%d]", w), p, "parameter"); err != nil {
			return nil, err
		}
		at[w] = append([]float64(nil), p...)
		density[w] = logDensity(at[w])
		if !isFinite(density[w]) {
			return nil, arg.Bad(fn, fmt.Sprintf("start[%d]", w), p, "a point of finite logDensity")
		}
	}
	c := &Chain{Draws: make([][]float64, 0, (steps-burn)*walkers)}
	room := make([]float64, (steps-burn)*walkers*dim) // of all draws, in one piece
	half, taken := walkers/2, 0
	trial := make([]float64, dim)
	for step := range steps {
		for w := range walkers {
			// Partners come from the other half, which stands still meanwhile.
			other := at[rng.IntN(half)+half*(1-w/half)]
			// The stretch z has the density 1/sqrt(z) between 1/2 and 2.
			z := (1 + rng.Float64()) * math.Sqrt(0.5)
			z *= z
			for i := range trial {
				trial[i] = other[i] + z*(at[w][i]-other[i])
			}
			d := logDensity(trial)
			if math.IsNaN(d) || math.IsInf(d, 1) {
				return nil, arg.Bad(fn, "logDensity", d, "a finite number or -Inf")
			}
			if float64(dim-1)*math.Log(z)+d-density[w] >= -rng.ExpFloat64() {
				copy(at[w], trial)
				density[w] = d
				taken++
			}
		}
		if step >= burn {
			for w := range at {
				draw := room[:dim:dim]
				room = room[dim:]
				copy(draw, at[w])
				c.Draws = append(c.Draws, draw)
			}
		}
	}
	c.Acceptance = float64(taken) / float64(steps*walkers)
	c.diagnose(walkers, dim)
	return c, nil
}

// diagnose fills in the diagnostics.
func (c *Chain) diagnose(walkers, dim int) {
	n := len(c.Draws) / walkers
	longest := 0.0
	c.Converged = true
	for p := range dim {
		c.AutocorrTime = append(c.AutocorrTime, c.autocorrelationTime(walkers, n, p))
		c.RHat = append(c.RHat, c.splitRatio(walkers, n, p))
		longest = max(longest, c.AutocorrTime[p])
		if !(c.RHat[p] < 1.05) {
			c.Converged = false
		}
	}
	c.ESS = float64(len(c.Draws)) / longest
	if float64(n) < 50*longest {
		c.Converged = false
	}
}

// autocorrelationTime averages the autocovariance over the walkers and sums it
// to the first lag M >= 5 times the sum so far.
func (c *Chain) autocorrelationTime(walkers, n, p int) float64 {
	mean := 0.0
	for _, d := range c.Draws {
		mean += d[p]
	}
	mean /= float64(len(c.Draws))
	// By the Fourier transform, since a chain that hardly moves has n/2 lags to
	// be summed; zeros behind the path keep its end off its beginning.
	size := 1 << bits.Len(uint(2*n-1))
	transform := fourier.NewFFT(size)
	path, power := make([]float64, size), make([]complex128, size/2+1)
	for w := range walkers {
		for i := range n {
			path[i] = c.Draws[i*walkers+w][p] - mean
		}
		for k, v := range transform.Coefficients(nil, path) {
			power[k] += complex(real(v)*real(v)+imag(v)*imag(v), 0)
		}
	}
	sums := transform.Sequence(nil, power) // times size
	cov := func(lag int) float64 { return sums[lag] / float64(size) / float64((n-lag)*walkers) }
	c0 := cov(0)
	if !(c0 > 0) {
		return float64(n)
	}
	time := 1.0
	for lag := 1; lag < n/2; lag++ {
		time += 2 * cov(lag) / c0
		if float64(lag) >= 5*time {
			break
		}
	}
	return max(time, 1)
}

// splitRatio is Gelman and Rubin's ratio over the halves of every walker's path.
func (c *Chain) splitRatio(walkers, n, p int) float64 {
	half := n / 2
	var means, variances []float64
	for w := range walkers {
		for h := range 2 {
			mean, m2 := 0.0, 0.0
			for i := range half {
				x := c.Draws[(h*half+i)*walkers+w][p]
				d := x - mean
				mean += d / float64(i+1)
				m2 += d * (x - mean)
			}
			means = append(means, mean)
			variances = append(variances, m2/float64(half-1))
		}
	}
	within, between, grand := 0.0, 0.0, 0.0
	for i := range means {
		within += variances[i] / float64(len(means))
		grand += means[i] / float64(len(means))
	}
	for _, m := range means {
		between += (m - grand) * (m - grand) / float64(len(means)-1)
	}
	if !(within > 0) {
		return math.Inf(1)
	}
	return math.Sqrt((within*float64(half-1)/float64(half) + between) / within)
}

// Quantile is the value of parameter i below which a share p of the draws lies.
func (c *Chain) Quantile(i int, p float64) (float64, error) {
	const fn = "mcmc.Chain.Quantile"
	if len(c.Draws) == 0 {
		return 0, arg.Bad(fn, "Draws", "empty", "a chain made by Sample")
	}
	if i < 0 || i >= len(c.Draws[0]) {
		return 0, arg.Bad(fn, "i", i, fmt.Sprintf("0 to %d", len(c.Draws[0])-1))
	}
	if err := arg.Between(fn, "p", p, 0, 1, "share"); err != nil {
		return 0, err
	}
	v := make([]float64, len(c.Draws))
	for k, d := range c.Draws {
		v[k] = d[i]
	}
	sort.Float64s(v)
	at := p * float64(len(v)-1)
	k := int(at)
	if k+1 >= len(v) {
		return v[len(v)-1], nil
	}
	return v[k] + (at-float64(k))*(v[k+1]-v[k]), nil
}

// Mean is the mean of parameter i, and its standard deviation.
func (c *Chain) Mean(i int) (mean, sd float64, err error) {
	if len(c.Draws) == 0 || i < 0 || i >= len(c.Draws[0]) {
		return 0, 0, arg.Bad("mcmc.Chain.Mean", "i", i, "the number of a parameter of a chain made by Sample")
	}
	m2 := 0.0
	for k, d := range c.Draws {
		e := d[i] - mean
		mean += e / float64(k+1)
		m2 += e * (d[i] - mean)
	}
	return mean, math.Sqrt(m2 / float64(max(len(c.Draws)-1, 1))), nil
}

// InitialWalkers makes n starting points for Sample around a point, strewn normally
// with the standard deviations u; those outside the density are drawn again.
func InitialWalkers(rng *rand.Rand, logDensity func([]float64) float64, centre, u []float64, n int) ([][]float64, error) {
	const fn = "mcmc.InitialWalkers"
	if err := arg.SameLength(fn, "centre", len(centre), "u", len(u)); err != nil {
		return nil, err
	}
	if n < 2 || n > 1e6 {
		return nil, arg.Bad(fn, "n", n, "2 to 1e6 walkers")
	}
	for i := range u {
		if !isFinite(centre[i]) || !(u[i] > 0) || !isFinite(u[i]) {
			return nil, arg.Bad(fn, fmt.Sprintf("centre[%d] and u[%d]", i, i), [2]float64{centre[i], u[i]}, "a finite parameter with a finite standard deviation above zero (is it determined?)")
		}
	}
	points := make([][]float64, 0, n)
	for tries := 0; len(points) < n; tries++ {
		if tries > 100*n {
			return nil, arg.Bad(fn, "centre", centre, "a point around which the density is not zero")
		}
		p := make([]float64, len(centre))
		for i := range p {
			p[i] = centre[i] + float64(u[i]*rng.NormFloat64())
		}
		if isFinite(logDensity(p)) {
			points = append(points, p)
		}
	}
	return points, nil
}

func isFinite(v float64) bool { return v-v == 0 }
