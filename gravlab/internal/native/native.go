// Package native lets a few routines of this module run outside of a confined
// program. In WebAssembly a factorisation takes fifty times as long as in machine
// code, and compiling the whole program costs more than that; so the package that
// needs one hands slices of numbers to the host, which runs the same Go function and
// hands slices back. Everywhere else a Routine is that function.
//
// A routine is trusted code that strangers call with whatever numbers they like. So it
// takes its sizes from the lengths of its slices alone, and checks them; it keeps nothing,
// and calls nothing of the caller's. It may panic: that becomes a panic of the program, in
// the same words.
package native

// A Routine is a function of slices of numbers. It changes none of them. The text says
// what the numbers cannot.
type Routine func(in ...[]float64) (out [][]float64, text string)

// Max is the most bytes that go either way in one call.
const Max = 64 << 20

// On the way, in either direction, stands a list of float64 in the machine's order, which
// is little-endian for WebAssembly: the number of slices, their lengths, the length of the
// text in bytes or, for a panic, its length less half, and then all numbers. The bytes of the
// text follow, up to a multiple of eight.

// pack puts slices into one list, with room for a text at its end.
func pack(slices [][]float64, text int) []float64 {
	n := 2 + len(slices)
	for _, s := range slices {
		n += len(s)
	}
	list := make([]float64, 0, n+words(text))
	list = append(list, float64(len(slices)))
	for _, s := range slices {
		list = append(list, float64(len(s)))
	}
	list = append(list, float64(text))
	for _, s := range slices {
		list = append(list, s...)
	}
	return list[:cap(list)]
}

// unpack is the inverse; rest begins with the text. ok is false for a list that is not one.
func unpack(list []float64) (slices [][]float64, text float64, rest []float64, ok bool) {
	if len(list) == 0 || !(list[0] >= 0 && list[0] <= float64(len(list)-2)) {
		return nil, 0, nil, false
	}
	n := int(list[0])
	lengths, text, rest := list[1:1+n], list[1+n], list[2+n:]
	for _, l := range lengths {
		if !(l >= 0 && l <= float64(len(rest))) {
			return nil, 0, nil, false
		}
		slices = append(slices, rest[:int(l):int(l)])
		rest = rest[int(l):]
	}
	return slices, text, rest, true
}

func words(bytes int) int { return (bytes + 7) / 8 }
