package marking

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"gravity.example/gravlab/draw/figure"
	"gravity.example/gravlab/frame"
	"gravity.example/gravlab/judge"
)

func figureFrame(t testing.TB, f figure.Figure) frame.Frame {
	t.Helper()
	head, numbers, err := f.Pack()
	if err != nil {
		t.Fatal(err)
	}
	return frame.Frame{Head: frame.Head{Kind: frame.Figure, Figure: head}, Numbers: numbers}
}

// Whatever a program wants to show, the picture is bounded.
func TestRedraw(t *testing.T) {
	axis := figure.Axis{Label: "x", Unit: "m"}
	line := func(n int) []float64 {
		x := make([]float64, n)
		for i := range x {
			x[i] = float64(i)
		}
		return x
	}
	many := figure.Figure{X: axis, Y: axis}
	for i := range 700 {
		many.Series = append(many.Series, figure.Series{Name: fmt.Sprint(i), Kind: figure.Line, X: []float64{1, 2}, Y: []float64{1, 2}})
	}
	marks := figure.Figure{X: axis, Y: axis, Series: many.Series[:1]}
	for range 700 {
		marks.Marks = append(marks.Marks, figure.Mark{Kind: figure.Label, X: 1, Y: 1, Text: "x"})
	}
	wild := line(50_000)
	for i := range wild {
		wild[i] = math.Pow(-1, float64(i)) * math.Pow(10, float64(i%300)-150)
	}
	logs := figure.Axis{Label: "x", Unit: "m", Log: true}
	for name, c := range map[string]struct {
		f    frame.Frame
		want string // a problem, "" if it is drawn
	}{
		"a long line":           {figureFrame(t, figure.Figure{X: axis, Y: axis, Series: []figure.Series{{Kind: figure.Points, X: line(60_000), Y: line(60_000)}}}), ""},
		"wild numbers":          {figureFrame(t, figure.Figure{X: axis, Y: axis, Series: []figure.Series{{Kind: figure.Line, X: line(50_000), Y: wild}}}), ""},
		"three hundred decades": {figureFrame(t, figure.Figure{X: logs, Y: logs, Series: []figure.Series{{Kind: figure.Line, X: []float64{1e-149, 1e149}, Y: []float64{1e-149, 1e149}}}}), ""},
		"many series":           {figureFrame(t, many), "700 series"},
		"many marks":            {figureFrame(t, marks), "700 marks"},
		"a title of 1 MB":       {figureFrame(t, figure.Figure{Title: strings.Repeat("<b>", 300_000), X: axis, Y: axis, Series: many.Series[:1]}), "bytes"},
		"a title of 27 kB":      {figureFrame(t, figure.Figure{Title: strings.Repeat("xyz", 9_000), X: axis, Y: axis, Series: many.Series[:1]}), "allowed: 500"},
		"nothing":               {frame.Frame{Head: frame.Head{Kind: frame.Figure}}, "cannot be read"},
		"no figure":             {frame.Frame{Head: frame.Head{Kind: frame.Sketch, Figure: json.RawMessage(`[1]`)}}, "cannot be read"},
	} {
		p := drawn(c.f)
		if (p.Problem == "") != (c.want == "") || !strings.Contains(p.Problem, c.want) || len(p.SVG) > mostSVG {
			t.Errorf("%s: problem %q, want %q; %d bytes", name, p.Problem, c.want, len(p.SVG))
		}
	}
}

// A record with gaps is drawn with its readings.
func TestRedrawGaps(t *testing.T) {
	f := figure.Figure{X: figure.Axis{Label: "time", Unit: "s"}, Y: figure.Axis{Label: "angle", Unit: "rad"}, Series: []figure.Series{{Kind: figure.Line}}}
	s := &f.Series[0]
	for i := range 30_000 {
		s.X, s.Y = append(s.X, float64(i)), append(s.Y, math.Sin(float64(i)/1000))
	}
	whole := len(drawn(figureFrame(t, f)).SVG)
	for i := 0; i < len(s.Y); i += 3 {
		s.Y[i] = math.NaN()
	}
	if p := drawn(figureFrame(t, f)); p.Problem != "" || len(p.SVG) < whole/2 {
		t.Errorf("problem %q, %d bytes; without gaps it has %d", p.Problem, len(p.SVG), whole)
	}
}

