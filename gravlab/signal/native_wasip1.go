package signal

import (
	"unsafe"

	"gravity.example/gravlab/internal/native"
)

var (
	forwardRoutine  = native.Ask("signal.forward")
	sequenceRoutine = native.Ask("signal.sequence")
	cancelRoutine   = native.Ask("signal.cancel")
	pair            = native.AskFunction[records, Pair]("signal.pair")
	density         = native.AskFunction[records, Spectrum]("signal.density")
)

// A transform has its tables on the host.
type transform struct{}

func newTransform(int) *transform { return nil }

// forward replaces z by its transform.
func (*transform) forward(z []complex128) {
	out, _ := forwardRoutine(parts(z))
	copy(parts(z), out[0])
}

func parts(z []complex128) []float64 {
	return unsafe.Slice((*float64)(unsafe.Pointer(&z[0])), 2*len(z))
}
