package term

import (
	"math/big"
	"regexp"
	"slices"
	"strings"
	"time"

	"gravity.example/gravlab/internal/clip"
	"gravity.example/gravlab/marking"
)

// Rules are a table of rules, with the marks books that it names.
type Rules struct {
	file    string
	labs    []labRules
	best    int // 0: all
	resits  string
	results string // date of the results
}

// labRules are the rules of one lab.
type labRules struct {
	number   string
	book     marking.Book
	resit    *marking.Book
	weight   *big.Rat
	due      *time.Time
	late     *deduction
	most     *deduction // of late
	assigned string
	second   []second
	of       map[string]*personal // by id
}

// personal are the rules about one student in one lab.
type personal struct {
	extension, handed *time.Time
	excused           bool
	marks             *big.Rat
	reasons           map[string]string // by rule
}

// A deduction is a part of the marks to be had or a number of marks, per day or once.
type deduction struct {
	amount  *big.Rat
	percent bool
	daily   bool
}

// of is the deduction in marks.
func (d deduction) of(marks int, days int64) *big.Rat {
	v := new(big.Rat).Set(d.amount)
	if d.percent {
		v.Mul(v, big.NewRat(int64(marks), 100))
	}
	if d.daily {
		v.Mul(v, big.NewRat(days, 1))
	}
	return v
}

func (d deduction) String() string {
	text := figureText(d.amount, 4)
	if d.percent {
		text += " %"
	} else {
		text += " marks"
	}
	if d.daily {
		text += " per day"
	}
	return text
}

// What the cells of a rule hold.
const (
	never = iota
	maybe
	always
)

// kinds are the rules, with which cells they have.
var kinds = map[string]struct{ lab, id, value int }{
	"book": {always, never, always}, "weight": {always, never, always}, "best": {never, never, always},
	"resit": {always, never, always}, "resits": {never, never, always}, "due": {always, never, always},
	"late": {maybe, never, always}, "late most": {maybe, never, always},
	"extension": {always, always, always}, "handed": {always, always, always}, "excused": {always, always, never},
	"marks": {always, always, always}, "second": {always, never, always}, "assigned": {always, never, always}, "results": {never, never, always},
}

// A rule is a row of the table.
type rule struct {
	line                         int
	kind, lab, id, value, reason string
}

// ReadRules reads a table of rules and the marks books that it names. Folders and files are
// named from the folder of the table.
func ReadRules(file string, class marking.Class) (Rules, error) {
	r := Rules{file: file, resits: "replace"}
	records, err := marking.ReadRecords(file, []string{"rule", "lab", "id", "value"}, "reason")
	if err != nil {
		return r, err
	}
	var rules []rule
	first := map[string]int{} // lines, by what a rule is about
	for _, rec := range records {
		l := rule{rec.Line, strings.ToLower(strings.Join(strings.Fields(rec.Cells["rule"]), " ")), rec.Cells["lab"], rec.Cells["id"], rec.Cells["value"], rec.Cells["reason"]}
		kind, known := kinds[l.kind]
		if !known {
			return r, wrong(file, l.line, "there is no rule %q; the rules are %s", clip.Line(l.kind, 40), strings.Join(slices.Sorted(keys(kinds)), ", "))
		}
		for _, c := range []struct {
			name, cell string
			has        int
		}{{"lab", l.lab, kind.lab}, {"id", l.id, kind.id}, {"value", l.value, kind.value}} {
			if c.cell == "" && c.has == always {
				return r, wrong(file, l.line, "the rule %s needs something in the column %s", l.kind, c.name)
			}
			if c.cell != "" && c.has == never {
				return r, wrong(file, l.line, "the rule %s has %q in the column %s, where nothing belongs", l.kind, clip.Line(c.cell, 40), c.name)
			}
		}
		if l.id != "" {
			s, ok := class.Find(l.id)
			if !ok {
				return r, wrong(file, l.line, "the class has no student %q", clip.Line(l.id, 40))
			}
			l.id = s.ID
		}
		if l.lab != "" {
			l.lab = number(l.lab)
			if len(l.lab) == 1 {
				l.lab = "0" + l.lab // a spreadsheet takes off the zero
			}
		}
		what := strings.Join([]string{l.kind, l.lab, l.id}, "\x00")
		if line, twice := first[what]; twice {
			return r, wrong(file, l.line, "contradicts line %d: both are about %s; delete one of them", line, describe(l))
		}
		first[what] = l.line
		rules = append(rules, l)
	}
	for _, l := range rules {
		if l.kind != "book" {
			continue
		}
		book, err := marking.ReadBook(beside(file, l.value))
		if err != nil {
			return r, err
		}
		if number(book.Lab) != l.lab {
			return r, wrong(file, l.line, "calls %s the book of lab %s, and it is that of lab %s", l.value, l.lab, book.Lab)
		}
		r.labs = append(r.labs, labRules{number: l.lab, book: book, weight: big.NewRat(1, 1), of: map[string]*personal{}})
	}
	if len(r.labs) == 0 {
		return r, wrong(file, 0, "names no marks book; a row such as book,01,,marks-01, does")
	}
	slices.SortFunc(r.labs, func(a, b labRules) int { return strings.Compare(a.number, b.number) })
	for _, l := range rules {
		if err := r.take(l); err != nil {
			return r, err
		}
	}
	return r, r.agree(rules, first, class)
}

