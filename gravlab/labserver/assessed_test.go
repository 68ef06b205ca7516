package labserver

import (
	"encoding/json"
	"errors"
	"fmt"
	"html"
	"io"
	"maps"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/quantity"
	"gravity.example/gravlab/wire"
)

// A hunter submits answers to an assessed sheet and looks at whatever
// can be seen of them.
type hunter struct {
	data                     string
	bench                    *Server
	notebook, bare, confined *desk
	read                     int64 // how far the log is read
}

func newHunter(t testing.TB) *hunter {
	data := t.TempDir()
	h := &hunter{data: data, bench: openBench(t, data)}
	h.notebook, h.confined = deskOf(h.bench, SessionOptions{MaxShown: math.MaxInt}), deskOf(h.bench, SessionOptions{Confined: true, MaxShown: math.MaxInt})
	h.bare = &desk{Session: h.bench.Session(SessionOptions{Show: func(Display) error { return errors.New("no notebook") }})}
	return h
}

// see submits an answer, everywhere, and returns all that can be seen of it, but
// for what echoes the answer.
func (h *hunter) see(t testing.TB, f wire.Frame, numbers []float64) string {
	t.Helper()
	f.Assessed, f.Lab = true, lab(f.Lab)
	var seen strings.Builder
	for _, d := range []*desk{h.notebook, h.bare, h.confined} {
		d.shown = nil
		r := d.ask(t, f)
		if r.Kind == wire.Calls {
			g := f
			g.Kind, g.Token = wire.Values, r.Token
			g.Numbers, g.Lengths = nil, nil
			for i := range r.Lengths { // results go with the arguments: the calls are shuffled
				g.Numbers = append(g.Numbers, numbers[0]*resultAt(r, i)+numbers[1])
				g.Lengths = append(g.Lengths, 1)
			}
			r = d.ask(t, g)
		}
		fmt.Fprintf(&seen, "%s %s\n", r.Kind, r.Text)
		for _, s := range d.shown {
			view, _ := json.Marshal(s[judge.VerdictMIME])
			fmt.Fprintln(&seen, s["text/plain"], s["text/html"], string(view))
		}
	}
	h.notebook.shown = nil
	h.notebook.ask(t, wire.Frame{Head: wire.Head{Kind: wire.Done, Lab: f.Lab, Assessed: true}})
	fmt.Fprintln(&seen, h.notebook.shown)
	sum, err := h.bench.Summary(f.Lab, "", true)
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprintln(&seen, sum.Left(), sum.Marks)
	for _, st := range sum.Standings {
		fmt.Fprintf(&seen, "%s %+v\n", st.Question.ID, withoutSI(st.Verdict))
	}

	for line := range strings.Lines(h.logged(t, f.Lab)) {
		var l map[string]any
		if err := json.Unmarshal([]byte(line), &l); err != nil {
			t.Fatal(err)
		}
		delete(l, "time")
		delete(l, "answer")
		text, _ := json.Marshal(l)
		fmt.Fprintln(&seen, string(text))
	}
	var places []string                                                                                                      // where an echo may stand, of this answer or of one to another question
	slices.SortFunc(sum.Standings, func(a, b Standing) int { return len(b.Verdict.Understood) - len(a.Verdict.Understood) }) // one may begin another
	for _, st := range sum.Standings {
		echo := st.Verdict.Understood
		if echo == "" {
			continue
		}
		quoted, _ := json.Marshal(echo)
		for _, around := range [][2]string{{"read as ", "\n"}, {"read as ", " "}, {"read as ", "<"}, {">", "</td>"}, {"recorded    ", "\n"}, {"Understood:", " Slip"}, {`"understood":`, ""}} {
			for _, text := range []string{echo, escaped(echo), string(quoted)} {
				places = append(places, around[0]+text+around[1], around[0]+"§"+around[1])
			}
		}
	}
	return strings.NewReplacer(places...).Replace(seen.String())
}

// escaped is a text as html/template writes it, which is more careful with plus signs than
// package html.
func escaped(s string) string { return strings.ReplaceAll(html.EscapeString(s), "+", "&#43;") }

