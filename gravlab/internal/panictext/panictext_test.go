package panictext

import (
	"strings"
	"testing"
)

func TestStream(t *testing.T) {
	const stack = "panic: no\n\ngoroutine 1 [running]:\nmain.main()\n\tmain.go:3 +0x1\nexit status 2\n"
	for name, c := range map[string]struct {
		text         string
		failed       bool
		passed, held string
	}{
		"fails":              {"one\ntwo\n" + stack, true, "one\ntwo\n", stack},
		"fails amid a line":  {"one\ntwo" + stack, true, "one\ntwopanic: no\n\n", stack[len("panic: no\n\n"):]},
		"ends well":          {"one\ntwo", false, "one\ntwo", ""},
		"ends well all same": {"one\n" + stack + "after", false, "one\n" + stack + "after", ""},
		"no line":            {"panic: short", true, "", "panic: short"},
		"nothing":            {"", true, "", ""},
		"also":               {"one\nexit status 3\n", true, "one\n", "exit status 3\n"},
		"runtime":            {"fatal error: all goroutines are asleep - deadlock!\n", true, "", "fatal error: all goroutines are asleep - deadlock!\n"},
		"signal":             {"so far\nSIGSEGV: segmentation violation\nPC=0x42f2fd m=0 sigcode=1 addr=0x0\n", true, "so far\n", "SIGSEGV: segmentation violation\nPC=0x42f2fd m=0 sigcode=1 addr=0x0\n"},
		"panic in a text":    {"do not panic: it is well\n", true, "do not panic: it is well\n", ""},
	} {
		for _, size := range []int{1, 2, 7, 1000} {
			var passed strings.Builder
			s := Stream{Pass: func(b []byte) { passed.Write(b) }, Also: func(line []byte) bool { return strings.HasPrefix(string(line), "exit status ") }}
			for rest := c.text; rest != ""; {
				n := min(size, len(rest))
				s.Write([]byte(rest[:n]))
				rest = rest[n:]
			}
			s.End(c.failed)
			if passed.String() != c.passed || s.String() != c.held {
				t.Errorf("%s, %d bytes a time: passed %q, held %q", name, size, passed.String(), s.String())
			}
		}
	}
	// A line without an end is passed on all the same.
	long := 0
	endless := Stream{Pass: func(b []byte) { long += len(b) }}
	for range 1000 {
		endless.Write(make([]byte, 1000))
	}
	if long < 1000*1000-maxHeld {
		t.Errorf("of a line of a million bytes %d are passed on", long)
	}
	// However much there is, little is kept.
	passed := 0
	s := Stream{Pass: func(b []byte) { passed += len(b) }}
	s.Write([]byte("panic: many\n"))
	for range 1000 {
		s.Write(make([]byte, 1000))
	}
	if n := s.Held(); n != 12+1000*1000 || len(s.String()) > 3*maxHeld {
		t.Errorf("held %d bytes, keeps %d", n, len(s.String()))
	}
	if s.End(false); passed < maxHeld || passed > maxHeld+100 {
		t.Errorf("passed %d bytes in the end", passed)
	}
}

func TestReason(t *testing.T) {
	for text, want := range map[string]string{
		"": "", "one\nexit status 3\n": "", "so far\npanic: no\n\ngoroutine 1 [running]:\n": "panic: no",
		"fatal error: all asleep\npanic: later\n": "fatal error: all asleep", "do not panic: it is well\n": "",
	} {
		if got := Reason(text); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}
