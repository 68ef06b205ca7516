package sandbox

import (
	"bytes"
	"reflect"
	"testing"
)

// A sheet that is compiled from the start comes out as one that never is: what it
// prints, and every frame that it exchanges.
func TestCompiledFromTheStart(t *testing.T) {
	p, err := NewPool(t.Context(), PoolOptions{Workers: 1, Clone: "../.."})
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	file := bytesOf(t, lab(t, "00", "", true))
	run := func(heavy int) (Outcome, [][]byte) {
		p.habit.lab = map[string]*habit{"00-first-steps": {heavy: heavy}}
		exchange := session(t).Exchange
		var frames [][]byte
		out, err := p.Run(t.Context(), Job{Notebook: file, Exchange: func(in []byte) []byte {
			frames = append(frames, bytes.Clone(in))
			return exchange(in)
		}})
		if err != nil {
			t.Fatal(err)
		}
		if out.Times.Compiled != (heavy > 0) {
			t.Errorf("with heavy %d the sheet is compiled: %v", heavy, out.Times.Compiled)
		}
		return out, frames
	}
	a, framesA := run(0)
	b, framesB := run(surest)
	if !reflect.DeepEqual(a.Cells, b.Cells) || !reflect.DeepEqual(a.Remarks, b.Remarks) || !reflect.DeepEqual(framesA, framesB) {
		t.Errorf("interpreted %+v\ncompiled    %+v", a.Cells, b.Cells)
	}
	if len(framesA) == 0 {
		t.Error("the sheet exchanges no frame")
	}
}

func TestHabits(t *testing.T) {
	var h habits
	if h.begin("01") {
		t.Error("the first sheet is compiled from the start")
	}
	h.learn("01", true)
	if h.begin("02") || !h.begin("01") {
		t.Error("what one lab needs does not count for it, or counts for another")
	}
	interpreted := 0
	for range 10 * looks {
		if !h.begin("01") {
			interpreted++
			h.learn("01", true)
		}
	}
	if interpreted != 10 {
		t.Errorf("of %d heavy sheets %d are begun with the interpreter, want 10", 10*looks, interpreted)
	}
	// The lab has become thin.
	compiled := 0
	for range 10 * looks {
		if h.begin("01") {
			compiled++
		} else {
			h.learn("01", false)
		}
	}
	if compiled > surest*looks {
		t.Errorf("of %d thin sheets %d are compiled", 10*looks, compiled)
	}
	for n := range 1000 {
		h.learn(string(rune(n)), true)
	}
	if len(h.lab) > 110 {
		t.Errorf("%d labs are remembered", len(h.lab))
	}
}
