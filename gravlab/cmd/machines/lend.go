package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"gravity.example/gravlab/machines/pipe"
)

// lend fetches errands, as many at once as there are places, and puts what came back into the
// bucket.
func (s *station) lend(ctx context.Context, l *link) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	var mu sync.Mutex
	running := map[string]jetstream.Msg{}
	var heard atomic.Int64
	hear := func() { heard.Store(time.Now().UnixNano()) }
	silent := func() time.Duration { return time.Since(time.Unix(0, heard.Load())) } // the program beside
	hear()
	places := make(chan struct{}, s.o.places)
	name, _ := os.Hostname()
	name = fmt.Sprintf("%s (%d)", name, os.Getpid())
	if s.o.name != "" {
		name = s.o.name
	}

	say := func() {
		mu.Lock()
		defer mu.Unlock()
		s.nc.Publish("gravlab.here."+s.o.version, fmt.Appendf(nil, "%d %d %s", s.o.places, len(running), name))
	}
	// Errands under way are kept, as long as the program beside this one is alive.
	go func() {
		for t := time.Tick(s.o.ackWait / 15); ; {
			select {
			case <-ctx.Done():
				return
			case <-t:
			}
			if silent() > 10*time.Second {
				continue
			}
			say()
			mu.Lock()
			for _, m := range running {
				m.InProgress()
			}
			mu.Unlock()
		}
	}()
	boxes, err := s.lendBoxes(l, places, func() bool { return silent() < 3*time.Second })
	if err != nil {
		return err
	}
	go func() {
		for told := false; ctx.Err() == nil; {
			select {
			case places <- struct{}{}:
				<-places // one is free
			case <-ctx.Done():
				return
			}
			m, err := s.next(ctx, &mu)
			if err != nil || m == nil {
				if err != nil {
					if !told && (errors.Is(err, jetstream.ErrConsumerNotFound) || errors.Is(err, jetstream.ErrStreamNotFound) || errors.Is(err, jetstream.ErrBucketNotFound)) {
						l.note("no errands yet for machines of this version (%s): the one who marks has another gravlab, Go or architecture, or has not begun. Boxes of a lab hour come all the same", s.o.version)
						told = true
					}
					time.Sleep(time.Second)
				}
				continue
			}
			key := m.Subject()[strings.LastIndex(m.Subject(), ".")+1:]
			body, err := s.unpack(ctx, m.Data())
			if err != nil {
				if l.note("an errand cannot be used: %v", err); errors.Is(err, errForeign) {
					m.Term() // filled by others
				} else {
					m.NakWithDelay(s.o.ackWait / 6) // the server may have been away
				}
				continue
			}
			mu.Lock()
			running[key] = m
			mu.Unlock()
			select {
			case places <- struct{}{}: // boxes may have come in between
			case <-ctx.Done():
				return
			}
			l.send(pipe.Message{Kind: pipe.Put, Key: key, Body: body})
		}
	}()
	var bringing sync.WaitGroup
	for {
		var m pipe.Message
		if err := l.dec.Decode(&m); err != nil {
			if !s.nc.IsConnected() {
				return nil
			}
			brought := make(chan struct{})
			go func() { bringing.Wait(); close(brought) }()
			select {
			case <-brought:
			case <-time.After(s.o.tryFor):
			}
			mu.Lock()
			for _, job := range running { // another machine may have them at once
				job.Nak()
			}
			mu.Unlock()
			s.nc.FlushTimeout(s.o.tryFor)
			return nil
		}
		hear()
		if m.Kind == pipe.Beat || boxes.back(m) {
			continue
		}
		mu.Lock()
		job := running[m.Key]
		mu.Unlock()
		if job == nil {
			continue
		}
		// While the server is away, what came back waits, and the program beside this one is
		// still heard.
		bringing.Go(func() {
			if m.Kind == pipe.Back {
				s.bring(ctx, l, job, name, m)
			} else {
				l.note("the notebook %.12s could not be run here: %s", m.Key, m.Text)
				job.NakWithDelay(s.o.ackWait / 6)
			}
			mu.Lock()
			delete(running, m.Key)
			mu.Unlock()
			say()
			<-places
		})
	}
}

// next is the next errand, nil if none came in some seconds.
func (s *station) next(ctx context.Context, mu *sync.Mutex) (jetstream.Msg, error) {
	if s.objects == nil {
		objects, err := s.js.ObjectStore(ctx, bigName)
		if err != nil {
			return nil, err
		}
		mu.Lock()
		s.objects = objects
		mu.Unlock()
	}
	if s.queue == nil {
		queue, err := s.js.Consumer(ctx, jobsName, s.consumer())
		if err != nil {
			return nil, err
		}
		s.queue = queue
	}
	batch, err := s.queue.Fetch(1, jetstream.FetchMaxWait(5*time.Second))
	if err == nil {
		if m := <-batch.Messages(); m != nil {
			return m, nil
		}
		err = batch.Error()
	}
	if err != nil {
		s.queue = nil // it may have been removed
	}
	return nil, err
}

// bring stores what came back before the errand is taken out of the queue. If that fails, the
// errand comes again, here or elsewhere. The name of this machine stands in the first line.
func (s *station) bring(ctx context.Context, l *link, job jetstream.Msg, name string, m pipe.Message) {
	subject := "$KV." + backName + "." + m.Key + "." + job.Headers().Get(secretHeader)
	err := s.trying(ctx, 30, func(ctx context.Context) error {
		text, err := s.pack(ctx, "back-"+m.Key, m.Body)
		if err != nil {
			return err
		}
		if _, err := s.js.Publish(ctx, subject, append([]byte(clean([]byte(name))+"\n"), text...)); err != nil {
			return err
		}
		return job.DoubleAck(ctx)
	})
	if err != nil {
		l.note("what came back of %.12s could not be stored: %v", m.Key, err)
	}
}
