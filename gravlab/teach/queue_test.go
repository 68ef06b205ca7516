package teach

import (
	"context"
	"fmt"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"gravity.example/gravlab/page"
)

// work is a runner whose boxes use the processor time that their source names, on a machine with
// a core for each place.
type work struct{ q *queue }

func (w work) RunBox(ctx context.Context, b page.Box) (page.Result, error) {
	want, err := time.ParseDuration(b.Source)
	if err != nil {
		return page.Result{}, err
	}
	const look = 20 * time.Millisecond
	for used := time.Duration(0); ; used += look {
		if used >= want || used > w.q.patience() {
			return page.Result{Used: used}, nil
		}
		select {
		case <-time.After(look):
		case <-ctx.Done():
			return page.Result{Used: used}, ctx.Err()
		}
	}
}

// run runs boxes one after the other, with a pause, and returns the longest time that one
// took.
func (w work) run(t *testing.T, who, box string, times int, pause time.Duration) (longest time.Duration) {
	for range times {
		began := time.Now()
		if _, err := (turn{w.q, who, w}).RunBox(context.Background(), page.Box{Source: box, Log: func(string) {}}); err != nil {
			t.Error(err)
		}
		longest = max(longest, time.Since(began))
		time.Sleep(pause)
	}
	return longest
}

// Ten students with endless loops cost the others little: once they are known, a thin box
// of another student has the place that is kept for it.
func TestLoopsCostOthersLittle(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		q := newQueue(2)
		w := work{q}
		for i := range 10 {
			go w.run(t, fmt.Sprintf("loop%d", i), "1h", 40, 0)
		}
		time.Sleep(40 * time.Second) // all ten are known by then
		var longest time.Duration
		for i := range 15 {
			longest = max(longest, w.run(t, fmt.Sprintf("honest%d", i), "300ms", 3, 2*time.Second))
		}
		if longest > time.Second {
			t.Errorf("a thin box took %v", longest)
		}
		// The loops end at some time.
		time.Sleep(time.Hour)
	})
}

// A box has 3 s while others wait and 10 s while nobody does.
func TestPatience(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		q := newQueue(2)
		w := work{q}
		if got := w.run(t, "alone", "1h", 1, 0); got < idleTime || got > idleTime+time.Second {
			t.Errorf("a loop on an idle machine ran for %v", got)
		}
		go w.run(t, "a", "1h", 1, 0)
		go w.run(t, "b", "1h", 1, 0)
		time.Sleep(time.Millisecond)
		if got := w.run(t, "c", "20ms", 1, 0); got > boxTime+time.Second {
			t.Errorf("behind two loops a box waited for %v", got)
		}
		time.Sleep(time.Minute)
	})
}

// A student has one box that runs and one that waits; whoever leaves gives up the place in
// the queue.
func TestOneAndOneWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		q := newQueue(2)
		w := work{q}
		go w.run(t, "a", "2s", 1, 0)
		time.Sleep(time.Millisecond)
		ctx, leave := context.WithCancel(context.Background())
		var told atomic.Value
		ended := make(chan error, 1)
		go func() {
			_, err := (turn{q, "a", w}).RunBox(ctx, page.Box{Source: "2s", Log: func(s string) { told.Store(s) }})
			ended <- err
		}()
		time.Sleep(time.Second)
		if got := told.Load(); got != "waiting, number 1 in the queue" {
			t.Errorf("the second box is told %v", got)
		}
		r, err := (turn{q, "a", w}).RunBox(context.Background(), page.Box{Source: "2s", Log: func(string) {}})
		if err != nil || len(r.Trouble) != 1 {
			t.Errorf("a third box: %v %v", r, err)
		}
		leave()
		if err := <-ended; err == nil {
			t.Error("the second box ran although its reader had left")
		}
		time.Sleep(time.Minute)
		if running, waiting := q.length(); running+waiting > 0 {
			t.Errorf("%d run and %d wait at the end", running, waiting)
		}
	})
}

// A thin box a minute never makes a student one of those who leave a place to others; a loop
// does, and is forgotten.
func TestWhatIsForgotten(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		q := newQueue(2)
		w := work{q}
		w.run(t, "thin", "500ms", 60, time.Minute)
		if used := q.of("thin"); used > heavy {
			t.Errorf("after an hour of thin boxes %v are held against a student", used)
		}
		w.run(t, "loop", "1h", 1, 0)
		if used := q.of("loop"); used < heavy {
			t.Errorf("of a loop %v are held against a student", used)
		}
		time.Sleep(10 * time.Minute)
		if used := q.of("loop"); used > heavy {
			t.Errorf("after ten minutes %v are held against a student", used)
		}
	})
}
