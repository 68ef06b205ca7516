// Package labserver is the lab server: it runs beside the cells of a notebook and
// outlives them. Cells send frames (package wire); the lab server judges answers
// with the bank (package exercises), keeps the answers log, draws figures, makes
// recordings, and displays the results.
//
// There are two ways to it. Start listens on a Unix socket for the cells of a
// notebook; what it displays goes to the notebook through the pipes of GoNB.
// New and Server.Session serve a program that runs confined in this process or
// in a worker: its host functions pass frames to Session.Exchange.
//
// No verdict enters the program that submitted the answer: it is displayed, and
// the reply is a bare acknowledgement.
//
// # What a verdict display holds
//
// Three forms of the same: text/plain, text/html, and judge.VerdictMIME, a JSON object
// with the fields of View, for programs that make reports.
//
// # The answers log
//
// One JSON Lines file per sheet, DataFolder()/answers/LAB/CODE.jsonl
// (default.jsonl for the empty code). Each answer is one line, an Entry, written
// in one piece at the end of the file, so that two kernels may append to one log.
// A truncated line (the machine lost power) is ignored when reading.
// The last answer to a question counts.
//
// # Assessed sheets
//
// A sealed sheet (package bank) has no numbers here: its recordings are read from the files that
// were handed out with it (Options.Files, SessionOptions.Files), and its answers are only recorded.
//
// An answer to an assessed sheet is not judged: display, log and summary hold what
// bank.Question.Understand makes of it, which does not know what is right. So
// they are the same for every value that is written in the same way. Marking judges
// the answer. When the same sheet is declared as one to practise with, its answers are
// judged then.
package labserver

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"time"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/clip"
	"gravity.example/gravlab/wire"
)

// Options for a lab server; the zero value serves the project's own bank and logs.
type Options struct {
	// Socket is where Start listens; empty makes a temporary folder of its own.
	Socket string
	// Data is the folder that holds the answers logs; empty is DataFolder().
	Data string
	// InMemory writes no log: the answers end with the lab server. A confined session
	// has answers of its own then, which end with it.
	InMemory bool
	// Find finds a lab; nil is exercises.Find, which knows the
	// project's own.
	Find func(id string) (bank.Lab, error)
	// Sheet makes a lab's sheet, once for each session and sheet; nil is bank.Lab.Sheet.
	Sheet func(lab bank.Lab, code bank.Code) bank.Sheet
	// Assessed treats every sheet as ask.Assessed declares it: answers are recorded
	// and not judged.
	Assessed bool
	// Files are those beside the notebook, from which a sealed sheet's recordings are read;
	// nil: there are none.
	Files fs.FS
	// Own names the reader's own sheet of a lab: no other is opened. nil: a cell may name any.
	Own func(lab string) bank.Code
	// Given is told of each answer that is kept, in the order of the answers to a sheet;
	// may be nil. It must not call the lab server.
	Given func(lab string, e Entry)
	// ChartScript is the text of ECharts that charts carry with them (draw.Chart);
	// without it a chart is its still image.
	ChartScript string
	// Log receives what goes wrong behind the scenes, one line each; nil
	// drops it.
	Log func(text string)
}

// A Server judges, draws and keeps.
type Server struct {
	o        Options
	shelf    *sheetCache
	mu       sync.Mutex
	pipes    map[string]*cellPipes
	conns    map[net.Conn]bool
	listener net.Listener
	temp     string // folder to remove
	closed   bool
	running  sync.WaitGroup
}

// New makes a lab server without a socket.
func New(o Options) (*Server, error) {
	if o.Find == nil {
		o.Find = findLab
	}
	if o.Sheet == nil {
		o.Sheet = bank.Lab.Sheet
	}
	if o.Log == nil {
		o.Log = func(string) {}
	}
	if o.Data == "" && !o.InMemory {
		var err error
		if o.Data, err = DataFolder(); err != nil {
			return nil, err
		}
	}
	if o.InMemory {
		o.Data = ""
	}
	return &Server{o: o, shelf: newShelf(o, o.Data), pipes: map[string]*cellPipes{}, conns: map[net.Conn]bool{}}, nil
}

// findLab is exercises.Find with a guess at what a mistyped id means.
func findLab(id string) (bank.Lab, error) {
	l, err := exercises.Find(id)
	if err == nil {
		return l, nil
	}
	var ids []string
	for _, l := range exercises.Labs() {
		ids = append(ids, l.ID)
	}
	if like := near(id, ids); len(like) > 0 {
		return l, fmt.Errorf("there is no lab %q; did you mean %s?", clip.Line(id, 60), strings.Join(like, " or "))
	}
	return l, fmt.Errorf("there is no lab %q; the labs are %s", clip.Line(id, 60), strings.Join(ids, ", "))
}

