package labserver

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/wire"
)

const lab01 = "01-weighing-the-earth"

// desk is a session whose displays are kept.
type desk struct {
	*Session
	shown []Display
}

func newDesk(t testing.TB, o Options, so SessionOptions) *desk {
	t.Helper()
	if o.Data == "" && !o.InMemory {
		o.Data = t.TempDir()
	}
	b, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	return deskOf(b, so)
}

func deskOf(b *Server, so SessionOptions) *desk {
	d := &desk{}
	so.Show = func(x Display) error { d.shown = append(d.shown, x); return nil }
	d.Session = b.Session(so)
	return d
}

// ask sends a frame over the wire format and back.
func (d *desk) ask(t testing.TB, f wire.Frame) wire.Frame {
	t.Helper()
	in, err := f.Append(nil)
	if err != nil {
		t.Fatal(err)
	}
	reply, err := wire.Decode(d.Exchange(in))
	if err != nil {
		t.Fatal(err)
	}
	return reply
}

func numberFrame(lab, question string, v, u float64, unit string) wire.Frame {
	return wire.Frame{Head: wire.Head{Kind: wire.Answer, Lab: lab, Question: question, Form: wire.FormMeasured, Unit: unit}, Numbers: []float64{v, u}}
}

func textFrame(lab, question string, form wire.Form, text string) wire.Frame {
	return wire.Frame{Head: wire.Head{Kind: wire.Answer, Lab: lab, Question: question, Form: form, Text: text}}
}

// last is the view of the last display.
func (d *desk) last(t testing.TB) map[string]any {
	t.Helper()
	if len(d.shown) == 0 {
		t.Fatal("nothing was displayed")
	}
	v, _ := d.shown[len(d.shown)-1][judge.VerdictMIME].(map[string]any)
	return v
}

func TestCarriedAnswer(t *testing.T) {
	l, err := exercises.Find(lab01)
	if err != nil {
		t.Fatal(err)
	}
	sheet := l.Sheet("")
	right := sheet.RightAnswers()
	q, _ := sheet.Question("big-g")
	wrong := bank.Answers{}
	for id, v := range right {
		wrong[id] = v
	}
	wrong["kappa"] *= 1.37
	for _, c := range []struct {
		name  string
		first float64
		then  float64
		want  judge.Outcome
	}{
		{"right from right", right["kappa"], right["big-g"], judge.OutcomeRight},
		{"carried from wrong", wrong["kappa"], q.Solve(wrong), judge.OutcomeCarried},
		{"wrong from right", right["kappa"], 1.21 * right["big-g"], judge.OutcomeOff},
	} {
		d := newDesk(t, Options{}, SessionOptions{})
		d.ask(t, numberFrame(lab01, "kappa", c.first, 0, "N m/rad"))
		d.ask(t, numberFrame(lab01, "big-g", c.then, 0, "m3 kg-1 s-2"))
		if got := d.last(t)["outcome"]; got != string(c.want) {
			t.Errorf("%s: %v, want %s", c.name, d.last(t), c.want)
		}
	}
}

// The reply to an answer of a confined program says nothing about the answer.
func TestConfinedRepliesAreTheSame(t *testing.T) {
	var first []byte
	for _, f := range []wire.Frame{
		textFrame("00", "brackets", wire.FormChoice, "a"),
		textFrame("00", "brackets", wire.FormChoice, "b"),
		textFrame("00", "brackets", wire.FormChoice, "zz"),
		textFrame("00", "brackets", wire.FormWords, ""),
		textFrame("00", "no-such", wire.FormWords, ""),
		textFrame("99", "brackets", wire.FormChoice, "a"),
		numberFrame("00", "fall-time", 0.5, 0, "s"),
		numberFrame("00", "fall-time", math.NaN(), math.Inf(1), "parsec per fortnight"),
		{Head: wire.Head{Kind: wire.Answer, Lab: "00", Question: "fall-time", Form: wire.FormNumber}},
		{Head: wire.Head{Kind: wire.Values, Lab: "00", Question: "mean", Token: "made up"}},
		{Head: wire.Head{Kind: wire.Done, Lab: "00"}},
	} {
		d := newDesk(t, Options{InMemory: true}, SessionOptions{Confined: true})
		in, _ := f.Append(nil)
		out := d.Exchange(in)
		if first == nil {
			first = out
		}
		if !bytes.Equal(out, first) {
			t.Errorf("%+v: reply %q differs from %q", f.Head, out, first)
		}
	}
}

