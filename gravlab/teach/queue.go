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
	// slice is the processor time after which a box counts as long: it stands still then while
	// a box that is not waits. A thin box takes 0.2 s and a figure 0.4 s.
	slice = 800 * time.Millisecond
	// forgets is how long it takes until half of what a student has used is forgotten.
	forgets = 2 * time.Minute
	// boxTime is the processor time of a box while others wait who have used less, idleTime while
	// none of them does; waits is how long they must have waited.
	boxTime, idleTime = 3 * time.Second, 10 * time.Second
	waits             = time.Second
	// pausedEach is how many boxes may stand still for each place. Each keeps its memory, some
	// 150 MB.
	pausedEach = 5
	// mostPaused is how many on a machine with many places.
	mostPaused = 16
)

// boxLimits are those of a box.
var boxLimits = sandbox.Limits{Cell: idleTime, Sheet: 20 * time.Second}

// A queue shares the places of a pool between the boxes of a class: whoever has used least
// processor time of late comes first, and one box per student at a time.
//
// A box that has run for longer than a slice stands still while shorter ones wait, or others whose
// students have used less. So many endless loops cannot hold the class up, even before
// it is known whose they are. Where the system cannot let a box stand still, one place is kept for
// those who have used little.
//
// Where all places are taken and other machines lend some, the box whose turn it is runs there. It
// comes back into the queue if none of them runs it.
type queue struct {
	places int
	paused int              // how many boxes may stand still
	now    func() time.Time // monotonic

	mu    sync.Mutex
	lent  int      // places on other machines
	boxes []*entry // in the order in which they came, without idle ones
	idle  []*entry // boxes that no one waits for
	used  map[string]account
}

type account struct {
	used time.Duration
	at   time.Time
}

// state is what a box does.
type state int

const (
	waiting state = iota // it has not begun
	running
	paused
	elsewhere // it runs on another machine
)

// An entry is a box in the queue.
type entry struct {
	who   string
	begin chan struct{} // closed when its turn has come
	state state
	since time.Time     // when it came, or was paused
	used  time.Duration // of its own
	early bool          // it was ended before idleTime
	here  bool          // it cannot run on another machine, or has been tried there
}

func newQueue(places int) *queue {
	q := &queue{places: places, now: time.Now, used: map[string]account{}}
	if sandbox.CanPause {
		q.paused = min(pausedEach*places, mostPaused)
	}
	return q
}

// most is how many boxes may have begun, idle ones included.
func (q *queue) most() int { return q.places + q.paused + 1 }

// errTwo says that a student has a box that runs and another that waits.
var errTwo = errors.New("one of your boxes runs and another one waits; wait for them, or stop one")

// enter waits for a place; leave gives it back and says what was used. say is told the place in the
// queue.
//
// A box that no one waits for (idle) begins when a place is free, stands still while there is none,
// and counts for nothing. There is one at a time. here keeps a box from other machines, as it does
// an idle one.
func (q *queue) enter(ctx context.Context, who string, idle, here bool, say func(text string)) (*entry, error) {
	e := &entry{who: who, begin: make(chan struct{}), since: q.now(), here: here || idle}
	q.mu.Lock()
	if !idle && slices.ContainsFunc(q.boxes, func(o *entry) bool { return o.who == who && o.state == waiting }) {
		q.mu.Unlock()
		return nil, errTwo
	}
	if idle {
		q.idle = append(q.idle, e)
	} else {
		q.boxes = append(q.boxes, e)
	}
	q.next()
	q.mu.Unlock()
	return e, q.await(ctx, e, say)
}

// lend says how many places other machines have.
func (q *queue) lend(n int) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.lent = n
	q.next()
}

// again puts a box that no other machine ran back into the queue, in its old place, and waits for
// a place here. used is what it used there all the same.
func (q *queue) again(ctx context.Context, e *entry, used time.Duration, say func(text string)) error {
	q.mu.Lock()
	e.state, e.here, e.begin = waiting, true, make(chan struct{})
	q.used[e.who] = account{q.of(e.who) + used, q.now()}
	q.next()
	q.mu.Unlock()
	return q.await(ctx, e, say)
}

