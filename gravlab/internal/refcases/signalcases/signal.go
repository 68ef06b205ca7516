// Package signalcases holds the known answers of package signal.
package signalcases

import (
	"fmt"
	"math"
	"math/cmplx"
	"strings"

	"gravity.example/gravlab/internal/check"
	"gravity.example/gravlab/signal"
	"gravity.example/testdata"
)

// Cases returns every comparison of package signal with a number from elsewhere.
func Cases() []check.Case {
	var cases []check.Case
	for _, m := range testdata.ModelChecks("signal") {
		cases = append(cases, check.Case{
			ID: m.ID, Quantity: m.Quantity, Unit: m.Unit, Want: m.Value, Tol: tolerance(m.ID),
			Source: m.Route + "; " + m.Source, Known: check.Computed,
			Got: func() (float64, error) { return answer(m) },
		})
	}
	cases = append(cases, allanTables()...)
	cases = append(cases, windowTable()...)
	cases = append(cases, library()...)
	return cases
}

// tolerance follows from the arithmetic: sums of a few hundred products in
// float64 keep about thirteen digits.
func tolerance(id string) check.Tolerance {
	switch {
	case strings.HasPrefix(id, "signal-matched-03"), strings.HasPrefix(id, "signal-matched-04"):
		return check.Tolerance{Rel: 1e-9, Why: "the integral is a sum over samples 5 ms apart, error of order (rate)^-4"}
	case strings.HasPrefix(id, "signal-threshold"):
		return check.Tolerance{Rel: 1e-13, Why: "inverse of the normal distribution in float64"}
	}
	return check.Tolerance{Rel: 1e-12, Why: "rounding of sums over the record in float64"}
}

// first and second are the two integer sequences that the checks use.
func first(n int) float64 { return float64(mod(7*n*n+3*n, 31) - 15) }

func second(n int) float64 {
	return float64(mod(5*n*n+11*n, 29)-14) + first(n-1)/2
}

func mod(a, m int) int { return ((a % m) + m) % m }

func sequence(n int, f func(int) float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = f(i)
	}
	return x
}

// congruential returns the 1000-point test sequence of NIST SP 1065.
func congruential(seed, n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = float64(seed) / 2147483647
		seed = seed * 16807 % 2147483647
	}
	return x
}

func window(quantity string) signal.Window {
	for name, w := range map[string]signal.Window{
		"hann": signal.Hann, "hamming": signal.Hamming, "blackman": signal.Blackman,
		"flattop": signal.FlatTop, "rectangular": signal.Rectangular, "boxcar": signal.Rectangular,
	} {
		if strings.Contains(strings.ToLower(quantity), name+" window") || strings.Contains(strings.ToLower(quantity), "the "+name) {
			return w
		}
	}
	return signal.Hann
}

func welch(m testdata.ModelCheck) signal.Welch {
	segment := int(m.Float("segment"))
	return signal.Welch{Segment: segment, Step: segment - int(m.Float("overlap")), Window: window(m.Quantity)}
}

func answer(m testdata.ModelCheck) (float64, error) {
	topic := strings.Split(m.ID, "-")[1]
	switch topic {
	case "welch":
		s, err := welch(m).PSD(sequence(int(m.Float("N")), first), m.Float("fs"))
		if err != nil {
			return 0, err
		}
		return s.PSD[int(m.Float("bin"))], nil
	case "enbw":
		return window(m.Quantity).ENBW(int(m.Float("N")))
	case "dof":
		return welch(m).DoF(int(m.Float("segments")))
	case "coherence":
		n := int(m.Float("N"))
		p, err := welch(m).Pair(sequence(n, first), sequence(n, second), m.Float("fs"))
		if err != nil {
			return 0, err
		}
		k := int(m.Float("bin"))
		switch {
		case strings.Contains(m.Quantity, "phase"):
			return cmplx.Phase(p.H1()[k]), nil
		case strings.Contains(m.Quantity, "modulus"):
			return cmplx.Abs(p.H1()[k]), nil
		}
		return p.Coherence()[k], nil
	case "selfnoise":
		if _, ok := m.Inputs["gamma2"]; ok {
			return signal.SelfNoiseFraction(m.Float("gamma2"))
		}
		return signal.ExpectedCoherence(m.Float("S_signal"), m.Float("N1"), m.Float("N2"))
	case "matched":
		return matched(m)
	case "threshold":
		return signal.NeededSNR(m.Float("pf"), m.Float("pd"))
	case "lockin":
		f := m.Float("f")
		x := sequence(int(m.Float("N")), func(k int) float64 {
			return first(k) + 20*math.Cos(2*math.Pi*f*float64(k)-0.8)
		})
		line, err := signal.SineFit(x, 1, f)
		return line.Amplitude, err
	case "oadev":
		y := nine
		if _, ok := m.Inputs["n0"]; ok {
			y = congruential(int(m.Float("n0")), int(m.Float("N")))
		}
		if strings.Contains(m.Quantity, "non-overlapping") {
			return signal.NonOverlappingAllan(y, int(m.Float("m")))
		}
		return signal.OverlappingAllan(y, int(m.Float("m")))
	}
	return 0, fmt.Errorf("no model for %s", m.ID)
}