// A mistyped lab, code or question is named, with what it may have been.
func TestMistyped(t *testing.T) {
	good := string(bank.NumberedCode(lab01, 1))
	wrong := "0"
	if good[0] == '0' {
		wrong = "1"
	}
	for _, c := range []struct{ lab, code, question, want string }{
		{"01-weighing-the-erth", "", "kappa", "did you mean 01-weighing-the-earth?"},
		{"wholly-other", "", "kappa", "the labs are 00-first-steps"},
		{lab01, wrong + good[1:], "kappa", "is mistyped"},
		{lab01, "my sheet", "kappa", "is not a sheet code"},
		{lab01, good, "kapa", "Did you mean kappa"},
		{lab01, good, "wholly-other", "Its questions are kappa"},
	} {
		d := newDesk(t, Options{InMemory: true}, SessionOptions{})
		f := numberFrame(c.lab, c.question, 1, 0, "s")
		f.Code = c.code
		d.ask(t, f)
		v := d.last(t)
		if v["outcome"] != "unreadable" || !strings.Contains(v["message"].(string), c.want) {
			t.Errorf("%+v: %v", c, v)
		}
	}
}

// giveMean answers the function question of lab 00 with f.
func (d *desk) giveMean(t testing.TB, f func([]float64) []float64) (calls, reply wire.Frame) {
	t.Helper()
	head := wire.Head{Kind: wire.Function, Lab: "00-first-steps", Question: "mean", Signature: string(judge.SliceToOne)}
	calls = d.ask(t, wire.Frame{Head: head})
	if calls.Kind != wire.Calls {
		t.Fatalf("reply %+v", calls.Head)
	}
	args, ok := wire.Split(calls.Numbers, calls.Lengths)
	if !ok {
		t.Fatal("calls cannot be split")
	}
	var results [][]float64
	for _, a := range args {
		results = append(results, f(a))
	}
	back := wire.Frame{Head: head}
	back.Kind, back.Token = wire.Values, calls.Token
	back.Numbers, back.Lengths = wire.Join(results)
	return calls, d.ask(t, back)
}

func mean(x []float64) []float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return []float64{sum / float64(len(x))}
}

func TestFunction(t *testing.T) {
	for _, c := range []struct {
		name    string
		f       func([]float64) []float64
		outcome judge.Outcome
		message string
	}{
		{"right", mean, judge.OutcomeRight, ""},
		{"slip", func(x []float64) []float64 { return []float64{mean(x)[0] * float64(len(x))} }, judge.OutcomeSlip, ""},
		{"not written yet", func(x []float64) []float64 { return []float64{0} }, judge.OutcomeBlank, ""},
		{"NaN", func(x []float64) []float64 { return []float64{math.NaN()} }, judge.OutcomeUnreadable, "NaN"},
		{"two numbers", func(x []float64) []float64 { return []float64{1, 2} }, judge.OutcomeUnreadable, "2 numbers"},
		{"none", func(x []float64) []float64 { return nil }, judge.OutcomeUnreadable, "0 numbers"},
	} {
		d := newDesk(t, Options{}, SessionOptions{})
		d.giveMean(t, c.f)
		v := d.last(t)
		if v["outcome"] != string(c.outcome) || !strings.Contains(v["message"].(string), c.message) {
			t.Errorf("%s: %v, want %s with %q", c.name, v, c.outcome, c.message)
		}
	}
}

func TestTokenServesOnce(t *testing.T) {
	d := newDesk(t, Options{}, SessionOptions{})
	calls, _ := d.giveMean(t, mean)
	again := wire.Frame{Head: wire.Head{Kind: wire.Values, Lab: "00", Question: "mean", Token: calls.Token, Lengths: make([]int, len(calls.Lengths))}}
	d.ask(t, again)
	if v := d.last(t); v["outcome"] != "unreadable" {
		t.Errorf("a token used twice: %v", v)
	}
	if sum, _ := d.bench.Summary("00", "", false); sum.Marks != 2 {
		t.Errorf("marks %d, want 2: a made-up answer replaced the real one", sum.Marks)
	}
}

