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
	run := func(eager bool) (Outcome, [][]byte) {
		p.eager = eager
		exchange := session(t).Exchange
		var frames [][]byte
		out, err := p.Run(t.Context(), Job{Notebook: file, Exchange: func(in []byte) []byte {
			frames = append(frames, bytes.Clone(in))
			return exchange(in)
		}})
		if err != nil {
			t.Fatal(err)
		}
		if out.Times.Compiled != eager {
			t.Errorf("compiled: %v, want %v", out.Times.Compiled, eager)
		}
		return out, frames
	}
	a, framesA := run(false)
	b, framesB := run(true)
	if !reflect.DeepEqual(a.Cells, b.Cells) || !reflect.DeepEqual(a.Remarks, b.Remarks) || !reflect.DeepEqual(framesA, framesB) {
		t.Errorf("interpreted %+v\ncompiled    %+v", a.Cells, b.Cells)
	}
	if len(framesA) == 0 {
		t.Error("the sheet exchanges no frame")
	}
}
