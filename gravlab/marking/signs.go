package marking

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/clip"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/quantity"
)

// A sign is something that a lecturer may want to talk about with a student: a remark with
// what it rests on, side by side. It is never a verdict, and no mark depends on it.
type sign struct {
	student  string
	question string // may be empty
	short    string // for marks.csv
	text     string // for remarks.csv
	sides    []side // for remarks.html
}

// A side is one of the things that are compared.
type side struct{ Title, Text string }

// A piece of work is what signs are looked for in.
type work struct {
	student  Student
	sheet    bank.Sheet
	nb       *notebook.Notebook
	run      run
	verdicts []verdictOf
	own      bool // the student has a reference for own recordings

	right bank.Answers // of the sheet
}

const (
	// From leastTokens on a cell that is the worked solution says something if its names
	// are the same too, and from manyTokens on whatever they are: a formula of three lines
	// is written by many.
	leastTokens = 40
	manyTokens  = 70
	// leastShared and leastPart are from where code that two students share is told,
	// whatever its names; leastNamed and leastNamedPart where the names are the same too.
	// On 200 honest sheets (TestHonestClass) two students who have found the same ways
	// share up to 30.
	leastShared    = 32
	leastPart      = 0.6
	leastNamed     = 16
	leastNamedPart = 0.5
)

// signsIn looks for signs in the work of a class. handedOut are the fingerprints of the
// code that everybody was given.
func signsIn(class []work, handedOut map[uint64]bool) []sign {
	var all []sign
	for i := range class {
		class[i].right = class[i].sheet.RightAnswers()
	}
	for i := range class {
		w := &class[i]
		all = append(all, w.edited()...)
		all = append(all, w.unread()...)
		all = append(all, w.workedOut()...)
		all = append(all, w.elsewhere(class)...)
	}
	return append(all, shared(class, handedOut)...)
}

// answerCell is the source of the cell in which a question is answered.
func (w *work) answerCell(q bank.Question) string {
	if c := w.nb.Question(w.sheet.Lab.FullID(q.ID), notebook.Answer); c != nil {
		return c.Source
	}
	return ""
}

// edited tells of a declaration and of prompts that are not those that were handed out.
func (w *work) edited() []sign {
	var all []sign
	tell := func(question, short, text, was, is string) {
		all = append(all, sign{w.student.ID, question, short, text, []side{{"handed out", was}, {"handed in", is}}})
	}
	if c := w.nb.Question(w.sheet.Lab.Number(), notebook.Sheet); c != nil && w.sheet.Code.Sealed() {
		if d := notebook.Declarations(c.Source, 2); len(d) != 1 || !d[0].Assessed {
			tell("", "the declaration of the sheet was changed", "the declaration of the sheet was changed",
				fmt.Sprintf("var sheet = ask.Assessed(%q, %q)", w.sheet.Lab.ID, w.sheet.Code), c.Source)
		}
	}
	for _, q := range w.sheet.Questions {
		c := w.nb.Question(w.sheet.Lab.FullID(q.ID), notebook.QuestionText)
		if c == nil {
			continue
		}
		if squeezed(c.Source) != squeezed(q.Text()) {
			tell(q.ID, "an edited prompt: "+q.ID, "the text of the question "+q.ID+" is not the one that was handed out", q.Text(), c.Source)
		}
	}
	return all
}

func squeezed(s string) string { return strings.Join(strings.Fields(s), " ") }

// unread tells of right answers that rest on a recording which the notebook never reads, and of
// recordings of one's own without a reference.
func (w *work) unread() []sign {
	var all []sign
	for i, q := range w.sheet.Questions {
		names := w.sheet.ReadBy(q)
		if len(names) == 0 || len(w.run.Own) > 0 || i >= len(w.verdicts) || w.verdicts[i].Entry.Verdict.Marks == 0 {
			continue
		}
		if slices.ContainsFunc(names, func(n string) bool { return slices.Contains(w.run.Read, n) }) {
			continue
		}
		all = append(all, sign{w.student.ID, q.ID, "a recording that was never read: " + q.ID,
			fmt.Sprintf("the answer to %s rests on the recording %s, which no cell of the notebook reads; it may have been worked out elsewhere, from the CSV file", q.ID, strings.Join(names, ", ")),
			[]side{{"the answer's cell", w.answerCell(q)}, {"the recordings that the notebook reads", orElse(strings.Join(w.run.Read, "\n"), "none")}}})
	}
	if len(w.run.Own) > 0 && !w.own {
		all = append(all, sign{w.student.ID, "", "an own recording without a reference",
			fmt.Sprintf("reads a recording of their own (%s), and there is no reference for it: it was judged by the virtual one. --reference gives your values", strings.Join(w.run.Own, ", ")),
			[]side{{"the files that it reads", strings.Join(w.run.Own, "\n")}, {"your references", "none for this student"}}})
	}
	return all
}

