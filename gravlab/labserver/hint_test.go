package labserver

import (
	"fmt"
	"strings"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/wire"
)

// TestHint: a hint comes when it is asked for, one after the other, and never by wrong answers;
// an assessed sheet has none.
func TestHint(t *testing.T) {
	b := openBench(t, t.TempDir())
	d := deskOf(b, SessionOptions{})
	l, err := exercises.Find("01")
	if err != nil {
		t.Fatal(err)
	}
	q, _ := l.Sheet("").Question("kappa")
	shown := func(f wire.Frame) string {
		t.Helper()
		d.shown = nil
		if r := d.ask(t, f); r.Kind != wire.Recorded || len(d.shown) != 1 {
			t.Fatalf("%+v shows %d displays: %s", f, len(d.shown), r.Text)
		}
		return fmt.Sprint(d.shown[0]["text/plain"])
	}
	for range 3 {
		if s := shown(numberFrame(l.ID, "kappa", 42, 0, "N m/rad")); strings.Contains(s, q.Hints[0]) || strings.Contains(s, q.Hints[1]) || !strings.Contains(s, `sheet.Hint("kappa")`) {
			t.Errorf("a wrong answer is told %q", s)
		}
	}
	ask := wire.Frame{Head: wire.Head{Kind: wire.Hint, Lab: l.ID, Question: "kappa"}}
	for i, want := range []string{"Hint 1 of 2 to kappa: " + q.Hints[0], "Hint 2 of 2 to kappa: " + q.Hints[1], q.Hints[1]} {
		if s := shown(ask); !strings.Contains(s, want) {
			t.Errorf("asked %d times: %q, want %q", i+1, s, want)
		}
	}
	ask.Assessed = true
	if s := shown(ask); strings.Contains(s, q.Hints[0]) || strings.Contains(s, q.Hints[1]) || !strings.Contains(s, "no hints") {
		t.Errorf("of an assessed sheet: %q", s)
	}
	ask.Question = "kapa"
	if s := shown(ask); !strings.Contains(s, "Did you mean kappa") {
		t.Errorf("of no question: %q", s)
	}
}
