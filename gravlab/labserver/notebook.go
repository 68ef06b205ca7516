package labserver

import (
	"context"
	"encoding/gob"
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"syscall"
	"time"

	"github.com/janpfeifer/gonb/gonbui/protocol"
)

// GoNB gives every cell two named pipes. On one it reads a gob stream of
// protocol.DisplayData; on the other it acknowledges a request for
// synchronisation, once everything before it has gone to the front end. Two
// streams in one pipe would be garbage, so there is one notebook for each pipe.

func init() {
	// GoNB knows these types and no others; a display may hold them.
	gob.Register(map[string]any{})
	gob.Register([]any{})
}

const (
	// patience is how long a living cell's display may take: the machine may be
	// busy and the picture large.
	patience = 10 * time.Second
	// grace is how long a display may take once its cell is dead: GoNB may still
	// be reading.
	grace = 500 * time.Millisecond
	// opening is how long GoNB may take to open its end of a pipe.
	opening = 900 * time.Millisecond
)

// A cellPipes is the lab server's end of one cell's pipes.
type cellPipes struct {
	pipe, back string
	users      int // connections that use it; guarded by Server.mu

	mu     sync.Mutex
	w, r   *os.File
	enc    *gob.Encoder
	dec    *gob.Decoder
	synced int
	failed error // the pipes are of no use any more
}

var errNoNotebook = errors.New("there is no notebook")

// cellPage shows displays in the notebook that a cell belongs to.
type cellPage struct {
	bench      *Server
	alive      context.Context // ends with the cell
	pipe, back string
	in         *cellPipes
}

func (c *cellPage) show(d Display) error {
	if c.pipe == "" || c.back == "" {
		return errNoNotebook
	}
	if c.in == nil || c.in.pipe != c.pipe {
		c.close()
		c.in = c.bench.pipesOf(c.pipe, c.back)
	}
	err := c.in.show(c.alive, d)
	if err != nil {
		c.bench.o.Log("showing in the notebook: " + err.Error())
	}
	return err
}

// close gives the pipes back.
func (c *cellPage) close() {
	if c.in == nil {
		return
	}
	c.bench.mu.Lock()
	c.in.users--
	last := c.in.users == 0
	if last {
		delete(c.bench.pipes, c.in.pipe)
	}
	c.bench.mu.Unlock()
	if last {
		c.in.shut()
	}
	c.in = nil
}

// pipesOf returns the one cellPipes for a pipe.
func (b *Server) pipesOf(pipe, back string) *cellPipes {
	b.mu.Lock()
	defer b.mu.Unlock()
	n := b.pipes[pipe]
	if n == nil {
		n = &cellPipes{pipe: pipe, back: back}
		b.pipes[pipe] = n
	}
	n.users++
	return n
}

// show writes a display and waits until GoNB has it. alive ends with the cell.
func (n *cellPipes) show(alive context.Context, d Display) error {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.failed != nil {
		return n.failed
	}
	if n.failed = n.try(alive, d); n.failed != nil {
		n.shutLocked()
	}
	return n.failed
}

func (n *cellPipes) try(alive context.Context, d Display) error {
	if n.w == nil {
		if err := n.open(alive); err != nil {
			return err
		}
	}
	w, r := n.w, n.r
	deadline := time.Now().Add(patience)
	w.SetDeadline(deadline)
	r.SetDeadline(deadline)
	stop := context.AfterFunc(alive, func() {
		soon := time.Now().Add(grace)
		w.SetDeadline(soon)
		r.SetDeadline(soon)
	})
	defer stop()

	data := map[protocol.MIMEType]any{}
	for mime, content := range d {
		data[protocol.MIMEType(mime)] = content
	}
	if err := n.enc.Encode(&protocol.DisplayData{Data: data}); err != nil {
		return fmt.Errorf("writing a display: %w", err)
	}
	n.synced++
	ask := &protocol.CommValue{Address: protocol.GonbuiSyncAddress, Value: n.synced}
	if err := n.enc.Encode(&protocol.DisplayData{Data: map[protocol.MIMEType]any{protocol.MIMECommValue: ask}}); err != nil {
		return fmt.Errorf("asking whether a display has arrived: %w", err)
	}
	for {
		var got protocol.CommValue
		if err := n.dec.Decode(&got); err != nil {
			return fmt.Errorf("waiting for a display to arrive: %w", err)
		}
		if id, ok := got.Value.(int); ok && id == n.synced && got.Address == protocol.GonbuiSyncAckAddress {
			return nil
		}
	}
}

// open opens both pipes without blocking: the cell, and GoNB's ends with it, may
// be gone.
func (n *cellPipes) open(alive context.Context) (err error) {
	until := time.Now().Add(opening)
	for {
		// Opening for writing fails as long as nobody reads.
		n.w, err = openPipe(n.pipe, os.O_WRONLY)
		if err == nil {
			break
		}
		if !errors.Is(err, syscall.ENXIO) || time.Now().After(until) || alive.Err() != nil {
			return err
		}
		time.Sleep(time.Millisecond)
	}
	if n.r, err = openPipe(n.back, os.O_RDONLY); err != nil {
		return err
	}
	n.enc = gob.NewEncoder(n.w)
	n.dec = gob.NewDecoder(&patientReader{file: n.r, until: until})
	return nil
}

// openPipe opens a named pipe and nothing else: the path comes from a cell.
func openPipe(path string, mode int) (*os.File, error) {
	info, err := os.Lstat(path)
	if err != nil {
		return nil, err
	}
	if info.Mode()&os.ModeNamedPipe == 0 {
		return nil, fmt.Errorf("%s is not a named pipe", path)
	}
	return os.OpenFile(path, mode|syscall.O_NONBLOCK, 0)
}

// patientReader waits for a writer: before the other end is opened, a pipe
// reads as ended.
type patientReader struct {
	file  *os.File
	until time.Time
	begun bool
}

func (p *patientReader) Read(b []byte) (int, error) {
	for {
		n, err := p.file.Read(b)
		p.begun = p.begun || n > 0
		if err != io.EOF || p.begun || time.Now().After(p.until) {
			return n, err
		}
		time.Sleep(time.Millisecond)
	}
}

func (n *cellPipes) shut() {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.shutLocked()
}

func (n *cellPipes) shutLocked() {
	if n.w != nil {
		n.w.Close()
	}
	if n.r != nil {
		n.r.Close()
	}
	n.w, n.r = nil, nil
}
