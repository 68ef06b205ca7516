//go:build !wasip1

package wire

import (
	"encoding/binary"
	"math"
)

func appendNumbers(dst []byte, numbers []float64) []byte {
	for _, v := range numbers {
		dst = binary.LittleEndian.AppendUint64(dst, math.Float64bits(v))
	}
	return dst
}

// copyNumbers fills dst from the begin of b.
func copyNumbers(dst []float64, b []byte) {
	for i := range dst {
		dst[i] = math.Float64frombits(binary.LittleEndian.Uint64(b[8*i:]))
	}
}
