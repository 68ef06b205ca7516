package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"gravity.example/gravlab/machines/pipe"
)

const (
	// putsAtOnce is how many errands are put into the queue at the same time: one whose server is
	// away for a moment keeps only the others of these waiting.
	putsAtOnce = 32
	// reportEvery is how often it is told what each machine has done.
	reportEvery = 10 * time.Second
)

// A posting is the side that marks: it puts errands into the queue and hands on what comes back.
type posting struct {
	*station
	l      *link
	stop   context.CancelCauseFunc
	others crowd

	mu      sync.Mutex
	waits   map[string]bool // errands that have not come back
	sent    map[string]bool // those of them that have reached the queue
	big     map[string]bool // those with something in the object store
	present map[string]bool // outcomes that came while nobody waited for them, since the last time
}

// mark publishes errands and hands on what comes back, until the program beside this one ends.
func (s *station) mark(ctx context.Context, l *link) error {
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	p := &posting{station: s, l: l, stop: stop, waits: map[string]bool{}, sent: map[string]bool{}, big: map[string]bool{}, present: map[string]bool{}}
	// The advisory of an errand that was taken three times and not brought back.
	if _, err := s.nc.Subscribe("$JS.EVENT.ADVISORY.CONSUMER.MAX_DELIVERIES."+jobsName+"."+s.consumer(), func(m *nats.Msg) { p.advised(ctx, m) }); err != nil {
		return err
	}
	if _, err := s.nc.Subscribe("gravlab.here.>", func(m *nats.Msg) {
		if h, ok := hereOf(m); ok && p.others.saw(h) {
			l.note("%s", h.told(s.o.version))
		}
	}); err != nil {
		return err
	}
	go p.each(ctx, reportEvery, p.report)
	defer p.report()
	var last map[string]bool
	go p.each(ctx, s.o.ackWait, func() { last = p.lookFor(ctx, last) })
	if err := p.watch(ctx); err != nil {
		return err
	}
	under := make(chan struct{}, putsAtOnce)
	background := func(do func()) {
		under <- struct{}{}
		go func() {
			defer func() { <-under }()
			do()
		}()
	}
	for {
		var m pipe.Message
		if err := l.dec.Decode(&m); err != nil {
			if context.Cause(ctx) != nil {
				return context.Cause(ctx)
			}
			if errors.Is(err, io.EOF) {
				return nil
			}
			return err
		}
		switch m.Kind {
		case pipe.Put:
			p.mu.Lock()
			p.waits[m.Key], p.big[m.Key] = true, len(m.Body) > large
			known := p.present[m.Key]
			delete(p.present, m.Key)
			p.mu.Unlock()
			background(func() { p.put(ctx, m, known) })
		case pipe.Done:
			background(func() { p.done(ctx, m.Key) })
		case pipe.Distrust:
			// What lies there counts no more: the next call has another secret.
			if err := os.Remove(filepath.Join(s.o.dir, secretName)); err != nil && !errors.Is(err, fs.ErrNotExist) {
				l.note("remove %s before you mark again: %v", filepath.Join(s.o.dir, secretName), err)
			}
		}
	}
}

// each does something again and again until ctx ends.
func (p *posting) each(ctx context.Context, every time.Duration, do func()) {
	for t := time.Tick(every); ; {
		select {
		case <-ctx.Done():
			return
		case <-t:
			do()
		}
	}
}

func (p *posting) report() {
	p.mu.Lock()
	waiting := len(p.waits)
	p.mu.Unlock()
	p.others.report(p.l, waiting)
}

// outcome is the name of an errand's outcome in the bucket.
func (p *posting) outcome(key string) string { return key + "." + p.secretOf(key) }

func (p *posting) mine(key string) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.waits[key]
}

// came reports whether an errand was waited for, and ends the wait.
func (p *posting) came(key string) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	ok := p.waits[key]
	delete(p.waits, key)
	delete(p.sent, key)
	return ok
}

// here gives an errand back empty: then it is run by who asked.
func (p *posting) here(key, why string) {
	if p.came(key) {
		p.l.note("the notebook %.12s is run here: %s", key, why)
		p.l.send(pipe.Message{Kind: pipe.Back, Key: key})
	}
}

func (p *posting) setAside(ctx context.Context, key string, seq uint64) {
	p.jobs.DeleteMsg(ctx, seq)
	if p.came(key) {
		p.l.send(pipe.Message{Kind: pipe.Fault, Key: key, Text: fmt.Sprintf("%d machines took the notebook %.12s and none brought it back", mostRuns, key)})
	}
}

