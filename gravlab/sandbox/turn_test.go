package sandbox

import (
	"testing"
	"time"
)

// A box that is paused uses no processor time, is not held to stand still by a fault, and goes on
// where it was; one that is ended says so.
func TestPause(t *testing.T) {
	if !CanPause {
		t.Skip("this system cannot pause a process")
	}
	p, err := NewPool(t.Context(), PoolOptions{Workers: 1, Clone: "../.."})
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	p.setup.Still = 20 // looks; 50 are spent in the pause
	const look = 50
	var before, after time.Duration // used, at the begin of the pause and at its end
	looks, ends := 0, false
	box := Box{Slow: true, Source: "%%\nfmt.Println(\"begun\")\nn := 0\nfor ; n < 60_000_000; n++ {\n}\nfmt.Println(n)", Watch: func(used time.Duration) Next {
		switch {
		case used < 400*time.Millisecond:
			return Continue
		case ends && used > time.Second:
			return End
		case looks > look:
			return Continue
		}
		if looks++; looks == 10 { // the signal has arrived
			before = used
		}
		after = used
		return Pause
	}}
	out, err := p.RunBox(t.Context(), box)
	if err != nil || out.Cells[0].State != Ran || out.Cells[0].Output != "begun\n60000000\n" {
		t.Errorf("a box that was paused: %+v %v", out, err)
	}
	if looks <= look || before == 0 || after != before {
		t.Errorf("it had used %v at the begin of %d looks and %v at their end", before, looks, after)
	}
	looks, ends = 0, true
	box.Source = "%%\nfor i := 0; ; i++ {\n\tif i < 0 {\n\t\tbreak\n\t}\n}"
	out, err = p.RunBox(t.Context(), box)
	if err != nil || out.Cells[0].State != Ended || out.Cells[0].Limit != LimitTime || out.Times.Processor > 3*time.Second {
		t.Errorf("a box that was ended: %+v %v", out, err)
	}
}
