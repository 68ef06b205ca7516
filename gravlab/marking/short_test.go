package marking

import (
	"strings"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
)

// The short form has right answers on one line each, and of the rest what was entered, the
// slip, its remedy and the bank's reasoning; in large print it says the same.
func TestShortReply(t *testing.T) {
	lab := swingLab
	build := lab.Build
	lab.Build = func(d *bank.Draw) bank.Sheet {
		s := build(d)
		for i := range s.Questions {
			s.Questions[i].Reasoning = "The reason of **" + s.Questions[i].ID + "**."
		}
		return s
	}
	c := newClassroom(t, lab, 2)
	if err := exercises.Add(lab); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { exercises.Add(swingLab) })
	p := c.sheet(0)
	c.hand("s01/a.ipynb", answered(t, p, worked(p).with("period", gives("period", right(p, "period", 0.5), "s"))))
	c.mark()
	short, large := c.file("replies/short/s01.html"), c.file("replies/large/s01.html")
	for _, text := range []string{short, large} {
		for _, part := range []string{
			"<strong>Where it rests</strong> <span class=\"of\">4 of 4</span> <code>",
			"<h3>Period <span class=\"of\">0 of 2</span></h3>", ": half a swing. You entered <code>", "A full swing is there and back.", "You entered “Heavy and inert mass are the same.”", "The reason of <strong>period</strong>.",
			"<h3>Why <span class=\"of\">0 of 3</span></h3>", "so far; 1 text waits for your lecturer",
		} {
			if !strings.Contains(text, part) {
				t.Errorf("the short form does not say %q", part)
			}
		}
		if strings.Contains(text, "The reason of <strong>rest</strong>") {
			t.Error("a right answer has its reasoning")
		}
	}
	if strings.Contains(short, `class="short large"`) || !strings.Contains(large, `class="short large"`) {
		t.Error("one form is the other")
	}
	if !strings.Contains(c.file("replies/s01.html"), "How this was marked") {
		t.Error("the whole reply is gone")
	}
	c.wantMarks("s02", "      ")
}