// workedOut tells of cells that are the bank's worked solution but for numbers, names,
// comments and layout.
func (w *work) workedOut() []sign {
	var all []sign
	for _, q := range w.sheet.Questions {
		theirs, ours := tokensOf(w.answerCell(q), true), tokensOf(q.Worked, true)
		same := len(ours) >= leastTokens && slices.Equal(theirs, ours)
		if !same && len(ours) >= manyTokens {
			theirs, ours = tokensOf(w.answerCell(q), false), tokensOf(q.Worked, false)
			part, n := alike(winnow(theirs), winnow(ours), nil)
			same = slices.Equal(theirs, ours) || part >= 0.9 && n >= 8
		}
		if same {
			all = append(all, sign{w.student.ID, q.ID, "the bank's worked solution: " + q.ID,
				fmt.Sprintf("the answer to %s is the bank's worked solution, but for numbers, comments and perhaps names", q.ID),
				[]side{{"the bank's worked solution", q.Worked}, {"handed in", w.answerCell(q)}}})
		}
	}
	return all
}

// elsewhere tells of answers that are off on the student's own sheet, and right on another
// one's: two to the same student's, or one digit by digit.
func (w *work) elsewhere(class []work) []sign {
	type match struct {
		question string
		exact    bool
		want     float64
	}
	var all []sign
	for k := range class {
		other := &class[k]
		if other.student.ID == w.student.ID || other.sheet.Code == w.sheet.Code {
			continue
		}
		var found []match
		right, own := other.right, w.right
		for i, q := range w.sheet.Questions {
			if i >= len(w.verdicts) || !w.verdicts[i].Given || w.verdicts[i].Entry.Verdict.Marks > 0 || q.Kind != judge.KindNumber && q.Kind != judge.KindMeasured {
				continue
			}
			at, ok := other.sheet.Question(q.ID)
			got := q.Understand(w.verdicts[i].Entry.Answer).SI
			if !ok || got == 0 || math.IsNaN(got) || near(own[q.ID], right[q.ID], 0.05) {
				continue // on sheets with like answers it says nothing
			}
			task := judge.NumberTask{Tol: at.Tol}
			if at.U != nil {
				task.U = at.U()
			}
			if want := right[q.ID]; math.Abs(got-want) <= task.Allowed(want) {
				found = append(found, match{q.ID, near(got, want, 1e-4), want})
			}
		}
		exact := slices.ContainsFunc(found, func(m match) bool { return m.exact })
		if len(found) < 2 && !exact {
			continue
		}
		var ids, left, there []string
		for _, m := range found {
			q, _ := w.sheet.Question(m.question)
			ids = append(ids, m.question)
			left = append(left, fmt.Sprintf("%s: %s", m.question, inUnit(own[m.question], q.Unit)))
			there = append(there, fmt.Sprintf("%s: %s", m.question, inUnit(m.want, q.Unit)))
		}
		var given []string
		for _, id := range ids {
			i := slices.IndexFunc(w.sheet.Questions, func(q bank.Question) bool { return q.ID == id })
			given = append(given, id+": "+w.verdicts[i].Entry.Verdict.Understood)
		}
		all = append(all, sign{w.student.ID, "", "an answer that is right on another sheet",
			fmt.Sprintf("the answers to %s are off on this sheet and right on that of %s", strings.Join(ids, ", "), other.student.ID),
			[]side{{"submitted", strings.Join(given, "\n")}, {"right on the sheet of " + other.student.ID, strings.Join(there, "\n")}, {"right on their own sheet", strings.Join(left, "\n")}}})
	}
	return all
}

func near(a, b, share float64) bool {
	return math.Abs(a-b) <= share*math.Max(math.Abs(a), math.Abs(b))
}

func inUnit(si float64, unit string) string {
	u, err := quantity.ParseUnit(unit)
	if err != nil {
		return fmt.Sprintf("%.6g", si)
	}
	return strings.TrimSuffix(fmt.Sprintf("%.6g %s", si/u.SI(), unit), " 1")
}

// A program is a student's code in fingerprints.
type program struct{ plain, named map[uint64]bool }