// describe says what a rule is about.
func describe(l rule) string {
	text := l.kind
	if l.lab != "" {
		text += " of lab " + l.lab
	}
	if l.id != "" {
		text += " for " + l.id
	}
	return text
}

func (r *Rules) lab(number string) *labRules {
	for i := range r.labs {
		if r.labs[i].number == number {
			return &r.labs[i]
		}
	}
	return nil
}

// take takes in one rule.
func (r *Rules) take(l rule) error {
	file := r.file
	bad := func(format string, args ...any) error { return wrong(file, l.line, format, args...) }
	lab := r.lab(l.lab)
	if l.lab != "" && lab == nil {
		return bad("is about lab %s, which has no book here; a row such as book,%s,,marks-%s, names it", l.lab, l.lab, l.lab)
	}
	var p *personal
	if l.id != "" {
		if lab.of[l.id] == nil {
			lab.of[l.id] = &personal{reasons: map[string]string{}}
		}
		p = lab.of[l.id]
		p.reasons[l.kind] = l.reason
	}
	var err error
	switch l.kind {
	case "weight":
		w, ok := exact(l.value)
		if !ok || w.Sign() < 0 {
			return bad("the weight is %q; it is a number of at least 0", clip.Line(l.value, 40))
		}
		lab.weight = w
	case "best":
		n, ok := exact(l.value)
		if !ok || !n.IsInt() || n.Sign() <= 0 {
			return bad("best is %q; it is how many labs count", clip.Line(l.value, 40))
		}
		if n.Cmp(big.NewRat(int64(len(r.labs)), 1)) > 0 {
			return bad("the best %s of %d labs: there are not so many", l.value, len(r.labs))
		}
		r.best = int(n.Num().Int64())
	case "resit":
		book, err := marking.ReadBook(beside(file, l.value))
		if err != nil {
			return err
		}
		if book.Lab != lab.book.Lab {
			return bad("names a resit of lab %s in a book of lab %s", l.lab, book.Lab)
		}
		if sameFolder(book.Dir, lab.book.Dir) {
			return bad("names the same folder for the lab and its resit")
		}
		lab.resit = &book
	case "resits":
		if r.resits = strings.ToLower(l.value); !slices.Contains([]string{"replace", "average", "better"}, r.resits) {
			return bad("resits are %q; they replace, average, or better", clip.Line(l.value, 40))
		}
	case "due":
		lab.due, err = readTime(file, l)
	case "extension":
		p.extension, err = readTime(file, l)
	case "handed":
		p.handed, err = readTime(file, l)
	case "excused":
		p.excused = true
	case "marks":
		v, ok := exact(strings.TrimPrefix(strings.ReplaceAll(l.value, "−", "-"), "+"))
		if !ok || v.Sign() == 0 {
			return bad("the marks are %q; they are a number that is added, such as -2 or 1.5", clip.Line(l.value, 40))
		}
		p.marks = v
	case "second":
		lab.second, err = readSecond(beside(file, l.value), lab.book)
	case "assigned":
		lab.assigned, err = readDate(file, l)
	case "results":
		r.results, err = readDate(file, l)
	case "late", "late most":
		d, ok := readDeduction(l.value)
		if !ok || l.kind == "late most" && d.daily {
			if l.kind == "late" {
				return bad("the deduction is %q; write it like 10 %% per day, 2 marks per day or 20 %% once", clip.Line(l.value, 40))
			}
			return bad("the most that is deducted is %q; write it like 50 %% or 5 marks", clip.Line(l.value, 40))
		}
		for i := range r.labs {
			if l.lab != "" && r.labs[i].number != l.lab {
				continue
			}
			to := &r.labs[i].late
			if l.kind == "late most" {
				to = &r.labs[i].most
			}
			// A rule of the lab's own comes before one for all labs.
			if *to == nil || l.lab != "" {
				*to = &d
			}
		}
	}
	return err
}

