package marking

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/atomicfile"
	"gravity.example/gravlab/internal/clip"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/sandbox"
)

// A book is what is written about one lab of one class.
type marksBook struct {
	k         *marker
	lab       bank.Lab
	questions []bank.Question // of the default sheet
	base      string          // fingerprint of the bank and the references
	refs      references
	adjust    adjustments
	eye       byEye
	rows      []row
	signs     []sign
	loose     []remark // on files that are nobody's
	unused    []item   // that are not marked, and nobody's
}

// A row is a student in the book.
type row struct {
	student Student
	code    bank.Code
	items   []item // files with the student's code
	item    *item  // the one that is marked; nil if there is none
	others  int    // files with the student's code that differ from it
	strays  []stray
	changed bool   // other marks than last time, for the same file
	cells   []cell // one per question
	short   []string
	remarks []remark
}

// A cell is one question of one student.
type cell struct {
	outcome judge.Outcome
	slip    string
	BookMark
}

// A remark is a line of remarks.csv.
type remark struct {
	id, name, file, print string
	cell, line            int // 0: none
	text                  string
}

// A stray is a file under a student's name that cannot be marked for them.
type stray struct {
	file, why string
	other     bool // it is of a kind that is not marked (see refusal)
	waits     bool // it was not looked at yet, so there is nothing to tell the student
}

func (r row) marked() bool { return r.item != nil }

// returned reports whether the student handed in anything at all.
func (r row) returned() bool { return len(r.items)+len(r.strays) > 0 }

// replied reports whether the student gets a reply.
func (r row) replied() bool {
	return len(r.items) > 0 || r.marks().Counts() || slices.ContainsFunc(r.strays, func(s stray) bool { return !s.waits })
}

// marks are the row's marks as the book keeps them.
func (r row) marks() BookRow {
	var out BookRow
	for _, c := range r.cells {
		out.Marks = append(out.Marks, c.BookMark)
	}
	return out
}

func (r *row) remark(it *item, format string, args ...any) {
	m := remark{id: r.student.ID, name: r.student.Name, text: fmt.Sprintf(format, args...)}
	if it != nil {
		m.file, m.print = it.name, it.print
	}
	r.remarks = append(r.remarks, m)
}

// assemble gives every file to its student.
func (k *marker) assemble(items []item, refused []refusal) (*marksBook, error) {
	lab, err := k.theLab(items)
	if err != nil {
		return nil, err
	}
	k.Lab = lab.ID
	sample := k.sample(lab)
	b := &marksBook{k: k, lab: lab, questions: sample.Questions}
	if k.Reference != "" {
		if b.refs, err = readReferences(k.Reference, sample, k.Class); err != nil {
			return nil, err
		}
	}
	if b.adjust, err = readAdjustments(k.Adjust, sample, k.Class); err != nil {
		return nil, err
	}
	if b.eye, err = readByEye(k.Out, sample, k.Class); err != nil {
		return nil, err
	}
	b.loose = append(b.loose, k.anew...)
	for _, id := range b.eye.strangers {
		b.loose = append(b.loose, remark{file: byEyeName, text: fmt.Sprintf("has marks for %s, who is not in the class list: they do not count, and stay there", clip.Line(id, 40))})
	}
	b.base = rulesOf(lab, b.refs.rows)
	if err := k.theirs(lab); err != nil {
		return nil, err
	}
	if err := k.remember(b.adjust); err != nil {
		return nil, err
	}
	all, err := k.Class.sheets(k.Key, lab.ID, k.Word)
	if err != nil {
		return nil, err
	}
	codes := all.codes(k.sealed)
	for i, s := range k.Class.Students {
		b.rows = append(b.rows, row{student: s, code: codes[i], cells: make([]cell, len(b.questions))})
	}
	class := rosterOf(k.Class)
	whose := func(place, box string) int { return class.whose(box + "/" + below(k.Returned, place)) }
	// What cannot be marked is told of the student under whose name it lies, if
	// there is one, and to nobody's harm.
	lost := func(w where, print, text string, s stray) {
		s.file, s.why = (returned{place: w.place}).name(), text
		m := remark{file: s.file, print: print, text: text}
		if i := whose(w.place, w.box); i >= 0 {
			m.text += "; it lies under the name " + b.rows[i].student.ID
			b.rows[i].strays = append(b.rows[i].strays, s)
		}
		b.loose = append(b.loose, m)
	}
	for _, r := range refused {
		lost(where{r.place, r.box}, "", r.why, stray{other: r.other})
	}
	for _, it := range items {
		w := where{it.file.place, it.file.box}
		switch {
		case it.notRun:
			b.unused = append(b.unused, it)
			lost(w, it.print, "has not been run yet; mark without --judge-again", stray{waits: true})
		case it.problem != "":
			b.unused = append(b.unused, it)
			lost(w, it.print, it.problem, stray{})
		case k.sealed && !it.code.Sealed():
			r := &b.rows[it.owner]
			r.short = append(r.short, "a practice sheet was handed in as the assessed one")
			r.remark(&it, "is the practice sheet of %s, whose numbers anyone can make, and not the sealed sheet %s: it is not marked", r.student.ID, r.code)
			r.strays = append(r.strays, stray{file: it.name, why: "is your practice sheet; the one that counts has the name " + string(r.code)})
		default:
			r := &b.rows[it.owner]
			it.own = class.whose(it.file.box) == it.owner
			r.items = append(r.items, it)
			if i := whose(w.place, w.box); i >= 0 && i != it.owner {
				r.short = append(r.short, "a file with this code lies under the name "+b.rows[i].student.ID)
				r.remark(&it, "carries the code of %s and lies under the name %s: whose work is it?", r.student.ID, b.rows[i].student.ID)
				b.rows[i].short = append(b.rows[i].short, "a file under this name carries the code of "+r.student.ID)
				b.rows[i].strays = append(b.rows[i].strays, stray{file: it.name, why: "carries the code of another student's sheet", other: true})
			}
		}
	}
	for i := range b.rows {
		b.choose(&b.rows[i])
	}
	return b, nil
}

