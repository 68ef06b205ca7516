package labserver

import (
	"fmt"
	"html"

	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/wire"
)

// hint shows a hint to a question, and the next one when it is asked for again. Only a sheet to
// practise with has hints: of an assessed one nothing is told but what was understood.
func (s *Session) hint(f wire.Frame) wire.Frame {
	sh, err := s.shelf.open(f.Lab, f.Code)
	if err != nil {
		return s.display(unreadable(f, err.Error()))
	}
	q, ok := sh.Question(f.Question)
	if !ok {
		return s.display(unreadable(f, noQuestion(sh.Sheet, f.Question)))
	}
	text := fmt.Sprintf("%s: there are no hints to this question.", q.ID)
	switch {
	case f.Assessed || s.bench.o.Assessed || sh.Sealed:
		text = fmt.Sprintf("%s: a sheet that is handed in for marks has no hints. Practise with another sheet.", q.ID)
	case q.Kind != judge.KindChoice && q.Hints[0] != "":
		n := sh.nextHint(q.ID)
		text = fmt.Sprintf("Hint %d of 2 to %s: %s", n+1, q.ID, q.Hints[n])
		if n == 0 {
			text += fmt.Sprintf("\nFor the next one, sheet.Hint(%q) again.", q.ID)
		}
	}
	reply := recorded()
	if err := s.put(Display{"text/plain": text, "text/html": "<p style=\"white-space: pre-line\">" + html.EscapeString(text) + "</p>"}); err != nil && !s.o.Confined {
		reply.Text = text
	}
	return reply
}

// nextHint is the number of the hint that is shown next: 0, then 1.
func (s *sheet) nextHint(question string) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	n := s.hints[question]
	s.hints[question] = 1
	return n
}
