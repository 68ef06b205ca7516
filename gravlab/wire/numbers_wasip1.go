package wire

import "unsafe"

// WebAssembly is little-endian, so that numbers are copied as they lie in memory: a loop over
// them takes the interpreter a second for what a figure and a recording hold.

func appendNumbers(dst []byte, numbers []float64) []byte {
	if len(numbers) == 0 {
		return dst
	}
	return append(dst, unsafe.Slice((*byte)(unsafe.Pointer(&numbers[0])), 8*len(numbers))...)
}

// copyNumbers fills dst from the begin of b.
func copyNumbers(dst []float64, b []byte) {
	if len(dst) > 0 {
		copy(unsafe.Slice((*byte)(unsafe.Pointer(&dst[0])), 8*len(dst)), b)
	}
}
