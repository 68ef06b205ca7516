package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
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
	big := map[string]bool{}     // those with something in the object store
	present := map[string]bool{} // outcomes that came while nobody waited for them, since the last time
	mine := func(key string, done bool) bool {
		mu.Lock()
		defer mu.Unlock()
		ok := waits[key]
		if done {
			delete(waits, key)
		}
		return ok
	}
	deliver := func(key string, text []byte) {
		if !mine(key, false) {
			return
		}
		if len(text) > 0 && text[0] == '>' {
			mu.Lock()
			big[key] = true
			mu.Unlock()
		}
		body, err := s.unpack(ctx, text)
		if err != nil {
			l.note("what came back of %.12s cannot be used: %v", key, err)
			return
		}
		if mine(key, true) {
			l.send(pipe.Message{Kind: pipe.Back, Key: key, Body: body})
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
		if mine(key, true) {
			l.send(pipe.Message{Kind: pipe.Fault, Key: key, Text: fmt.Sprintf("%d machines took the notebook %.12s and none brought it back", mostRuns, key)})
		}
	})
	if err != nil {
		return err
	}
	var others crowd
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
				others.report(l)
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
			l.note("an outcome of %.12s was written by a machine that was not given that notebook: it does not count. Find out who has the credentials of those who lend", clean([]byte(key)))
			s.back.Purge(ctx, e.Key())
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
			others.report(l)
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
				if err := s.put(ctx, m); err != nil && ctx.Err() == nil {
					err = fmt.Errorf("an errand could not be put into the queue: %w", err)
					stop(err)
					l.send(pipe.Message{Kind: pipe.End, Text: err.Error()})
				}
			}()
		case pipe.Done:
			s.back.Purge(ctx, m.Key+"."+s.secretOf(m.Key))
			mu.Lock()
			was := big[m.Key]
			delete(big, m.Key)
			mu.Unlock()
			if was {
				s.objects.Delete(ctx, "job-"+m.Key)
				s.objects.Delete(ctx, "back-"+m.Key)
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
	version, name         string
	places, running, done int
}

func hereOf(m *nats.Msg) (h here, ok bool) {
	h.version = strings.TrimPrefix(m.Subject, "gravlab.here.")
	words := strings.SplitN(string(m.Data), " ", 4)
	if len(words) < 4 {
		return h, false
	}
	for i, n := range []*int{&h.places, &h.running, &h.done} {
		if _, err := fmt.Sscan(words[i], n); err != nil || *n < 0 || *n > 1e9 {
			return h, false
		}
	}
	h.places = min(h.places, 1024)
	h.name = clean([]byte(words[3]))
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
	said string
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

// report tells what each machine has done, if that has changed.
func (c *crowd) report(l *link) {
	c.mu.Lock()
	defer c.mu.Unlock()
	var words []string
	for _, h := range slices.SortedFunc(maps.Values(c.all), func(a, b here) int { return cmp.Compare(a.name, b.name) }) {
		if h.running > 0 || h.done > 0 {
			words = append(words, fmt.Sprintf("%s: %d done, %d running", h.name, h.done, h.running))
		}
	}
	if text := strings.Join(words, "; "); text != c.said {
		c.said = text
		l.note("%s", text)
	}
}
