package marking

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"gravity.example/exercises"
	"gravity.example/gravlab/draw/figure"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/sandbox"
	"gravity.example/gravlab/wire"
)

// BenchmarkMark marks a class of worked sheets, two at once, and says how many
// notebooks a minute that makes and what the time of one goes into.
func BenchmarkMark(b *testing.B) {
	for _, number := range []string{"90", "00", "01", "05"} {
		b.Run("lab="+number, func(b *testing.B) {
			lab, err := exercises.Find(number)
			if err != nil {
				b.Fatal(err)
			}
			const n = 8
			c := newClassroom(b, lab, n)
			nb := PlainNotebook(lab)
			if files, _ := filepath.Glob("../../notebooks/" + number + "-*.ipynb"); len(files) == 1 {
				if nb, err = notebook.ReadFile(files[0], notebook.Options{}); err != nil {
					b.Fatal(err)
				}
			}
			for i := range n {
				mine := nb.Clone()
				if _, err := c.sheet(i).Fill(mine, true); err != nil {
					b.Fatal(err)
				}
				text, err := mine.Bytes()
				if err != nil {
					b.Fatal(err)
				}
				c.hand(fmt.Sprintf("%d/a.ipynb", i), text)
			}
			var mu sync.Mutex
			var times sandbox.Times
			c.Start = func(ctx context.Context) (Runner, error) {
				run, err := start(ctx)
				return func(ctx context.Context, j sandbox.Job) (sandbox.Outcome, error) {
					out, err := run(ctx, j)
					mu.Lock()
					defer mu.Unlock()
					t := out.Times
					times.Merge += t.Merge
					times.Compile += t.Compile
					times.Link += t.Link
					times.Instantiate += t.Instantiate
					times.Run += t.Run - t.Exchange
					times.Exchange += t.Exchange
					return out, err
				}, err
			}
			var judging, all time.Duration
			rounds := 0
			for b.Loop() {
				os.RemoveAll(c.Out)
				began := time.Now()
				c.mark()
				all += time.Since(began)
				began = time.Now()
				c.JudgeAgain = true
				c.mark()
				c.JudgeAgain = false
				judging += time.Since(began)
				rounds++
			}
			per := func(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 / float64(rounds*n) }
			b.ReportMetric(float64(rounds*n)/all.Minutes(), "notebooks/min")
			for name, d := range map[string]time.Duration{"merge": times.Merge, "compile": times.Compile, "link": times.Link, "instantiate": times.Instantiate, "run": times.Run, "answer-frames": times.Exchange, "judge+write": judging} {
				b.ReportMetric(per(d), name+"-ms")
			}
			b.ReportMetric(0, "ns/op")
		})
	}
}

// stub stands in for the workers: it hands in what a program would.
func stub(ctx context.Context, j sandbox.Job) (sandbox.Outcome, error) {
	nb, err := notebook.Read("stub", j.Notebook, notebook.Options{})
	if err != nil {
		return sandbox.Outcome{Unread: err.Error()}, nil
	}
	p, _, err := exercises.SheetOf(nb)
	if err != nil {
		return sandbox.Outcome{}, err
	}
	exchange, err := j.Session(sandbox.Sheet{Lab: p.Lab.ID, Code: string(p.Code)})
	if err != nil {
		return sandbox.Outcome{}, err
	}
	send := func(f wire.Frame) {
		f.Lab, f.Code = p.Lab.ID, string(p.Code)
		text, err := f.Append(nil)
		if err == nil {
			exchange(text)
		}
	}
	right := p.RightAnswers()
	send(wire.Frame{Head: wire.Head{Kind: wire.Answer, Question: "period", Form: wire.FormNumber, Unit: "s"}, Numbers: []float64{right["period"], 0}})
	send(wire.Frame{Head: wire.Head{Kind: wire.Answer, Question: "why", Form: wire.FormWords, Text: strings.Repeat("Because. ", 500)}})
	x := make([]float64, 3000)
	for i := range x {
		x[i] = float64(i) * right["period"]
	}
	fig := figure.Figure{Title: "A line", X: figure.Axis{Label: "x", Unit: "m"}, Y: figure.Axis{Label: "y", Unit: "m"}, Series: []figure.Series{{Kind: figure.Points, X: x, Y: x}}}
	head, numbers, err := fig.Pack()
	if err != nil {
		return sandbox.Outcome{}, err
	}
	for range 3 {
		send(wire.Frame{Head: wire.Head{Kind: wire.Figure, Figure: head}, Numbers: numbers})
	}
	return sandbox.Outcome{}, nil
}

// peak marks a class of n and returns the most memory on the heap at any time.
func peak(t testing.TB, n int) uint64 {
	t.Helper()
	c := newClassroom(t, swingLab, n)
	for i := range n {
		c.hand(fmt.Sprintf("%d/a.ipynb", i), answered(t, c.sheet(i), nil))
	}
	c.Start = func(context.Context) (Runner, error) { return stub, nil }
	var most uint64
	look := func() {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		most = max(most, m.HeapAlloc)
	}
	seen := 0
	c.Progress = func(p Progress) {
		if seen++; seen%(n/10) == 0 {
			look()
		}
	}
	looking := make(chan bool)
	go func() {
		for {
			select {
			case <-looking:
				return
			case <-time.After(20 * time.Millisecond):
				look()
			}
		}
	}()
	c.mark()
	looking <- true
	if len(c.rows("marks.csv")) != n+1 || !bytes.Contains([]byte(c.file("replies/s07.html")), []byte("image/svg+xml")) {
		t.Fatal("the class was not marked")
	}
	return most
}

// What is kept between one notebook and the next does not hang on what was handed in, and
// of a class on no more than the rows of its books.
func TestMemory(t *testing.T) {
	kept := func(n int) (heap uint64) {
		c := newClassroom(t, swingLab, n)
		for i := range n {
			c.hand(fmt.Sprintf("%d/a.ipynb", i), answered(t, c.sheet(i), nil))
		}
		c.Start = func(context.Context) (Runner, error) { return stub, nil }
		c.Workers = 1 // so that no figure is being drawn while we look
		c.Progress = func(p Progress) {
			if p.Done == p.Of {
				runtime.GC()
				var m runtime.MemStats
				runtime.ReadMemStats(&m)
				heap = m.HeapAlloc
			}
		}
		c.mark()
		return heap
	}
	kept(10) // fonts and tables are loaded once
	few, many := kept(20), kept(120)
	each := (float64(many) - float64(few)) / 100
	t.Logf("20: %.2f MB, 120: %.2f MB, %.1f kB for each more", float64(few)/1e6, float64(many)/1e6, each/1e3)
	if each > 8_000 {
		t.Errorf("each further student takes %.0f bytes of memory; want the row of a book, below 8 kB: its figures alone have 500 kB", each)
	}
}

// BenchmarkMemory is the memory of marking classes of different sizes.
func BenchmarkMemory(b *testing.B) {
	for _, n := range []int{100, 1000} {
		b.Run(fmt.Sprintf("class=%d", n), func(b *testing.B) {
			for b.Loop() {
				b.ReportMetric(float64(peak(b, n))/1e6, "peak-MB")
			}
		})
	}
}