// theirs keeps the books of two labs apart: a folder belongs to the lab that was
// first marked into it, since by-eye.csv and adjust.csv are about that one.
func (k *marker) theirs(lab bank.Lab) error {
	path := filepath.Join(k.store.dir, "lab.txt")
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return atomicfile.WriteFile(path, []byte(lab.ID+"\n"), 0o600)
	}
	if had := strings.TrimSpace(string(text)); err == nil && had != lab.ID {
		return wrong(k.Out, 0, "holds the books of lab %s, and this is lab %s: take another folder with --out", clip.Line(had, 60), lab.ID)
	}
	return err
}

// choose picks the file that is marked: the one that adjust.csv names; else the only
// one; else, of several that differ, the only one that lies in the student's own box.
// Whoever has somebody's file can hand it in again, changed, but not into that box.
func (b *marksBook) choose(r *row) {
	// The order does not hang on where the files lie. Of two equal notebooks the one
	// with more recordings beside it comes first.
	slices.SortStableFunc(r.items, func(x, y item) int {
		return cmp.Or(strings.Compare(x.print, y.print), cmp.Compare(y.beside, x.beside), strings.Compare(x.key, y.key), strings.Compare(x.name, y.name))
	})
	// Files of equal bytes, with equal recordings beside them, are one.
	var first []int
	copies := map[string]int{}
	own := map[string]bool{}
	for i, it := range r.items {
		if copies[it.key]++; copies[it.key] == 1 {
			first = append(first, i)
		}
		own[it.key] = own[it.key] || it.own
	}
	ours := slices.DeleteFunc(slices.Clone(first), func(i int) bool { return !own[r.items[i].key] })
	at, why := -1, ""
	if chosen := b.adjust.chosen[r.student.ID]; chosen != "" {
		at = slices.IndexFunc(r.items, func(it item) bool {
			print := strings.TrimPrefix(it.print, printPrefix)
			return strings.HasPrefix(chosen, print) || strings.HasPrefix(print, chosen)
		})
		if why = "adjust.csv names another file"; at < 0 {
			r.short = append(r.short, "adjust.csv names a file that is not there")
			r.remark(nil, "adjust.csv names the file %s, and no file with the code of %s has that fingerprint", clip.Line(chosen, 64), r.student.ID)
		}
	}
	id := r.student.ID
	r.others = max(len(first)-1, 0)
	if len(r.items) > 0 && slices.ContainsFunc(r.strays, func(s stray) bool { return !s.other }) {
		r.short = append(r.short, "another file under this name cannot be used")
	}
	switch {
	case len(r.items) == 0:
		text := "nothing returned"
		if len(r.strays) > 0 {
			text = "nothing that can be marked: see remarks.csv"
		}
		r.short = append([]string{text}, r.short...)
		return
	case at >= 0:
		if len(first) > 1 {
			r.short = append(r.short, fmt.Sprintf("one of %d files, named in adjust.csv", len(first)))
		}
	case len(first) == 1:
		at = first[0]
	case len(ours) == 1:
		at, why = ours[0], "another file with the code of "+id+" lies in a folder of that name, and this one does not"
		r.short = append(r.short, fmt.Sprintf("one of %d files with this code, the one in a folder of this name", len(first)))
	default:
		r.short = append([]string{fmt.Sprintf("%d files with this code: not marked", len(first))}, r.short...)
		for _, i := range first {
			it := &r.items[i]
			r.remark(it, "is one of %d files with the code of %s%s: none is marked until adjust.csv names one by its fingerprint, with a row such as %s,file,%s,newer", len(first), id, times(copies[it.key]), id, it.print)
		}
		return
	}
	r.item = &r.items[at]
	if n := copies[r.item.key]; n > 1 {
		r.remark(r.item, "was handed in %d times with the same bytes; it counts once", n)
	}
	for _, i := range first {
		if it := &r.items[i]; it.key != r.item.key {
			r.remark(it, "does not count: %s", why)
		}
	}
}

