package signal

import (
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Every power of two against the library, and the library's own lengths too.
func TestTransformAgainstLibrary(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{1, 2, 4, 8, 16, 32, 64, 128, 512, 1024, 4096, 12, 45} {
		z := make([]complex128, n)
		for i := range z {
			z[i] = complex(rng.NormFloat64(), rng.NormFloat64())
		}
		want := fourier.NewCmplxFFT(n).Coefficients(nil, z)
		newTransform(n).forward(z)
		for k := range z {
			if e := cmplx.Abs(z[k] - want[k]); e > 1e-13*float64(n) {
				t.Fatalf("length %d, bin %d: %v, want %v", n, k, z[k], want[k])
			}
		}
	}
}

func BenchmarkTransform(b *testing.B) {
	for _, c := range []struct {
		name string
		run  func(z []complex128)
	}{{"own", newTransform(4096).forward}, {"library", func() func(z []complex128) {
		f := fourier.NewCmplxFFT(4096)
		return func(z []complex128) { f.Coefficients(z, z) }
	}()}} {
		b.Run(c.name, func(b *testing.B) {
			z := make([]complex128, 4096)
			for b.Loop() {
				for i := range z {
					z[i] = complex(float64(i%37), float64(i%31))
				}
				c.run(z)
			}
		})
	}
}
