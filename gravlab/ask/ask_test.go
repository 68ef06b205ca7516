//go:build unix

package ask

import (
	"fmt"
	"io"
	"math"
	"net"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"gravity.example/gravlab/wire"
)

// reply is how the lab server of these tests answers; it is set anew by each.
var reply func(wire.Frame) wire.Frame

// A program has one connection to its lab server, so all tests here share it.
func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "ask")
	if err != nil {
		panic(err)
	}
	path := filepath.Join(dir, "bench")
	l, err := net.Listen("unix", path)
	if err != nil {
		panic(err)
	}
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go func() {
				for {
					f, err := wire.Read(c)
					if err != nil || wire.Write(c, reply(f)) != nil {
						return
					}
				}
			}()
		}
	}()
	os.Setenv("GRAVLAB_SERVER", path)
	os.Setenv("GONB_PIPE", "/pipe")
	os.Setenv("GONB_PIPE_BACK", "/back")
	code := m.Run()
	os.RemoveAll(dir)
	os.Exit(code)
}

// record runs f and returns the frames it sent and what it printed; every frame
// gets the replies in turn, then "recorded".
func record(t *testing.T, f func(), replies ...wire.Frame) (sent []wire.Frame, printed string) {
	t.Helper()
	reply = func(in wire.Frame) wire.Frame {
		sent = append(sent, in)
		if len(replies) > 0 {
			r := replies[0]
			replies = replies[1:]
			return r
		}
		return wire.Frame{Head: wire.Head{Kind: wire.Recorded}}
	}
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	old := os.Stdout
	os.Stdout = w
	defer func() { os.Stdout = old }()
	f()
	w.Close()
	b, err := io.ReadAll(r)
	if err != nil {
		t.Fatal(err)
	}
	return sent, string(b)
}

func TestAnswerFrames(t *testing.T) {
	s := Assessed("01-weighing-the-earth", "K7QF-3M2P")
	base := wire.Head{Kind: wire.Answer, Lab: "01-weighing-the-earth", Code: "K7QF-3M2P", Assessed: true, Question: "q", Pipe: "/pipe", PipeBack: "/back"}
	with := func(change func(*wire.Head)) wire.Head { h := base; change(&h); return h }
	for _, c := range []struct {
		name    string
		give    func()
		head    wire.Head
		numbers []float64
	}{
		{"number", func() { s.Number("q", 1.5, "s") }, with(func(h *wire.Head) { h.Form, h.Unit = wire.FormNumber, "s" }), []float64{1.5, 0}},
		{"infinity", func() { s.Number("q", math.Inf(1), "") }, with(func(h *wire.Head) { h.Form = wire.FormNumber }), []float64{math.Inf(1), 0}},
		{"measured", func() { s.Measured("q", 1.5, 0.1, "s") }, with(func(h *wire.Head) { h.Form, h.Unit = wire.FormMeasured, "s" }), []float64{1.5, 0.1}},
		{"typed", func() { s.Typed("q", "8.4(2) s") }, with(func(h *wire.Head) { h.Form, h.Text = wire.FormTyped, "8.4(2) s" }), nil},
		{"choice", func() { s.Choice("q", "b") }, with(func(h *wire.Head) { h.Form, h.Text = wire.FormChoice, "b" }), nil},
		{"words", func() { s.Words("q", "w") }, with(func(h *wire.Head) { h.Form, h.Text = wire.FormWords, "w" }), nil},
		{"nil function", func() { s.Function("q", nil) }, with(func(h *wire.Head) { h.Form = wire.FormFunction }), nil},
		{"done", s.Done, with(func(h *wire.Head) { h.Kind, h.Question = wire.Done, "" }), nil},
	} {
		sent, printed := record(t, c.give)
		if len(sent) != 1 || printed != "" {
			t.Errorf("%s: %d frames, printed %q", c.name, len(sent), printed)
			continue
		}
		if !reflect.DeepEqual(sent[0].Head, c.head) || !reflect.DeepEqual(sent[0].Numbers, c.numbers) {
			t.Errorf("%s: sent %+v, want %+v with %v", c.name, sent[0], c.head, c.numbers)
		}
	}
	sent, _ := record(t, func() { s.Number("q", math.NaN(), "s") })
	if !math.IsNaN(sent[0].Numbers[0]) {
		t.Errorf("NaN arrived as %v", sent[0].Numbers)
	}
}

func TestSheetAloneSendsNothing(t *testing.T) {
	if sent, _ := record(t, func() { _ = Sheet("01-weighing-the-earth", "") }); len(sent) != 0 {
		t.Errorf("%d frames", len(sent))
	}
}

