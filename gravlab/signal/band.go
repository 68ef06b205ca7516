package signal

import (
	"fmt"
	"math"

	"gravity.example/gravlab/internal/arg"
)

// BandRMS returns the root of the integral of a one-sided density psd (unit²/Hz,
// a function of frequency in Hz) from f1 to f2, and an estimate of its error.
// The integral is taken in ln f by a pair of Gauss and Kronrod rules with 7 and
// 15 points, halving where they differ, to a relative 1e-10 or as far as 20,000
// evaluations reach; err then says by how much the two rules still differ. A
// line much narrower than (f2-f1)/1000 may be missed: split the band there.
// psd must not be nil.
func BandRMS(psd func(f float64) float64, f1, f2 float64) (rms, uncertain float64, err error) {
	const fn = "signal.BandRMS"
	if !(f1 > 1e-300 && f2 > f1 && f2 < 1e300) {
		return 0, 0, arg.Bad(fn, "band", fmt.Sprintf("%g to %g Hz", f1, f2), "two rising positive frequencies in Hz")
	}
	bad := math.NaN()
	at := func(u float64) float64 {
		f := math.Exp(u)
		s := psd(f)
		if !(s >= 0 && s*f <= 1e300) {
			bad = f
			return 0
		}
		return s * f
	}
	sum, e := integrate(at, math.Log(f1), math.Log(f2), 1e-10)
	if !math.IsNaN(bad) {
		return 0, 0, arg.Bad(fn, fmt.Sprintf("psd(%g Hz)", bad), psd(bad), "a finite density, zero or more, in unit²/Hz")
	}
	if sum > 0 {
		uncertain = e / (2 * math.Sqrt(sum))
	}
	return math.Sqrt(sum), uncertain, nil
}

// Nodes and weights of the 15-point Kronrod rule and the 7-point Gauss rule
// inside it (QUADPACK, Piessens and others 1983, from memory; the tests hold
// them to the integrals of powers up to x²²).
var (
	kronrodX = [8]float64{
		0.991455371120812639206854697526329, 0.949107912342758524526189684047851,
		0.864864423359769072789712788640926, 0.741531185599394439863864773280788,
		0.586087235467691130294144691693013, 0.405845151377397166906606412076961,
		0.207784955007898467600689403773245, 0,
	}
	kronrodW = [8]float64{
		0.022935322010529224963732008058970, 0.063092092629978553290700663189204,
		0.104790010322250183839876322541518, 0.140653259715525918745189590510238,
		0.169004726639267902826583426598550, 0.190350578064785409913256402421014,
		0.204432940075298892414161999234649, 0.209482141084727828012999174891714,
	}
	gaussW = [4]float64{ // at kronrodX[1], [3], [5], [7]
		0.129484966168869693270611432679082, 0.279705391489276667901467771423780,
		0.381830050505118944950369775488975, 0.417959183673469387755102040816327,
	}
)

func kronrod(f func(float64) float64, a, b float64) (integral, difference float64) {
	mid, half := (a+b)/2, (b-a)/2
	var k, g float64
	for i, x := range kronrodX {
		v := f(mid + half*x)
		if x > 0 {
			v += f(mid - half*x)
		}
		k += kronrodW[i] * v
		if i%2 == 1 {
			g += gaussW[i/2] * v
		}
	}
	return k * half, math.Abs(k-g) * half
}

// integrate returns the integral of f from a to b and an estimate of its error.
// The worst piece is halved first.
func integrate(f func(float64) float64, a, b, rel float64) (sum, e float64) {
	type piece struct{ a, b, sum, e float64 }
	s, d := kronrod(f, a, b)
	pieces := []piece{{a, b, s, d}}
	for len(pieces) < 20000/30 {
		sum, e = 0, 0
		worst := 0
		for i, p := range pieces {
			sum += p.sum
			e += p.e
			if p.e > pieces[worst].e {
				worst = i
			}
		}
		if e <= rel*math.Abs(sum) {
			break
		}
		p := pieces[worst]
		mid := (p.a + p.b) / 2
		if !(mid > p.a && mid < p.b) {
			break
		}
		s1, d1 := kronrod(f, p.a, mid)
		s2, d2 := kronrod(f, mid, p.b)
		pieces[worst] = piece{p.a, mid, s1, d1}
		pieces = append(pieces, piece{mid, p.b, s2, d2})
	}
	return sum, e
}
