package bank

import (
	"bytes"
	"strings"
	"testing"
)

// TestCodeNoticesEveryMistypedCharacter changes each character into each other
// one, and swaps neighbours.
func TestCodeNoticesEveryMistypedCharacter(t *testing.T) {
	changed := 0
	for n := range 50 {
		code := string(NumberedCode("01-weighing-the-earth", n))
		if got, err := ParseCode(code); err != nil || string(got) != code {
			t.Fatalf("ParseCode(%q) = %q, %v", code, got, err)
		}
		for i := range code {
			if code[i] == '-' {
				continue
			}
			for _, c := range alphabet {
				if byte(c) == code[i] {
					continue
				}
				changed++
				wrong := code[:i] + string(c) + code[i+1:]
				if _, err := ParseCode(wrong); err == nil {
					t.Errorf("%q was taken, a slip for %q", wrong, code)
				}
			}
		}
		for i := range 6 {
			plain := strings.ReplaceAll(code, "-", "")
			if plain[i] == plain[i+1] {
				continue
			}
			b := []byte(plain)
			b[i], b[i+1] = b[i+1], b[i]
			if _, err := ParseCode(string(b)); err == nil {
				t.Errorf("%q was taken, two characters of %q swapped", b, code)
			}
		}
	}
	if changed < 10000 {
		t.Fatalf("only %d changes were tried", changed)
	}
}

func TestParseCode(t *testing.T) {
	code := NumberedCode("01-weighing-the-earth", 7)
	sloppy := strings.ToLower(strings.ReplaceAll(string(code), "-", " "))
	sloppy = strings.ReplaceAll(sloppy, "0", "o")
	if got, err := ParseCode(sloppy); err != nil || got != code {
		t.Errorf("ParseCode(%q) = %q, %v, want %q", sloppy, got, err, code)
	}
	if got, err := ParseCode("  "); err != nil || got != "" {
		t.Errorf("the empty code is the default sheet; got %q, %v", got, err)
	}
	tests := []struct{ text, says string }{
		{"K7QF", "is not a sheet code"},
		{"K7QF-3M2P-1", "is not a sheet code"},
		{"K7QF-3M2!", "holds a character"},
	}
	for _, test := range tests {
		if _, err := ParseCode(test.text); err == nil || !strings.Contains(err.Error(), test.says) {
			t.Errorf("ParseCode(%q): %v, want an error that says %q", test.text, err, test.says)
		}
	}
}

func TestStudentCode(t *testing.T) {
	key, other := bytes.Repeat([]byte{7}, 32), bytes.Repeat([]byte{8}, 32)
	a := StudentCode(key, "01-weighing-the-earth", "s1001", "")
	if b := StudentCode(key, "01-weighing-the-earth", "s1001", ""); a != b {
		t.Errorf("the same student got %s and %s", a, b)
	}
	seen := map[Code]string{a: "s1001"}
	for _, x := range []struct{ lab, id string }{{"01-weighing-the-earth", "s1002"}, {"02-settling-down", "s1001"}} {
		c := StudentCode(key, x.lab, x.id, "")
		if who, ok := seen[c]; ok {
			t.Errorf("%v and %s share %s", x, who, c)
		}
		seen[c] = x.id
		if _, err := ParseCode(string(c)); err != nil {
			t.Error(err)
		}
	}
	if StudentCode(other, "01-weighing-the-earth", "s1001", "") == a {
		t.Error("another key gave the same code")
	}
}