func matched(m testdata.ModelCheck) (float64, error) {
	if _, ok := m.Inputs["a"]; ok {
		n := int(m.Float("N"))
		h := sequence(n, func(k int) float64 {
			t := float64(k)
			return m.Float("A") * math.Exp(-m.Float("b")*t) * math.Cos(2*math.Pi*m.Float("f")*t)
		})
		c := sequence(n, func(k int) float64 { return math.Pow(m.Float("a"), float64(k)) })
		filter, err := signal.NewMatchedFilter(h, c)
		return filter.SNR(), err
	}
	const rate = 200
	tau := m.Float("tau")
	a, f := m.Float("A"), m.Float("f")
	h := sequence(int(30*tau*rate), func(k int) float64 {
		t := float64(k) / rate
		return a * math.Exp(-t/tau) * math.Sin(2*math.Pi*f*t)
	})
	return signal.WhiteSNR(h, rate, m.Float("S"))
}

// nine is the set of nine values of NBS Monograph 140.
var nine = []float64{892, 809, 823, 798, 671, 644, 883, 903, 677}

// allanTables holds the deviations that the two handbooks print.
func allanTables() []check.Case {
	y := congruential(1234567890, 1000)
	const sp1065 = "NIST Special Publication 1065 (W. J. Riley 2008), 1000-point test suite"
	const nbs = "NBS Monograph 140 (1974), nine-value test set, as NIST Special Publication 1065 repeats it"
	row := func(id, printed, source string, got func() (float64, error)) check.Case {
		return check.Case{
			ID: id, Quantity: "Allan deviation, printed in the handbook", Unit: "1",
			Want: number(printed), Tol: check.Digits(printed), Source: source, Known: check.Memory,
			Published: true, Got: got,
		}
	}
	over := func(y []float64, m int) func() (float64, error) {
		return func() (float64, error) { return signal.OverlappingAllan(y, m) }
	}
	plain := func(y []float64, m int) func() (float64, error) {
		return func() (float64, error) { return signal.NonOverlappingAllan(y, m) }
	}
	return []check.Case{
		row("signal-sp1065-oadev-1", "2.922319e-1", sp1065, over(y, 1)),
		row("signal-sp1065-oadev-10", "9.159953e-2", sp1065, over(y, 10)),
		row("signal-sp1065-oadev-100", "3.241343e-2", sp1065, over(y, 100)),
		row("signal-sp1065-adev-10", "9.965736e-2", sp1065, plain(y, 10)),
		row("signal-sp1065-adev-100", "3.897804e-2", sp1065, plain(y, 100)),
		row("signal-nbs140-adev-1", "91.22945", nbs, plain(nine, 1)),
		row("signal-nbs140-adev-2", "115.8082", nbs, plain(nine, 2)),
		row("signal-nbs140-oadev-2", "85.95287", nbs, over(nine, 2)),
	}
}

// windowTable holds the equivalent noise bandwidths of a well-known table.
func windowTable() []check.Case {
	var cases []check.Case
	for _, w := range []struct {
		window  signal.Window
		printed string
	}{{signal.Rectangular, "1.00"}, {signal.Hann, "1.50"}, {signal.Hamming, "1.36"}, {signal.Blackman, "1.73"}} {
		cases = append(cases, check.Case{
			ID: "signal-harris-" + w.window.String(), Quantity: "equivalent noise bandwidth of the " + w.window.String() + " window", Unit: "bins",
			Want: number(w.printed), Tol: check.Digits(w.printed),
			Source: "F. J. Harris, Proc. IEEE 66, 51 (1978), table of windows", Known: check.Memory, Published: true,
			Got: func() (float64, error) { return w.window.ENBW(1024) },
		})
	}
	return cases
}

func number(s string) float64 {
	var v float64
	if _, err := fmt.Sscan(s, &v); err != nil {
		panic(err)
	}
	return v
}
