// Package clip shortens text from outside for messages.
package clip

import "strings"

// Line returns s as one line of at most n characters; an ellipsis stands for what is
// left out.
func Line(s string, n int) string {
	s = strings.Join(strings.Fields(strings.ToValidUTF8(s, "\ufffd")), " ")
	if r := []rune(s); len(r) > n {
		return string(r[:n-1]) + "…"
	}
	return s
}
