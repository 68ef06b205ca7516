package crossbench

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/buried"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/pendulum"
	"gravity.example/gravlab/quantity"
	"gravity.example/gravlab/signal"
)

// A work is one thing that both sides do.
type work struct {
	name  string
	unit  string // what one unit of it is
	units int    // in one go
	times int    // goes in one turn
	ours  func() (float64, error)
	// within is how far the two results may lie apart, relative: the accuracy
	// of the less accurate of the two methods.
	within float64
}

func works() []work {
	stations := make([]r3.Vec, 1000)
	for i := range stations {
		stations[i] = r3.Vec{X: -20 + 40*float64(i)/999, Y: 0.2}
	}
	prism := buried.Prism{Min: r3.Vec{X: -2, Y: -3, Z: 4}, Max: r3.Vec{X: 3, Y: 2, Z: 7}, Contrast: -600}
	sphere := buried.Sphere{Centre: r3.Vec{X: -3, Y: -2, Z: 5.5}, Radius: 2, Contrast: -1900}
	polygon := buried.Polygon{Vertices: []buried.XZ{{X: -4, Z: 2}, {X: 3, Z: 2.5}, {X: 6, Z: 6}, {X: 1, Z: 8.5}, {X: -5, Z: 5}}, Contrast: -600}
	each := func(f func(at r3.Vec) (float64, error)) func() (float64, error) {
		return func() (float64, error) {
			sum := 0.0
			for _, at := range stations {
				v, err := f(at)
				if err != nil {
					return 0, err
				}
				sum += v
			}
			return sum, nil
		}
	}

	t, y, sigma := make([]float64, 10000), make([]float64, 10000), make([]float64, 10000)
	for i := range t {
		t[i] = float64(i) * 0.1
		y[i] = 1.3*math.Exp(-t[i]/400)*math.Cos(2*math.Pi*t[i]/33-0.7) + 0.2 + 0.02*math.Sin(t[i]*t[i]*977)
		sigma[i] = 0.02
	}
	record, second := make([]float64, 1_000_000), make([]float64, 1_000_000)
	for i := range record {
		square := float64(i) * float64(i)
		record[i] = math.Sin(math.Mod(square, 9973))
		second[i] = math.Cos(math.Mod(square, 9967)) + record[i]
	}
	welch := signal.Welch{Segment: 4096}

	swing := pendulum.Pendulum{Bob: pendulum.Bob{Mass: 1}, Length: 1, Gravity: 9.80665, Amplitude: 1}
	times := make([]float64, 601)
	for i := range times {
		times[i] = float64(i) / 10
	}
	site := earth.Site{Lat: 0.95, Lon: -0.04, Height: 310}
	start := time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)
	inputs := []quantity.Input{
		{Name: "kappa", Value: 1.6e-7, U: 1e-9}, {Name: "theta", Value: 3.1e-3, U: 2e-5}, {Name: "d", Value: 0.075, U: 3e-4},
		{Name: "m", Value: 0.05, U: 5e-5}, {Name: "M", Value: 4, U: 5e-3}, {Name: "b", Value: 0.12, U: 2e-4},
	}
	return []work{
		{"prism", "prism and station", 1000, 200, each(prism.GZ), 1e-9},
		{"sphere", "sphere and station, gz and tensor", 1000, 400, each(func(at r3.Vec) (float64, error) {
			g, err := sphere.GZ(at)
			if err != nil {
				return 0, err
			}
			tensor, err := sphere.Gradient(at)
			return g + 0*tensor.ZZ, err
		}), 1e-12},
		{"polygon", "polygon of five corners and station", 1000, 200, each(func(at r3.Vec) (float64, error) {
			g, err := polygon.GZ(at)
			return math.Abs(g), err
		}), 1e-9},
		// Ours finds its own first guess, theirs is given one.
		{"fit", "fit of 5 parameters to 10,000 samples", 1, 10, func() (float64, error) {
			r, err := fit.DampedOscillation(t, y, sigma)
			if err != nil {
				return 0, err
			}
			return r.P[fit.Period], nil
		}, 1e-6},
		{"welch", "spectral density of 1,000,000 samples", 1, 5, func() (float64, error) {
			s, err := welch.PSD(record, 100)
			if err != nil {
				return 0, err
			}
			return s.PSD[100], nil
		}, 1e-9},
		{"coherence", "coherence of two records of 1,000,000 samples", 1, 3, func() (float64, error) {
			p, err := welch.Pair(record, second, 100)
			if err != nil {
				return 0, err
			}
			return p.Coherence()[100], nil
		}, 1e-9},
		{"pendulum", "60 s of 1 rad at 1e-9", 1, 2, func() (float64, error) {
			angles, _, err := swing.Integrate(times, 1e-9)
			if err != nil {
				return 0, err
			}
			return angles[300], nil
		}, 1e-5},
		// Theirs has the full Earth orientation model, ours the part that a tide of
		// a few nm/s² needs.
		{"tide", "hour of the tide", 1000, 2, func() (float64, error) {
			s, err := site.TideSeries(start, time.Hour, 1000)
			if err != nil {
				return 0, err
			}
			return s[500], nil
		}, 0.01},
		{"montecarlo", "trial of a product of six", 1_000_000, 1, func() (float64, error) {
			d, err := quantity.MonteCarlo(rand.New(rand.NewPCG(1, 2)), func(x []float64) float64 {
				return x[0] * x[1] * x[2] * x[2] / (2 * x[3] * x[4] * x[5])
			}, inputs, nil, 1_000_000)
			if err != nil {
				return 0, err
			}
			return d.Mean, nil
		}, 1e-4},
	}
}

