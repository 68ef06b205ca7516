package clip

import "testing"

func TestLine(t *testing.T) {
	for _, c := range []struct {
		in, want string
		n        int
	}{
		{" a\n\tb ", "a b", 9}, {"αβγδ", "αβγδ", 4}, {"αβγδε", "αβγ…", 4}, {"a\xff", "a\ufffd", 4}, {"", "", 1},
	} {
		if got := Line(c.in, c.n); got != c.want {
			t.Errorf("Line(%q, %d) = %q, want %q", c.in, c.n, got, c.want)
		}
	}
}
