package sandbox

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/internal/native"
	"gravity.example/gravlab/signal"
)

// request is what a program hands over, in the form of package native.
func request(numbers ...[]float64) []byte {
	list := []float64{float64(len(numbers))}
	for _, n := range numbers {
		list = append(list, float64(len(n)))
	}
	list = append(list, 0)
	for _, n := range numbers {
		list = append(list, n...)
	}
	var b []byte
	for _, v := range list {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
	}
	return b
}

// FuzzRoutines hands each routine what no program of ours does. A routine may refuse, or panic in
// words; the process must stay.
func FuzzRoutines(f *testing.F) {
	t, y, w := make([]float64, 40), make([]float64, 40), make([]float64, 40)
	for i := range t {
		t[i], y[i], w[i] = float64(i), math.Sin(float64(i)), 1
	}
	for i := range native.Names() {
		for n := range 64 { // of some length there are just enough zeros for the plain data of a function
			f.Add(i, request(make([]float64, n)))
		}
		for _, b := range [][]byte{
			nil, request(), request(nil), request(y), request(y, []float64{8, 5}), request(y, []float64{5, 8, 2}), request(y, []float64{40, 1, math.NaN()}),
			request(t, y, w, make([]float64, 5), nil), request(y, make([]float64, 8), make([]float64, 8), make([]float64, 5), make([]float64, 25), nil),
			request(y, t, nil, make([]float64, 20)), request(y[:34]), {0, 0, 0, 0, 0, 0, 0xf8, 0x7f}, // NaN slices
			request([]float64{math.NaN(), math.Inf(1), 1, 1e300}, []float64{2, 2, 1}),
		} {
			f.Add(i, b)
		}
	}
	f.Fuzz(func(t *testing.T, which int, in []byte) {
		names := native.Names()
		if which < 0 || which >= len(names) || len(in) > 1<<14 {
			return
		}
		before := string(in)
		reply, ok := native.Run(names[which], in)
		if string(in) != before {
			t.Error("a request was changed")
		}
		if ok && (len(reply) < 16 || len(reply)%8 != 0) {
			t.Errorf("a reply of %d bytes", len(reply))
		}
	})
}

// problem makes the same numbers here and in a cell, by integers alone.
func problemOf() (a *mat.Dense, y []float64) {
	rng := rand.New(rand.NewPCG(1, 2))
	a, y = mat.NewDense(200, 7, nil), make([]float64, 200)
	for i := range y {
		for j := range 7 {
			a.Set(i, j, float64(rng.IntN(2000)-1000)/8)
		}
		y[i] = float64(rng.IntN(2000)-1000) / 8
	}
	return a, y
}

const problemCell = `
import ("math/rand/v2"; "gonum.org/v1/gonum/mat"; "gonum.org/v1/gonum/spatial/r3"; "gravity.example/gravlab/buried"; "gravity.example/gravlab/earth"; "gravity.example/gravlab/fit"; "gravity.example/gravlab/signal"; "gravity.example/gravlab/torsion")
func problemOf() (a *mat.Dense, y []float64) {
	rng := rand.New(rand.NewPCG(1, 2))
	a, y = mat.NewDense(200, 7, nil), make([]float64, 200)
	for i := range y {
		for j := range 7 {
			a.Set(i, j, float64(rng.IntN(2000)-1000)/8)
		}
		y[i] = float64(rng.IntN(2000)-1000) / 8
	}
	return a, y
}
`

func bits(lists ...[]float64) string {
	var b strings.Builder
	for _, l := range lists {
		for _, v := range l {
			fmt.Fprintf(&b, "%x ", math.Float64bits(v))
		}
	}
	return b.String()
}

const bitsCell = `
func bits(lists ...[]float64) string {
	var b strings.Builder
	for _, l := range lists {
		for _, v := range l {
			fmt.Fprintf(&b, "%x ", math.Float64bits(v))
		}
	}
	return b.String()
}
`

// A routine gives a confined program the bits that it gives here.
func TestRoutinesSame(t *testing.T) {
	a, y := problemOf()
	r, err := fit.Linear(a, y, nil)
	if err != nil {
		t.Fatal(err)
	}
	c, err := signal.CancelReference(y, mat.Col(nil, 0, a), 3, 100)
	if err != nil {
		t.Fatal(err)
	}
	want := bits(r.P, r.U, r.Residuals, c.Taps, c.Residual)
	got := box(t, 0, problemCell, bitsCell, `%%
a, y := problemOf()
r, err := fit.Linear(a, y, nil)
if err != nil { panic(err) }
c, err := signal.CancelReference(y, mat.Col(nil, 0, a), 3, 100)
if err != nil { panic(err) }
fmt.Print(bits(r.P, r.U, r.Residuals, c.Taps, c.Residual))`)
	if got.State != Ran || got.Output != want {
		t.Errorf("%+v, want %s", got, want)
	}
}

