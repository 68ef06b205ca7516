package teach

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"gravity.example/gravlab/page"
	"gravity.example/gravlab/sandbox"
)

// work is a runner whose boxes use the processor time that their source names, on a machine with
// a core for each place.
type work struct {
	q    *queue
	busy *atomic.Int64 // boxes that use processor time
	over *atomic.Int64 // how often there were more than places
	held *atomic.Int64 // how often one was told to stand still
}

func newWork(q *queue) work { return work{q, new(atomic.Int64), new(atomic.Int64), new(atomic.Int64)} }

func (w work) RunBox(ctx context.Context, b page.Box) (page.Result, error) {
	want, err := time.ParseDuration(b.Source)
	if err != nil {
		return page.Result{}, err
	}
	const look = 20 * time.Millisecond
	still := false
	for used := time.Duration(0); ; {
		if used >= want || used > boxLimits.Cell {
			return page.Result{Used: used}, nil
		}
		switch b.Watch(used) {
		case sandbox.Continue:
			if n := w.busy.Add(1); n > int64(w.q.places) {
				w.over.Add(1)
			}
			time.Sleep(look)
			w.busy.Add(-1)
			used += look
			still = false
			continue
		case sandbox.Pause:
			if !still {
				w.held.Add(1)
			}
			still = true
		case sandbox.End:
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
		w := newWork(q)
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

// Ten endless loops that begin at the same moment, whose students no one knows yet, hold a thin
// box up little: a box that has run for longer than a slice stands still for it.
func TestLoopsAtTheSameMoment(t *testing.T) {
	for _, places := range []int{1, 2, 4} {
		t.Run(fmt.Sprint(places), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				q := newQueue(places)
				w := newWork(q)
				for i := range 10 {
					go w.run(t, fmt.Sprintf("loop%d", i), "1h", 3, 0)
				}
				time.Sleep(time.Millisecond)
				var longest atomic.Int64
				var all sync.WaitGroup
				for i := range 15 {
					all.Go(func() {
						time.Sleep(time.Duration(i) * time.Second)
						took := int64(w.run(t, fmt.Sprintf("honest%d", i), "300ms", 1, 0))
						for old := longest.Load(); took > old && !longest.CompareAndSwap(old, took); old = longest.Load() {
						}
					})
				}
				all.Wait()
				// Before it come the slices of the loops that began in the same moment, and the
				// whole box of each for which there is no room to stand still.
				whole := max(0, 10-places-q.paused)
				if most := (10*slice+time.Duration(whole)*boxTime)/time.Duration(places) + boxTime; time.Duration(longest.Load()) > most {
					t.Errorf("with %d places a thin box took %v, and %v were to be had", places, time.Duration(longest.Load()), most)
				}
				// A box is told to stand still when it is looked at, one look later.
				if w.over.Load() > w.held.Load() || w.held.Load() == 0 {
					t.Errorf("%d times more boxes ran than there are places, where %d were told to stand still", w.over.Load(), w.held.Load())
				}
				time.Sleep(time.Hour)
				if running, waiting := q.length(); running+waiting > 0 {
					t.Errorf("%d run and %d wait at the end", running, waiting)
				}
			})
		})
	}
}

// Where no box can stand still, loops that are known leave one place to the others.
func TestLoopsWithoutPause(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		q := newQueue(2)
		q.paused = 0
		w := newWork(q)
		for i := range 10 {
			go w.run(t, fmt.Sprintf("loop%d", i), "1h", 40, 0)
		}
		time.Sleep(time.Minute)
		var longest time.Duration
		for i := range 15 {
			longest = max(longest, w.run(t, fmt.Sprintf("honest%d", i), "300ms", 3, 2*time.Second))
		}
		if longest > time.Second || w.held.Load() > 0 {
			t.Errorf("a thin box took %v, and %d boxes were told to stand still", longest, w.held.Load())
		}
		time.Sleep(time.Hour)
	})
}