// logged is what the log has grown by.
func (h *hunter) logged(t testing.TB, lab string) string {
	t.Helper()
	file, err := os.Open(LogFile(h.data, lab, ""))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	tail, err := io.ReadAll(io.NewSectionReader(file, h.read, math.MaxInt64-h.read))
	if err != nil {
		t.Fatal(err)
	}
	h.read += int64(len(tail))
	return string(tail)
}

// withoutSI leaves out the number as understood, which is an echo too.
func withoutSI(v judge.Verdict) judge.Verdict { v.SI = 0; return v }

// resultAt is a number that belongs to call i and to no other with other arguments.
func resultAt(calls wire.Frame, i int) float64 {
	args, _ := wire.Split(calls.Numbers, calls.Lengths)
	sum := 1.0
	for _, x := range args[i] {
		sum = 3*sum + x
	}
	return sum
}

func lab(id string) string {
	l, err := exercises.Find(id)
	if err != nil {
		return id
	}
	return l.ID
}

// tried are 20 values or more of an answer: right, carried, each slip, with the sign or the
// power of ten wrong, just inside and outside the tolerance, and some that mean nothing.
func tried(p bank.Sheet, q bank.Question, right, own bank.Answers) []float64 {
	want := right[q.ID]
	values := []float64{want, -want, 1000 * want, want / 1000, 10 * want, 1.001 * want, 1.02 * want, 0.9 * want, 42, 1e-6}
	if len(q.Uses) > 0 {
		values = append(values, q.Solve(own))
	}
	for _, s := range q.Slips {
		values = append(values, s.Value(right))
		if len(q.Uses) > 0 {
			values = append(values, s.Value(own))
		}
	}
	if u, err := quantity.ParseUnit(q.Unit); err == nil { // the number in SI units, without them
		values = append(values, want*u.SI(), want/u.SI())
	}
	values = slices.DeleteFunc(values, func(v float64) bool { return v == 0 || math.IsNaN(v) || math.IsInf(v, 0) })
	for i := 0; len(values) < 20; i++ {
		values = append(values, want*(1+float64(i)/7))
	}
	return values
}

// A form is a way to write an answer.
type form struct {
	name string
	make func(q bank.Question, si float64) wire.Frame
}

func numberForms(q bank.Question) []form {
	unit, err := quantity.ParseUnit(q.Unit)
	if err != nil {
		return nil
	}
	other := "kg"
	if k, _ := quantity.ParseUnit("kg"); k.Dimension() == unit.Dimension() {
		other = "s"
	}
	code := func(name, unit string, per, u float64) form {
		return form{name, func(q bank.Question, si float64) wire.Frame {
			return wire.Frame{Head: wire.Head{Kind: wire.Answer, Question: q.ID, Form: wire.FormMeasured, Unit: unit}, Numbers: []float64{si / per, u * math.Abs(si/per)}}
		}}
	}
	typed := func(name, after string, per, u float64) form {
		return form{name, func(q bank.Question, si float64) wire.Frame {
			text := fmt.Sprintf("%.5e", si/per)
			if u > 0 {
				text += fmt.Sprintf(" ± %.1e", u*math.Abs(si/per))
			}
			return wire.Frame{Head: wire.Head{Kind: wire.Answer, Question: q.ID, Form: wire.FormTyped, Text: strings.TrimSpace(text + " " + after)}}
		}}
	}
	in := unit.SI()
	return []form{
		code("from code", q.Unit, in, 0), code("from code with an uncertainty", q.Unit, in, 0.01), code("from code with a large uncertainty", q.Unit, in, 3),
		code("from code without a unit", "", in, 0), code("from code in SI units, without them", "", 1, 0), code("from code in another unit", other, in, 0),
		code("from code with an uncertainty and no unit", "", in, 0.01),
		typed("typed", typedUnit(q.Unit), in, 0), typed("typed without a unit", "", in, 0), typed("typed in SI units, without them", "", 1, 0), typed("typed in another unit", other, in, 0),
		typed("typed with an uncertainty and no unit", "", in, 0.01),
	}
}

func typedUnit(unit string) string {
	if unit == "1" {
		return ""
	}
	return unit
}

