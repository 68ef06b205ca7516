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

// mark publishes errands and hands on what comes back, until the program beside this one ends.
func (s *station) mark(ctx context.Context, l *link) error {
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	var mu sync.Mutex
	waits := map[string]bool{}   // errands that have not come back
	sent := map[string]bool{}    // those of them that have reached the queue
	big := map[string]bool{}     // those with something in the object store
	present := map[string]bool{} // outcomes that came while nobody waited for them, since the last time
	mine := func(key string, done bool) bool {
		mu.Lock()
		defer mu.Unlock()
		ok := waits[key]
		if done {
			delete(waits, key)
			delete(sent, key)
		}
		return ok
	}
	// An errand that comes back empty is run by who asked.
	here := func(key, why string) {
		if mine(key, true) {
			l.note("the notebook %.12s is run here: %s", key, why)
			l.send(pipe.Message{Kind: pipe.Back, Key: key})
		}
	}
	setAside := func(key string) {
		if mine(key, true) {
			l.send(pipe.Message{Kind: pipe.Fault, Key: key, Text: fmt.Sprintf("%d machines took the notebook %.12s and none brought it back", mostRuns, key)})
		}
	}
	var others crowd
	deliver := func(key string, text []byte) {
		if !mine(key, false) {
			return
		}
		name, text, _ := bytes.Cut(text, []byte("\n"))
		if len(text) > 0 && text[0] == '>' {
			mu.Lock()
			big[key] = true
			mu.Unlock()
		}
		body, err := s.unpack(ctx, text)
		switch {
		case errors.Is(err, errForeign), errors.Is(err, errUnusable):
			here(key, fmt.Sprintf("what came back of it cannot be used: %v", err))
		case err != nil:
			l.note("what came back of %.12s cannot be fetched yet: %v", key, err) // see lost
		case mine(key, true):
			others.brought(clean(name))
			l.send(pipe.Message{Kind: pipe.Back, Key: key, Body: body, Text: clean(name)})
		}
	}
	// The advisory of an errand that was taken three times and not brought back.
	_, err := s.nc.Subscribe("$JS.EVENT.ADVISORY.CONSUMER.MAX_DELIVERIES."+jobsName+"."+s.consumer(), func(m *nats.Msg) {
		var at struct {
			Seq uint64 `json:"stream_seq"`
		}
		if json.Unmarshal(m.Data, &at) != nil {
			return
		}
		job, err := s.jobs.GetMsg(ctx, at.Seq)
		if err != nil {
			return
		}
		key := job.Subject[strings.LastIndex(job.Subject, ".")+1:]
		s.jobs.DeleteMsg(ctx, at.Seq)
		setAside(key)
	})
	if err != nil {
		return err
	}
	// Whoever has an errand may say that it is done and store nothing, and an advisory is told
	// once, whether or not this side is there to hear it. So when nothing waits in the queue and
	// nothing is under way, what has still not come back is looked for.
	lost := func(key string) {
		e, err := s.back.Get(ctx, key+"."+s.secretOf(key))
		if err == nil {
			deliver(key, e.Value())
			return
		}
		if !errors.Is(err, jetstream.ErrKeyNotFound) {
			return
		}
		job, err := s.jobs.GetLastMsgForSubject(ctx, s.subject(key))
		switch {
		case err == nil:
			s.jobs.DeleteMsg(ctx, job.Sequence)
			setAside(key)
		case errors.Is(err, jetstream.ErrMsgNotFound):
			here(key, "it is no longer in the queue, and nothing came back")
		}
	}
	go func() {
		var last map[string]bool
		for t := time.Tick(s.o.ackWait); ; {
			select {
			case <-ctx.Done():
				return
			case <-t:
			}
			mu.Lock()
			now := maps.Clone(sent)
			mu.Unlock()
			if len(now) > 0 {
				if c, err := s.jobs.Consumer(ctx, s.consumer()); err != nil || c.CachedInfo().NumPending > 0 || c.CachedInfo().NumAckPending > 0 {
					now = nil
				}
			}
			for key := range now {
				if last[key] {
					lost(key)
				}
			}
			last = now
		}
	}()
	if _, err = s.nc.Subscribe("gravlab.here.>", func(m *nats.Msg) {
		if h, ok := hereOf(m); ok && others.saw(h) {
			l.note("%s", h.told(s.o.version))
		}
	}); err != nil {
		return err
	}
	go func() {
		for t := time.Tick(reportEvery); ; {
			select {
			case <-ctx.Done():
				return
			case <-t:
				mu.Lock()
				n := len(waits)
				mu.Unlock()
				others.report(l, n)
			}
		}
	}()
	// A watch finds out by itself, in a quarter of a minute, that the server was away; this one is
	// told.
	again := make(chan struct{}, 1)
	known := s.nc.Opts.ReconnectedCB
	s.nc.SetReconnectHandler(func(nc *nats.Conn) {
		known(nc)
		select {
		case again <- struct{}{}:
		default:
		}
	})
	take := func(e jetstream.KeyValueEntry) {
		key, secret, _ := strings.Cut(e.Key(), ".")
		if secret != s.secretOf(key) {
			// Others may mark on the same server, and what comes back for them is theirs.
			if mine(key, false) {
				l.note("an outcome of %.12s was written by a machine that was not given that notebook: it does not count. Find out who has the credentials of those who lend", key)
			}
			return
		}
		mu.Lock()
		if !waits[key] {
			present[key] = true
		}
		mu.Unlock()
		deliver(key, e.Value())
	}
	seen := make(chan struct{}) // closed when the outcomes of the last time have been seen
	go func() {
		first := sync.OnceFunc(func() { close(seen) })
		for ctx.Err() == nil {
			watch, err := s.back.WatchAll(ctx, jetstream.IgnoreDeletes())
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
						take(e)
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
	case <-time.After(time.Minute):
		return errors.New("the outcomes that lie on the server cannot be read")
	}
	under := make(chan struct{}, putsAtOnce)
	for {
		var m pipe.Message
		if err := l.dec.Decode(&m); err != nil {
			mu.Lock()
			n := len(waits)
			mu.Unlock()
			others.report(l, n)
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
			mu.Lock()
			waits[m.Key], big[m.Key] = true, len(m.Body) > large
			known := present[m.Key]
			delete(present, m.Key)
			mu.Unlock()
			under <- struct{}{}
			go func() {
				defer func() { <-under }()
				if known {
					if e, err := s.back.Get(ctx, m.Key+"."+s.secretOf(m.Key)); err == nil {
						deliver(m.Key, e.Value())
					}
					if !mine(m.Key, false) {
						return
					}
				}
				err := s.put(ctx, m)
				mu.Lock()
				if waits[m.Key] {
					sent[m.Key] = true
				}
				mu.Unlock()
				if err != nil && ctx.Err() == nil {
					err = fmt.Errorf("an errand could not be put into the queue: %w", err)
					stop(err)
					l.send(pipe.Message{Kind: pipe.End, Text: err.Error()})
				}
			}()
		case pipe.Done:
			mu.Lock()
			was := big[m.Key]
			delete(big, m.Key)
			mu.Unlock()
			under <- struct{}{}
			go func() {
				defer func() { <-under }()
				s.back.Purge(ctx, m.Key+"."+s.secretOf(m.Key))
				if was {
					s.objects.Delete(ctx, "job-"+m.Key)
					s.objects.Delete(ctx, "back-"+m.Key)
				}
			}()
		case pipe.Distrust:
			// What lies there counts no more: the next call has another secret.
			if err := os.Remove(filepath.Join(s.o.dir, secretName)); err != nil && !errors.Is(err, fs.ErrNotExist) {
				l.note("remove %s before you mark again: %v", filepath.Join(s.o.dir, secretName), err)
			}
		}
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

// put publishes an errand, again and again while the server is away.
func (s *station) put(ctx context.Context, m pipe.Message) (err error) {
	for range 60 {
		try, stop := context.WithTimeout(ctx, s.o.tryFor)
		var text []byte
		if text, err = s.pack(try, "job-"+m.Key, m.Body); err == nil {
			job := nats.NewMsg(s.subject(m.Key))
			job.Data = text
			job.Header.Set(secretHeader, s.secretOf(m.Key))
			_, err = s.js.PublishMsg(try, job)
		}
		stop()
		if err == nil || ctx.Err() != nil {
			return err
		}
		time.Sleep(time.Second)
	}
	return err
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
