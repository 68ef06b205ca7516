package wire

import (
	"bytes"
	"errors"
	"io"
	"math"
	"reflect"
	"strings"
	"testing"
	"testing/iotest"
)

// bits compares numbers as bits, so that NaN counts.
func bits(v []float64) []uint64 {
	out := make([]uint64, len(v))
	for i, x := range v {
		out[i] = math.Float64bits(x)
	}
	return out
}

func same(a, b Frame) bool {
	return reflect.DeepEqual(a.Head, b.Head) && reflect.DeepEqual(bits(a.Numbers), bits(b.Numbers)) && bytes.Equal(a.Data, b.Data)
}

var examples = []Frame{
	{},
	{Head: Head{Kind: Answer, Lab: "01-weighing-the-earth", Code: "K7QF-3M2P", Question: "kappa", Form: FormNumber, Unit: "µN·m/rad", Pipe: "/tmp/a", PipeBack: "/tmp/b"},
		Numbers: []float64{math.NaN(), math.Inf(-1), math.Copysign(0, -1), 1e-320}},
	{Head: Head{Kind: Values, Token: "7", Lengths: []int{1, 0, 2}, Fault: "panic: \x00\""}, Numbers: []float64{1, 2, 3}},
	{Head: Head{Kind: Show, MIME: "image/png"}, Data: []byte{0, 255, '\n'}},
	{Head: Head{Kind: Figure, Figure: []byte(`{"x":1}`)}, Numbers: []float64{1}, Data: []byte("d")},
}

func TestRoundTrip(t *testing.T) {
	for _, f := range examples {
		b, err := f.Append([]byte("before"))
		if err != nil {
			t.Fatal(err)
		}
		got, err := Decode(b[len("before"):])
		if err != nil {
			t.Fatalf("%+v: %v", f, err)
		}
		if !same(got, f) {
			t.Errorf("%+v came back as %+v", f, got)
		}
	}
}

// A stream may bring a frame byte by byte, and several frames one after the
// other.
func TestReadStream(t *testing.T) {
	var all bytes.Buffer
	for _, f := range examples {
		if err := Write(&all, f); err != nil {
			t.Fatal(err)
		}
	}
	r := iotest.OneByteReader(&all)
	for _, f := range examples {
		got, err := Read(r)
		if err != nil || !same(got, f) {
			t.Fatalf("%+v came back as %+v, %v", f, got, err)
		}
	}
	if _, err := Read(r); err != io.EOF {
		t.Errorf("at the end: %v, want EOF", err)
	}
}

func TestReadBrokenOff(t *testing.T) {
	b, err := examples[2].Append(nil)
	if err != nil {
		t.Fatal(err)
	}
	for n := 1; n < len(b); n++ {
		if _, err := Read(bytes.NewReader(b[:n])); err != io.ErrUnexpectedEOF {
			t.Fatalf("after %d of %d bytes: %v, want ErrUnexpectedEOF", n, len(b), err)
		}
		if _, err := Decode(b[:n]); err == nil {
			t.Fatalf("%d of %d bytes were decoded", n, len(b))
		}
	}
	if _, err := Decode(append(b, 0)); err == nil {
		t.Error("a byte too many was accepted")
	}
}

// A frame may have Max bytes and not one more.
func TestLimit(t *testing.T) {
	empty, err := Frame{}.Append(nil)
	if err != nil {
		t.Fatal(err)
	}
	f := Frame{Data: make([]byte, Max-len(empty))}
	b, err := f.Append(nil)
	if err != nil || len(b) != Max {
		t.Fatalf("%d bytes, %v; want %d", len(b), err, Max)
	}
	if _, err := Decode(b); err != nil {
		t.Error(err)
	}
	f.Data = append(f.Data, 0)
	if _, err := f.Append(nil); !errors.Is(err, ErrTooLong) {
		t.Errorf("a byte more: %v", err)
	}
	for _, claim := range []string{"\xff\xff\xff\xff\x00\x00\x00\x00\x00\x00\x00\x00", "\x02\x00\x00\x00\xff\xff\xff\xff\x00\x00\x00\x00", "\x02\x00\x00\x00\x00\x00\x00\x00\xff\xff\xff\xff"} {
		if _, err := Read(strings.NewReader(claim)); !errors.Is(err, ErrTooLong) {
			t.Errorf("a claim of %q: %v", claim, err)
		}
	}
}

// The decoder keeps nothing of the bytes it was given.
func TestDecodeCopies(t *testing.T) {
	b, err := examples[4].Append(nil)
	if err != nil {
		t.Fatal(err)
	}
	got, err := Decode(b)
	if err != nil {
		t.Fatal(err)
	}
	for i := range b {
		b[i] = 'x'
	}
	if !same(got, examples[4]) {
		t.Errorf("changed with its bytes: %+v", got)
	}
}

func TestSplitJoin(t *testing.T) {
	parts := [][]float64{{1, 2}, {}, {3}}
	numbers, lengths := Join(parts)
	got, ok := Split(numbers, lengths)
	if !ok || !reflect.DeepEqual(got, parts) {
		t.Errorf("%v came back as %v, %v", parts, got, ok)
	}
	for _, lengths := range [][]int{{1}, {4}, {-1, 4}, {3, 1}, {math.MaxInt, 3}, nil} {
		if got, ok := Split(numbers, lengths); ok {
			t.Errorf("%v split %v into %v", lengths, numbers, got)
		}
	}
}

func FuzzDecode(f *testing.F) {
	for _, x := range examples {
		b, err := x.Append(nil)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, in []byte) {
		got, err := Decode(in)
		if err != nil {
			return
		}
		out, err := got.Append(nil)
		if errors.Is(err, ErrTooLong) {
			return // bytes that are not UTF-8 have grown to three each
		}
		if err != nil {
			t.Fatalf("%+v cannot be written again: %v", got.Head, err)
		}
		again, err := Decode(out)
		if err != nil {
			t.Fatalf("%+v cannot be read again: %v", got.Head, err)
		}
		if back := byJSON(t, got.Head); !reflect.DeepEqual(again.Head, back) {
			t.Fatalf("%+v, by package json %+v", again.Head, back)
		}
		once, _ := again.Append(nil)
		if !bytes.Equal(once, out) {
			t.Fatalf("written once %q, twice %q", out, once)
		}
	})
}

func recording() Frame {
	f := Frame{Head: Head{Kind: Columns, Columns: []Column{{"time", "s"}, {"angle", "rad"}}, Total: 20_000}}
	for i := range 20_000 {
		f.Numbers = append(f.Numbers, float64(i)*1.1)
	}
	return f
}

func BenchmarkEncodeRecording(b *testing.B) {
	f := recording()
	var buf []byte
	for b.Loop() {
		var err error
		if buf, err = f.Append(buf[:0]); err != nil {
			b.Fatal(err)
		}
	}
	b.SetBytes(int64(len(buf)))
}

func BenchmarkDecodeRecording(b *testing.B) {
	buf, err := recording().Append(nil)
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(len(buf)))
	for b.Loop() {
		if _, err := Decode(buf); err != nil {
			b.Fatal(err)
		}
	}
}