// On an assessed sheet whatever can be seen of an answer is the same for every
// value that is written in the same way: display, reply, log and summary.
func TestAssessedTellsNothing(t *testing.T) {
	for _, l := range exercises.Labs() {
		t.Run(l.ID, func(t *testing.T) {
			t.Parallel()
			p := l.Sheet("")
			right := p.RightAnswers()
			h := newHunter(t)
			own := maps.Clone(right)
			for _, q := range p.Questions { // wrong ones that others build on
				if q.Solve != nil {
					own[q.ID] *= 1.37
				}
			}
			same := func(q bank.Question, form string, seen []string) {
				t.Helper()
				for i, s := range seen {
					if s != seen[0] {
						t.Errorf("%s, %s: value %d shows\n%s\nthe first shows\n%s", q.ID, form, i, s, seen[0])
						return
					}
					for _, word := range []string{`"right"`, `"carried"`, `:"slip"`, `:"unit"`, `:"off"`, "✓", "△", q.Hints[0], q.Hints[1]} {
						if word != "" && strings.Contains(s, word) && !strings.Contains(q.Prompt+q.Title, word) {
							t.Errorf("%s, %s: it says %q:\n%s", q.ID, form, word, s)
							return
						}
					}
				}
			}
			for i, q := range p.Questions {
				if testing.Short() && i%8 != 0 {
					continue
				}
				switch q.Kind {
				case judge.KindNumber, judge.KindMeasured:
					for _, id := range q.Uses {
						if on, ok := p.Question(id); ok {
							f := numberForms(on)[0].make(on, own[id])
							f.Lab = l.ID
							h.see(t, f, nil)
						}
					}
					values := tried(p, q, right, own)
					for _, form := range numberForms(q) {
						var seen []string
						for _, v := range values {
							f := form.make(q, v)
							f.Lab = l.ID
							seen = append(seen, h.see(t, f, nil))
						}
						same(q, form.name, seen)
					}
				case judge.KindChoice:
					var seen []string
					for _, o := range q.Options {
						seen = append(seen, h.see(t, textFrame(l.ID, q.ID, wire.FormChoice, o.Letter), nil))
					}
					same(q, "an option", seen)
				case judge.KindFunction:
					if q.Function.Signature == judge.SliceToMany {
						continue // see TestAssessedFunction
					}
					var seen []string
					for i := range 20 {
						f := wire.Frame{Head: wire.Head{Kind: wire.Function, Lab: l.ID, Question: q.ID, Signature: string(q.Function.Signature)}}
						seen = append(seen, h.see(t, f, []float64{1 + float64(i), float64(i) / 3}))
					}
					same(q, "a function", seen)
				}
			}
		})
	}
}

// A function on an assessed sheet shows as much when it is right as when it is a
// known slip, or wrong.
func TestAssessedFunction(t *testing.T) {
	for _, l := range exercises.Labs() {
		for _, q := range l.Sheet("").Questions {
			if q.Kind != judge.KindFunction {
				continue
			}
			functions := []func([]float64) []float64{q.Function.Right, func(args []float64) []float64 {
				out := slices.Clone(q.Function.Right(args))
				for i := range out {
					out[i] = 1.5*out[i] + 1
				}
				return out
			}}
			for _, s := range q.Function.Slips {
				functions = append(functions, s.F)
			}
			var seen []string
			for _, f := range functions {
				a := judge.Answer{}
				for _, c := range q.Function.Calls {
					a.Values = append(a.Values, f(c))
				}
				seen = append(seen, fmt.Sprintf("%+v", q.Understand(a)))
			}
			for _, s := range seen {
				if s != seen[0] || !strings.Contains(s, string(judge.OutcomeRecorded)) {
					t.Errorf("%s of lab %s: %s and %s", q.ID, l.Number(), seen[0], s)
				}
			}
		}
	}
}

