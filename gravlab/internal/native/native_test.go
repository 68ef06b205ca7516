package native

import (
	"encoding/binary"
	"math"
	"reflect"
	"slices"
	"testing"
)

var _ = Offer("test.panic", func(in ...[]float64) ([][]float64, string) { return [][]float64{in[0][:7]}, "" })
var _ = Offer("test.turn", func(in ...[]float64) ([][]float64, string) {
	slices.Reverse(in)
	return in, "turned"
})

func run(t *testing.T, name string, in ...[]float64) (out [][]float64, text float64, said string) {
	t.Helper()
	var b []byte
	for _, v := range pack(in, 0) {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
	}
	reply, ok := Run(name, b)
	if !ok {
		t.Fatal("it did not run")
	}
	var list []float64
	for i := 0; i < len(reply); i += 8 {
		list = append(list, math.Float64frombits(binary.LittleEndian.Uint64(reply[i:])))
	}
	out, text, rest, ok := unpack(list)
	if !ok {
		t.Fatal("the reply has no form")
	}
	words := reply[len(reply)-8*len(rest):]
	return out, text, string(words[:int(text+0.5)])
}

func TestRun(t *testing.T) {
	out, text, said := run(t, "test.turn", []float64{1, 2}, nil, []float64{math.Inf(-1)})
	if want := [][]float64{{math.Inf(-1)}, {}, {1, 2}}; !reflect.DeepEqual(out, want) || said != "turned" || text != 6 {
		t.Errorf("%v %v %q", out, text, said)
	}
	_, text, said = run(t, "test.panic", []float64{1, 2})
	if want := "runtime error: slice bounds out of range [:7] with capacity 2"; said != want || text != float64(len(want))-0.5 {
		t.Errorf("%v %q", text, said)
	}
}

func TestRefused(t *testing.T) {
	list := func(v ...float64) (b []byte) {
		for _, x := range v {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
		}
		return b
	}
	for _, b := range [][]byte{nil, {1}, list(0), list(1, 5, 0, 1), list(math.NaN(), 0), list(-1, 0), list(1e300, 0), list(0, 3), list(0, 0, 7), list(1, math.NaN(), 0), make([]byte, Max+8)} {
		if _, ok := Run("test.turn", b); ok {
			t.Errorf("%d bytes were taken", len(b))
		}
	}
	if _, ok := Run("test.none", list(0, 0)); ok {
		t.Error("a routine that there is not")
	}
}
