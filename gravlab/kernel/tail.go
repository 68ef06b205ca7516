package kernel

import (
	"bytes"
	"io"
	"regexp"
	"strings"
	"sync"
)

// A tail keeps the end of a program's error output: all of it is noise until
// the program dies, and then it says why.
type tail struct {
	to io.Writer // gets everything; may be nil

	mu   sync.Mutex
	text []byte
}

const tailSize = 32 << 10

func (t *tail) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.to != nil {
		t.to.Write(p)
	}
	t.text = append(t.text, p...)
	if len(t.text) > 2*tailSize {
		t.text = append([]byte(nil), t.text[len(t.text)-tailSize:]...)
	}
	return len(p), nil
}

func (t *tail) readFrom(r io.Reader) {
	buf := make([]byte, 4096)
	for {
		n, err := r.Read(buf)
		t.Write(buf[:n])
		if err != nil {
			return
		}
	}
}

// forgetStart drops what was said so far: the warnings of every start are no
// reason for a later death. What tells of a forged message is kept, since one can
// come as soon as the ports are open.
func (t *tail) forgetStart() {
	t.mu.Lock()
	defer t.mu.Unlock()
	if !forgery.Match(t.text) {
		t.text = nil
	}
}

// chatter is what GoNB logs in the course of things.
var chatter = regexp.MustCompile(`^I[0-9]{4} `)

// forgery is what GoNB v0.11.4 says when it ends on a message that is not signed
// with the key, or has not the parts that it should have, and where it panics if
// it does not even have the form of one: in the reader of the socket, or, if that
// is faster, in who waits for a message and gets none of a reader that has ended.
var forgery = regexp.MustCompile(`(shell|control|stdin) message error|\(\*Kernel\)\.FromWireMsg\(|go-zeromq/zmq4\.\(\*Conn\)\.read\(|` + noMessage)

const noMessage = `dispatcher\.(RunKernel\.func[0-9]+|handleShellMsg)\(\{0x0, `

// shutdown is what it says when a front end asks it to end. Its readers end then
// too, so who waits for a message may panic as above.
var shutdown = regexp.MustCompile(`Shutting down in response to shutdown_request`)

func (t *tail) tellsOfForgery() bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	return forgery.Match(t.text) && !shutdown.Match(t.text)
}

// tellsOfShutdown reports whether a front end has asked for the end.
func (t *tail) tellsOfShutdown() bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	return shutdown.Match(t.text)
}

// lastWords returns the lines that say why: from the panic on, or the last few.
func (t *tail) lastWords() string {
	t.mu.Lock()
	text := append([]byte("\n"), bytes.ToValidUTF8(t.text, []byte("?"))...)
	t.mu.Unlock()
	const lines = 6
	for _, mark := range []string{"panic: ", "fatal error: "} {
		if i := bytes.LastIndex(text, []byte("\n"+mark)); i >= 0 {
			all := strings.SplitN(string(text[i+1:]), "\n", lines+1)
			return strings.TrimSpace(strings.Join(all[:min(len(all), lines)], "\n"))
		}
	}
	var kept []string
	for line := range strings.Lines(string(text)) {
		if !chatter.MatchString(line) {
			kept = append(kept, line)
		}
	}
	return strings.TrimSpace(lastLines(strings.Join(kept, ""), lines))
}
