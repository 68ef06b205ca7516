package marking

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/draw/figure"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/wire"
)

func figureFrame(t testing.TB, f figure.Figure) wire.Frame {
	t.Helper()
	head, numbers, err := f.Pack()
	if err != nil {
		t.Fatal(err)
	}
	return wire.Frame{Head: wire.Head{Kind: wire.Figure, Figure: head}, Numbers: numbers}
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
		f    wire.Frame
		want string // a problem, "" if it is drawn
	}{
		"a long line":           {figureFrame(t, figure.Figure{X: axis, Y: axis, Series: []figure.Series{{Kind: figure.Points, X: line(60_000), Y: line(60_000)}}}), ""},
		"wild numbers":          {figureFrame(t, figure.Figure{X: axis, Y: axis, Series: []figure.Series{{Kind: figure.Line, X: line(50_000), Y: wild}}}), ""},
		"three hundred decades": {figureFrame(t, figure.Figure{X: logs, Y: logs, Series: []figure.Series{{Kind: figure.Line, X: []float64{1e-149, 1e149}, Y: []float64{1e-149, 1e149}}}}), ""},
		"many series":           {figureFrame(t, many), "700 series"},
		"many marks":            {figureFrame(t, marks), "700 marks"},
		"a title of 1 MB":       {figureFrame(t, figure.Figure{Title: strings.Repeat("<b>", 300_000), X: axis, Y: axis, Series: many.Series[:1]}), "bytes"},
		"a title of 27 kB":      {figureFrame(t, figure.Figure{Title: strings.Repeat("xyz", 9_000), X: axis, Y: axis, Series: many.Series[:1]}), "allowed: 500"},
		"nothing":               {wire.Frame{Head: wire.Head{Kind: wire.Figure}}, "cannot be read"},
		"no figure":             {wire.Frame{Head: wire.Head{Kind: wire.Sketch, Figure: json.RawMessage(`[1]`)}}, "cannot be read"},
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
	send := func(f wire.Frame) wire.Frame {
		t.Helper()
		in, err := f.Append(nil)
		if err != nil {
			t.Fatal(err)
		}
		out, err := wire.Decode(d.exchange(in))
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	number := func(lab, code, question string, v float64) wire.Frame {
		return wire.Frame{Head: wire.Head{Kind: wire.Answer, Lab: lab, Code: code, Question: question, Form: wire.FormNumber, Unit: "s"}, Numbers: []float64{v, 0}}
	}
	right := p.RightAnswers()["period"]
	for i := range 300 {
		if r := send(number("90-swing", "", "period", 1+float64(i))); r.Kind != wire.Recorded || r.Text != "" {
			t.Fatalf("the reply to an answer is %+v", r)
		}
	}
	send(number("90", "", "period", right))
	for _, f := range []wire.Frame{number("00-first-steps", "", "pull", 1), number("90-swing", "K7QF-3M2P", "period", 1), number("nowhere", "?", "x", 1)} {
		if r := send(f); r.Kind != wire.Recorded || r.Text != "" {
			t.Errorf("the reply to an answer to another sheet is %+v", r)
		}
	}
	if r := send(wire.Frame{Head: wire.Head{Kind: wire.Recording, Lab: "90", Code: "K7QF-3M2P", Name: "swing"}}); r.Kind != wire.Refused {
		t.Errorf("another sheet's recording is %q", r.Kind)
	}
	if r := send(wire.Frame{Head: wire.Head{Kind: wire.Recording, Lab: "90", Name: "swing"}}); r.Kind != wire.Columns {
		t.Errorf("the sheet's own recording is %q: %s", r.Kind, r.Text)
	}
	send(number("90", "", "no such", 1))
	send(wire.Frame{Head: wire.Head{Kind: wire.Answer, Lab: "90", Question: "why", Form: wire.FormWords, Text: strings.Repeat("w", 100_000)}})
	send(wire.Frame{Head: wire.Head{Kind: wire.Done, Lab: "90"}})
	d.exchange([]byte("no frame"))
	if d.foreign != 3 || len(d.given) != mostGiven+1 || len(d.notes) != 2 {
		t.Errorf("%d answers to other sheets, %d kept, notes %q", d.foreign, len(d.given), d.notes)
	}
	r := run{Given: d.given, Tries: d.tries}
	j := verdicts(p, r, nil)
	if v := j.Verdicts[0]; v.Entry.Verdict.Outcome != judge.OutcomeRight || v.Tries != 301 {
		t.Errorf("the last answer counts: %+v", v)
	}
	if text := j.Verdicts[5].Entry.Answer.Text; len(text) != mostWords {
		t.Errorf("a text of %d bytes is kept", len(text))
	}
}

// Verdicts made of the store are those that the lab server gave, question by
// question, but for hints and for the inputs of functions, which a marking does not tell.
func TestVerdictsAgree(t *testing.T) {
	p := swingLab.Sheet("")
	half := p.RightAnswers()["period"] / 2
	number := func(question string, v float64, unit string) wire.Frame {
		return wire.Frame{Head: wire.Head{Question: question, Form: wire.FormNumber, Unit: unit}, Numbers: []float64{v, 0}}
	}
	law := func(v float64) wire.Frame {
		return wire.Frame{Head: wire.Head{Kind: wire.Function, Question: "law", Signature: string(judge.OneToOne)}, Numbers: []float64{v}}
	}
	off, right := number("period", 77, "s"), number("period", 2*half, "s")
	var many []wire.Frame
	for i := range 2 * mostGiven {
		f := number("period", 1000+float64(i), "s")
		many = append(many, f, f, law(float64(i+1)))
	}
	for name, answers := range map[string][]wire.Frame{
		"one of each": {
			number("period", half, "s"), number("g", 9.81*4, "m/s²"), law(1),
			{Head: wire.Head{Question: "rest", Form: wire.FormMeasured, Unit: "mrad"}, Numbers: []float64{math.NaN(), 0}},
			{Head: wire.Head{Question: "mass", Form: wire.FormChoice, Text: "c"}},
		},
		"off once":                   {off},
		"the same off twice":         {off, off},
		"off, right, off again":      {off, right, off},
		"off, blank, off":            {off, number("period", 0, "s"), off},
		"more than are kept":         many,
		"a number without its unit":  {number("period", 2*half, ""), number("g", 9.81, "")},
		"a wrong one without a unit": {number("period", 3*half, "")},
		"a function off twice":       {law(1), law(2)},
		"the same function twice":    {law(1), law(1)},
	} {
		t.Run(name, func(t *testing.T) { verdictsAgree(t, p, answers) })
	}
	_, j := verdictsAgree(t, p, []wire.Frame{number("period", half, "s"), number("g", 9.81*4, "m/s²")})
	if j.Verdicts[1].Entry.Verdict.Outcome != judge.OutcomeCarried {
		t.Errorf("g is %s, want carried", j.Verdicts[1].Entry.Verdict.Outcome)
	}
	// The lab server keeps no answer of another kind; a reply says why it was none.
	d, j := verdictsAgree(t, p, []wire.Frame{number("law", 1, "s"), number("law", 1, "s"), off, off, off})
	if v := j.Verdicts[3].Entry.Verdict; v.Outcome != judge.OutcomeUnreadable || !strings.Contains(v.Message, "another kind") {
		t.Errorf("law: %+v", v)
	}
	if len(d.given) != 2 {
		t.Errorf("%d answers are kept of two that were submitted again and again", len(d.given))
	}
}

// submitTo submits an answer; a function gives the one number of its frame.
func submitTo(reply func(wire.Frame) wire.Frame, f wire.Frame) {
	f.Lab = "90"
	if f.Kind == "" {
		f.Kind = wire.Answer
	}
	r := reply(f)
	if r.Kind != wire.Calls {
		return
	}
	f.Kind, f.Token, f.Lengths = wire.Values, r.Token, nil
	v := f.Numbers[0]
	f.Numbers = nil
	for range r.Lengths {
		f.Numbers, f.Lengths = append(f.Numbers, v), append(f.Lengths, 1)
	}
	reply(f)
}

// verdictsAgree submits answers to a desk and to the lab server of a notebook, and compares
// what is made of them.
func verdictsAgree(t *testing.T, p bank.Sheet, answers []wire.Frame) (*recorder, judged) {
	t.Helper()
	d, err := newDesk(p, nil)
	if err != nil {
		t.Fatal(err)
	}
	b, err := labserver.New(labserver.Options{InMemory: true, Find: func(string) (bank.Lab, error) { return p.Lab, nil }})
	if err != nil {
		t.Fatal(err)
	}
	practice := b.Session(labserver.SessionOptions{})
	for _, f := range answers {
		for _, reply := range []func(wire.Frame) wire.Frame{d.reply, practice.Reply} {
			submitTo(reply, f)
		}
	}
	text, err := json.Marshal(run{Given: d.given, Tries: d.tries})
	if err != nil {
		t.Fatal(err)
	}
	var stored run
	if err := json.Unmarshal(text, &stored); err != nil {
		t.Fatal(err)
	}
	j := verdicts(p, stored, nil)
	all, err := practice.Summaries()
	if err != nil {
		t.Fatal(err)
	}
	for i, st := range all[0].Standings {
		got := j.Verdicts[i].Entry.Verdict
		if got.Outcome == judge.OutcomeOff || got.Outcome == judge.OutcomeSlip { // a marking tells another message
			st.Verdict.Message = got.Message
		}
		if st.Answered && got != st.Verdict {
			t.Errorf("%s: %+v, the lab server says %+v", st.Question.ID, got, st.Verdict)
		}
	}
	return d, j
}
