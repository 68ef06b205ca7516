package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"sync"
	"time"

	"github.com/nats-io/nats.go"

	"gravity.example/gravlab/machines/pipe"
)

// A box of a lab hour goes as a request to one machine of a queue group, to "gravlab.boxes." and
// the version. What the machine says comes to a subject that holds a secret of this request, so
// that no other machine can say it: the first byte is one of these, and the rest what belongs to
// it.
const (
	saysFull   = 'n' // no place is free
	saysTaken  = 'y' // it runs, and is told again each second
	saysBack   = '=' // what came back
	saysFailed = 'f' // why it could not be run
)

const (
	takenIn   = time.Second      // a machine that does not say so soon that it took a box is not there
	beatIn    = 3 * time.Second  // nor is one that was silent for so long
	broughtIn = 40 * time.Second // and a box that takes so long is run by who asked
	// largest is what fits into a message; more is run by who asked.
	largest = 1<<20 - 4096
	// heardFor is how long a machine counts as there after it has said so.
	heardFor = 6 * time.Second
)

// boxes hands out boxes until the program beside this one ends.
func (s *station) boxes(ctx context.Context, l *link) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	var mu sync.Mutex
	type lent struct {
		places int
		heard  time.Time
	}
	there := map[string]lent{}
	_, err := s.nc.Subscribe("gravlab.here.>", func(m *nats.Msg) {
		h, ok := hereOf(m)
		if !ok {
			return
		}
		mu.Lock()
		defer mu.Unlock()
		if _, known := there[h.name]; !known {
			l.note("%s", h.told(s.o.version))
		}
		if h.version != s.o.version {
			h.places = 0
		}
		there[h.name] = lent{h.places, time.Now()}
	})
	if err != nil {
		return err
	}
	go func() {
		told := -1
		for t := time.Tick(500 * time.Millisecond); ; {
			select {
			case <-ctx.Done():
				return
			case <-t:
			}
			n := 0
			mu.Lock()
			for name, m := range there {
				if time.Since(m.heard) > heardFor {
					delete(there, name)
					l.note("%s has not been heard of for %v and gets no boxes", name, heardFor)
					continue
				}
				n += m.places
			}
			mu.Unlock()
			if n != told && l.send(pipe.Message{Kind: pipe.Places, Text: fmt.Sprint(n)}) == nil {
				told = n
			}
		}
	}()
	for {
		var m pipe.Message
		if err := l.dec.Decode(&m); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
		if m.Kind != pipe.Box {
			continue
		}
		go func() {
			body, err := s.request(ctx, m.Body)
			if err != nil {
				l.send(pipe.Message{Kind: pipe.Fault, Key: m.Key, Text: err.Error()})
				return
			}
			l.send(pipe.Message{Kind: pipe.Back, Key: m.Key, Body: body})
		}()
	}
}

// request has a box run, and returns what came back.
func (s *station) request(ctx context.Context, body []byte) ([]byte, error) {
	if len(body) > largest {
		return nil, fmt.Errorf("the box has %d bytes with what it may ask for; more than %d are not sent", len(body), largest)
	}
	ctx, stop := context.WithTimeout(ctx, broughtIn)
	defer stop()
	answers := "gravlab.brought." + rand.Text()
	sub, err := s.nc.SubscribeSync(answers)
	if err != nil {
		return nil, err
	}
	defer sub.Unsubscribe()
	if err := s.nc.PublishRequest("gravlab.boxes."+s.o.version, answers, body); err != nil {
		return nil, err
	}
	for wait := takenIn; ; wait = beatIn {
		next, done := context.WithTimeout(ctx, wait)
		m, err := sub.NextMsgWithContext(next)
		done()
		switch {
		case err != nil:
			return nil, errors.New("the machine that has the box is not heard of any more")
		case m.Header.Get("Status") == "503":
			return nil, errors.New("no machine is there")
		case len(m.Data) == 0:
			return nil, errors.New("what came back is empty")
		}
		switch m.Data[0] {
		case saysTaken:
		case saysBack:
			return m.Data[1:], nil
		case saysFull:
			return nil, errors.New("no place is free there")
		default:
			return nil, errors.New(clean(m.Data[1:]))
		}
	}
}

// A hall holds the boxes that run here for others.
type hall struct {
	mu    sync.Mutex
	asked int
	under map[string]func(says byte, body []byte)
}

// lendBoxes takes boxes while places are free and the program beside this one is alive.
func (s *station) lendBoxes(l *link, places chan struct{}, alive func() bool) (*hall, error) {
	h := &hall{under: map[string]func(byte, []byte){}}
	_, err := s.nc.QueueSubscribe("gravlab.boxes."+s.o.version, "lend", func(m *nats.Msg) {
		say := func(says byte, body []byte) { s.nc.Publish(m.Reply, append([]byte{says}, body...)) }
		if m.Reply == "" {
			return
		}
		if !alive() {
			say(saysFull, nil)
			return
		}
		select {
		case places <- struct{}{}:
		default:
			say(saysFull, nil)
			return
		}
		ended := make(chan struct{})
		h.mu.Lock()
		h.asked++
		key := fmt.Sprintf("box-%d", h.asked)
		h.under[key] = func(says byte, body []byte) {
			close(ended)
			say(says, body)
			<-places
		}
		h.mu.Unlock()
		say(saysTaken, nil)
		go func() {
			for t := time.Tick(time.Second); ; {
				select {
				case <-ended:
					return
				case <-t:
					if alive() {
						say(saysTaken, nil)
					}
				}
			}
		}()
		l.send(pipe.Message{Kind: pipe.Put, Key: key, Body: m.Data})
	})
	return h, err
}

// back takes what the program beside this one says of a box, and reports whether it was one.
func (h *hall) back(m pipe.Message) bool {
	h.mu.Lock()
	answer := h.under[m.Key]
	delete(h.under, m.Key)
	h.mu.Unlock()
	switch {
	case answer == nil:
		return false
	case m.Kind != pipe.Back:
		answer(saysFailed, []byte(m.Text))
	case len(m.Body) > largest:
		answer(saysFailed, fmt.Appendf(nil, "what came back has %d bytes", len(m.Body)))
	default:
		answer(saysBack, m.Body)
	}
	return true
}