// await waits until a box may begin. One that is given up leaves the queue.
func (q *queue) await(ctx context.Context, e *entry, say func(text string)) error {
	tick := time.NewTicker(300 * time.Millisecond)
	defer tick.Stop()
	for told := 0; ; {
		select {
		case <-e.begin:
			return nil
		default:
		}
		if n := q.position(e); n > 0 && n != told {
			say(fmt.Sprintf("waiting, number %d in the queue", n))
			told = n
		}
		select {
		case <-e.begin:
		case <-tick.C:
		case <-ctx.Done():
			q.leave(e, 0)
			return context.Cause(ctx)
		}
	}
}

// leave takes a box out of the queue.
func (q *queue) leave(e *entry, used time.Duration) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if i := slices.Index(q.idle, e); i >= 0 {
		q.idle = slices.Delete(q.idle, i, i+1)
	}
	if i := slices.Index(q.boxes, e); i >= 0 {
		q.boxes = slices.Delete(q.boxes, i, i+1)
		q.used[e.who] = account{q.of(e.who) + used, q.now()}
	}
	q.next()
}

// of is what a student has used of late, without boxes that have not ended.
func (q *queue) of(who string) time.Duration {
	a, ok := q.used[who]
	if !ok {
		return 0
	}
	return time.Duration(float64(a.used) * math.Exp2(-q.now().Sub(a.at).Seconds()/forgets.Seconds()))
}

// debt is what the student of a box has used of late, with this box.
func (q *queue) debt(e *entry) time.Duration { return q.of(e.who) + e.used }

// long reports whether a box gives way to those that are not.
func (q *queue) long(e *entry) bool { return e.used > slice || q.of(e.who) > heavy }

func (q *queue) count(is func(e *entry) bool) (n int) {
	for _, e := range q.boxes {
		if is(e) {
			n++
		}
	}
	return n
}

// next begins what may begin, and pauses what has to. The caller holds q.mu.
func (q *queue) next() {
	for {
		best := q.first()
		if best == nil {
			break
		}
		if q.count(func(e *entry) bool { return e.state == running }) == q.places {
			// Long ones stay here, where they can stand still.
			if best.state == waiting && q.free() && !best.here && !q.long(best) {
				best.state = elsewhere
				close(best.begin)
				continue
			}
			other := q.gives(best)
			if other == nil {
				break
			}
			other.state, other.since = paused, q.now()
		}
		if best.state == waiting {
			close(best.begin)
		}
		best.state = running
	}
	// Those who have used much and wait leave a place free, and the idle ones may have that.
	busy := q.count(func(e *entry) bool { return e.state == running || e.state == waiting && !q.long(e) })
	begun := 0
	for _, e := range q.idle {
		if e.state != waiting {
			begun++
		}
	}
	for _, e := range q.idle {
		switch {
		case busy >= q.places:
			if e.state == running {
				e.state = paused
			}
		case e.state == waiting && begun == 0:
			close(e.begin)
			e.state = running
			begun++
		case e.state == paused:
			e.state = running
		}
	}
}

// free reports whether another machine has a place. The caller holds q.mu.
func (q *queue) free() bool {
	return q.count(func(e *entry) bool { return e.state == elsewhere }) < q.lent
}

// first is the box whose turn it is, nil if there is none. The caller holds q.mu.
func (q *queue) first() *entry {
	heavies := q.count(func(e *entry) bool {
		return e.state == running && (q.of(e.who) > heavy || q.paused == 0 && q.long(e))
	})
	begun := q.count(func(e *entry) bool { return e.state == running || e.state == paused })
	free := q.free()
	var best *entry
	for _, e := range q.boxes {
		switch {
		case e.state == running || e.state == elsewhere:
			continue
		case e.state == waiting && (begun >= q.places+q.paused && (e.here || !free || q.long(e)) || slices.ContainsFunc(q.boxes, func(o *entry) bool { return o.who == e.who && o.state != waiting })):
			continue
		case q.places > 1 && heavies >= q.places-1 && q.of(e.who) > heavy:
			continue
		}
		if best == nil || q.before(e, best) {
			best = e
		}
	}
	return best
}

// before reports whether the turn of a box comes before that of another.
func (q *queue) before(a, b *entry) bool {
	switch x, y := q.long(a), q.long(b); {
	case x != y:
		return y
	case x:
		return q.debt(a) < q.debt(b)
	}
	// By slices: among students who have used about the same, who came first is served first.
	return q.debt(a)/slice < q.debt(b)/slice
}

