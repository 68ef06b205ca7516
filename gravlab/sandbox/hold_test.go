package sandbox

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"
)

// TestHold: a box that is held is built, and nothing of it runs, not even what its declarations
// work out, until it is let go; then it puts out what it would have put out at once. While it is
// held it takes no place from other boxes.
func TestHold(t *testing.T) {
	p, err := NewPool(t.Context(), PoolOptions{Workers: 1, Clone: "../.."})
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	const source = "var early = say(\"declared\")\n\nfunc say(s string) int { fmt.Println(s); return 1 }\n\n%%\nfmt.Println(\"ran\", early)"
	run := func(ctx context.Context, source string, hold <-chan struct{}, output func([]byte)) (Outcome, error) {
		return p.RunBox(ctx, Box{Above: []string{sheetCell}, Source: source, Hold: hold, Output: output, Exchange: session(t).Exchange})
	}
	now, err := run(t.Context(), source, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	type end struct {
		out Outcome
		err error
	}
	begin := func(ctx context.Context, source string) (hold chan struct{}, printed chan string, over chan end) {
		hold, printed, over = make(chan struct{}), make(chan string, 100), make(chan end, 1)
		go func() {
			out, err := run(ctx, source, hold, func(text []byte) { printed <- string(text) })
			over <- end{out, err}
		}()
		return hold, printed, over
	}
	hold, printed, over := begin(t.Context(), source)
	// With one place in all, this one is run while the other waits, or neither ever is.
	for range 2 {
		if out, err := run(t.Context(), "%%\nfmt.Println(2)", nil, nil); err != nil || out.Cells[1].Output != "2\n" {
			t.Fatal(out, err)
		}
	}
	select {
	case text := <-printed:
		t.Errorf("before it was let go it printed %q", text)
	case e := <-over:
		t.Fatalf("it has ended by itself: %+v", e)
	default:
	}
	close(hold)
	e := <-over
	if e.err != nil || e.out.Cells[1].Output != now.Cells[1].Output || !strings.Contains(now.Cells[1].Output, "declared\nran 1") {
		t.Errorf("held: %q, %v; at once: %q", e.out.Cells[1].Output, e.err, now.Cells[1].Output)
	}

	// One that does not compile says so without waiting.
	_, _, over = begin(t.Context(), "%%\nfmt.Printn(2)")
	if e := <-over; e.err != nil || e.out.Cells[1].State != NotBuilt {
		t.Errorf("%+v", e)
	}

	// One that is no longer wanted ends, and so does its worker.
	ctx, cancel := context.WithCancel(t.Context())
	_, _, over = begin(ctx, source)
	time.AfterFunc(200*time.Millisecond, cancel)
	if e := <-over; !errors.Is(e.err, context.Canceled) {
		t.Errorf("given up: %+v", e)
	}
	if out, err := run(t.Context(), "%%\nfmt.Println(3)", nil, nil); err != nil || out.Cells[1].Output != "3\n" {
		t.Fatal(out, err)
	}
}