// python is the other side.
type python struct {
	in  io.Writer
	out *bufio.Reader
}

func startPython(tb testing.TB) python {
	const program = "/usr/bin/python3"
	if err := exec.Command(program, "-c", "import numpy, scipy, erfa").Run(); err != nil {
		const lacks = "Debian's python3-numpy, python3-scipy and python3-erfa are not installed: nothing was compared"
		if os.Getenv("CI") == "true" {
			tb.Fatal(lacks)
		}
		fmt.Fprintln(os.Stderr, lacks) // a benchmark that is skipped says nothing by itself
		tb.Skip(lacks)
	}
	cmd := exec.Command(program, "testdata/work.py")
	cmd.Env = append(os.Environ(), "OMP_NUM_THREADS=1", "OPENBLAS_NUM_THREADS=1")
	cmd.Stderr = os.Stderr
	in, err := cmd.StdinPipe()
	if err != nil {
		tb.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		tb.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { in.Close(); cmd.Wait() })
	return python{in, bufio.NewReader(out)}
}

// do does the work and returns the time for one go and the result.
func (p python) do(tb testing.TB, name string, times int) (time.Duration, float64) {
	fmt.Fprintf(p.in, "%s %d\n", name, times)
	var seconds, result float64
	if _, err := fmt.Fscan(p.out, &seconds, &result); err != nil {
		tb.Fatalf("%s: the other side: %v", name, err)
	}
	return time.Duration(seconds / float64(max(times, 1)) * 1e9), result
}

func ours(tb testing.TB, w work) (time.Duration, float64) {
	result, err := w.ours()
	if err != nil {
		tb.Fatalf("%s: %v", w.name, err)
	}
	begin := processorTime()
	for range w.times {
		if _, err := w.ours(); err != nil {
			tb.Fatal(err)
		}
	}
	return time.Duration((processorTime() - begin) * 1e9 / float64(w.times)), result
}

// TestSameWork compares the results, so that the benchmark compares like with
// like.
func TestSameWork(t *testing.T) {
	other := startPython(t)
	for _, w := range works() {
		got, err := w.ours()
		if err != nil {
			t.Errorf("%s: %v", w.name, err)
			continue
		}
		if _, want := other.do(t, w.name, 0); !(math.Abs(got-want) <= w.within*math.Abs(want)) {
			t.Errorf("%s: %.12g, the other side has %.12g: further apart than %g", w.name, got, want, w.within)
		}
	}
}

// BenchmarkBeside gives the least processor time of many short turns on each side, all cores
// together: what a core does, whatever else the machine is busy with.
func BenchmarkBeside(b *testing.B) {
	other := startPython(b)
	for _, w := range works() {
		b.Run(w.name, func(b *testing.B) {
			w.times = max(1, w.times/10)
			var mine, theirs []float64
			for begin := time.Now(); len(mine) < 9 || len(mine) < 100 && time.Since(begin) < 6*time.Second; {
				m, _ := ours(b, w)
				o, _ := other.do(b, w.name, w.times)
				mine = append(mine, float64(m)/float64(w.units))
				theirs = append(theirs, float64(o)/float64(w.units))
			}
			b.ReportMetric(0, "ns/op")
			b.ReportMetric(slices.Min(mine), "ours-ns")
			b.ReportMetric(slices.Min(theirs), "theirs-ns")
			b.ReportMetric(slices.Min(theirs)/slices.Min(mine), "theirs/ours")
			b.Logf("%s", w.unit)
		})
	}
}
