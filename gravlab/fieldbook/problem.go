package fieldbook

import (
	"fmt"
	"strings"
)

// A Problem is something in a file that cannot be used, or that may be right and is
// more often a slip.
type Problem struct {
	File    string
	Line    int    // 0 where it is about the whole file
	Station string // "" where it is about no station
	Time    string // local, "" where it is about no moment
	Text    string
}

// Error is the problem with its place: "readings.csv: line 12: S16, 2021-04-30 11:40 BST: ...".
func (p Problem) Error() string {
	var b strings.Builder
	if p.File != "" {
		b.WriteString(p.File + ": ")
	}
	if p.Line > 0 {
		fmt.Fprintf(&b, "line %d: ", p.Line)
	}
	place := p.Station
	if p.Time != "" {
		if place != "" {
			place += ", "
		}
		place += p.Time
	}
	if place != "" {
		b.WriteString(place + ": ")
	}
	return b.String() + p.Text
}

// Problems are all that keeps a set of files from being used.
type Problems []Problem

// Error lists the problems, a line each, at most thirty of them.
func (p Problems) Error() string {
	var lines []string
	for i, one := range p {
		if i == 30 {
			lines = append(lines, fmt.Sprintf("and %d more", len(p)-30))
			break
		}
		lines = append(lines, one.Error())
	}
	return strings.Join(lines, "\n")
}