func times(n int) string {
	if n == 1 {
		return ""
	}
	return fmt.Sprintf(" (and was handed in %d times)", n)
}

// write judges and writes everything. The pages of students come first and the book last;
// the same input gives the same bytes, so a writing that was cut off is simply done again.
func (b *marksBook) write(ctx context.Context) error {
	if err := b.each(ctx, b.student); err != nil {
		return err
	}
	if b.k.sealed {
		if err := b.look(); err != nil {
			return err
		}
	}
	out := b.k.Out
	steps := []func() error{
		b.forget,
		func() error { return b.writeByEye(filepath.Join(out, byEyeName)) },
		func() error { return b.writeRemarks(filepath.Join(out, "remarks.csv")) },
		func() error {
			text, err := b.byEyePage()
			if err != nil {
				return err
			}
			return atomicfile.WriteFile(filepath.Join(out, "by-eye.html"), text, 0o600)
		},
		func() error { return atomicfile.WriteFile(filepath.Join(out, "remarks.html"), b.signsPage(), 0o600) },
		func() error { return atomicfile.WriteFile(filepath.Join(out, "class.html"), b.classPage(), 0o600) },
		func() error { return b.k.store.write(bookName, "marking", b.record()) },
		func() error { return b.writeMarks(filepath.Join(out, "marks.csv")) },
	}
	for _, step := range steps {
		if err := ctx.Err(); err != nil {
			return context.Cause(ctx)
		}
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

// each does the same for all rows, on all cores.
func (b *marksBook) each(ctx context.Context, do func(*row) error) error {
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	var mu sync.Mutex
	next := 0
	var all sync.WaitGroup
	for range runtime.NumCPU() {
		all.Go(func() {
			for ctx.Err() == nil {
				mu.Lock()
				i := next
				next++
				mu.Unlock()
				if i >= len(b.rows) {
					return
				}
				if err := do(&b.rows[i]); err != nil {
					stop(err)
				}
			}
		})
	}
	all.Wait()
	return context.Cause(ctx)
}

// student judges one student's file, fills the row and writes the reply.
func (b *marksBook) student(r *row) error {
	if r.item == nil {
		b.applyAdjustments(r, nil)
		if r.replied() {
			return b.replies(r, run{}, nil, nil)
		}
		return nil
	}
	ran, ok := b.k.store.run(r.item.key)
	if !ok {
		return fmt.Errorf("the store has lost the run of %s: mark again", r.item.name)
	}
	sheet, rules := b.sheet(r), b.rules(r)
	var j judged
	if known := b.k.store.read(r.item.key, "judged", &j) && j.Rules == rules; !known || b.k.JudgeAgain || len(j.Verdicts) != len(sheet.Questions) {
		before := j
		j = verdicts(sheet, ran, b.refs.of(r.student.ID))
		if before.Rules != "" && before.Rules != rules && !sameMarks(before.Verdicts, j.Verdicts) {
			r.changed = true
		}
		j.Rules = rules
		if err := b.k.store.write(r.item.key, "judged", j); err != nil {
			return err
		}
	}
	for i, v := range j.Verdicts {
		r.cells[i] = cell{outcome: v.Entry.Verdict.Outcome, slip: b.slipOf(sheet.Questions[i], i, v.Entry.Verdict.Slip), BookMark: BookMark{Earned: float64(v.Entry.Verdict.Marks), Counts: true}}
	}
	b.notes(r, ran, j)
	b.applyEye(r, j)
	b.applyAdjustments(r, j.Verdicts)
	if n := r.marks().Waiting(); n > 0 {
		r.short = append(r.short, fmt.Sprintf("total is provisional: %s for you to read", count(n, "text")))
	}
	var pictures []picture
	if ran.Figures > 0 {
		b.k.store.read(r.item.key, "figures", &pictures)
	}
	return b.replies(r, ran, j.Verdicts, pictures)
}

// sheet is the sheet of a student.
func (b *marksBook) sheet(r *row) bank.Sheet {
	return sheetOf(b.lab, b.k.Key, r.student.ID, b.k.Word, r.code)
}

// slipOf is the name of a slip for the page of the class. Options have another order on each
// sealed sheet: theirs is that of the page's own list of questions.
func (b *marksBook) slipOf(q bank.Question, i int, slip string) string {
	letter, ok := strings.CutPrefix(slip, "option ")
	if q.Kind != judge.KindChoice || !ok {
		return slip
	}
	for _, o := range q.Options {
		if o.Letter != letter {
			continue
		}
		for _, listed := range b.questions[i].Options {
			if listed.Text == o.Text {
				return "option " + listed.Letter
			}
		}
	}
	return slip
}

// sameMarks reports whether two judgements give the same marks.
func sameMarks(a, b []verdictOf) bool {
	return slices.EqualFunc(a, b, func(x, y verdictOf) bool {
		return x.Entry.Question == y.Entry.Question && x.Entry.Verdict.Marks == y.Entry.Verdict.Marks
	})
}

// rules names what the verdicts of a student rest on. The same file may have been
// judged for another one, with other references.
func (b *marksBook) rules(r *row) string {
	return b.base + " " + fingerprint([]byte(fmt.Sprint(b.refs.of(r.student.ID))))[:16]
}

// applyEye takes in the marks that a person gave for texts.
func (b *marksBook) applyEye(r *row, j judged) {
	for i, v := range j.Verdicts {
		if v.Entry.Verdict.Outcome != judge.OutcomeWaiting {
			continue
		}
		id := b.questions[i].ID
		if m, ok := b.eye.of(r.student.ID, id, v.Entry.Answer.Text); ok {
			r.cells[i].Earned = m.marks
			continue
		}
		r.cells[i].Waits = true
		if had := b.eye.former(r.student.ID, id); len(had) > 0 {
			r.remark(r.item, "the text for %s is not the one that was marked: that had %s, and this one waits", id, strings.Join(had, " and "))
		}
	}
}

func (b *marksBook) applyAdjustments(r *row, verdicts []verdictOf) {
	own := b.adjust.marks[r.student.ID]
	var names []string
	for i, q := range b.questions {
		a, ok := own[q.ID]
		if !ok {
			continue
		}
		c := &r.cells[i]
		c.Was, c.Reason = c.Earned, a.Reason
		c.Earned, c.Counts, c.Adjusted, c.Waits = a.Marks, true, true, false
		names = append(names, q.ID)
		was := "none"
		if verdicts != nil {
			was = strconv.Itoa(verdicts[i].Entry.Verdict.Marks)
		}
		reason := a.Reason
		if reason == "" {
			reason = "no reason given"
		}
		r.remark(r.item, "the lecturer gives %s for %s instead of %s: %s", marksText(a.Marks), q.ID, was, reason)
	}
	if len(names) > 0 {
		r.short = append(r.short, "adjusted: "+strings.Join(names, ", "))
	}
}

// notes are the remarks on a run.
func (b *marksBook) notes(r *row, ran run, j judged) {
	if r.item.recorded != "" {
		r.remark(r.item, "%s", r.item.recorded)
	}
	for _, id := range ran.Edited {
		r.short = append(r.short, "a changed recording beside the notebook")
		r.remark(r.item, "%s.csv beside it is not the recording of this sheet: it was changed, or is another student's; it was marked with the sheet's own", id)
	}
	if ran.Twice {
		r.short = append(r.short, "declares two sheets")
		r.remark(r.item, "declares two sheets; answers to the other one do not count")
	}
	if ran.Foreign > 0 {
		r.short = append(r.short, "submits answers to another sheet")
		r.remark(r.item, "submitted %s to a sheet that is not its own; they do not count", count(ran.Foreign, "answer"))
	}
	for _, v := range j.Verdicts {
		if v.Tries > mostTries {
			text := fmt.Sprintf("%d different answers to %s", v.Tries, v.Entry.Question)
			r.short = append(r.short, text)
			r.remark(r.item, "submitted %s, one after the other", text)
		}
	}
	for _, v := range j.Verdicts {
		if v.Virtual {
			r.short = append(r.short, v.Entry.Question+" fits the virtual recording, not your reference")
			r.remark(r.item, "the answer to %s fits the virtual recording of this sheet and not your reference; the reference counts, as for every student it names, unless adjust.csv says otherwise", v.Entry.Question)
		}
	}
	if ran.Ended != sandbox.LimitNone {
		r.short = append(r.short, "met a limit: "+string(ran.Ended))
	}
	told := map[int]bool{} // cells that a remark of the run is about
	for _, m := range ran.Remarks[:min(len(ran.Remarks), 50)] {
		told[m.Cell] = true
		r.remarks = append(r.remarks, remark{r.student.ID, r.student.Name, r.item.name, r.item.print, m.Cell, m.Line, m.Text})
	}
	failed := 0
	for _, c := range ran.Cells {
		text := cellText(c)
		if text == "" {
			continue
		}
		failed++
		if !told[c.Index+1] {
			r.remarks = append(r.remarks, remark{r.student.ID, r.student.Name, r.item.name, r.item.print, c.Index + 1, 0, text})
		}
	}
	if failed > 0 {
		r.short = append(r.short, fmt.Sprintf("%s did not run through", count(failed, "cell")))
	}
	for _, note := range slices.Concat(ran.Notes, j.Notes) {
		r.remark(r.item, "%s", note)
	}
	if ran.Shown > ran.Figures {
		r.remark(r.item, "shows %d figures; the reply has the first %d", ran.Shown, ran.Figures)
	}
}

// mostTries is how many answers to one question pass without a remark.
const mostTries = 20

// cellText says how a cell ended that did not run through.
func cellText(c sandbox.Cell) string {
	switch c.State {
	case sandbox.Failed:
		return "this cell failed: " + orElse(c.Fault, "it ended before its end")
	case sandbox.NotBuilt:
		return "this cell does not compile, so it was not run"
	case sandbox.Refused:
		return "this cell holds something that is not run here"
	case sandbox.Ended:
		return "this cell was ended by a limit: " + string(c.Limit)
	case sandbox.NotRun:
		return "this cell was not run: the notebook had been ended before"
	}
	return ""
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// forget removes replies that no longer belong to anybody.
func (b *marksBook) forget() error {
	has := map[string]bool{}
	for _, r := range b.rows {
		has[r.student.ID+".html"] = r.replied()
	}
	for _, form := range replyForms {
		dir := filepath.Join(b.k.Out, "replies", form)
		entries, err := os.ReadDir(dir)
		if err != nil {
			return err
		}
		for _, e := range entries {
			if strings.HasSuffix(e.Name(), ".html") && !has[e.Name()] {
				if err := os.Remove(filepath.Join(dir, e.Name())); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// toBeHad stands for the name in the row of marks.csv that has the marks to be had.
const toBeHad = "marks to be had"

func (b *marksBook) writeMarks(path string) error {
	header := []string{"id", "name"}
	of := []string{"", toBeHad}
	sum := 0
	for _, q := range b.questions {
		header, of = append(header, q.ID), append(of, strconv.Itoa(q.Marks))
		sum += q.Marks
	}
	header, of = append(header, "total", "remarks"), append(of, strconv.Itoa(sum), "")
	numbers := header[2 : len(header)-1]
	return b.k.Class.Dialect.WriteTable(path, header, numbers, func(write func(...string) error) error {
		if err := write(of...); err != nil {
			return err
		}
		for _, r := range b.rows {
			cells := []string{r.student.ID, r.student.Name}
			for _, c := range r.cells {
				text := ""
				if c.Counts && !c.Waits {
					text = marksText(c.Earned)
				}
				cells = append(cells, text)
			}
			total := ""
			if r.marks().Counts() {
				total = marksText(r.marks().Total())
			}
			slices.Sort(r.short)
			if err := write(append(cells, total, strings.Join(slices.Compact(r.short), "; "))...); err != nil {
				return err
			}
		}
		return nil
	})
}

func (b *marksBook) writeRemarks(path string) error {
	slices.SortStableFunc(b.loose, func(x, y remark) int {
		return strings.Compare(x.file+"\x00"+x.print+"\x00"+x.text, y.file+"\x00"+y.print+"\x00"+y.text)
	})
	return b.k.Class.Dialect.WriteTable(path, []string{"id", "name", "file", "fingerprint", "cell", "line", "remark"}, nil, func(write func(...string) error) error {
		for _, m := range b.loose {
			if err := write(m.cells()...); err != nil {
				return err
			}
		}
		for _, r := range b.rows {
			for _, m := range r.remarks {
				if err := write(m.cells()...); err != nil {
					return err
				}
			}
		}
		return nil
	})
}

func (m remark) cells() []string {
	number := func(n int) string {
		if n == 0 {
			return ""
		}
		return strconv.Itoa(n)
	}
	return []string{m.id, m.name, m.file, m.print, number(m.cell), number(m.line), clip.Line(m.text, 600)}
}

// writeByEye lists the texts, with the marks that they have. Marks for texts that are
// not there any more stay at the end, in case they come back: they are somebody's
// work.
func (b *marksBook) writeByEye(path string) error {
	return b.k.Class.Dialect.WriteTable(path, byEyeHeader, []string{"marks"}, func(write func(...string) error) error {
		listed := map[eyeKey]bool{}
		for _, r := range b.rows {
			if !slices.ContainsFunc(r.cells, func(c cell) bool { return c.outcome == judge.OutcomeWaiting }) {
				continue
			}
			var j judged
			if !b.k.store.read(r.item.key, "judged", &j) || len(j.Verdicts) != len(r.cells) {
				return fmt.Errorf("the store has lost the verdicts of %s: mark again", r.item.name)
			}
			for i, v := range j.Verdicts {
				if v.Entry.Verdict.Outcome != judge.OutcomeWaiting {
					continue
				}
				q, text := b.questions[i], v.Entry.Answer.Text
				listed[eyeKey{r.student.ID, q.ID, textID(text)}] = true
				marks, comment := "", ""
				if m, ok := b.eye.of(r.student.ID, q.ID, text); ok {
					marks, comment = marksText(m.marks), m.comment
				}
				if err := write(r.student.ID, r.student.Name, q.ID, strconv.Itoa(q.Marks), text, textID(text), marks, comment); err != nil {
					return err
				}
			}
		}
		var others [][]string
		for k, m := range b.eye.marks {
			if !listed[k] {
				others = append(others, m.row)
			}
		}
		slices.SortFunc(others, slices.Compare)
		for _, row := range others {
			if err := write(slices.Clone(row)...); err != nil {
				return err
			}
		}
		return nil
	})
}

func (b *marksBook) summary() Summary {
	s := Summary{Lab: b.lab, Students: len(b.rows), Remarks: len(b.loose)}
	for i := range b.rows {
		r := &b.rows[i]
		s.Remarks += len(r.remarks)
		switch {
		case r.marked():
			s.Marked++
		case len(r.items) > 0:
			s.Unmarked++
		case r.returned():
			s.Unusable++
		default:
			s.Missing++
		}
		s.Waiting += r.marks().Waiting()
		if r.changed {
			s.Changed = append(s.Changed, r.student.ID)
		}
	}
	return s
}

// Counts says how many students are marked, and why the others are not.
func (s Summary) Counts() string {
	text := fmt.Sprintf("%d of %d students marked", s.Marked, s.Students)
	for _, part := range []struct {
		n    int
		what string
	}{{s.Missing, "handed in nothing"}, {s.Unmarked, "with several files, none of them marked"}, {s.Unusable, "with nothing that can be marked"}} {
		if part.n > 0 {
			text += fmt.Sprintf(", %d %s", part.n, part.what)
		}
	}
	return text
}