func TestPrintsWhatTheBenchSays(t *testing.T) {
	_, printed := record(t, func() { Sheet("01", "").Choice("q", "a") }, wire.Frame{Head: wire.Head{Kind: wire.Refused, Text: "the lab server is full"}})
	if printed != "the lab server is full\n" {
		t.Errorf("printed %q", printed)
	}
}

func TestFunctionCalls(t *testing.T) {
	calls := func(args ...[]float64) wire.Frame {
		f := wire.Frame{Head: wire.Head{Kind: wire.Calls, Token: "once"}}
		f.Numbers, f.Lengths = wire.Join(args)
		return f
	}
	double := func(x []float64) []float64 {
		for i := range x {
			x[i] *= 2
		}
		return x
	}
	for _, c := range []struct {
		name      string
		f         any
		signature string
		args      [][]float64
		want      [][]float64
		fault     string
	}{
		{"one", func(x float64) float64 { return x * x }, "func(float64) float64", [][]float64{{3}, {-1}}, [][]float64{{9}, {1}}, ""},
		{"two", func(x, y float64) float64 { return x - y }, "func(float64, float64) float64", [][]float64{{3, 1}}, [][]float64{{2}}, ""},
		{"list", func(x []float64) float64 { return float64(len(x)) }, "func([]float64) float64", [][]float64{{3, 1}, {}}, [][]float64{{2}, {0}}, ""},
		{"many", double, "func([]float64) []float64", [][]float64{{3, 1}, {3, 1}}, [][]float64{{6, 2}, {6, 2}}, ""},
		{"panic", func(x float64) float64 {
			if x < 0 {
				panic("negative")
			}
			return x
		}, "func(float64) float64", [][]float64{{1}, {-2}, {-3}}, [][]float64{{1}, {}, {}}, "panic in f(-2): negative"},
		{"error", func(x []float64) float64 { return x[7] }, "func([]float64) float64", [][]float64{{1, 2, 3, 4, 5, 6}}, [][]float64{{}},
			"panic in f(1, 2, 3, 4, … (6 numbers)): runtime error: index out of range [7] with length 6"},
	} {
		sent, printed := record(t, func() { Sheet("01", "").Function("q", c.f) }, calls(c.args...))
		if len(sent) != 2 || printed != "" {
			t.Errorf("%s: %d frames, printed %q", c.name, len(sent), printed)
			continue
		}
		if sent[0].Kind != wire.Function || sent[0].Signature != c.signature {
			t.Errorf("%s: announced %+v", c.name, sent[0].Head)
		}
		got, ok := wire.Split(sent[1].Numbers, sent[1].Lengths)
		if !ok || fmt.Sprint(got) != fmt.Sprint(c.want) || sent[1].Fault != c.fault || sent[1].Token != "once" {
			t.Errorf("%s: gave %v, fault %q; want %v, %q", c.name, got, sent[1].Fault, c.want, c.fault)
		}
	}
}

func TestFunctionOfAnotherForm(t *testing.T) {
	sent, printed := record(t, func() { Sheet("01", "").Function("q", func(int) int { return 0 }) })
	if len(sent) != 0 || !strings.Contains(printed, "this one is func(int) int") {
		t.Errorf("%d frames, printed %q", len(sent), printed)
	}
	var f func(float64) float64
	sent, _ = record(t, func() { Sheet("01", "").Function("q", f) })
	if len(sent) != 1 || sent[0].Kind != wire.Answer || sent[0].Form != wire.FormFunction {
		t.Errorf("a nil function sent %+v", sent)
	}
}

func TestRecordingInParts(t *testing.T) {
	columns := []wire.Column{{Name: "time", Unit: "s"}, {Name: "angle", Unit: "rad"}}
	part := func(at int, numbers ...float64) wire.Frame {
		return wire.Frame{Head: wire.Head{Kind: wire.Columns, Columns: columns, At: at, Total: 6}, Numbers: numbers}
	}
	var rec *Record
	sent, _ := record(t, func() { rec = Sheet("01", "").Recording("swing") }, part(0, 1, 2), part(2, 3, 4), part(4, 5, 6))
	if len(sent) != 3 || sent[1].At != 2 || sent[2].At != 4 {
		t.Fatalf("asked with %+v", sent)
	}
	if !reflect.DeepEqual(rec.Column("time"), []float64{1, 2, 3}) || !reflect.DeepEqual(rec.Column("angle"), []float64{4, 5, 6}) {
		t.Errorf("columns %v, %v", rec.Column("time"), rec.Column("angle"))
	}
	if got, want := message(func() { rec.Column("angel") }), `the recording "swing" has no column "angel"; its columns are time, angle`; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	var got string
	record(t, func() { got = message(func() { Sheet("01", "").Recording("swng") }) }, wire.Frame{Head: wire.Head{Kind: wire.Refused, Text: "no such recording"}})
	if got != `the recording "swng" cannot be had: no such recording` {
		t.Errorf("%q", got)
	}
}
