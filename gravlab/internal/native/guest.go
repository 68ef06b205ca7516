//go:build wasip1

package native

import "unsafe"

// hostCompute runs a routine on n numbers at p, and returns how many numbers the
// reply has, which the host keeps until hostTake; 0 means that it did not run.
//
//go:wasmimport gravlab compute
func hostCompute(name string, p unsafe.Pointer, n uint32) uint32

//go:wasmimport gravlab take
func hostTake(p unsafe.Pointer, n uint32) uint32

// Ask is a routine that the host runs.
func Ask(name string) Routine {
	return func(in ...[]float64) ([][]float64, string) {
		list := pack(in, 0)
		if 8*len(list) > Max {
			panic("there is too much data for one call: a confined program may hand over 64 MB")
		}
		n := hostCompute(name, unsafe.Pointer(&list[0]), uint32(len(list)))
		if n < 2 || 8*uint64(n) > Max {
			panic("the host did not run the routine " + name)
		}
		list = make([]float64, n)
		if hostTake(unsafe.Pointer(&list[0]), 8*n) != 8*n {
			panic("the host broke off its reply")
		}
		out, text, rest, ok := unpack(list)
		if !ok || len(rest) != words(int(text+0.5)) {
			panic("the host's reply is not of the expected form")
		}
		length := int(text + 0.5)
		said := ""
		if length > 0 {
			said = string(unsafe.Slice((*byte)(unsafe.Pointer(&rest[0])), length))
		}
		if text != float64(length) {
			panic(said)
		}
		return out, said
	}
}

// AskFunction is a Function that the host runs.
func AskFunction[In, Out any](name string, known ...error) func(In) (Out, error) {
	ask := Ask(name)
	return func(in In) (Out, error) {
		reply, _ := ask(listOf(&in))
		return valueOf[outcome[Out]](reply[0]).result(known)
	}
}
