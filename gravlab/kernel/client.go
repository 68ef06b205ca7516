package kernel

import (
	"context"
	"fmt"
	"io"
	"log"
	"sync"
	"time"

	"github.com/go-zeromq/zmq4"
)

// A client speaks to one kernel. It is used twice: for a run without a front
// end, and by the supervisor, which watches its own kernel.
type client struct {
	conn    connection
	session string
	in      chan message // from all sockets
	closed  <-chan struct{}
	cancel  context.CancelFunc
	sockets map[string]*socket
	readers sync.WaitGroup
}

type socket struct {
	sync.Mutex // one message at a time
	zmq4.Socket
}

const (
	shellChannel   = "shell"
	iopubChannel   = "iopub"
	stdinChannel   = "stdin"
	controlChannel = "control"
)

// dialTime is the longest that a kernel may take to answer; goneTime, how long
// after its sockets the end of a kernel is seen.
const (
	dialTime = time.Minute
	goneTime = 5 * time.Second
)

// dial connects to a kernel that listens or will do so within dialTime. When gone
// is closed the kernel has ended: it gives up then, with errGone.
func dial(ctx context.Context, conn connection, gone <-chan struct{}, channels ...string) (*client, error) {
	ctx, cancel := context.WithTimeout(ctx, dialTime)
	defer cancel()
	go func() {
		select {
		case <-gone:
			cancel()
		case <-ctx.Done():
		}
	}()
	c, err := connect(ctx, conn, channels...)
	if err == nil {
		return c, nil
	}
	return nil, orGone(ctx, err, gone)
}

// orGone is errGone when err is the end of the kernel. A kernel that ends breaks
// its connections before its end is seen, so it waits a little for that.
func orGone(ctx context.Context, err error, gone <-chan struct{}) error {
	select {
	case <-ctx.Done():
	case <-gone:
	case <-time.After(goneTime):
	}
	select {
	case <-gone:
		return errGone
	default:
		return err
	}
}

func connect(ctx context.Context, conn connection, channels ...string) (*client, error) {
	inner, cancel := context.WithCancel(context.Background())
	c := &client{conn: conn, session: newID(), cancel: cancel, closed: inner.Done(), in: make(chan message, 64), sockets: map[string]*socket{}}
	// The same identity on all sockets: GoNB sends every reply, also those to
	// control requests and its requests for input, to the one it saw on shell.
	options := []zmq4.Option{
		zmq4.WithID(zmq4.SocketIdentity(c.session)),
		zmq4.WithDialerRetry(20 * time.Millisecond),
		zmq4.WithDialerMaxRetries(-1),
		zmq4.WithLogger(log.New(io.Discard, "", 0)),
	}
	ports := map[string]int{shellChannel: conn.ShellPort, iopubChannel: conn.IOPubPort, stdinChannel: conn.StdinPort, controlChannel: conn.ControlPort}
	for _, channel := range channels {
		s := &socket{}
		if channel == iopubChannel {
			s.Socket = zmq4.NewSub(inner, options...)
			if err := s.SetOption(zmq4.OptionSubscribe, ""); err != nil {
				c.close()
				return nil, err
			}
		} else {
			s.Socket = zmq4.NewDealer(inner, options...)
		}
		c.sockets[channel] = s
		dialled := make(chan error, 1)
		go func() { dialled <- s.Dial(conn.address(ports[channel])) }()
		select {
		case err := <-dialled:
			if err != nil {
				c.close()
				return nil, fmt.Errorf("connecting to the kernel's %s: %w", channel, err)
			}
		case <-ctx.Done():
			c.close()
			return nil, fmt.Errorf("connecting to the kernel's %s: %w", channel, ctx.Err())
		}
	}
	for channel, s := range c.sockets {
		c.readers.Go(func() { c.read(inner, channel, s) })
	}
	return c, nil
}

func (c *client) read(ctx context.Context, channel string, s *socket) {
	for {
		raw, err := s.Recv()
		if err != nil {
			return // the kernel is gone, or this client is closed
		}
		m, err := decode(c.conn.Key, raw.Frames)
		if err != nil {
			continue // not from this kernel
		}
		m.channel = channel
		select {
		case c.in <- m:
		case <-ctx.Done():
			return
		}
	}
}

// send puts a request on a channel and returns its id. An error-free send
// proves nothing: the kernel may be dead.
func (c *client) send(channel, msgType string, content any) (string, error) {
	h := newHeader(c.session, msgType)
	frames, err := encode(c.conn.Key, h, content)
	if err != nil {
		return "", err
	}
	s := c.sockets[channel]
	s.Lock()
	defer s.Unlock()
	if err := s.SendMulti(zmq4.NewMsgFrom(frames...)); err != nil {
		return "", fmt.Errorf("sending %s: %w", msgType, err)
	}
	return h.MsgID, nil
}

// executeRequest has every field that kernels insist on; GoNB ends without
// silent or store_history. stop_on_error is false because nothing is ever
// queued: where it is true, ipykernel aborts the cell that follows a failed one
// quickly.
func executeRequest(code string, silent bool) map[string]any {
	return map[string]any{
		"code": code, "silent": silent, "store_history": !silent, "user_expressions": map[string]any{},
		"allow_stdin": false, "stop_on_error": false,
	}
}

func (c *client) close() {
	c.cancel()
	for _, s := range c.sockets {
		s.Close()
	}
	c.readers.Wait()
}

// ready asks for kernel_info until the answer and its idle are both seen: only
// then is it certain that nothing published later is missed. gone ends the wait.
func (c *client) ready(ctx context.Context, gone <-chan struct{}) (language, error) {
	var info struct {
		Language language `json:"language_info"`
	}
	mine := map[string]bool{}
	replied, idle := map[string]bool{}, map[string]bool{}
	again := time.NewTicker(500 * time.Millisecond)
	defer again.Stop()
	ask := func() error {
		id, err := c.send(shellChannel, "kernel_info_request", map[string]any{})
		mine[id] = true
		return err
	}
	if err := ask(); err != nil {
		return language{}, err
	}
	for {
		select {
		case m := <-c.in:
			id := m.parent.MsgID
			if !mine[id] {
				continue
			}
			switch {
			case m.header.MsgType == "kernel_info_reply":
				m.into(&info)
				replied[id] = true
			case isIdle(m):
				idle[id] = true
			}
			if replied[id] && idle[id] {
				return info.Language, nil
			}
		case <-again.C:
			if err := ask(); err != nil {
				return language{}, err
			}
		case <-gone:
			return language{}, errGone
		case <-ctx.Done():
			return language{}, fmt.Errorf("the kernel does not answer: %w", ctx.Err())
		}
	}
}

type language struct {
	Name          string `json:"name"`
	Version       string `json:"version"`
	MIMEType      string `json:"mimetype"`
	FileExtension string `json:"file_extension"`
}

func isIdle(m message) bool { return status(m) == "idle" }

func status(m message) string {
	if m.header.MsgType != "status" {
		return ""
	}
	var s struct {
		State string `json:"execution_state"`
	}
	m.into(&s)
	return s.State
}