// gives is the box that stands still for another one, nil if none has to. The caller holds q.mu.
func (q *queue) gives(to *entry) *entry {
	still := q.count(func(e *entry) bool { return e.state == paused })
	if to.state == paused {
		still-- // the two change places
	}
	if still >= q.paused {
		return nil
	}
	var most *entry
	for _, e := range q.boxes {
		if e.state != running || e.used <= slice {
			continue
		}
		if most == nil || q.debt(e) > q.debt(most) {
			most = e
		}
	}
	switch {
	case most == nil:
		return nil
	case !q.long(to):
		return most
	case q.debt(to)+slice < q.debt(most) && q.count(func(e *entry) bool { return e.state == waiting && !q.long(e) }) == 0:
		return most // with a short box that still waits, a box that ends helps more
	}
	return nil
}

// position is the number of a box that waits in the queue: those who have used less come before it.
func (q *queue) position(e *entry) int {
	q.mu.Lock()
	defer q.mu.Unlock()
	at := slices.Index(q.boxes, e)
	if at < 0 || e.state != waiting {
		return 0
	}
	n := 1
	for i, o := range q.boxes {
		if o != e && o.state == waiting && (q.before(o, e) || i < at && !q.before(e, o)) {
			n++
		}
	}
	return n
}

// watch notes what a box has used, and says what is to become of it.
func (q *queue) watch(e *entry, used time.Duration) sandbox.Next {
	q.mu.Lock()
	defer q.mu.Unlock()
	e.used = used
	q.next()
	if e.state == paused {
		return sandbox.Pause
	}
	if used > boxTime && slices.ContainsFunc(q.boxes, func(o *entry) bool {
		return o != e && o.state != running && q.now().Sub(o.since) > waits && q.debt(o) < q.debt(e)
	}) {
		e.early = true
		return sandbox.End
	}
	return sandbox.Continue
}

// isAway reports whether a box that has begun runs on another machine.
func (q *queue) isAway(e *entry) bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	return e.state == elsewhere
}

// length is how many boxes run, and how many wait or stand still.
func (q *queue) length() (run, wait int) {
	q.mu.Lock()
	defer q.mu.Unlock()
	run = q.count(func(e *entry) bool { return e.state == running || e.state == elsewhere })
	return run, len(q.boxes) - run
}

// A turn runs the boxes of one student when it is their turn.
type turn struct {
	queue  *queue
	who    string
	runner page.Runner
}

func (t turn) RunBox(ctx context.Context, b page.Box) (page.Result, error) {
	afar, can := t.runner.(interface {
		RunAway(context.Context, page.Box) (r page.Result, rest page.Box, ok bool)
	})
	e, err := t.queue.enter(ctx, t.who, b.Idle, !can || b.Supply == nil, b.Log)
	if errors.Is(err, errTwo) {
		return page.Result{Trouble: []page.Trouble{{Text: "Not run: " + err.Error() + "."}}}, nil
	}
	if err != nil {
		return page.Result{}, err
	}
	var r page.Result
	defer func() { t.queue.leave(e, r.Used) }()
	if t.queue.isAway(e) {
		result, rest, ok := afar.RunAway(ctx, b)
		if ok {
			r = result
			return r, nil
		}
		b = rest
		if err := t.queue.again(ctx, e, result.Used, b.Log); err != nil {
			return page.Result{}, err
		}
	}
	last := sandbox.Continue
	b.Watch = func(used time.Duration) sandbox.Next {
		next := t.queue.watch(e, used)
		if !b.Idle && next != last {
			switch {
			case next == sandbox.Pause:
				b.Log("paused, since boxes wait that have used less")
			case next == sandbox.Continue:
				b.Log("running")
			}
		}
		last = next
		return next
	}
	r, err = t.runner.RunBox(ctx, b)
	if e.early && err == nil {
		r.Trouble = []page.Trouble{{Text: fmt.Sprintf("Stopped after %g s of processor time, since others who have used less are waiting. Does a loop never end? "+
			"If it does end, run it again when the queue is short. Your text is saved.", boxTime.Seconds())}}
	}
	return r, err
}
