package term

import (
	"fmt"
	"math/big"
	"slices"
	"strings"
	"time"

	"gravity.example/gravlab/marking"
)

// Count adds up the term of a class.
func Count(class marking.Class, rules Rules) (Result, error) {
	var out Result
	for i := range rules.labs {
		lab := &rules.labs[i]
		out.Labs = append(out.Labs, LabResult{lab.book.Lab, lab.book.Title, lab.book.Of(), lab.weight})
		for _, book := range []*marking.Book{&lab.book, lab.resit} {
			if book == nil {
				continue
			}
			if err := groups(*book, class); err != nil {
				return out, err
			}
			for _, r := range book.Rows {
				if _, known := class.Find(r.ID); !known && len(r.Members) == 0 {
					out.Remarks = append(out.Remarks, fmt.Sprintf("%s has %s, who is not in the class list: nothing of theirs is added up", book.Dir, r.ID))
				}
			}
		}
	}
	for _, s := range class.Students {
		result := StudentResult{Student: s}
		for i := range rules.labs {
			f := rules.labs[i].figure(s.ID, rules.resits)
			for _, o := range f.Open {
				result.Open = append(result.Open, "lab "+rules.labs[i].number+": "+o)
			}
			result.Labs = append(result.Labs, f)
		}
		rules.total(&result)
		for i, f := range result.Labs {
			for _, step := range f.Steps {
				if note, ok := strings.CutPrefix(step, lookAt); ok {
					out.Remarks = append(out.Remarks, fmt.Sprintf("%s, lab %s: %s", s.ID, rules.labs[i].number, note))
				}
			}
		}
		out.Students = append(out.Students, result)
	}
	return out, nil
}

// lookAt begins a step that the lecturer should look at.
const lookAt = "look: "

// groups refuses a student who has both a row and a place in a group.
func groups(book marking.Book, class marking.Class) error {
	own := marking.Class{}
	for _, r := range book.Rows {
		if len(r.Members) == 0 {
			own.Students = append(own.Students, marking.Student{ID: r.ID})
		}
	}
	for _, r := range book.Rows {
		for _, id := range r.Members {
			if _, twice := own.Find(id); twice {
				return wrong(book.Dir, 0, "%s has a row of their own in the class list of lab %s and is a member of %s there; delete one of them in that list and mark again", id, book.Lab, r.ID)
			}
			if _, known := class.Find(id); !known {
				return wrong(book.Dir, 0, "%s, a member of %s in the class list of lab %s, is not in the class list of the term", id, r.ID, book.Lab)
			}
		}
	}
	return nil
}

// rowOf is a student's row in a book, their group's if they have one.
func rowOf(book marking.Book, id string) (row marking.BookRow, ok bool) {
	for _, r := range book.Rows {
		who := marking.Class{}
		for _, m := range append([]string{r.ID}, r.Members...) {
			who.Students = append(who.Students, marking.Student{ID: m})
		}
		if _, ok := who.Find(id); ok {
			return r, true
		}
	}
	return row, false
}

// figure is what a student has for a lab.
func (lab *labRules) figure(id, resits string) Figure {
	f := Figure{State: marking.Missing, Marks: new(big.Rat)}
	p := lab.of[id]
	if p == nil {
		p = &personal{reasons: map[string]string{}}
	}
	because := func(rule string) string {
		if r := p.reasons[rule]; r != "" {
			return " (" + r + ")"
		}
		return ""
	}
	row, known := rowOf(lab.book, id)
	if !known {
		f.step("not in the class list of this lab")
		f.Open = append(f.Open, "not in its class list")
	} else {
		f.State = row.State
		f.of(row, lab.book)
	}
	f.moderate(row, lab)
	if p.marks != nil {
		f.add(p.marks, lab.book.Of())
		sign := ""
		if p.marks.Sign() > 0 {
			sign = "+"
		}
		f.step("for this student %s%s%s: %s", sign, minus(figureText(p.marks, 4)), because("marks"), figureText(f.Marks, 2))
	}
	lab.deduct(&f, row, p, because)
	f.Percent = percent(f.Marks, lab.book.Of())
	if p.excused {
		if row.Counts() {
			f.step(lookAt + "excused, and there are marks, which do not count")
		}
		f = Figure{State: f.State, Excused: true, Steps: append(f.Steps, "excused"+because("excused")+": this lab does not count")}
	} else {
		f.step("%s of %d marks are %s %%", figureText(f.Marks, 2), lab.book.Of(), figureText(f.Percent, 2))
	}
	if lab.resit != nil {
		lab.again(&f, id, resits)
	}
	return f
}

