package quantity

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// The radix sort has the order of the comparing one, whatever the values share: signs, exponents,
// all digits but the last, everything.
func TestRadixSort(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 14))
	for name, draw := range map[string]func() float64{
		"narrow":         func() float64 { return 6.67e-11 * (1 + 1e-3*rng.NormFloat64()) },
		"both signs":     rng.NormFloat64,
		"all exponents":  func() float64 { return math.Ldexp(rng.NormFloat64(), rng.IntN(2000)-1000) },
		"few values":     func() float64 { return float64(rng.IntN(5) - 2) },
		"the last digit": func() float64 { return math.Nextafter(1, float64(rng.IntN(3))) },
		"one value":      func() float64 { return -7 },
		"zeros and tiny": func() float64 { return math.Copysign(5e-324*float64(rng.IntN(3)), rng.NormFloat64()) },
	} {
		for _, n := range []int{0, 1, 1000, 1024, 50_000} {
			got := make([]float64, n)
			for i := range got {
				got[i] = draw()
			}
			want := slices.Clone(got)
			slices.Sort(want)
			if !slices.Equal(radixSort(got), want) {
				t.Errorf("%s, %d values: not in order", name, n)
			}
		}
	}
}
