package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"gravity.example/gravlab/machines/pipe"
)

// mark publishes errands and hands on what comes back, until the program beside this one ends.
func (s *station) mark(ctx context.Context, l *link) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	var mu sync.Mutex
	waits := map[string]bool{}
	early := map[string]bool{}   // came back before anyone waited for it: the errand of an earlier call
	objects := map[string]bool{} // what lies in the object store
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
			mu.Lock()
			early[key] = true
			mu.Unlock()
			return
		}
		if isObject(text) {
			mu.Lock()
			objects["back-"+key] = true
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
	others := map[string]bool{}
	_, err = s.nc.Subscribe("gravlab.here.>", func(m *nats.Msg) {
		version, name := strings.TrimPrefix(m.Subject, "gravlab.here."), clean(m.Data)
		known := version + " " + name
		if others[known] {
			return
		}
		others[known] = true
		if version == s.o.version {
			l.note("%s lends its processors", name)
		} else {
			l.note("%s lends its processors, but its gravlab, Go or architecture is another: it gets no work. Update it", name)
		}
	})
	if err != nil {
		return err
	}
	watch, err := s.back.WatchAll(ctx, jetstream.IgnoreDeletes())
	if err != nil {
		return err
	}
	all := make(chan struct{}) // closed when what lay there at the start has been seen
	go func() {
		for e := range watch.Updates() {
			if e != nil {
				deliver(e.Key(), e.Value())
			} else {
				close(all)
			}
		}
	}()
	select {
	case <-all:
	case <-time.After(time.Minute):
		return errors.New("the server does not say what has come back")
	}
	for {
		var m pipe.Message
		if err := l.dec.Decode(&m); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
		switch m.Kind {
		case pipe.Put:
			mu.Lock()
			waits[m.Key] = true
			known := early[m.Key]
			delete(early, m.Key)
			if len(m.Body) > large {
				objects["job-"+m.Key] = true
			}
			mu.Unlock()
			if known {
				if e, err := s.back.Get(ctx, m.Key); err == nil {
					deliver(m.Key, e.Value())
					if !mine(m.Key, false) {
						continue
					}
				}
			}
			if err := s.put(ctx, m); err != nil {
				return fmt.Errorf("an errand could not be put into the queue: %w", err)
			}
		case pipe.Done:
			s.back.Purge(ctx, m.Key)
			for _, name := range []string{"job-" + m.Key, "back-" + m.Key} {
				mu.Lock()
				there := objects[name]
				delete(objects, name)
				mu.Unlock()
				if there {
					s.objects.Delete(ctx, name)
				}
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
		try, stop := context.WithTimeout(ctx, 10*time.Second)
		var text []byte
		if text, err = s.pack(try, "job-"+m.Key, m.Body); err == nil {
			_, err = s.js.Publish(try, s.subject(m.Key), text)
		}
		stop()
		if err == nil {
			return nil
		}
		time.Sleep(time.Second)
	}
	return err
}