// agree refuses rules that contradict each other.
func (r *Rules) agree(rules []rule, first map[string]int, class marking.Class) error {
	line := func(parts ...string) int { return first[strings.Join(parts, "\x00")] }
	whole := new(big.Rat)
	for _, lab := range r.labs {
		whole.Add(whole, lab.weight)
	}
	if whole.Sign() == 0 {
		return wrong(r.file, line("weight", r.labs[0].number, ""), "all labs have the weight 0, so there is no total")
	}
	dirs := map[string]string{}
	for _, lab := range r.labs {
		n := lab.number
		for _, b := range []*marking.Book{&lab.book, lab.resit} {
			if b == nil {
				continue
			}
			if other := dirs[b.Dir]; other != "" {
				return wrong(r.file, line("resit", n, ""), "names %s, which is the book of lab %s already", b.Dir, other)
			}
			dirs[b.Dir] = n
		}
		if lab.late != nil && lab.due == nil && line("late", n, "") > 0 {
			return wrong(r.file, line("late", n, ""), "deducts for being late in lab %s, and no rule says when it was due", n)
		}
		if lab.most != nil && lab.late == nil {
			l := max(line("late most", n, ""), line("late most", "", ""))
			return wrong(r.file, l, "says the most that is deducted for being late in lab %s, and no rule deducts anything", n)
		}
		if lab.assigned != "" && lab.due != nil && lab.assigned > lab.due.Format(time.DateOnly) {
			return wrong(r.file, line("assigned", n, ""), "lab %s was handed out on %s, after it was due (line %d)", n, lab.assigned, line("due", n, ""))
		}
		for _, s := range class.Students {
			p := lab.of[s.ID]
			if p == nil {
				continue
			}
			at := func(kind string) int { return line(kind, n, s.ID) }
			switch {
			case p.excused && p.extension != nil:
				return wrong(r.file, at("extension"), "gives %s an extension for lab %s, from which line %d excuses them", s.ID, n, at("excused"))
			case p.excused && p.marks != nil:
				return wrong(r.file, at("marks"), "changes the marks of %s in lab %s, from which line %d excuses them", s.ID, n, at("excused"))
			case p.extension != nil && lab.due == nil:
				return wrong(r.file, at("extension"), "extends lab %s for %s, and no rule says when it was due", n, s.ID)
			case p.handed != nil && lab.due == nil:
				return wrong(r.file, at("handed"), "says when %s handed in lab %s, and no rule says when it was due", s.ID, n)
			case p.extension != nil && !p.extension.After(*lab.due):
				return wrong(r.file, at("extension"), "extends lab %s for %s to a time that is not after it was due (line %d)", n, s.ID, line("due", n, ""))
			}
		}
	}
	for _, l := range rules {
		if l.kind == "late" && l.lab == "" && !slices.ContainsFunc(r.labs, func(lab labRules) bool { return lab.due != nil }) {
			return wrong(r.file, l.line, "deducts for being late, and no rule says when a lab was due")
		}
		if l.kind == "resits" && !slices.ContainsFunc(r.labs, func(lab labRules) bool { return lab.resit != nil }) {
			return wrong(r.file, l.line, "says what resits do, and no rule names the book of one")
		}
	}
	return nil
}

// exact reads a number as a lecturer types it, exactly.
func exact(s string) (*big.Rat, bool) {
	if !decimal.MatchString(s) {
		return nil, false
	}
	return new(big.Rat).SetString(strings.Replace(s, ",", ".", 1))
}

var decimal = regexp.MustCompile(`^-?[0-9]{1,9}([.,][0-9]{1,9})?$`)

var amount = regexp.MustCompile(`^([0-9.,]+) ?(%|marks?)( per day| once)?$`)

func readDeduction(s string) (deduction, bool) {
	m := amount.FindStringSubmatch(strings.Join(strings.Fields(strings.ToLower(s)), " "))
	if m == nil {
		return deduction{}, false
	}
	v, ok := exact(m[1])
	return deduction{v, m[2] == "%", m[3] == " per day"}, ok && v.Sign() > 0
}

// readTime reads the time of a rule, which has a zone: an hour decides.
func readTime(file string, l rule) (*time.Time, error) {
	for _, form := range []string{time.RFC3339, "2006-01-02T15:04Z07:00", "2006-01-02 15:04Z07:00", "2006-01-02 15:04 Z07:00"} {
		if t, err := time.Parse(form, l.value); err == nil {
			return &t, nil
		}
	}
	return nil, wrong(file, l.line, "the time of the rule %s is %q; write it like 2026-11-03T18:00+01:00, with what your clock is ahead of UTC", l.kind, clip.Line(l.value, 40))
}

func readDate(file string, l rule) (string, error) {
	if _, err := time.Parse(time.DateOnly, l.value); err != nil {
		return "", wrong(file, l.line, "the date of the rule %s is %q; write it like 2026-11-03", l.kind, clip.Line(l.value, 40))
	}
	return l.value, nil
}
