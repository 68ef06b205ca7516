package teach

import (
	"sync"
	"time"
)

// A bucket counts failures: it holds some, and forgets one in each while.
type bucket struct {
	failures float64
	at       time.Time
}

// A limit is how many failures a bucket holds, and how long one counts.
type limit struct {
	most float64
	each time.Duration
}

// Limits on codes that open nothing. A right code is taken however full the buckets of its
// address and of all are, so that no one behind the address of a class locks out the rest of it:
// only the bucket of its own card counts, and that card has to be named rightly (15 bits) by
// whoever wants to fill it.
var (
	perAddress = limit{30, 2 * time.Second}
	inAll      = limit{300, 500 * time.Millisecond}
	perCard    = limit{10, 30 * time.Second}
)

// limiter keeps the buckets. The time is monotonic, so that a clock that is set back
// changes nothing.
type limiter struct {
	mu    sync.Mutex
	names map[string]*bucket
	now   func() time.Time
}

func newLimiter() *limiter { return &limiter{names: map[string]*bucket{}, now: time.Now} }

// full reports whether a bucket is full.
func (l *limiter) full(name string, of limit) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	b := l.drained(name, of)
	return b != nil && b.failures > of.most-1
}

// add counts a failure.
func (l *limiter) add(name string, of limit) {
	l.mu.Lock()
	defer l.mu.Unlock()
	b := l.drained(name, of)
	if b == nil {
		if len(l.names) > 10_000 {
			clear(l.names) // addresses without end; the bucket of all stays full by itself
		}
		b = &bucket{at: l.now()}
		l.names[name] = b
	}
	b.failures = min(b.failures+1, of.most)
}

// drained forgets what is past.
func (l *limiter) drained(name string, of limit) *bucket {
	b := l.names[name]
	if b == nil {
		return nil
	}
	now := l.now()
	b.failures = max(0, b.failures-now.Sub(b.at).Seconds()/of.each.Seconds())
	b.at = now
	return b
}
