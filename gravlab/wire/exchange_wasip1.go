//go:build wasip1

package wire

import (
	"errors"
	"unsafe"
)

// hostExchange hands the host n bytes at p, an encoded frame, and returns the
// length of the reply, which the host keeps until hostTake; 0 means that the
// host did not accept the frame.
//
//go:wasmimport gravlab exchange
func hostExchange(p unsafe.Pointer, n uint32) uint32

// hostTake copies the reply to p, where there is room for n bytes, and returns
// how many it copied. The host never calls back: a Go program cannot be
// entered again while it runs.
//
//go:wasmimport gravlab take
func hostTake(p unsafe.Pointer, n uint32) uint32

// pipes does nothing: a confined program has no notebook of its own.
func pipes(*Head) {}

// transport carries one encoded frame to the host and its reply back.
func transport(out []byte) ([]byte, error) {
	n := hostExchange(unsafe.Pointer(&out[0]), uint32(len(out)))
	if n < prefix || n > Max {
		return nil, errors.New("the host did not accept a frame")
	}
	in := make([]byte, n)
	if got := hostTake(unsafe.Pointer(&in[0]), n); got != n {
		return nil, errors.New("the host broke off its reply")
	}
	return in, nil
}
