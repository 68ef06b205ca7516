//go:build !wasip1

package native

import (
	"encoding/binary"
	"fmt"
	"maps"
	"math"
	"slices"
)

var routines = map[string]Routine{}

// Offer makes a routine known to the host under a name, when packages are initialised.
func Offer(name string, r Routine) Routine {
	if routines[name] != nil {
		panic("native: two routines are called " + name)
	}
	routines[name] = r
	return r
}

// Names lists the routines that the linked packages offer.
func Names() []string { return slices.Sorted(maps.Keys(routines)) }

// Run runs a routine for a confined program: request and reply are in the form of the
// package. The reply shares no memory with the request. ok is false for a request that a
// program of ours does not make.
func Run(name string, request []byte) (reply []byte, ok bool) {
	r := routines[name]
	if r == nil || len(request)%8 != 0 || len(request) > Max {
		return nil, false
	}
	list := make([]float64, len(request)/8)
	for i := range list {
		list[i] = math.Float64frombits(binary.LittleEndian.Uint64(request[8*i:]))
	}
	in, text, rest, ok := unpack(list)
	if !ok || text != 0 || len(rest) > 0 {
		return nil, false
	}
	out, said, failed := safely(r, in)
	for n, s := len(said), 0; s < len(out); s++ {
		if n += 8 * (len(out[s]) + 1); n > Max-64 {
			return nil, false
		}
	}
	list = pack(out, len(said))
	if failed {
		list[1] -= 0.5
	}
	reply = make([]byte, 8*len(list))
	for i, v := range list {
		binary.LittleEndian.PutUint64(reply[8*i:], math.Float64bits(v))
	}
	copy(reply[len(reply)-8*words(len(said)):], said)
	return reply, true
}

// safely calls a routine; said is what it panicked with, if it has.
func safely(r Routine, in [][]float64) (out [][]float64, said string, failed bool) {
	defer func() {
		if p := recover(); p != nil {
			out, said, failed = nil, fmt.Sprint(p), true
		}
	}()
	out, said = r(in...)
	return out, said, false
}

// Function offers f to confined programs under a name, and returns it. Its argument and its
// result are plain data. known are errors that callers look for with errors.Is.
func Function[In, Out any](name string, f func(In) (Out, error), known ...error) func(In) (Out, error) {
	Offer(name, func(in ...[]float64) ([][]float64, string) {
		v, err := f(valueOf[In](in[0]))
		o := outcomeOf(v, err, known)
		return [][]float64{listOf(&o)}, ""
	})
	return f
}