// maxSocketPath is what every system allows for the path of a Unix socket
// (macOS: 104 bytes with the closing zero).
const maxSocketPath = 103

// Start makes a lab server that listens for cells. Its socket's path (Socket) belongs
// into the environment variable GRAVLAB_SERVER of the cells.
func Start(o Options) (*Server, error) {
	b, err := New(o)
	if err != nil {
		return nil, err
	}
	path := o.Socket
	if path == "" {
		if b.temp, err = os.MkdirTemp("", "gravlab-"); err != nil {
			return nil, fmt.Errorf("a folder for the lab server's socket: %w", err)
		}
		path = filepath.Join(b.temp, "bench")
		if len(path) > maxSocketPath && runtime.GOOS != "windows" {
			os.Remove(b.temp)
			if b.temp, err = os.MkdirTemp("/tmp", "gravlab-"); err != nil {
				return nil, fmt.Errorf("a folder for the lab server's socket: %w", err)
			}
			path = filepath.Join(b.temp, "bench")
		}
	}
	if b.listener, err = listen(path); err != nil {
		if b.temp != "" {
			os.RemoveAll(b.temp)
		}
		return nil, err
	}
	b.running.Add(1)
	go b.accept()
	return b, nil
}

// listen opens the socket for this user alone.
func listen(path string) (net.Listener, error) {
	if len(path) > maxSocketPath {
		return nil, fmt.Errorf("the path of the lab server's socket has %d bytes, at most %d are possible: %s; set TMPDIR to a shorter folder", len(path), maxSocketPath, path)
	}
	if c, err := net.Dial("unix", path); err == nil {
		c.Close()
		return nil, fmt.Errorf("another lab server listens at %s", path)
	} else if info, err := os.Lstat(path); err == nil && info.Mode()&os.ModeSocket != 0 {
		os.Remove(path) // left over by a lab server that was killed
	}
	l, err := net.Listen("unix", path)
	if err != nil {
		return nil, fmt.Errorf("the lab server cannot listen: %w", err)
	}
	if err := os.Chmod(path, 0o600); err != nil {
		l.Close()
		return nil, fmt.Errorf("the lab server's socket: %w", err)
	}
	return l, nil
}

// Socket is the path at which the lab server listens, "" if it does not.
func (b *Server) Socket() string {
	if b.listener == nil {
		return ""
	}
	return b.listener.Addr().String()
}

// Close ends the connections and removes the socket. Answers submitted are in
// the log already.
func (b *Server) Close() error {
	b.mu.Lock()
	b.closed = true
	var err error
	if b.listener != nil {
		err = b.listener.Close()
	}
	for c := range b.conns {
		c.Close()
	}
	b.mu.Unlock()
	b.running.Wait()
	if b.temp != "" {
		err = errors.Join(err, os.RemoveAll(b.temp))
	}
	return err
}

func (b *Server) accept() {
	defer b.running.Done()
	for {
		c, err := b.listener.Accept()
		if err != nil {
			if errors.Is(err, net.ErrClosed) {
				return
			}
			b.o.Log("accepting a cell: " + err.Error())
			time.Sleep(50 * time.Millisecond) // out of file descriptors, as a rule
			continue
		}
		b.mu.Lock()
		if b.closed {
			c.Close()
		} else {
			b.conns[c] = true
			b.running.Add(1)
			go b.serve(c)
		}
		b.mu.Unlock()
	}
}

// serve answers one cell until it ends.
func (b *Server) serve(c net.Conn) {
	defer b.running.Done()
	// The cell waits for each reply, so the reader is at most one frame ahead: it
	// is there to see at once when the cell dies during a display.
	alive, dead := context.WithCancel(context.Background())
	frames := make(chan wire.Frame)
	b.running.Add(1)
	go func() {
		defer b.running.Done()
		defer close(frames)
		defer dead()
		for {
			f, err := wire.Read(c)
			if err != nil {
				return
			}
			select {
			case frames <- f:
			case <-alive.Done():
				return
			}
		}
	}()
	page := &cellPage{bench: b, alive: alive}
	s := b.Session(SessionOptions{Show: page.show})
	defer func() {
		dead()
		c.Close()
		page.close()
		b.mu.Lock()
		delete(b.conns, c)
		b.mu.Unlock()
	}()
	for f := range frames {
		page.pipe, page.back = f.Pipe, f.PipeBack
		if _, err := c.Write(Encode(s.Reply(f))); err != nil {
			return
		}
	}
}
