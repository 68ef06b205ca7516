package mdhtml

import (
	"bytes"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/yuin/goldmark/ast"
)

// This file keeps together on a line what belongs together.

// openings may stand before math without a blank.
const openings = "([{'\"“‘«"

// embrace gives math in a line the brackets before it and the signs and letters behind
// it: "(", ",", "-axis". A browser may break a line on both sides of math, whatever
// stands there.
func embrace(n *mathNode, source []byte) {
	if n.display || n.Parent().Kind() == ast.KindImage {
		return
	}
	if t, ok := n.PreviousSibling().(*ast.Text); ok && !t.SoftLineBreak() && !t.HardLineBreak() {
		text := string(t.Segment.Value(source))
		rest := strings.TrimRight(text, openings)
		if !strings.HasSuffix(rest, `\`) {
			n.before = text[len(rest):]
			t.Segment.Stop -= len(n.before)
		}
	}
	if t, ok := n.NextSibling().(*ast.Text); ok {
		n.after = touching(t.Segment.Value(source))
		t.Segment.Start += len(n.after)
	}
}

// touching is what of a text belongs to math before it. It ends at a blank and where
// Markdown has a way of writing of its own, and a long word may be broken.
func touching(text []byte) string {
	end := bytes.IndexFunc(text, func(r rune) bool { return unicode.IsSpace(r) || strings.ContainsRune("\\&<>", r) })
	if end < 0 {
		end = len(text)
	}
	if utf8.RuneCount(text[:end]) > 12 {
		end = len(text[:end]) - len(bytes.TrimLeft(text[:end], ".,;:!?)]}'\"”’»"))
	}
	return string(text[:end])
}

// numberAndUnit finds a number, a blank and a unit in which nothing else can be read.
var numberAndUnit = regexp.MustCompile(`[0-9⁰¹²³⁴⁵⁶⁷⁸⁹)] (?:` +
	`%|°C?|[kcmµnp]?m|[mµnp]?s|min|h|[kmµn]?g|[kMmµnp]?N|[kMGm]?Hz|[mµnp]?rad|[mµn]?Gal|[kM]?Pa|hPa|[mµnp]?W|[mµn]?V|[kM]?J|[mµ]?K|E|deg` +
	`)(?:[²³⁴⁻/·^]|[ .,;:!?)\]]|$)`)

// tie puts no-break spaces between numbers and their units. It leaves code alone.
func tie(t *ast.Text, source []byte) {
	if t.Parent() == nil || t.Parent().Kind() == ast.KindCodeSpan || t.IsRaw() {
		return
	}
	for {
		at := numberAndUnit.FindIndex(t.Segment.Value(source))
		if at == nil {
			return
		}
		text := t.Segment.Value(source)[at[0]:]
		blank := t.Segment.Start + at[0] + bytes.IndexByte(text, ' ')
		parent := t.Parent()
		parent.InsertBefore(parent, t, ast.NewTextSegment(t.Segment.WithStop(blank)))
		parent.InsertBefore(parent, t, ast.NewString([]byte("\u00a0")))
		t.Segment = t.Segment.WithStart(blank + 1)
	}
}
