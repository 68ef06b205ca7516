package sandbox

import (
	"fmt"
	"testing"
	"time"
)

// BenchmarkSheet runs each worked sheet, and a blank one, warm, on one worker: its
// steps are reported beside the whole; cpu-ms is the processor time of the worker
// and its compilers. The kernel's figure for the same cells is BenchmarkKernel's.
func BenchmarkSheet(b *testing.B) {
	type sheet struct {
		name, number string
		worked       bool
	}
	sheets := []sheet{{"lab=01/blank", "01", false}}
	for n := range 15 {
		number := fmt.Sprintf("%02d", n)
		sheets = append(sheets, sheet{"lab=" + number + "/worked", number, true})
	}
	for _, c := range sheets {
		b.Run(c.name, func(b *testing.B) {
			p, err := NewPool(b.Context(), PoolOptions{Workers: 1, Clone: "../.."})
			if err != nil {
				b.Fatal(err)
			}
			defer p.Close()
			file := bytesOf(b, lab(b, c.number, "", c.worked))
			var sum Times
			run := func() {
				out, err := p.Run(b.Context(), Job{Notebook: file, Exchange: session(b).Exchange})
				if err != nil || out.Ended != LimitNone {
					b.Fatal(err, out.Ended)
				}
				sum.add(out.Times)
			}
			run() // the packages are read once
			sum = Times{}
			for b.Loop() {
				run()
			}
			each := func(d time.Duration, unit string) {
				b.ReportMetric(float64(d.Microseconds())/1e3/float64(b.N), unit)
			}
			each(sum.Processor, "cpu-ms")
			each(sum.Merge, "merge-ms")
			each(sum.Compile, "compile-ms")
			each(sum.Link, "link-ms")
			each(sum.Instantiate, "start-ms")
			each(sum.Run-sum.Exchange, "run-ms")
			each(sum.Exchange, "judge-ms")
		})
	}
}

// BenchmarkBox runs code boxes from source to output, as the page does: one that is thin, one that
// fits 10,000 readings (outside of its program, see package native), and one that computes itself.
func BenchmarkBox(b *testing.B) {
	p, err := NewPool(b.Context(), PoolOptions{Workers: 1, Clone: "../.."})
	if err != nil {
		b.Fatal(err)
	}
	defer p.Close()
	for _, c := range []struct{ name, source string }{
		{"thin", "%%\nfmt.Println(math.Sqrt(2))"},
		{"fits", "import \"gravity.example/gravlab/fit\"\n%%\nvar x, y []float64\nfor i := range 10000 {\n\ts := float64(i) / 100\n\tx = append(x, s)\n\ty = append(y, math.Exp(-s/50)*math.Cos(s))\n}\nr, err := fit.DampedOscillation(x, y, nil)\nfmt.Println(r.P, err)"},
		{"long", "%%\nx := 0.0\nfor i := range 600_000 { x += math.Exp(-float64(i)/1e6) * math.Cos(float64(i)) }\nfmt.Println(x)"},
	} {
		b.Run(c.name, func(b *testing.B) {
			var used time.Duration
			for b.Loop() {
				out, err := p.RunBox(b.Context(), Box{Above: []string{sheetCell}, Source: c.source})
				if err != nil || out.Cells[1].State != Ran {
					b.Fatal(err, out)
				}
				used += out.Times.Processor
			}
			b.ReportMetric(float64(used.Microseconds())/1e3/float64(b.N), "cpu-ms")
		})
	}
}

// BenchmarkHeld is a thin box that was built while its reader typed, from the run to its end.
func BenchmarkHeld(b *testing.B) {
	p, err := NewPool(b.Context(), PoolOptions{Workers: 1, Clone: "../.."})
	if err != nil {
		b.Fatal(err)
	}
	defer p.Close()
	for b.Loop() {
		b.StopTimer()
		hold, over := make(chan struct{}), make(chan error, 1)
		go func() {
			_, err := p.RunBox(b.Context(), Box{Above: []string{sheetCell}, Source: "%%\nfmt.Println(math.Sqrt(2))", Hold: hold})
			over <- err
		}()
		time.Sleep(time.Second) // the reader looks at what was typed
		b.StartTimer()
		close(hold)
		if err := <-over; err != nil {
			b.Fatal(err)
		}
	}
}