// A box of 6 s, which is more than others leave it when they wait, comes to its end beside
// loops whose students have used more.
func TestLongBoxAmongLoops(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		q := newQueue(2)
		w := newWork(q)
		for i := range 10 {
			go w.run(t, fmt.Sprintf("loop%d", i), "1h", 40, 0)
		}
		time.Sleep(4 * time.Minute)
		r, err := (turn{q, "fit", w}).RunBox(t.Context(), page.Box{Source: "6s", Log: func(string) {}})
		if err != nil || len(r.Trouble) > 0 || r.Used < 6*time.Second {
			t.Errorf("%+v %v", r, err)
		}
		time.Sleep(time.Hour)
	})
}

// Whoever is stopped early is told why, and when to run it again.
func TestStoppedEarly(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		q := newQueue(1)
		w := newWork(q)
		said := make(chan string, 2)
		for _, who := range []string{"a", "b"} {
			go func() {
				r, _ := (turn{q, who, w}).RunBox(t.Context(), page.Box{Source: "1h", Log: func(string) {}})
				said <- fmt.Sprint(r.Trouble)
			}()
		}
		if got := <-said; !strings.Contains(got, "Stopped after 3 s of processor time, since others who have used less are waiting") {
			t.Error(got)
		}
		if got := <-said; strings.Contains(got, "others") {
			t.Errorf("the last one, for which nobody waits, is told %s", got)
		}
	})
}

// Two hundred students on two places, each with a box per minute of which most are thin, and
// figures that are drawn in advance: the processor time adds up to 0.8 of the places, and a
// thin box comes back soon. The moments are drawn from a fixed seed.
func TestTwoHundred(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		q := newQueue(2)
		w := newWork(q)
		ctx, end := context.WithTimeout(t.Context(), 10*time.Minute)
		defer end()
		var mu sync.Mutex
		var thin []time.Duration
		var all sync.WaitGroup
		for i := range 200 {
			r := rand.New(rand.NewPCG(1, uint64(i)))
			all.Go(func() {
				time.Sleep(time.Duration(r.Float64() * float64(time.Minute)))
				for ctx.Err() == nil {
					box := "250ms"
					if x := r.Float64(); x > 0.9 {
						box = "2s"
					} else if x > 0.7 {
						box = "500ms"
					}
					began := time.Now()
					w.run(t, fmt.Sprint(i), box, 1, 0)
					mu.Lock()
					if box == "250ms" {
						thin = append(thin, time.Since(began))
					}
					mu.Unlock()
					time.Sleep(time.Until(began.Add(time.Minute)))
				}
			})
			all.Go(func() {
				(turn{q, "", w}).RunBox(ctx, page.Box{Source: "1s", Idle: true, Log: func(string) {}})
			})
		}
		all.Wait()
		slices.Sort(thin)
		if p := thin[len(thin)*95/100]; p > 1500*time.Millisecond {
			t.Errorf("95 %% of %d thin boxes came back within %v", len(thin), p)
		} else {
			t.Logf("95 %% of %d thin boxes came back within %v", len(thin), p)
		}
	})
}

// Among students who have used about the same, the first to come is the first to be served, however
// many of those who come later have used a little less.
func TestFirstComeFirstServed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		q := newQueue(1)
		w := newWork(q)
		w.run(t, "early", "200ms", 1, 0)
		go w.run(t, "other", "700ms", 1, 0)
		time.Sleep(time.Millisecond)
		var order []string
		var mu sync.Mutex
		var all sync.WaitGroup
		for _, who := range []string{"early", "late1", "late2"} {
			all.Go(func() {
				w.run(t, who, "300ms", 1, 0)
				mu.Lock()
				order = append(order, who)
				mu.Unlock()
			})
			time.Sleep(time.Millisecond)
		}
		all.Wait()
		if got := strings.Join(order, " "); got != "early late1 late2" {
			t.Errorf("served in the order %s", got)
		}
	})
}