func (p *posting) deliver(ctx context.Context, key string, text []byte) {
	if !p.mine(key) {
		return
	}
	name, text, _ := bytes.Cut(text, []byte("\n"))
	if len(text) > 0 && text[0] == '>' {
		p.mu.Lock()
		p.big[key] = true
		p.mu.Unlock()
	}
	body, err := p.unpack(ctx, text)
	switch {
	case errors.Is(err, errForeign), errors.Is(err, errUnusable):
		p.here(key, fmt.Sprintf("what came back of it cannot be used: %v", err))
	case err != nil:
		p.l.note("what came back of %.12s cannot be fetched yet: %v", key, err) // see lost
	case p.came(key):
		p.others.brought(clean(name))
		p.l.send(pipe.Message{Kind: pipe.Back, Key: key, Body: body, Text: clean(name)})
	}
}

func (p *posting) advised(ctx context.Context, m *nats.Msg) {
	var at struct {
		Seq uint64 `json:"stream_seq"`
	}
	if json.Unmarshal(m.Data, &at) != nil {
		return
	}
	if job, err := p.jobs.GetMsg(ctx, at.Seq); err == nil {
		p.setAside(ctx, job.Subject[strings.LastIndex(job.Subject, ".")+1:], at.Seq)
	}
}

// lookFor looks for what has not come back. Whoever has an errand may say that it is done and store
// nothing, and an advisory is told once, whether or not this side is there to hear it. So it begins
// when nothing waits in the queue and nothing is under way; what is missing then, and is missing
// when it is called again with what it returns, is lost.
func (p *posting) lookFor(ctx context.Context, last map[string]bool) (missing map[string]bool) {
	p.mu.Lock()
	missing = maps.Clone(p.sent)
	p.mu.Unlock()
	if len(missing) == 0 {
		return nil
	}
	if c, err := p.jobs.Consumer(ctx, p.consumer()); err != nil || c.CachedInfo().NumPending > 0 || c.CachedInfo().NumAckPending > 0 {
		return nil
	}
	for key := range missing {
		if last[key] {
			p.lost(ctx, key)
		}
	}
	return missing
}

func (p *posting) lost(ctx context.Context, key string) {
	e, err := p.back.Get(ctx, p.outcome(key))
	if err == nil {
		p.deliver(ctx, key, e.Value())
		return
	}
	if !errors.Is(err, jetstream.ErrKeyNotFound) {
		return
	}
	job, err := p.jobs.GetLastMsgForSubject(ctx, p.subject(key))
	switch {
	case err == nil:
		p.setAside(ctx, key, job.Sequence)
	case errors.Is(err, jetstream.ErrMsgNotFound):
		p.here(key, "it is no longer in the queue, and nothing came back")
	}
}

// watch hands on the outcomes as they come, until ctx ends, and returns when those of the last time
// have been seen. A watch of the bucket finds out by itself, in a quarter of a minute, that the
// server was away; this one is told.
func (p *posting) watch(ctx context.Context) error {
	again := make(chan struct{}, 1)
	known := p.nc.Opts.ReconnectedCB
	p.nc.SetReconnectHandler(func(nc *nats.Conn) {
		known(nc)
		select {
		case again <- struct{}{}:
		default:
		}
	})
	seen := make(chan struct{})
	go func() {
		first := sync.OnceFunc(func() { close(seen) })
		for ctx.Err() == nil {
			watch, err := p.back.WatchAll(ctx, jetstream.IgnoreDeletes())
			if err != nil {
				time.Sleep(time.Second)
				continue
			}
			for more := true; more; {
				select {
				case e, ok := <-watch.Updates():
					switch {
					case !ok:
						more = false
					case e == nil:
						first()
					default:
						p.take(ctx, e)
					}
				case <-again:
					more = false
				}
			}
			watch.Stop()
		}
	}()
	select {
	case <-seen:
		return nil
	case <-time.After(time.Minute):
		return errors.New("the outcomes that lie on the server cannot be read")
	}
}