// Calls come in the same order each time when confined, and not otherwise.
func TestOrderOfCalls(t *testing.T) {
	order := func(confined bool) string {
		d := newDesk(t, Options{InMemory: true}, SessionOptions{Confined: confined})
		calls, _ := d.giveMean(t, mean)
		return fmt.Sprint(calls.Numbers)
	}
	if first, second := order(true), order(true); first != second {
		t.Error("confined calls differ from run to run")
	}
	seen := map[string]bool{}
	for range 20 {
		seen[order(false)] = true
	}
	if len(seen) < 2 {
		t.Error("20 runs had the same order of calls")
	}
}

func TestAssessedSheet(t *testing.T) {
	d := newDesk(t, Options{}, SessionOptions{})
	for _, answer := range []string{"a", "b"} {
		f := textFrame("00", "brackets", wire.FormChoice, answer)
		f.Assessed = true
		d.ask(t, f)
		v := d.last(t)
		want := View{Lab: "00-first-steps", Question: "brackets", Title: "What the brackets say", Outcome: judge.OutcomeRecorded, Sign: "•", Of: 1, Understood: "option " + answer}
		if fmt.Sprint(v) != fmt.Sprint(notebook.Object(want)) {
			t.Errorf("%s: %v, want %v", answer, v, notebook.Object(want))
		}
	}
	f := wire.Frame{Head: wire.Head{Kind: wire.Done, Lab: "00", Assessed: true}}
	d.ask(t, f)
	text := d.shown[len(d.shown)-1]["text/plain"].(string)
	for _, word := range []string{"right", "slip", "marks"} {
		if strings.Contains(text, word) {
			t.Errorf("the summary of an assessed sheet says %q:\n%s", word, text)
		}
	}
	if !strings.Contains(text, "1 of 4 questions answered") {
		t.Errorf("summary:\n%s", text)
	}
}

// The same answer given again is no further try; others are, and too many of
// them are remarked upon.
func TestTries(t *testing.T) {
	d := newDesk(t, Options{}, SessionOptions{})
	tries := func() Standing {
		sum, err := d.bench.Summary("00", "", false)
		if err != nil {
			t.Fatal(err)
		}
		return sum.Standings[0]
	}
	for range 3 {
		d.ask(t, numberFrame("00", "fall-time", 77, 0, "s"))
	}
	d.ask(t, numberFrame("00", "fall-time", 0, 0, "s")) // blank
	if s := tries(); s.Tries != 1 || s.Verdict.Outcome != judge.OutcomeBlank {
		t.Errorf("%d tries, %s; want 1, blank", s.Tries, s.Verdict.Outcome)
	}
	for i := range maxTries {
		if s := tries(); s.Remark() != "" {
			t.Errorf("after %d tries: %q", s.Tries, s.Remark())
		}
		d.ask(t, numberFrame("00", "fall-time", float64(100+i), 0, "s"))
	}
	if s := tries(); s.Remark() == "" {
		t.Errorf("no remark after %d tries", s.Tries)
	}
}

func TestRecordingComesWhole(t *testing.T) {
	const samples = 150_000
	lab := bank.Lab{ID: "90-trial", Title: "Trial", Build: func(*bank.Draw) bank.Sheet {
		return bank.Sheet{Recordings: []bank.Recording{{
			ID: "long", Columns: []bank.Column{{Name: "time", Unit: "s"}, {Name: "angle", Unit: "rad"}},
			Make: func() ([][]float64, error) {
				t, a := make([]float64, samples), make([]float64, samples)
				for i := range t {
					t[i], a[i] = float64(i), -float64(i)
				}
				return [][]float64{t, a}, nil
			},
		}}}
	}}
	d := newDesk(t, Options{Find: func(string) (bank.Lab, error) { return lab, nil }}, SessionOptions{})
	var all []float64
	for replies := 1; ; replies++ {
		r := d.ask(t, wire.Frame{Head: wire.Head{Kind: wire.Recording, Lab: "90", Name: "long", At: len(all)}})
		if r.Kind != wire.Columns || r.Total != 2*samples || r.Columns[1].Unit != "rad" {
			t.Fatalf("reply %+v", r.Head)
		}
		all = append(all, r.Numbers...)
		if len(all) >= r.Total {
			break
		}
		if replies > 10 {
			t.Fatal("the recording does not end")
		}
	}
	for i := range samples {
		if all[i] != float64(i) || all[samples+i] != -float64(i) {
			t.Fatalf("sample %d is %v, %v", i, all[i], all[samples+i])
		}
	}
	for _, at := range []int{-1, 2 * samples, math.MaxInt} {
		if r := d.ask(t, wire.Frame{Head: wire.Head{Kind: wire.Recording, Lab: "90", Name: "long", At: at}}); len(r.Numbers) != 0 {
			t.Errorf("from %d on there are %d numbers", at, len(r.Numbers))
		}
	}
}