func (f *Figure) step(format string, args ...any) {
	f.Steps = append(f.Steps, fmt.Sprintf(format, args...))
}

// add changes the marks, which stay between 0 and those to be had.
func (f *Figure) add(v *big.Rat, of int) {
	f.Marks = new(big.Rat).Add(f.Marks, v)
	if f.Marks.Sign() < 0 {
		f.Marks = new(big.Rat)
	}
	if most := big.NewRat(int64(of), 1); f.Marks.Cmp(most) > 0 {
		f.Marks = most
	}
}

// of takes the marks from a row of a book.
func (f *Figure) of(row marking.BookRow, book marking.Book) {
	for i, m := range row.Marks {
		f.Marks.Add(f.Marks, marksOf(m.Earned))
		if m.Adjusted {
			reason := ""
			if m.Reason != "" {
				reason = " (" + m.Reason + ")"
			}
			f.step("%s: %s instead of %s, the lecturer's own word%s", book.Questions[i].ID, figureText(marksOf(m.Earned), 2), figureText(marksOf(m.Was), 2), reason)
		}
	}
	whose := ""
	if len(row.Members) > 0 {
		whose = " for the sheet of the group " + row.ID
	}
	switch {
	case row.Counts():
		f.step("%s of %d marks%s", figureText(f.Marks, 2), book.Of(), whose)
	case row.State == marking.Several:
		f.step("several files were handed in%s, and it is open which one counts", whose)
		f.Open = append(f.Open, "it is open which file counts")
	case row.State == marking.Unusable:
		f.step("nothing of what was handed in%s can be marked: 0 marks", whose)
	default:
		f.step("nothing was handed in%s: 0 marks", whose)
	}
	if n := row.Waiting(); n == 1 {
		f.Open = append(f.Open, "1 text is not read yet")
	} else if n > 1 {
		f.Open = append(f.Open, fmt.Sprintf("%d texts are not read yet", n))
	}
}

// moderate takes in what two markers agreed on.
func (f *Figure) moderate(row marking.BookRow, lab *labRules) {
	for _, s := range lab.second {
		if s.id != row.ID {
			continue
		}
		switch {
		case s.agreed == nil && s.first.Cmp(s.second) != 0:
			f.step("%s: the second marker gives %s instead of %s; nothing is agreed yet", s.question, figureText(s.second, 2), figureText(s.first, 2))
			f.Open = append(f.Open, "two markers differ on "+s.question)
		case s.agreed != nil && s.agreed.Cmp(s.first) != 0:
			f.add(new(big.Rat).Sub(s.agreed, s.first), lab.book.Of())
			f.step("%s: %s instead of %s, agreed with the second marker, who gave %s (%s): %s", s.question, figureText(s.agreed, 2), figureText(s.first, 2), figureText(s.second, 2), s.reason, figureText(f.Marks, 2))
		}
	}
}

// deduct takes off what being late costs.
func (lab *labRules) deduct(f *Figure, row marking.BookRow, p *personal, because func(string) string) {
	if lab.due == nil || row.State != marking.Marked {
		return
	}
	due, until := *lab.due, ""
	if p.extension != nil {
		due = *p.extension
		until = ", extended to " + due.Format(clock) + because("extension")
	}
	var when time.Time
	switch {
	case p.handed != nil:
		when = *p.handed
	case row.Handed == "":
		if lab.late != nil {
			f.step("%swhen it was handed in is not known, so nothing is deducted; a rule such as handed,%s,%s,%s says it", lookAt, lab.number, row.ID, due.Format("2006-01-02T15:04Z07:00"))
		}
		return
	default:
		var err error
		if when, err = time.Parse(time.RFC3339, row.Handed); err != nil {
			// The archive has no zone: its clock is taken to be that of the time at which
			// the lab was due.
			if when, err = time.ParseInLocation("2006-01-02T15:04:05", row.Handed, due.Location()); err != nil {
				return
			}
		}
	}
	when = when.In(due.Location())
	if !when.After(due) {
		if until != "" {
			f.step("handed in %s%s", when.Format(clock), until)
		}
		return
	}
	f.Late = true
	const day = 24 * time.Hour
	days := int64((when.Sub(due) + day - 1) / day)
	text := fmt.Sprintf("handed in %s%s, due %s%s: %s late", when.Format(clock), because("handed"), lab.due.Format(clock), until, count(int(days), "day"))
	if lab.late == nil {
		f.step("%s; nothing is deducted for it", text)
		return
	}
	off := lab.late.of(lab.book.Of(), days)
	how := lab.late.String()
	if lab.most != nil {
		if most := lab.most.of(lab.book.Of(), 1); off.Cmp(most) > 0 {
			off, how = most, how+", at most "+lab.most.String()
		}
	}
	f.add(new(big.Rat).Neg(off), lab.book.Of())
	f.step("%s; −%s marks (%s of %d): %s", text, figureText(off, 2), how, lab.book.Of(), figureText(f.Marks, 2))
}

