package drawing_test

import (
	"encoding/xml"
	"io"
	"strings"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/drawing"
)

// Every drawing is a picture that can be read, says in words what it shows, and stands beside a
// slip of some lab.
func TestDrawings(t *testing.T) {
	used := map[string]int{}
	for _, lab := range exercises.Labs() {
		for _, q := range lab.Sheet("").Questions {
			slips := append([]bank.Slip{}, q.Slips...)
			if q.Function != nil {
				for _, s := range q.Function.Slips {
					slips = append(slips, bank.Slip{ID: s.ID, Fix: s.Fix, Drawing: s.Drawing})
				}
			}
			for _, s := range append(slips, q.USlips...) {
				used[s.Drawing]++
				if strings.Contains(s.Fix, "Drawing:") {
					t.Errorf("%s, slip %s: the name of its drawing stands in what is told: %q", lab.FullID(q.ID), s.ID, s.Fix)
				}
			}
		}
	}
	for _, name := range drawing.Names() {
		text := string(drawing.HTML(name))
		in := xml.NewDecoder(strings.NewReader(text))
		for {
			if _, err := in.Token(); err == io.EOF {
				break
			} else if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
		}
		if !strings.Contains(text, `role="img" aria-label="`) || len(text) > 2500 {
			t.Errorf("%s has %d bytes: %.200s", name, len(text), text)
		}
		if used[name] == 0 {
			t.Errorf("no slip has the drawing %s", name)
		}
	}
	for name := range used {
		if name != "" && drawing.HTML(name) == "" {
			t.Errorf("there is no drawing %q", name)
		}
	}
}
