package teach

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"
	"time"

	"gravity.example/gravlab/page"
	"gravity.example/gravlab/sandbox"
)

const (
	// heavy is the processor time of a student's boxes, of late, from which on they leave one
	// of the places to the others.
	heavy = 2500 * time.Millisecond
	// long is after how long a box that runs counts as one that may run on.
	long = 1500 * time.Millisecond
	// forgets is how long it takes until half of what a student has used is forgotten.
	forgets = 2 * time.Minute
	// boxTime is the processor time of a box while others wait, idleTime while nobody does.
	boxTime, idleTime = 3 * time.Second, 10 * time.Second
)

// A queue shares the places of a pool between the boxes of a class: whoever has used least
// processor time of late comes first, one box per student at a time, and one place is
// kept for those who have used little.
type queue struct {
	places int
	now    func() time.Time // monotonic

	mu      sync.Mutex
	running map[string]time.Time // since when, by student
	idle    []*waiter            // boxes that no one waits for
	idling  int                  // how many of them run
	waiting []*waiter            // in the order in which they came
	used    map[string]account
}

type account struct {
	used time.Duration
	at   time.Time
}

type waiter struct {
	who   string
	begin chan struct{} // closed when its turn has come
}

func newQueue(places int) *queue {
	return &queue{places: places, now: time.Now, running: map[string]time.Time{}, used: map[string]account{}}
}

// errTwo says that a student has a box that runs and another that waits.
var errTwo = errors.New("one of your boxes runs and another one waits; wait for them, or stop one")

// enter waits for a place; leave gives it back and says what was used. say is told the place in the
// queue.
//
// A box that no one waits for (idle) begins when nobody else does, leaves a place free, and counts
// for nothing.
func (q *queue) enter(ctx context.Context, who string, idle bool, say func(text string)) (leave func(used time.Duration), err error) {
	w := &waiter{who, make(chan struct{})}
	q.mu.Lock()
	if idle {
		q.idle = append(q.idle, w)
		q.next()
		q.mu.Unlock()
		select {
		case <-w.begin:
		case <-ctx.Done():
			q.mu.Lock()
			defer q.mu.Unlock()
			if i := slices.Index(q.idle, w); i >= 0 {
				q.idle = slices.Delete(q.idle, i, i+1)
			} else {
				q.idling--
				q.next()
			}
			return nil, context.Cause(ctx)
		}
		return func(time.Duration) {
			q.mu.Lock()
			defer q.mu.Unlock()
			q.idling--
			q.next()
		}, nil
	}
	if slices.ContainsFunc(q.waiting, func(o *waiter) bool { return o.who == who }) {
		q.mu.Unlock()
		return nil, errTwo
	}
	q.waiting = append(q.waiting, w)
	q.next()
	q.mu.Unlock()
	tick := time.NewTicker(300 * time.Millisecond)
	defer tick.Stop()
	for told := 0; ; {
		select {
		case <-w.begin:
			return func(used time.Duration) { q.leave(who, used) }, nil
		default:
		}
		if n := q.position(w); n > 0 && n != told {
			say(fmt.Sprintf("waiting, number %d in the queue", n))
			told = n
		}
		select {
		case <-w.begin:
		case <-tick.C:
		case <-ctx.Done():
			q.mu.Lock()
			defer q.mu.Unlock()
			if i := slices.Index(q.waiting, w); i >= 0 {
				q.waiting = slices.Delete(q.waiting, i, i+1)
				return nil, context.Cause(ctx)
			}
			delete(q.running, who) // its turn had come just then
			q.next()
			return nil, context.Cause(ctx)
		}
	}
}

func (q *queue) leave(who string, used time.Duration) {
	q.mu.Lock()
	defer q.mu.Unlock()
	delete(q.running, who)
	q.used[who] = account{q.of(who) + used, q.now()}
	q.next()
}

// of is what a student has used of late.
func (q *queue) of(who string) time.Duration {
	a, ok := q.used[who]
	if !ok {
		return 0
	}
	return time.Duration(float64(a.used) * math.Exp2(-q.now().Sub(a.at).Seconds()/forgets.Seconds()))
}

// next begins what may begin. The caller holds q.mu.
func (q *queue) next() {
	for len(q.running) < q.places {
		i := q.first()
		if i < 0 {
			break
		}
		w := q.waiting[i]
		q.waiting = slices.Delete(q.waiting, i, i+1)
		q.running[w.who] = q.now()
		close(w.begin)
	}
	for len(q.waiting) == 0 && len(q.idle) > 0 && len(q.running)+q.idling < max(1, q.places-1) {
		close(q.idle[0].begin)
		q.idle = q.idle[1:]
		q.idling++
	}
}

// first is the waiter whose turn it is, -1 if there is none. The caller holds q.mu.
func (q *queue) first() int {
	taken := 0
	for who, since := range q.running {
		if q.of(who) > heavy || q.now().Sub(since) > long {
			taken++
		}
	}
	best := -1
	for i, w := range q.waiting {
		if _, runs := q.running[w.who]; runs || q.places > 1 && taken >= q.places-1 && q.of(w.who) > heavy {
			continue
		}
		if best < 0 || q.of(w.who) < q.of(q.waiting[best].who) {
			best = i
		}
	}
	return best
}

// position is the number of a waiter in the queue: those who have used less come before it.
func (q *queue) position(w *waiter) int {
	q.mu.Lock()
	defer q.mu.Unlock()
	at := slices.Index(q.waiting, w)
	if at < 0 {
		return 0
	}
	n := 1
	for i, o := range q.waiting {
		if mine, other := q.of(w.who), q.of(o.who); o != w && (other < mine || other == mine && i < at) {
			n++
		}
	}
	return n
}

// patience is how much processor time a box may use now.
func (q *queue) patience() time.Duration {
	if _, waiting := q.length(); waiting > 0 {
		return boxTime
	}
	return idleTime
}

// length is how many boxes run and wait.
func (q *queue) length() (running, waiting int) {
	q.mu.Lock()
	defer q.mu.Unlock()
	return len(q.running), len(q.waiting)
}

// A turn runs the boxes of one student when it is their turn.
type turn struct {
	queue  *queue
	who    string
	runner page.Runner
}

func (t turn) RunBox(ctx context.Context, b page.Box) (page.Result, error) {
	leave, err := t.queue.enter(ctx, t.who, b.Idle, b.Log)
	if errors.Is(err, errTwo) {
		return page.Result{Trouble: []page.Trouble{{Text: "Not run: " + err.Error() + "."}}}, nil
	}
	if err != nil {
		return page.Result{}, err
	}
	var r page.Result
	defer func() { leave(r.Used) }()
	r, err = t.runner.RunBox(ctx, b)
	return r, err
}

// boxLimits are those of a box; its processor time hangs on who waits.
var boxLimits = sandbox.Limits{Sheet: 20 * time.Second}