// So do the functions that run outside as a whole.
func TestFunctionsSame(t *testing.T) {
	file, err := os.ReadFile("bodies_test.go")
	if err != nil {
		t.Fatal(err)
	}
	cell := strings.TrimPrefix(string(file), "package sandbox")
	want := allRoutines()
	got := box(t, 0, cell, "%%\nfmt.Print(allRoutines())")
	if got.State != Ran || got.Output != want {
		mine, theirs := strings.Split(want, "\n"), strings.Split(got.Output, "\n")
		for i := range min(len(mine), len(theirs)) {
			if mine[i] != theirs[i] {
				t.Errorf("%s\nconfined:\n%s", mine[i], theirs[i])
			}
		}
		t.Errorf("%s %s: %d lines of %d", got.State, got.Fault, len(theirs), len(mine))
	}
	if n := strings.Count(want, "refused"); n != 3 || strings.Count(want, "<nil>\n") != strings.Count(want, "\n")-n {
		t.Errorf("not every call did what it was to:\n%.3000s", want)
	}
}

// box runs the last of the cells.
func box(t *testing.T, limit time.Duration, cells ...string) Cell {
	t.Helper()
	last := len(cells) - 1
	out, err := thePool(t).RunBox(t.Context(), Box{Above: cells[:last], Source: cells[last], Limits: Limits{Cell: limit}})
	if err != nil || len(out.Cells) != len(cells) {
		t.Fatal(err, out)
	}
	return out.Cells[last]
}

// What a program can do with the routines that the host runs for it.
func TestRoutinesAttacked(t *testing.T) {
	for _, c := range []struct {
		name, source string
		limit        time.Duration
		state        State
		ended        Limit
		output       string
	}{
		{name: "a call that lasts", limit: 2 * time.Second, state: Ended, ended: LimitTime,
			source: "a := mat.NewDense(2400, 1200, nil)\nrng := rand.New(rand.NewPCG(1, 2))\nfor i := range 2400 { for j := range 1200 { a.Set(i, j, float64(rng.Uint32())) } }\nfor { fit.Damp(a, make([]float64, 2400), nil) }"},
		{name: "very many calls", limit: 3 * time.Second, state: Ended, ended: LimitTime,
			source: "a, y := problemOf()\nfor { fit.Linear(a, y, nil) }"},
		{name: "not a number", state: Ran, output: "true true\n",
			source: "a, y := problemOf()\na.Set(3, 3, math.NaN())\n_, e := fit.Linear(a, y, nil)\na.Set(3, 3, 0)\ny[0] = math.Inf(1)\n_, f := fit.DampedOscillation(y, y, nil)\nfmt.Println(e != nil, f != nil)"},
		{name: "the same slice twice", state: Ran, output: "1 0\n",
			source: "_, y := problemOf()\nc, err := signal.CancelReference(y, y, 0, 100)\nif err != nil { panic(err) }\nfmt.Printf(\"%.0f %.0f\\n\", c.Taps[0], math.Abs(c.Residual[7]))"},
		{name: "too much", state: Failed,
			source: "fit.Damp(mat.NewDense(3, 3_000_000, nil), make([]float64, 3), nil)"},
		{name: "a function that lasts", limit: 2 * time.Second, state: Ended, ended: LimitTime,
			source: "y := make([]float64, 4000)\nfor i := range y { y[i] = float64(i*i%97) }\nx := make([]float64, len(y))\nfor i := range x { x[i] = float64(i) }\nfor { earth.TrendModel{Annual: true, Year: 400}.Fit(x, y) }"},
		{name: "very many functions", limit: 3 * time.Second, state: Ended, ended: LimitTime,
			source: "for { torsion.Skelmire().SnapIn() }"},
		{name: "a function of what is no number", state: Ran, output: "true true true true\n",
			source: "nan := []float64{math.NaN(), math.NaN(), math.NaN(), math.NaN()}\n_, a := buried.Invert(buried.Anomaly{Stations: make([]r3.Vec, 4), GZ: nan}, []buried.Shape{7}, nil)\n_, b := earth.Analyse(nan, nan, nil)\n_, c := earth.TrendModel{}.Fit(nan, nan)\n_, d := signal.Welch{Segment: math.MinInt, Step: math.MaxInt}.PSD(nan, math.Inf(1))\nfmt.Println(a != nil, b != nil, c != nil, d != nil)"},
		{name: "a function of the same slice twice", state: Ran, output: "true\n",
			source: "_, y := problemOf()\np, err := signal.Welch{Segment: 32}.Pair(y, y, 1)\nif err != nil { panic(err) }\ny[0] = 0\nfmt.Println(p.PXX[3] > 0 && math.Abs(p.PXX[3]-p.PYY[3]) <= 1e-12*p.PXX[3])"},
		{name: "a function of too much", state: Failed,
			source: "signal.Welch{}.PSD(make([]float64, 9<<20), 1)"},
		{name: "calls of its own", state: NotBuilt,
			source: "native.Ask(\"fit.svd\")(nil)"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := box(t, c.limit, problemCell, "%%\n"+c.source)
			if got.State != c.state || got.Limit != c.ended || c.output != "" && got.Output != c.output {
				t.Errorf("%+v", got)
			}
		})
	}
}
