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

// forget drops what was said so far.
func (t *tail) forget() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.text = nil
}

// chatter is what GoNB logs in the course of things.
var chatter = regexp.MustCompile(`^I[0-9]{4} `)

// forgery is what GoNB v0.11.4 says when it ends on a message that is not signed
// with the key, or has not the parts that it should have, and where it panics if
// it does not even have the form of one.
var forgery = regexp.MustCompile(`(shell|control|stdin) message error|\(\*Kernel\)\.FromWireMsg\(|go-zeromq/zmq4\.\(\*Conn\)\.read\(`)

func (t *tail) tellsOfForgery() bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	return forgery.Match(t.text)
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