// Figures that no one waits for stand still while boxes run.
func TestIdleStandsStill(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		q := newQueue(1)
		w := newWork(q)
		ended := make(chan time.Time, 1)
		go func() {
			(turn{q, "", w}).RunBox(t.Context(), page.Box{Source: "2s", Idle: true, Log: func(string) {}})
			ended <- time.Now()
		}()
		time.Sleep(time.Second)
		began := time.Now()
		if took := w.run(t, "a", "5s", 1, 0); took > 5*time.Second+100*time.Millisecond {
			t.Errorf("beside a figure that no one waits for a box of 5 s took %v", took)
		}
		if late := (<-ended).Sub(began); late < 5*time.Second {
			t.Errorf("the figure was drawn %v after the box had begun", late)
		}
	})
}

// Beside loops that never end, the figures that open with a lab are drawn all the same: in the
// place that the loops leave free.
func TestFiguresBesideLoops(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		q := newQueue(2)
		w := newWork(q)
		for i := range 10 {
			go w.run(t, fmt.Sprintf("loop%d", i), "1h", 40, 0)
		}
		time.Sleep(time.Minute)
		began := time.Now()
		if _, err := (turn{q, "", w}).RunBox(t.Context(), page.Box{Source: "2s", Idle: true, Log: func(string) {}}); err != nil {
			t.Fatal(err)
		}
		if took := time.Since(began); took > 3*time.Second {
			t.Errorf("a figure of 2 s took %v", took)
		}
		time.Sleep(time.Hour)
	})
}

// A box has 3 s while others wait and 10 s while nobody does.
func TestPatience(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		q := newQueue(2)
		w := newWork(q)
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
		w := newWork(q)
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
		w := newWork(q)
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

// lending is a runner whose boxes may also run on another machine, without a watch; every seventh
// does not come back from there.
type lending struct {
	work
	sent, lost *atomic.Int64
}

func (w lending) RunAway(ctx context.Context, b page.Box) (page.Result, page.Box, bool) {
	want, _ := time.ParseDuration(b.Source)
	if w.sent.Add(1)%7 == 0 {
		time.Sleep(time.Second)
		w.lost.Add(1)
		return page.Result{}, b, false
	}
	if want > 3*time.Second {
		time.Sleep(3 * time.Second)
		return page.Result{Used: 3 * time.Second}, b, false
	}
	time.Sleep(want)
	return page.Result{Used: want}, b, true
}

// With places on other machines a class waits less; boxes that do not come back from there, or take
// too long, run here; and nobody has two boxes at once.
func TestLentPlaces(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		class := func(lent int) (thin time.Duration, w lending) {
			q := newQueue(2)
			q.lend(lent)
			w = lending{newWork(q), new(atomic.Int64), new(atomic.Int64)}
			began := time.Now()
			var all, thins sync.WaitGroup
			for i := range 40 {
				source, group := "200ms", &thins
				if i < 3 {
					source, group = "5s", &all
				}
				group.Go(func() {
					var under atomic.Int64
					for range 10 {
						b := page.Box{Source: source, Log: func(string) {}, Supply: func() (s sandbox.Supply, err error) { return s, nil }}
						if under.Add(1) > 1 {
							t.Error("two boxes of one student")
						}
						if _, err := (turn{q, fmt.Sprint(i), w}).RunBox(context.Background(), b); err != nil {
							t.Error(err)
						}
						under.Add(-1)
					}
				})
			}
			thins.Wait()
			thin = time.Since(began)
			all.Wait()
			if run, wait := q.length(); run+wait != 0 {
				t.Errorf("%d boxes run and %d wait after all have ended", run, wait)
			}
			// One that is told to stand still has heard it within a look, in which both count.
			if w.over.Load() > 2*w.held.Load() {
				t.Errorf("there were more boxes than places %d times, where %d were told to stand still", w.over.Load(), w.held.Load())
			}
			return thin, w
		}
		alone, none := class(0)
		helped, w := class(8)
		if none.sent.Load() != 0 || w.sent.Load() < 100 || w.lost.Load() == 0 || helped > alone/2 {
			t.Errorf("alone the short boxes take %v, with 8 places on other machines %v; %d were sent, %d of them lost", alone, helped, w.sent.Load(), w.lost.Load())
		}
		t.Logf("alone %v; with 8 places more %v: %d sent, %d lost", alone, helped, w.sent.Load(), w.lost.Load())
	})
}