func (p *posting) take(ctx context.Context, e jetstream.KeyValueEntry) {
	key, _, _ := strings.Cut(e.Key(), ".")
	if e.Key() != p.outcome(key) {
		// Others may mark on the same server, and what comes back for them is theirs.
		if p.mine(key) {
			p.l.note("an outcome of %.12s was written by a machine that was not given that notebook: it does not count. Find out who has the credentials of those who lend", key)
		}
		return
	}
	p.mu.Lock()
	if !p.waits[key] {
		p.present[key] = true
	}
	p.mu.Unlock()
	p.deliver(ctx, key, e.Value())
}

// put publishes an errand. known says that its outcome lies there from the last time.
func (p *posting) put(ctx context.Context, m pipe.Message, known bool) {
	if known {
		if e, err := p.back.Get(ctx, p.outcome(m.Key)); err == nil {
			p.deliver(ctx, m.Key, e.Value())
		}
		if !p.mine(m.Key) {
			return
		}
	}
	err := p.trying(ctx, 60, func(ctx context.Context) error {
		text, err := p.pack(ctx, "job-"+m.Key, m.Body)
		if err != nil {
			return err
		}
		job := nats.NewMsg(p.subject(m.Key))
		job.Data = text
		job.Header.Set(secretHeader, p.secretOf(m.Key))
		_, err = p.js.PublishMsg(ctx, job)
		return err
	})
	p.mu.Lock()
	if p.waits[m.Key] {
		p.sent[m.Key] = true
	}
	p.mu.Unlock()
	if err != nil && ctx.Err() == nil {
		err = fmt.Errorf("an errand could not be put into the queue: %w", err)
		p.stop(err)
		p.l.send(pipe.Message{Kind: pipe.End, Text: err.Error()})
	}
}

// done removes what is left of an errand whose outcome was taken.
func (p *posting) done(ctx context.Context, key string) {
	p.mu.Lock()
	was := p.big[key]
	delete(p.big, key)
	p.mu.Unlock()
	p.back.Purge(ctx, p.outcome(key))
	if was {
		p.objects.Delete(ctx, "job-"+key)
		p.objects.Delete(ctx, "back-"+key)
	}
}

func clean(b []byte) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return '?'
		}
		return r
	}, string(b[:min(len(b), 60)]))
}

// A here is what a machine that lends says of itself now and then.
type here struct {
	version, name   string
	places, running int
}

func hereOf(m *nats.Msg) (h here, ok bool) {
	h.version = strings.TrimPrefix(m.Subject, "gravlab.here.")
	words := strings.SplitN(string(m.Data), " ", 3)
	if len(words) < 3 {
		return h, false
	}
	for i, n := range []*int{&h.places, &h.running} {
		if _, err := fmt.Sscan(words[i], n); err != nil || *n < 0 || *n > 1e9 {
			return h, false
		}
	}
	h.places = min(h.places, 1024)
	h.name = clean([]byte(words[2]))
	return h, true
}

// told is what a person is told of a machine of some version when it is first seen.
func (h here) told(version string) string {
	if h.version != version {
		return h.name + " lends its processors, but its gravlab, Go or architecture is another: it gets no work. Update it"
	}
	return fmt.Sprintf("%s lends its processors, %d at once", h.name, h.places)
}

// A crowd are the machines that lend, by name.
type crowd struct {
	mu   sync.Mutex
	all  map[string]here
	done map[string]int // errands that came back from each
	said string
}

// brought counts an errand that came back.
func (c *crowd) brought(name string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.done == nil {
		c.done = map[string]int{}
	}
	c.done[name]++
}

// saw reports whether a machine is new.
func (c *crowd) saw(h here) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	old, known := c.all[h.name]
	if c.all == nil {
		c.all = map[string]here{}
	}
	c.all[h.name] = h
	return !known || old.version != h.version
}

// report tells how many notebooks wait and what each machine has done, if that has changed.
func (c *crowd) report(l *link, waiting int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	var words []string
	for _, h := range slices.SortedFunc(maps.Values(c.all), func(a, b here) int { return cmp.Compare(a.name, b.name) }) {
		switch done := c.done[h.name]; {
		case waiting > 0 && h.running > 0:
			words = append(words, fmt.Sprintf("%s: %d done, %d running", h.name, done, h.running))
			waiting -= h.running
		case done > 0:
			words = append(words, fmt.Sprintf("%s: %d done", h.name, done))
		}
	}
	if len(words) > 0 && waiting > 0 {
		words = append([]string{fmt.Sprintf("%d waiting", waiting)}, words...)
	}
	if text := strings.Join(words, "; "); text != c.said {
		c.said = text
		l.note("%s", text)
	}
}