// A desk believes no frame but those about its own sheet, tells nothing, and keeps a
// bounded number of answers.
func TestDesk(t *testing.T) {
	p := swingLab.Sheet("")
	d, err := newDesk(p, nil)
	if err != nil {
		t.Fatal(err)
	}
	send := func(f frame.Frame) frame.Frame {
		t.Helper()
		in, err := f.Append(nil)
		if err != nil {
			t.Fatal(err)
		}
		out, err := frame.Decode(d.exchange(in))
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	number := func(lab, code, question string, v float64) frame.Frame {
		return frame.Frame{Head: frame.Head{Kind: frame.Answer, Lab: lab, Code: code, Question: question, Form: frame.FormNumber, Unit: "s"}, Numbers: []float64{v, 0}}
	}
	right := p.RightAnswers()["period"]
	for i := range 300 {
		if r := send(number("90-swing", "", "period", 1+float64(i))); r.Kind != frame.Recorded || r.Text != "" {
			t.Fatalf("the reply to an answer is %+v", r)
		}
	}
	send(number("90", "", "period", right))
	for _, f := range []frame.Frame{number("00-first-steps", "", "pull", 1), number("90-swing", "K7QF-3M2P", "period", 1), number("nowhere", "?", "x", 1)} {
		if r := send(f); r.Kind != frame.Recorded || r.Text != "" {
			t.Errorf("the reply to an answer to another sheet is %+v", r)
		}
	}
	if r := send(frame.Frame{Head: frame.Head{Kind: frame.Recording, Lab: "90", Code: "K7QF-3M2P", Name: "swing"}}); r.Kind != frame.Refused {
		t.Errorf("another sheet's recording is %q", r.Kind)
	}
	if r := send(frame.Frame{Head: frame.Head{Kind: frame.Recording, Lab: "90", Name: "swing"}}); r.Kind != frame.Columns {
		t.Errorf("the sheet's own recording is %q: %s", r.Kind, r.Text)
	}
	send(number("90", "", "no such", 1))
	send(frame.Frame{Head: frame.Head{Kind: frame.Answer, Lab: "90", Question: "why", Form: frame.FormWords, Text: strings.Repeat("w", 100_000)}})
	send(frame.Frame{Head: frame.Head{Kind: frame.Done, Lab: "90"}})
	d.exchange([]byte("no frame"))
	if d.foreign != 3 || len(d.given) != mostGiven+1 || len(d.notes) != 2 {
		t.Errorf("%d answers to other sheets, %d kept, notes %q", d.foreign, len(d.given), d.notes)
	}
	r := run{Given: d.given, Tries: d.tries()}
	j := verdicts(p, r, nil)
	if v := j.Verdicts[0]; v.Entry.Verdict.Outcome != judge.Right || v.Tries != 301 {
		t.Errorf("the last answer counts: %+v", v)
	}
	if text := j.Verdicts[5].Entry.Answer.Text; len(text) != mostWords {
		t.Errorf("a text of %d bytes is kept", len(text))
	}
}

// Verdicts made of the store are those that the bench gave, question by
// question.
func TestVerdictsAgree(t *testing.T) {
	p := swingLab.Sheet("")
	d, err := newDesk(p, nil)
	if err != nil {
		t.Fatal(err)
	}
	half := p.RightAnswers()["period"] / 2
	for _, f := range []frame.Frame{
		{Head: frame.Head{Question: "period", Form: frame.FormNumber, Unit: "s"}, Numbers: []float64{half, 0}},
		{Head: frame.Head{Question: "g", Form: frame.FormNumber, Unit: "m/s²"}, Numbers: []float64{9.81 * 4, 0}},
		{Head: frame.Head{Question: "rest", Form: frame.FormMeasured, Unit: "mrad"}, Numbers: []float64{math.NaN(), 0}},
		{Head: frame.Head{Question: "mass", Form: frame.FormChoice, Text: "c"}},
		{Head: frame.Head{Question: "law", Form: frame.FormNumber, Unit: "s"}, Numbers: []float64{1, 0}},
	} {
		f.Kind, f.Lab = frame.Answer, "90"
		in, err := f.Append(nil)
		if err != nil {
			t.Fatal(err)
		}
		d.exchange(in)
	}
	text, err := json.Marshal(run{Given: d.given, Tries: d.tries()})
	if err != nil {
		t.Fatal(err)
	}
	var stored run
	if err := json.Unmarshal(text, &stored); err != nil {
		t.Fatal(err)
	}
	j := verdicts(p, stored, nil)
	all, err := d.session.Summaries()
	if err != nil {
		t.Fatal(err)
	}
	for i, st := range all[0].Standings {
		got := j.Verdicts[i].Entry.Verdict
		if st.Question.ID == "law" { // the bench keeps no answer of another kind
			if got.Outcome != judge.Unreadable || !strings.Contains(got.Message, "another kind") {
				t.Errorf("law: %+v", got)
			}
			continue
		}
		got.SI, st.Verdict.SI = 0, 0
		if st.Answered && got != st.Verdict {
			t.Errorf("%s: %+v, the bench says %+v", st.Question.ID, got, st.Verdict)
		}
	}
	if j.Verdicts[1].Entry.Verdict.Outcome != judge.Carried {
		t.Errorf("g is %s, want carried", j.Verdicts[1].Entry.Verdict.Outcome)
	}
}
