// Package signalcases holds the known answers of package signal.
package signalcases

import (
	"fmt"
	"math"
	"math/cmplx"

	"gravity.example/gravlab/internal/check"
	"gravity.example/gravlab/internal/refcases/rows"
	"gravity.example/gravlab/signal"
	"gravity.example/testdata"
)

// Cases returns every comparison of package signal with a number from elsewhere.
func Cases() []check.Case {
	var cases []check.Case
	for _, m := range testdata.ModelChecks("signal") {
		cases = append(cases, calls.Case(m, tolerance(m.Call)))
	}
	cases = append(cases, allanTables()...)
	cases = append(cases, windowTable()...)
	cases = append(cases, library()...)
	return cases
}

// tolerance follows from the arithmetic: sums of a few hundred products in
// float64 keep about thirteen digits.
func tolerance(call string) check.Tolerance {
	switch call {
	case "WhiteSNR":
		return check.Tolerance{Rel: 1e-9, Why: "the integral is a sum over samples 5 ms apart, error of order (rate)^-4"}
	case "NeededSNR":
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

func window(m testdata.ModelCheck) signal.Window {
	w, ok := map[string]signal.Window{
		"hann": signal.Hann, "hamming": signal.Hamming, "blackman": signal.Blackman, "flattop": signal.FlatTop,
	}[m.Inputs["window"]]
	if !ok {
		panic(fmt.Sprintf("signalcases: %s has the window %q", m.ID, m.Inputs["window"]))
	}
	return w
}

func welch(m testdata.ModelCheck) signal.Welch {
	segment := int(m.Float("segment"))
	return signal.Welch{Segment: segment, Step: segment - int(m.Float("overlap")), Window: window(m)}
}

// pair returns the call that reads a number from the spectra of the two sequences.
func pair(read func(p signal.Pair, bin int) float64) func(m testdata.ModelCheck) (float64, error) {
	return func(m testdata.ModelCheck) (float64, error) {
		n := int(m.Float("N"))
		p, err := welch(m).Pair(sequence(n, first), sequence(n, second), m.Float("fs"))
		if err != nil {
			return 0, err
		}
		return read(p, int(m.Float("bin"))), nil
	}
}

// frequencies returns the test sequence of a row with a start n0, else the nine values.
func frequencies(m testdata.ModelCheck) []float64 {
	if _, ok := m.Inputs["n0"]; ok {
		return congruential(int(m.Float("n0")), int(m.Float("N")))
	}
	return nine
}

var calls = rows.Calls{
	"Welch.PSD": func(m testdata.ModelCheck) (float64, error) {
		s, err := welch(m).PSD(sequence(int(m.Float("N")), first), m.Float("fs"))
		if err != nil {
			return 0, err
		}
		return s.PSD[int(m.Float("bin"))], nil
	},
	"Window.ENBW":     func(m testdata.ModelCheck) (float64, error) { return window(m).ENBW(int(m.Float("N"))) },
	"Welch.DoF":       func(m testdata.ModelCheck) (float64, error) { return welch(m).DoF(int(m.Float("segments"))) },
	"Pair.Coherence":  pair(func(p signal.Pair, bin int) float64 { return p.Coherence()[bin] }),
	"Pair.H1 modulus": pair(func(p signal.Pair, bin int) float64 { return cmplx.Abs(p.H1()[bin]) }),
	"Pair.H1 phase":   pair(func(p signal.Pair, bin int) float64 { return cmplx.Phase(p.H1()[bin]) }),
	"SelfNoiseFraction": func(m testdata.ModelCheck) (float64, error) {
		return signal.SelfNoiseFraction(m.Float("gamma2"))
	},
	"ExpectedCoherence": func(m testdata.ModelCheck) (float64, error) {
		return signal.ExpectedCoherence(m.Float("S_signal"), m.Float("N1"), m.Float("N2"))
	},
	"MatchedFilter.SNR": func(m testdata.ModelCheck) (float64, error) {
		n := int(m.Float("N"))
		h := sequence(n, func(k int) float64 {
			t := float64(k)
			return m.Float("A") * math.Exp(-m.Float("b")*t) * math.Cos(2*math.Pi*m.Float("f")*t)
		})
		c := sequence(n, func(k int) float64 { return math.Pow(m.Float("a"), float64(k)) })
		filter, err := signal.NewMatchedFilter(h, c)
		return filter.SNR(), err
	},
	"WhiteSNR": func(m testdata.ModelCheck) (float64, error) {
		const rate = 200
		tau := m.Float("tau")
		a, f := m.Float("A"), m.Float("f")
		h := sequence(int(30*tau*rate), func(k int) float64 {
			t := float64(k) / rate
			return a * math.Exp(-t/tau) * math.Sin(2*math.Pi*f*t)
		})
		return signal.WhiteSNR(h, rate, m.Float("S"))
	},
	"NeededSNR": func(m testdata.ModelCheck) (float64, error) {
		return signal.NeededSNR(m.Float("pf"), m.Float("pd"))
	},
	"SineFit": func(m testdata.ModelCheck) (float64, error) {
		f := m.Float("f")
		x := sequence(int(m.Float("N")), func(k int) float64 {
			return first(k) + 20*math.Cos(2*math.Pi*f*float64(k)-0.8)
		})
		line, err := signal.SineFit(x, 1, f)
		return line.Amplitude, err
	},
	"OverlappingAllan": func(m testdata.ModelCheck) (float64, error) {
		return signal.OverlappingAllan(frequencies(m), int(m.Float("m")))
	},
	"NonOverlappingAllan": func(m testdata.ModelCheck) (float64, error) {
		return signal.NonOverlappingAllan(frequencies(m), int(m.Float("m")))
	},
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
