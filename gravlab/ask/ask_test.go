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

	"gravity.example/gravlab/frame"
)

// reply is how the bench of these tests answers; it is set anew by each.
var reply func(frame.Frame) frame.Frame

// A program has one connection to its bench, so all tests here share it.
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
					f, err := frame.Read(c)
					if err != nil || frame.Write(c, reply(f)) != nil {
						return
					}
				}
			}()
		}
	}()
	os.Setenv("GRAVLAB_BENCH", path)
	os.Setenv("GONB_PIPE", "/pipe")
	os.Setenv("GONB_PIPE_BACK", "/back")
	code := m.Run()
	os.RemoveAll(dir)
	os.Exit(code)
}

// record runs f and returns the frames it sent and what it printed; every frame
// gets the replies in turn, then "recorded".
func record(t *testing.T, f func(), replies ...frame.Frame) (sent []frame.Frame, printed string) {
	t.Helper()
	reply = func(in frame.Frame) frame.Frame {
		sent = append(sent, in)
		if len(replies) > 0 {
			r := replies[0]
			replies = replies[1:]
			return r
		}
		return frame.Frame{Head: frame.Head{Kind: frame.Recorded}}
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
	base := frame.Head{Kind: frame.Answer, Lab: "01-weighing-the-earth", Code: "K7QF-3M2P", Assessed: true, Question: "q", Pipe: "/pipe", PipeBack: "/back"}
	with := func(change func(*frame.Head)) frame.Head { h := base; change(&h); return h }
	for _, c := range []struct {
		name    string
		give    func()
		head    frame.Head
		numbers []float64
	}{
		{"number", func() { s.Number("q", 1.5, "s") }, with(func(h *frame.Head) { h.Form, h.Unit = frame.FormNumber, "s" }), []float64{1.5, 0}},
		{"infinity", func() { s.Number("q", math.Inf(1), "") }, with(func(h *frame.Head) { h.Form = frame.FormNumber }), []float64{math.Inf(1), 0}},
		{"measured", func() { s.Measured("q", 1.5, 0.1, "s") }, with(func(h *frame.Head) { h.Form, h.Unit = frame.FormMeasured, "s" }), []float64{1.5, 0.1}},
		{"typed", func() { s.Typed("q", "8.4(2) s") }, with(func(h *frame.Head) { h.Form, h.Text = frame.FormTyped, "8.4(2) s" }), nil},
		{"choice", func() { s.Choice("q", "b") }, with(func(h *frame.Head) { h.Form, h.Text = frame.FormChoice, "b" }), nil},
		{"words", func() { s.Words("q", "w") }, with(func(h *frame.Head) { h.Form, h.Text = frame.FormWords, "w" }), nil},
		{"nil function", func() { s.Function("q", nil) }, with(func(h *frame.Head) { h.Form = frame.FormFunction }), nil},
		{"done", s.Done, with(func(h *frame.Head) { h.Kind, h.Question = frame.Done, "" }), nil},
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
	_, printed := record(t, func() { Sheet("01", "").Choice("q", "a") }, frame.Frame{Head: frame.Head{Kind: frame.Refused, Text: "the bench is full"}})
	if printed != "the bench is full\n" {
		t.Errorf("printed %q", printed)
	}
}

func TestFunctionCalls(t *testing.T) {
	calls := func(args ...[]float64) frame.Frame {
		f := frame.Frame{Head: frame.Head{Kind: frame.Calls, Token: "once"}}
		f.Numbers, f.Lengths = frame.Join(args)
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
		if sent[0].Kind != frame.Function || sent[0].Signature != c.signature {
			t.Errorf("%s: announced %+v", c.name, sent[0].Head)
		}
		got, ok := frame.Split(sent[1].Numbers, sent[1].Lengths)
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
	if len(sent) != 1 || sent[0].Kind != frame.Answer || sent[0].Form != frame.FormFunction {
		t.Errorf("a nil function sent %+v", sent)
	}
}

func TestRecordingInParts(t *testing.T) {
	columns := []frame.Column{{Name: "time", Unit: "s"}, {Name: "angle", Unit: "rad"}}
	part := func(at int, numbers ...float64) frame.Frame {
		return frame.Frame{Head: frame.Head{Kind: frame.Columns, Columns: columns, At: at, Total: 6}, Numbers: numbers}
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
	record(t, func() { got = message(func() { Sheet("01", "").Recording("swng") }) }, frame.Frame{Head: frame.Head{Kind: frame.Refused, Text: "no such recording"}})
	if got != `the recording "swng" cannot be had: no such recording` {
		t.Errorf("%q", got)
	}
}
