package kernel

import (
	"context"
	"sync"
)

// A monitor watches a kernel of ours as one more client: it knows which cell
// runs.
type monitor struct {
	client *client
	done   chan struct{}

	mu   sync.Mutex
	busy string // id of the request to run a cell, or ""
}

// startMonitor connects, and on the way turns off GoNB's `go get` before each
// cell: nothing is fetched, and a cell is 30 to 45 ms quicker. There is no flag
// for it. atIdle is called after each cell.
func startMonitor(ctx context.Context, conn connection, gone <-chan struct{}, atIdle func()) (*monitor, error) {
	ctx, cancel := context.WithTimeout(ctx, dialTime)
	defer cancel()
	// A kernel that cannot bind its ports ends at once.
	c, err := dial(ctx, conn, gone, iopubChannel, shellChannel)
	if err != nil {
		return nil, err
	}
	m := &monitor{client: c, done: make(chan struct{})}
	id, err := c.send(shellChannel, "execute_request", executeRequest("%noautoget", true))
	if err != nil {
		c.close()
		return nil, orGone(ctx, err, gone)
	}
	for answered := false; !answered; {
		select {
		case msg := <-c.in:
			m.note(msg)
			answered = msg.header.MsgType == "execute_reply" && msg.parent.MsgID == id
		case <-gone:
			c.close()
			return nil, errGone
		case <-ctx.Done():
			c.close()
			return nil, ctx.Err()
		}
	}
	go func() {
		defer close(m.done)
		for {
			select {
			case msg := <-c.in:
				if m.note(msg) {
					atIdle()
				}
			case <-gone:
				return
			case <-m.client.closed:
				return
			}
		}
	}()
	return m, nil
}

// note keeps the state and reports whether a cell has just ended. Other requests
// than to run a cell, and the monitor's own, are over in no time: an interrupt
// is never meant for them, but for the cell that follows.
func (m *monitor) note(msg message) (idle bool) {
	if msg.parent.MsgType != "execute_request" || msg.parent.Session == m.client.session {
		return false
	}
	switch status(msg) {
	case "busy":
		m.mu.Lock()
		m.busy = msg.parent.MsgID
		m.mu.Unlock()
	case "idle":
		m.mu.Lock()
		m.busy = ""
		m.mu.Unlock()
		return true
	}
	return false
}

// busyWith returns the id of the request whose cell runs, or "".
func (m *monitor) busyWith() string {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.busy
}

func (m *monitor) close() {
	m.client.close()
	<-m.done
}