func TestFiles(t *testing.T) {
	big := bytes.Repeat([]byte("0.5,1\n"), 300_000)
	files := fstest.MapFS{"swing.csv": {Data: big}, "huge.csv": {Data: make([]byte, maxFile+1)}, "sub/x.csv": {Data: []byte("x")}}
	d := newDesk(t, Options{InMemory: true}, SessionOptions{Confined: true, Files: files})
	var all []byte
	for len(all) < len(big) {
		r := d.ask(t, wire.Frame{Head: wire.Head{Kind: wire.File, Name: "swing.csv", At: len(all)}})
		if r.Kind != wire.Chunk || len(r.Data) == 0 {
			t.Fatalf("reply %+v after %d bytes", r.Head, len(all))
		}
		all = append(all, r.Data...)
	}
	if !bytes.Equal(all, big) {
		t.Error("the file arrived changed")
	}
	for _, name := range []string{"", ".", "..", "../swing.csv", "sub/x.csv", "/etc/passwd", `c:\x`, "none.csv", "huge.csv", "sub"} {
		if r := d.ask(t, wire.Frame{Head: wire.Head{Kind: wire.File, Name: name}}); r.Kind != wire.Refused {
			t.Errorf("%q was read: %+v", name, r.Head)
		}
	}
}

func TestRefusedDisplays(t *testing.T) {
	d := newDesk(t, Options{InMemory: true}, SessionOptions{MaxShown: 3})
	for _, f := range []wire.Frame{
		{Head: wire.Head{Kind: wire.Show, MIME: "application/javascript"}, Data: []byte("alert(1)")},
		{Head: wire.Head{Kind: wire.Show, MIME: "image/png"}, Data: []byte("no picture")},
		{Head: wire.Head{Kind: wire.Show, MIME: "text/html"}, Data: []byte{0xff}},
		{Head: wire.Head{Kind: wire.Figure}},
		{Head: wire.Head{Kind: wire.Figure, Figure: []byte(`{"counts":[1]}`)}},
		{Head: wire.Head{Kind: wire.Sketch, Figure: []byte(`{}`)}},
		{Head: wire.Head{Kind: "nonsense"}},
	} {
		if r := d.ask(t, f); r.Kind != wire.Refused || r.Text == "" {
			t.Errorf("%+v: %+v", f.Head, r.Head)
		}
	}
	for i := range 4 {
		r := d.ask(t, wire.Frame{Head: wire.Head{Kind: wire.Show, MIME: "text/plain"}, Data: []byte("x")})
		if want := i < 3; (r.Kind == wire.Recorded) != want {
			t.Errorf("display %d: %+v", i, r.Head)
		}
	}
}

// What a cell says is text to the page, whatever is in it.
func TestTextIsEscaped(t *testing.T) {
	const nasty = `<script>alert("1")</script>`
	d := newDesk(t, Options{}, SessionOptions{})
	for _, f := range []wire.Frame{
		textFrame("00", nasty, wire.FormWords, nasty),
		textFrame(nasty, nasty, wire.FormWords, nasty),
		textFrame("00", "brackets", wire.FormChoice, nasty),
		textFrame("00", "fall-time", wire.FormTyped, nasty),
		numberFrame("00", "fall-time", 1, 0, nasty),
	} {
		d.ask(t, f)
		if page := d.shown[len(d.shown)-1]["text/html"].(string); strings.Contains(page, "<script") {
			t.Errorf("%+v: %s", f.Head, page)
		}
	}
	d.ask(t, wire.Frame{Head: wire.Head{Kind: wire.Done, Lab: "00"}})
	if page := d.shown[len(d.shown)-1]["text/html"].(string); strings.Contains(page, "<script") {
		t.Error("the summary is not escaped")
	}
}