// shared tells of code that two students share beyond what was handed out, the worked
// solutions and what several of the class have.
func shared(class []work, handedOut map[uint64]bool) []sign {
	leftOut := map[uint64]bool{}
	for p := range handedOut {
		leftOut[p] = true
	}
	programs := make([]program, len(class))
	have := map[uint64]int{}
	for i := range class {
		var cells, worked []string
		for _, c := range class[i].nb.Cells {
			if c.Kind == notebook.Code {
				cells = append(cells, c.Source)
			}
		}
		for _, q := range class[i].sheet.Questions {
			worked = append(worked, q.Worked)
		}
		programs[i] = program{printsOfCells(cells, false), printsOfCells(cells, true)}
		for _, named := range []bool{false, true} {
			for p := range printsOfCells(worked, named) {
				leftOut[p] = true
			}
			for p := range printsOfCells(cells, named) {
				have[p]++
			}
		}
	}
	for p, n := range have {
		if n > max(3, len(class)/20) {
			leftOut[p] = true // that many students did not copy: it is how one writes it
		}
	}
	var all []sign
	for i := range class {
		for k := range i {
			part, n := alike(programs[i].plain, programs[k].plain, leftOut)
			how := "whatever the names"
			if n < leastShared || part < leastPart {
				how = "names and all"
				if part, n = alike(programs[i].named, programs[k].named, leftOut); n < leastNamed || part < leastNamedPart {
					continue
				}
			}
			a, b := alikeCells(class[i].nb, class[k].nb, leftOut)
			for _, pair := range []struct {
				us, them     *work
				ours, theirs string
			}{{&class[i], &class[k], a, b}, {&class[k], &class[i], b, a}} {
				id := pair.them.student.ID
				all = append(all, sign{pair.us.student.ID, "", "code shared with " + id,
					fmt.Sprintf("shares code with %s beyond what was handed out: %.0f %% of the shorter of the two, %s, in %d fingerprints", id, 100*part, how, n),
					[]side{{pair.us.student.ID, pair.ours}, {id, pair.theirs}}})
			}
		}
	}
	return all
}

// alikeCells are the cells of two notebooks that have most in common.
func alikeCells(a, b *notebook.Notebook, leftOut map[uint64]bool) (x, y string) {
	best := 0
	for _, p := range a.Cells {
		if p.Kind != notebook.Code {
			continue
		}
		ours := winnow(tokensOf(p.Source, false))
		for _, q := range b.Cells {
			if q.Kind != notebook.Code {
				continue
			}
			if _, n := alike(ours, winnow(tokensOf(q.Source, false)), leftOut); n > best {
				best, x, y = n, p.Source, q.Source
			}
		}
	}
	return x, y
}

// look looks for signs in what is marked, and puts them among the remarks.
func (b *marksBook) look() error {
	var class []work
	rows := map[string]*row{}
	for i := range b.rows {
		r := &b.rows[i]
		if r.item == nil {
			continue
		}
		ran, ok := b.k.store.run(r.item.key)
		var j judged
		if !ok || !b.k.store.read(r.item.key, "judged", &j) {
			continue
		}
		text, err := r.item.file.read()
		if err != nil {
			return err
		}
		// The worker has read the same bytes, within the same limits.
		nb, err := notebook.Read(r.item.name, text, notebook.Options{})
		if err != nil {
			continue
		}
		nb.Clear() // outputs are most of a notebook, and say nothing here
		rows[r.student.ID] = r
		class = append(class, work{student: r.student, sheet: b.sheet(r), nb: nb, run: ran, verdicts: j.Verdicts, own: len(b.refs.of(r.student.ID)) > 0})
	}
	handedOut := map[uint64]bool{}
	for _, k := range b.k.records {
		for _, p := range k.Code {
			handedOut[p] = true
		}
	}
	b.signs = signsIn(class, handedOut)
	kinds := map[[2]string][]string{} // questions, by student and kind
	for _, s := range b.signs {
		r := rows[s.student]
		kind, question, several := strings.Cut(s.short, ": ")
		if key := [2]string{s.student, kind}; several {
			kinds[key] = append(kinds[key], question)
		} else {
			r.short = append(r.short, clip.Line(s.short, 80))
		}
		r.remark(r.item, "%s", s.text)
	}
	for _, key := range slices.SortedFunc(maps.Keys(kinds), func(x, y [2]string) int { return slices.Compare(x[:], y[:]) }) {
		r := rows[key[0]]
		r.short = append(r.short, key[1]+": "+listed(kinds[key], 4))
	}
	return nil
}

// signsPage shows the signs with both sides of each.
func (b *marksBook) signsPage() []byte {
	type signView struct {
		Title, Text string
		Sides       []side
	}
	type studentView struct {
		ID, Who string
		Signs   []signView
	}
	view := struct {
		Lab, Title  string
		Sealed      bool
		Part, Least int
		Students    []studentView
	}{b.lab.Number(), b.lab.Title, b.k.sealed, int(100 * leastPart), leastShared, nil}
	for _, r := range b.rows {
		s := studentView{ID: r.student.ID, Who: r.student.ID + nameOf(r.student)}
		for _, sign := range b.signs {
			if sign.student == r.student.ID {
				shown := signView{Title: sign.short, Text: sign.text}
				for _, side := range sign.sides {
					side.Text = cut(side.Text)
					shown.Sides = append(shown.Sides, side)
				}
				s.Signs = append(s.Signs, shown)
			}
		}
		if len(s.Signs) > 0 {
			view.Students = append(view.Students, s)
		}
	}
	return page(b.lab.Title+": remarks", signTemplates, "remarks", view)
}

// cut is a text of which a page can hold many.
func cut(s string) string {
	const most = 8000
	if len(s) <= most {
		return s
	}
	return strings.ToValidUTF8(s[:most], "") + "\n…"
}
