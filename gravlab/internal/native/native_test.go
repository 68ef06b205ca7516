//go:build !wasip1

package native

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
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

type part struct {
	Name   string
	hidden []float64
	At     [3]int
	Tall   bool
	small  uint8
	z      complex128
}

type whole struct {
	Parts   []part
	None    []part
	Nothing *part
	One     *part
	Rows    [][]float64
	When    time.Time
	Large   int64
}

func TestValues(t *testing.T) {
	v := whole{
		Parts: []part{{Name: "Härte\x00", hidden: []float64{math.Inf(1), -0.5}, At: [3]int{math.MinInt, -1, math.MaxInt}, Tall: true, small: 200, z: 1 - 2i}, {}},
		One:   &part{Name: "x", hidden: []float64{}}, Rows: [][]float64{nil, {}, {1}}, When: time.Date(1850, 1, 2, 3, 4, 5, 6, time.UTC), Large: 1<<62 + 1,
	}
	list := listOf(&v)
	if got := valueOf[whole](list); !reflect.DeepEqual(got, v) {
		t.Errorf("%+v\n%+v", got, v)
	}
	// A list that is cut off or goes on is a panic; one of whose numbers is another is a value or
	// a panic, and no more.
	refused := 0
	try := func(list []float64) {
		defer func() {
			if recover() != nil {
				refused++
			}
		}()
		valueOf[whole](list)
	}
	for n := range list {
		try(list[:n])
	}
	try(append(slices.Clone(list), 0))
	if refused != len(list)+1 {
		t.Errorf("of %d lists of another length %d were refused", len(list)+1, refused)
	}
	for i := range list {
		for _, other := range []float64{math.NaN(), -1, 0.5, 1e6, 1e300, math.Inf(1)} {
			changed := slices.Clone(list)
			changed[i] = other
			try(changed)
		}
	}
}

func TestUnfit(t *testing.T) {
	for _, f := range []func(){
		func() { listOf(&struct{ F func() }{func() {}}) },
		func() { listOf(&struct{ E error }{errors.New("no")}) },
		func() { valueOf[map[string]int]([]float64{1}) },
		func() { valueOf[[]struct{}]([]float64{1e6}) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Error("it was taken")
				}
			}()
			f()
		}()
	}
}

func TestErrors(t *testing.T) {
	first, second := errors.New("first"), errors.New("second")
	known := []error{first, second}
	for _, err := range []error{nil, second, fmt.Errorf("all: %w", first), errors.New("third")} {
		o := outcomeOf(7.0, err, known)
		v, got := valueOf[outcome[float64]](listOf(&o)).result(known)
		if v != 7 || (got == nil) != (err == nil) || err != nil && got.Error() != err.Error() || errors.Is(got, first) != errors.Is(err, first) || errors.Is(got, second) != errors.Is(err, second) {
			t.Errorf("%v became %v, %v", err, v, got)
		}
	}
}

// Strangers reach this package, so it stays as short as a person can read in one go: less than
// 500 lines. The routines themselves are the models' own.
func TestShort(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	lines := 0
	for _, f := range files {
		if strings.HasSuffix(f, "_test.go") {
			continue
		}
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		lines += bytes.Count(text, []byte("\n"))
	}
	if lines < 100 || lines >= 500 {
		t.Errorf("%d lines", lines)
	}
}