// How a number is echoed has nothing to do with what is right: on sheets with other
// numbers the same answer is echoed in the same way.
func TestEchoIsTheAnswersOwn(t *testing.T) {
	for _, l := range exercises.Labs() {
		a, b := l.Sheet(""), l.Sheet(bank.NumberedCode(l.ID, 3))
		right := a.RightAnswers()
		for i, q := range a.Questions {
			if q.Kind != judge.KindNumber && q.Kind != judge.KindMeasured || b.Questions[i].Tol != q.Tol {
				continue
			}
			for _, form := range numberForms(q) {
				f := form.make(q, right[q.ID])
				given, problem := readAnswer(q, f)
				if problem != "" {
					t.Fatal(problem)
				}
				if one, two := q.Understand(given), b.Questions[i].Understand(given); one != two {
					t.Errorf("%s of lab %s, %s: %+v and %+v", q.ID, l.Number(), form.name, one, two)
				}
			}
		}
	}
}

// A log of an earlier version, which holds verdicts, tells nothing of an assessed
// sheet either, and its answers still stand.
func TestOldLog(t *testing.T) {
	summary := func(text string, assessed bool) Summary {
		t.Helper()
		data := t.TempDir()
		path := LogFile(data, "01-weighing-the-earth", "")
		if err := os.MkdirAll(strings.TrimSuffix(path, "/default.jsonl"), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		sum, err := openBench(t, data).Summary("01", "", assessed)
		if err != nil {
			t.Fatal(err)
		}
		return sum
	}
	const head = `{"time":"2026-01-01T00:00:00Z","question":"kappa","answer":{"text":"1.57e-7","typed":true},"verdict":{"outcome":`
	right := head + `"unit","marks":1,"of":2,"understood":"\"1.57e-7\"","message":"A number needs its unit.\nThe number is right: give it in N m/rad or another unit of that kind.","si":1.57e-7}}`
	wrong := head + `"unreadable","marks":0,"of":2,"understood":"\"1.57e-7\"","message":"A number needs its unit.\nGive it in N m/rad or another unit of that kind."}}`
	a, b := summary(right, true), summary(wrong, true)
	if fmt.Sprint(a.Display(), a.Left(), a.Marks) != fmt.Sprint(b.Display(), b.Left(), b.Marks) {
		t.Errorf("an old log tells a right number from a wrong one:\n%v\n%v", a.Display()["text/plain"], b.Display()["text/plain"])
	}
	if c := summary(right, false); c.Marks != 1 {
		t.Errorf("a sheet to practise with has %d marks, of an old log with 1", c.Marks)
	}
}

// What was recorded on an assessed sheet is judged when the same sheet is declared
// as one to practise with, each answer with those that stood when it was submitted.
func TestRecordedIsJudgedLater(t *testing.T) {
	l, err := exercises.Find(lab01)
	if err != nil {
		t.Fatal(err)
	}
	right := l.Sheet("").RightAnswers()
	g, _ := l.Sheet("").Question("big-g")
	wrong := maps.Clone(right)
	wrong["kappa"] *= 1.37
	data := t.TempDir()
	d := deskOf(openBench(t, data), SessionOptions{})
	for _, f := range []wire.Frame{
		numberFrame(lab01, "kappa", wrong["kappa"], 0, "N m/rad"),
		numberFrame(lab01, "big-g", g.Solve(wrong), 0, "m3 kg-1 s-2"),
		numberFrame(lab01, "kappa", right["kappa"], 0, "N m/rad"),
	} {
		f.Assessed = true
		d.ask(t, f)
	}
	file, err := os.ReadFile(LogFile(data, lab01, ""))
	if err != nil || strings.Contains(string(file), `"right"`) || strings.Contains(string(file), `"si"`) {
		t.Errorf("%v; the log says\n%s", err, file)
	}
	for _, b := range []*Server{d.bench, openBench(t, data)} {
		sum, err := b.Summary("01", "", false)
		if err != nil {
			t.Fatal(err)
		}
		got := map[string]judge.Outcome{}
		for _, st := range sum.Standings {
			got[st.Question.ID] = st.Verdict.Outcome
		}
		if got["kappa"] != judge.OutcomeRight || got["big-g"] != judge.OutcomeCarried {
			t.Errorf("kappa is %s and big-g %s; want right and carried", got["kappa"], got["big-g"])
		}
	}
}