// clock is how times are written for people.
const clock = "2006-01-02 15:04 -07:00"

// again takes in a resit.
func (lab *labRules) again(f *Figure, id, resits string) {
	row, known := rowOf(*lab.resit, id)
	if !known || !row.Counts() {
		return
	}
	r := Figure{Marks: new(big.Rat)}
	r.of(row, *lab.resit)
	of := lab.resit.Of()
	second := percent(r.Marks, of)
	for _, step := range r.Steps {
		f.step("resit: %s", step)
	}
	text := fmt.Sprintf("resit: %s of %d marks are %s %%", figureText(r.Marks, 2), of, figureText(second, 2))
	for _, o := range r.Open {
		f.Open = append(f.Open, "resit: "+o)
	}
	switch {
	case f.Excused:
		f.Excused = false
		f.Percent = second
		text += ", which count, since the first time is excused"
	case resits == "replace":
		f.Percent = second
		text += ", which replace the first"
	case resits == "average":
		f.Percent = new(big.Rat).Mul(new(big.Rat).Add(f.Percent, second), big.NewRat(1, 2))
		text += fmt.Sprintf("; the average is %s %%", figureText(f.Percent, 2))
	case second.Cmp(f.Percent) > 0:
		f.Percent = second
		text += ", which are better and count"
	default:
		text += "; the first are better or equal and count"
	}
	f.State = marking.Marked
	f.Marks = new(big.Rat).Mul(f.Percent, big.NewRat(int64(lab.book.Of()), 100))
	f.Steps = append(f.Steps, text)
}

func percent(marks *big.Rat, of int) *big.Rat {
	return new(big.Rat).Mul(marks, big.NewRat(100, int64(max(of, 1))))
}

// total adds up the labs of a student.
func (r *Rules) total(s *StudentResult) {
	var at []int
	for i, f := range s.Labs {
		if !f.Excused {
			at = append(at, i)
		}
	}
	// Of equal percentages the one with the larger weight counts, then the earlier lab.
	slices.SortStableFunc(at, func(a, b int) int {
		if c := s.Labs[b].Percent.Cmp(s.Labs[a].Percent); c != 0 {
			return c
		}
		return r.labs[b].weight.Cmp(r.labs[a].weight)
	})
	most := len(at)
	if r.best > 0 {
		most = min(most, r.best)
	}
	left := slices.Clone(at[most:])
	at = at[:most]
	slices.Sort(at)
	slices.Sort(left)
	sum, weights := new(big.Rat), new(big.Rat)
	var terms []string
	for _, i := range at {
		s.Labs[i].Counts = true
		w := r.labs[i].weight
		weights.Add(weights, w)
		sum.Add(sum, new(big.Rat).Mul(w, s.Labs[i].Percent))
		terms = append(terms, fmt.Sprintf("lab %s %s %% × %s", r.labs[i].number, figureText(s.Labs[i].Percent, 2), figureText(w, 4)))
	}
	if weights.Sign() == 0 {
		s.How = "no lab counts, so there is no total"
		return
	}
	s.Total = sum.Quo(sum, weights)
	s.How = fmt.Sprintf("(%s) / %s = %s %%", strings.Join(terms, " + "), figureText(weights, 4), figureText(s.Total, 2))
	if len(left) > 0 {
		var names []string
		for _, i := range left {
			names = append(names, r.labs[i].number)
		}
		s.How += fmt.Sprintf("; the best %d count, so not %s", r.best, strings.Join(names, " and "))
	}
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// minus writes a minus sign for a hyphen.
func minus(s string) string { return strings.Replace(s, "-", "−", 1) }
