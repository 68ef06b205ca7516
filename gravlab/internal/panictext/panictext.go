// Package panictext parts what a Go program prints to its error stream from what
// the runtime writes there when it fails: a panic and its stack. A reader of a
// notebook is told the panic and its line in words; the stack names files that are
// not theirs.
package panictext

import (
	"bytes"
	"regexp"
	"strings"
)

// A Stream takes what a program writes to its error stream.
type Stream struct {
	// Pass is given what the program prints, in whole lines unless they are very long.
	Pass func(text []byte)
	// Also says of further lines that they begin the last words; may be nil.
	Also func(line []byte) bool

	rest []byte // a line that is not whole yet
	held []byte // from the first of the last words on
	lost int    // bytes
}

// maxHeld is how much is held back; a program may have thousands of stacks.
const maxHeld = 64 << 10

var start = regexp.MustCompile(`^(panic: |fatal error: |goroutine [0-9]+ |runtime: |SIG[A-Z]+: [a-z])`)

// Write takes text, which may be cut anywhere.
func (s *Stream) Write(text []byte) {
	if len(s.held) > 0 {
		s.hold(text)
		return
	}
	s.rest = append(s.rest, text...)
	for {
		n := bytes.IndexByte(s.rest, '\n') + 1
		if n == 0 && len(s.rest) < maxHeld {
			return
		} else if n == 0 { // no line of anybody's
			n = len(s.rest)
		}
		line := s.rest[:n]
		if s.begins(line) {
			s.hold(s.rest)
			s.rest = nil
			return
		}
		s.Pass(line)
		s.rest = s.rest[n:]
	}
}

func (s *Stream) begins(line []byte) bool {
	return start.Match(line) || s.Also != nil && s.Also(line)
}

func (s *Stream) hold(text []byte) {
	n := min(len(text), maxHeld-len(s.held))
	s.held = append(s.held, text[:n]...)
	s.lost += len(text) - n
}

// End says that the program has ended. If it did not fail, what was held back were no
// last words, and is passed on.
func (s *Stream) End(failed bool) {
	if len(s.rest) > 0 && s.begins(s.rest) {
		s.hold(s.rest)
	} else if len(s.rest) > 0 {
		s.Pass(s.rest)
	}
	s.rest = nil
	if !failed && len(s.held) > 0 {
		s.Pass(s.held)
		if s.lost > 0 {
			s.Pass([]byte("\n… the rest is left out\n"))
		}
		s.held, s.lost = nil, 0
	}
}

// Held is how many bytes were held back so far, those that are not kept too.
func (s *Stream) Held() int { return len(s.held) + s.lost }

// String is what was held back, at most 64 KiB.
func (s *Stream) String() string { return string(bytes.ToValidUTF8(s.held, []byte("\uFFFD"))) }

// Reason is the line of a program's error output that says why it failed: that
// of its panic or fatal error, or "".
func Reason(text string) string {
	for line := range strings.Lines(text) {
		if strings.HasPrefix(line, "panic: ") || strings.HasPrefix(line, "fatal error: ") {
			return strings.TrimSpace(line)
		}
	}
	return ""
}
