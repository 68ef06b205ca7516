package exercises

import (
	"testing"

	"gravity.example/gravlab/bank"
)

// BenchmarkSheet makes a sheet of each lab, words and all; the first one reads the text files.
func BenchmarkSheet(b *testing.B) {
	for _, lab := range Labs() {
		b.Run(lab.Number(), func(b *testing.B) {
			n := 0
			for b.Loop() {
				lab.Sheet(bank.NumberedCode(lab.ID, n))
				n++
			}
		})
	}
}
