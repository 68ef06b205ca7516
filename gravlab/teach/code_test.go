package teach

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// One wrong character, and any two that are swapped, are told before anything is tried.
func TestMistypedCode(t *testing.T) {
	for range 50 {
		code := newCode()
		if got, err := parseCode(strings.ToLower(grouped(code))); err != nil || got != code {
			t.Fatalf("%s is read as %s, %v", grouped(code), got, err)
		}
		for i := range code {
			for _, letter := range codeLetters {
				wrong := code[:i] + string(letter) + code[i+1:]
				if _, err := parseCode(wrong); (err == nil) != (wrong == code) {
					t.Errorf("%s for %s: %v", wrong, code, err)
				}
			}
			for j := range i {
				b := []byte(code)
				b[i], b[j] = b[j], b[i]
				if _, err := parseCode(string(b)); (err == nil) != (string(b) == code) {
					t.Errorf("%s with %d and %d swapped: %v", code, i, j, err)
				}
			}
		}
	}
	for _, bad := range []string{"", "K7QF", strings.Repeat("A", 18), strings.Repeat("A", 1000), "K7QF-3M2P-K7QF-3M2P-Ü"} {
		if _, err := parseCode(bad); err == nil {
			t.Errorf("%.20q is read as a code", bad)
		}
	}
	// O, I and L are read as the digits that they look like.
	for code := newCode(); ; code = newCode() {
		if strings.Contains(code, "0") && strings.Contains(code, "1") {
			if got, err := parseCode(strings.ReplaceAll(strings.ReplaceAll(code, "0", "o"), "1", "l")); got != code {
				t.Errorf("%s, %v", got, err)
			}
			return
		}
	}
}

// A bucket holds some failures and forgets one in each while.
func TestLimiter(t *testing.T) {
	now := time.Unix(0, 0)
	l := newLimiter()
	l.now = func() time.Time { return now }
	of := limit{3, time.Second}
	for n := range 3 {
		if l.full("a", of) {
			t.Errorf("full after %d failures", n)
		}
		l.add("a", of)
	}
	if !l.full("a", of) || l.full("b", of) {
		t.Error("the bucket of a is not full, or that of b is")
	}
	now = now.Add(time.Second)
	if l.full("a", of) {
		t.Error("nothing is forgotten after a second")
	}
	for i := range 20_000 {
		l.add(fmt.Sprint(i), of)
	}
	if len(l.names) > 10_001 {
		t.Errorf("%d buckets are kept", len(l.names))
	}
}

// Time that has passed stays passed when the clock is set back, and more time lets go on.
func TestHour(t *testing.T) {
	h, err := readHour(t.TempDir() + "/hour.json")
	if err != nil {
		t.Fatal(err)
	}
	start := time.Date(2026, 12, 1, 9, 0, 0, 0, time.UTC)
	h.Ends, h.Extra["s2"] = start.Add(50*time.Minute), 10
	ids := []string{"s1", "s2"}
	if h.pass(ids, start.Add(49*time.Minute)) {
		t.Error("frozen a minute early")
	}
	if !h.pass(ids, start.Add(50*time.Minute)) || h.Frozen["s1"] != byTime || h.Frozen["s2"] != "" {
		t.Errorf("at the end: %v", h.Frozen)
	}
	h.pass(ids, start) // the clock is set back
	if h.Frozen["s1"] != byTime {
		t.Error("a clock that was set back opens the place again")
	}
	h.Extra["s1"] = 15
	h.longer(start.Add(55 * time.Minute))
	if h.Frozen["s1"] != "" {
		t.Error("extra time does not let go on")
	}
	h.Frozen["s1"] = byHand
	h.longer(start)
	if h.Frozen["s1"] != byHand {
		t.Error("more time undoes what the lecturer froze")
	}
}