// A log that cannot be written costs no verdict, and the student is told.
func TestUnwritableLog(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	d := newDesk(t, Options{Data: file}, SessionOptions{})
	d.ask(t, textFrame("00", "brackets", wire.FormChoice, "a"))
	v := d.last(t)
	if v["outcome"] != "right" || !strings.Contains(v["message"].(string), "not kept") {
		t.Errorf("%v", v)
	}
}

// Bytes that are no frame, or a frame of nonsense, never harm the lab server.
func FuzzExchange(f *testing.F) {
	for _, x := range []wire.Frame{
		numberFrame("00", "fall-time", 1, 0.1, "s"),
		textFrame("00", "brackets", wire.FormChoice, "a"),
		{Head: wire.Head{Kind: wire.Function, Lab: "00", Question: "mean", Signature: string(judge.SliceToOne)}},
		{Head: wire.Head{Kind: wire.Values, Lab: "00", Question: "mean", Lengths: []int{1}}, Numbers: []float64{1}},
		{Head: wire.Head{Kind: wire.Recording, Lab: "01", Name: "swing", At: 5}},
		{Head: wire.Head{Kind: wire.File, Name: "x.csv"}},
		{Head: wire.Head{Kind: wire.Sketch, Figure: []byte(`{"unit":"mm","shapes":[{"kind":"circle","r":1}]}`)}},
		{Head: wire.Head{Kind: wire.Figure, Figure: []byte(`{"x":{"label":"t","unit":"s"},"y":{"label":"a","unit":"m"},"series":[{"kind":"line"}],"counts":[2,2,0]}`)}, Numbers: []float64{1, 2, 3, 4}},
		{Head: wire.Head{Kind: wire.Show, MIME: "text/html"}, Data: []byte("<p>")},
		{Head: wire.Head{Kind: wire.Done, Lab: "00"}},
	} {
		b, err := x.Append(nil)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	var complaints []string
	o := Options{InMemory: true, Log: func(m string) { complaints = append(complaints, m) }}
	f.Fuzz(func(t *testing.T, in []byte) {
		complaints = nil
		d := newDesk(t, o, SessionOptions{Confined: true, Files: fstest.MapFS{"x.csv": {Data: []byte("1")}}})
		if _, err := wire.Decode(d.Exchange(in)); err != nil {
			t.Fatalf("the reply is no frame: %v", err)
		}
		if len(complaints) > 0 {
			t.Fatalf("the lab server failed inside: %v", complaints)
		}
	})
}

func BenchmarkTypedAnswer(b *testing.B) {
	d := newDesk(b, Options{}, SessionOptions{})
	in, err := textFrame(lab01, "kappa", wire.FormTyped, "8.4(2) µN·m/rad").Append(nil)
	if err != nil {
		b.Fatal(err)
	}
	d.Exchange(in)
	d.shown = nil
	for b.Loop() {
		d.Exchange(in)
	}
}

func BenchmarkTypedAnswerInMemory(b *testing.B) {
	d := newDesk(b, Options{InMemory: true}, SessionOptions{})
	in, err := textFrame(lab01, "kappa", wire.FormTyped, "8.4(2) µN·m/rad").Append(nil)
	if err != nil {
		b.Fatal(err)
	}
	d.Exchange(in)
	d.shown = nil
	for b.Loop() {
		d.Exchange(in)
	}
}

// A wrong number in a cell that has read a recording of one's own may be right
// for that: the student is told, and only then.
func TestOwnRecordingIsSaid(t *testing.T) {
	d := newDesk(t, Options{}, SessionOptions{})
	said := func(f wire.Frame, own bool) bool {
		t.Helper()
		f.Own = own
		d.ask(t, f)
		message, _ := d.last(t)["message"].(string)
		return strings.Contains(message, "recording of your own")
	}
	wrong, right := numberFrame("01", "kappa", 3, 0, "N m/rad"), numberFrame("01", "kappa", 1.57e-7, 0, "N m/rad")
	if !said(wrong, true) || said(wrong, false) || said(right, true) || said(textFrame("01", "why-lead", wire.FormChoice, "a"), true) {
		t.Error("it is not said of a wrong number from a recording of one's own, or of another answer")
	}
	wrong.Assessed = true
	if said(wrong, true) {
		t.Error("an assessed sheet tells that a number is wrong")
	}
}
