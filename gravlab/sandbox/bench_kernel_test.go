//go:build unix

package sandbox_test

import (
	"fmt"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/kernel"
	"gravity.example/gravlab/notebook"
)

// BenchmarkKernel replays lab 01, worked, cell by cell: what BenchmarkSheet does
// without it.
func BenchmarkKernel(b *testing.B) {
	for _, worked := range []bool{false, true} {
		b.Run(fmt.Sprintf("lab=01/worked=%v", worked), func(b *testing.B) {
			for b.Loop() {
				nb, err := notebook.ReadFile("../../notebooks/01-weighing-the-earth.ipynb", notebook.Options{})
				if err != nil {
					b.Fatal(err)
				}
				l, err := exercises.Find("01")
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
		})
	}
}
