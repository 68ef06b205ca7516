package labserver

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"

	"gravity.example/gravlab/internal/htmlpage"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/wire"
)

var views = []View{
	{Lab: lab01, Question: "kappa", Title: "The fibre", Outcome: judge.OutcomeRight, Sign: "✓", Marks: 2, Of: 2, Understood: "8.4 µN·m/rad", Message: "Right."},
	{Lab: lab01, Question: "kappa", Title: "The fibre", Outcome: judge.OutcomeSlip, Sign: "△", Of: 2, Understood: "1 N", Message: "One.\nTwo.\n\nThree.\nFour.", Slip: "a slip"},
	{Lab: lab01, Question: "kappa", Outcome: judge.OutcomeSlip, Sign: "△", Of: 2, Message: "One.", Slip: "a slip", Drawing: "swing"},
	{Question: "kapa", Outcome: judge.OutcomeUnreadable, Sign: "✗", Message: "There is none."},
	{Question: "q", Outcome: judge.OutcomeBlank, Sign: "–", Of: 1},
	{Question: "q", Outcome: judge.OutcomeRecorded, Sign: "•", Of: 1, Understood: "1 s"},
}

// Each form of a verdict says its sign and its word, and the text is three lines
// at most.
func TestVerdictForms(t *testing.T) {
	for _, v := range views {
		d := v.Display()
		plain, page := d["text/plain"].(string), d["text/html"].(string)
		for _, text := range []string{plain, page} {
			if !strings.Contains(text, v.Sign) || !strings.Contains(text, string(v.Outcome)) || !strings.Contains(text, v.Question) {
				t.Errorf("sign, word or question missing in %q", text)
			}
		}
		if n := len(strings.Split(plain, "\n")); n > maxLines {
			t.Errorf("%d lines:\n%s", n, plain)
		}
		if n := strings.Count(page, "<br>"); n > maxLines-1 {
			t.Errorf("%d lines: %s", n+1, page)
		}
		if htmlpage.Colour(v.Outcome) == "" {
			t.Errorf("no colour for %s", v.Outcome)
		}
	}
	if got, want := views[0].plain(), "✓ right: kappa, read as 8.4 µN·m/rad (marks 2 of 2)\nRight."; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if page := views[2].html(); !strings.Contains(page, `<svg class="drawing"`) {
		t.Errorf("the verdict has no drawing: %s", page)
	}
	if got := views[5].plain(); strings.Contains(got, "marks") {
		t.Errorf("%q gives away marks", got)
	}
}

// The JSON form reads back as the View it was made from.
func TestVerdictJSON(t *testing.T) {
	for _, v := range views {
		b, err := json.Marshal(v.Display()[judge.VerdictMIME])
		if err != nil {
			t.Fatal(err)
		}
		var got View
		if err := json.Unmarshal(b, &got); err != nil || !reflect.DeepEqual(got, v) {
			t.Errorf("%+v came back as %+v, %v", v, got, err)
		}
	}
}

// What others found is told once a result is right, with the reader's own, and not before.
func TestCompare(t *testing.T) {
	b, err := New(Options{Data: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	for text, told := range map[string]bool{"5.448 g/cm³ ± 0.041 g/cm³": true, "5.48 g/cm³ ± 0.04 g/cm³": false} {
		_, got := b.Session(SessionOptions{}).Answer(wire.Frame{Head: wire.Head{Kind: wire.Answer, Lab: "01-weighing-the-earth", Question: "mean-1798", Form: wire.FormTyped, Text: text}})
		if got == nil {
			t.Fatal("not judged")
		}
		if has := strings.Contains(got.View.Reasoning, "Printed in 1798: 5.48 g/cm³. Today: 5.513 g/cm³. Yours: 5.448 ± 0.041 g/cm³."); has != told {
			t.Errorf("%s (%s): %q", text, got.View.Outcome, got.View.Reasoning)
		}
	}
}
