//go:build unix

package sandbox_test

import (
	"fmt"
	"syscall"
	"testing"
	"time"

	"gravity.example/exercises"
	"gravity.example/gravlab/kernel"
	"gravity.example/gravlab/notebook"
)

// BenchmarkKernel runs under the kernel, cell by cell, what BenchmarkSheet runs confined; cpu-ms
// is the processor time of the kernel and all that it starts.
func BenchmarkKernel(b *testing.B) {
	run := func(name, number string, worked bool) {
		b.Run(name, func(b *testing.B) {
			l, err := exercises.Find(number)
			if err != nil {
				b.Fatal(err)
			}
			before := ofChildren(b)
			for b.Loop() {
				nb, err := notebook.ReadFile("../../notebooks/"+l.ID+".ipynb", notebook.Options{})
				if err != nil {
					b.Fatal(err)
				}
				if _, err := l.Sheet("").Fill(nb, worked); err != nil {
					b.Fatal(err)
				}
				if _, err := kernel.Run(b.Context(), nb, kernel.RunOptions{Kernel: kernel.Name, DataDir: b.TempDir(), Dir: "../../notebooks"}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64((ofChildren(b)-before).Microseconds())/1e3/float64(b.N), "cpu-ms")
		})
	}
	run("lab=01/blank", "01", false)
	for n := range 15 {
		number := fmt.Sprintf("%02d", n)
		run("lab="+number+"/worked", number, true)
	}
}

// ofChildren is the processor time of the processes that were started here and have ended.
func ofChildren(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_CHILDREN, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
