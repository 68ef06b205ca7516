package term

import (
	"context"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"math/big"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"gravity.example/gravlab/internal/atomicfile"
	"gravity.example/gravlab/internal/filelock"
	"gravity.example/gravlab/internal/htmlpage"
	"gravity.example/gravlab/marking"
)

//go:embed style.css
var style string

//go:embed student.html
var files embed.FS

var templates = htmlpage.Templates(files, "student.html", nil)

// Write adds up and writes the tables and pages. It may be stopped or killed at any time
// and called again.
func (t Total) Write(ctx context.Context) (Result, error) {
	result, err := Count(t.Class, t.Rules)
	if err != nil {
		return result, err
	}
	var set []file
	if t.Roster != nil {
		var remarks []string
		if set, remarks, err = t.results(result); err != nil {
			return result, err
		}
		result.Remarks = append(result.Remarks, remarks...)
	}
	pages := filepath.Join(t.Out, "pages")
	if err := os.MkdirAll(pages, 0o700); err != nil {
		return result, err
	}
	release, err := filelock.Claim(filepath.Join(t.Out, "total.csv"))
	if err != nil {
		return result, err
	}
	defer release()
	atomicfile.Sweep(t.Out, pages)
	h, err := readHistory(t.Out)
	if err != nil {
		return result, err
	}
	if result.Changes, err = h.add(result); err != nil {
		return result, err
	}
	steps := []func() error{
		func() error { return h.write(t.Out) },
		func() error { return t.writePages(ctx, result, pages) },
		func() error { return h.table(t.Class.Dialect, filepath.Join(t.Out, "changes.csv")) },
		func() error { return t.writeSecond(filepath.Join(t.Out, "second.csv")) },
		func() error {
			if set == nil {
				return nil
			}
			return writeZip(filepath.Join(t.Out, "results.zip"), set)
		},
		func() error { return t.writeTotals(result, filepath.Join(t.Out, "total.csv")) },
	}
	for _, step := range steps {
		if err := ctx.Err(); err != nil {
			return result, context.Cause(ctx)
		}
		if err := step(); err != nil {
			return result, err
		}
	}
	return result, nil
}

// writeTotals writes the table of the class.
func (t Total) writeTotals(r Result, path string) error {
	header, of, weights := []string{"id", "name"}, []string{"", "marks to be had"}, []string{"", "weight"}
	for _, lab := range r.Labs {
		header = append(header, "lab "+number(lab.ID))
		of = append(of, strconv.Itoa(lab.Of))
		weights = append(weights, figureText(lab.Weight, 4))
	}
	numbers := append(slices.Clone(header[2:]), "total")
	header = append(header, "total", "state", "how")
	return t.Class.Dialect.WriteTable(path, header, numbers, func(write func(...string) error) error {
		if err := errors.Join(write(append(of, "100", "", "")...), write(append(weights, "", "", "")...)); err != nil {
			return err
		}
		for _, s := range r.Students {
			cells := []string{s.Student.ID, s.Student.Name}
			for _, f := range s.Labs {
				if f.Excused {
					cells = append(cells, "excused")
				} else {
					cells = append(cells, figureText(f.Marks, 2))
				}
			}
			if err := write(append(cells, totalText(s.Total), s.state(), s.How)...); err != nil {
				return err
			}
		}
		return nil
	})
}

// totalText is a total with one decimal, half up; empty if there is none.
func totalText(v *big.Rat) string {
	if v == nil {
		return ""
	}
	return figureText(v, 1)
}

// state reports whether a total is final.
func (s StudentResult) state() string {
	switch {
	case s.Total == nil:
		return "no total"
	case s.Final():
		return "final"
	}
	return "provisional: " + strings.Join(s.Open, "; ")
}

// writeSecond writes the second marker's marks beside the first marker's.
func (t Total) writeSecond(path string) error {
	return t.Class.Dialect.WriteTable(path, []string{"lab", "id", "question", "first", "second", "difference", "counts", "reason"}, []string{"first", "second", "difference", "counts"}, func(write func(...string) error) error {
		for _, lab := range t.Rules.labs {
			for _, s := range lab.second {
				counts := s.first
				if s.agreed != nil {
					counts = s.agreed
				}
				text, reason := figureText(counts, 2), s.reason
				if s.agreed == nil && s.first.Cmp(s.second) != 0 {
					reason = strings.TrimPrefix(reason+"; nothing is agreed yet, so the first marks count", "; ")
				}
				if err := write("lab "+lab.number, s.id, s.question, figureText(s.first, 2), figureText(s.second, 2), figureText(new(big.Rat).Sub(s.second, s.first), 2), text, reason); err != nil {
					return err
				}
			}
		}
		return nil
	})
}

// A pageView is what student.html is filled from.
type pageView struct {
	Who, Total, State, How string
	Labs                   []labView
	Final                  bool
}

type labView struct {
	Number, Title, Marks, Percent, Weight, Counts string
	Of                                            int
	Steps                                         []string
}

// writePages writes a page for each student, and removes those of students who are not in the class
// any more.
func (t Total) writePages(ctx context.Context, r Result, dir string) error {
	has := map[string]bool{}
	for _, s := range r.Students {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		who := s.Student.ID
		if s.Student.Name != "" {
			who = s.Student.Name + " (" + who + ")"
		}
		view := pageView{Who: who, Total: totalText(s.Total), State: s.state(), How: s.How, Final: s.Final()}
		for i, f := range s.Labs {
			lab := r.Labs[i]
			l := labView{Number: number(lab.ID), Title: lab.Title, Of: lab.Of, Weight: figureText(lab.Weight, 4), Counts: "yes"}
			switch {
			case f.Excused:
				l.Marks, l.Percent, l.Counts = "–", "–", "excused"
			default:
				l.Marks, l.Percent = figureText(f.Marks, 2), figureText(f.Percent, 1)
				if !f.Counts {
					l.Counts = "no"
				}
			}
			for _, step := range f.Steps {
				if !strings.HasPrefix(step, lookAt) { // for the lecturer
					l.Steps = append(l.Steps, step)
				}
			}
			view.Labs = append(view.Labs, l)
		}
		title := htmlpage.Unturned("The term of " + who)
		body := htmlpage.Unturned(string(htmlpage.Render(templates, "student", view)))
		name := s.Student.ID + ".html"
		has[name] = true
		if err := atomicfile.WriteFile(filepath.Join(dir, name), htmlpage.Page{Title: title, Style: style, Body: template.HTML(body)}.Bytes(), 0o600); err != nil {
			return err
		}
	}
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
	return nil
}

// A history is what the figures were, call by call.
type history struct {
	Calls   int // at which something changed
	Figures map[string]past
	Changes []change
}

// A past is a figure as it was last, and how it came about.
type past struct {
	Text  string
	Steps []string
}

type change struct {
	Call            int
	ID, Figure      string
	Was, Is, Reason string
}

const historyName = "history.json"

func readHistory(dir string) (*history, error) {
	h := &history{Figures: map[string]past{}}
	path := filepath.Join(dir, historyName)
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return h, nil
	}
	if err == nil {
		err = json.Unmarshal(text, h)
	}
	if err != nil {
		return nil, wrong(path, 0, "cannot be read (%v), so the log of changes would be lost; put it back from a copy, or take another folder with --out", err)
	}
	return h, nil
}

// add notes what has changed since the call before.
func (h *history) add(r Result) (changes int, err error) {
	first := h.Calls == 0
	note := func(id, figure string, now past) {
		key := id + "\x00" + figure
		was, had := h.Figures[key]
		if had && was.Text == now.Text && slices.Equal(was.Steps, now.Steps) {
			return
		}
		h.Figures[key] = now
		if first {
			return
		}
		if changes == 0 {
			h.Calls++
		}
		changes++
		var why []string
		for _, s := range now.Steps {
			if !slices.Contains(was.Steps, s) {
				why = append(why, s)
			}
		}
		for _, s := range was.Steps {
			if !slices.Contains(now.Steps, s) {
				why = append(why, "no longer: "+s)
			}
		}
		h.Changes = append(h.Changes, change{h.Calls, id, figure, was.Text, now.Text, strings.Join(why, "; ")})
	}
	here := map[string]bool{}
	for _, s := range r.Students {
		here[s.Student.ID] = true
		for i, f := range s.Labs {
			text := "excused"
			if !f.Excused {
				text = fmt.Sprintf("%s of %d", figureText(f.Marks, 2), r.Labs[i].Of)
			}
			note(s.Student.ID, "lab "+number(r.Labs[i].ID), past{text, f.Steps})
		}
		note(s.Student.ID, "total", past{totalText(s.Total), []string{s.How, s.state()}})
	}
	var gone []string
	for key := range h.Figures {
		if id, _, _ := strings.Cut(key, "\x00"); !here[id] {
			gone = append(gone, key)
		}
	}
	slices.Sort(gone)
	for _, key := range gone {
		id, figure, _ := strings.Cut(key, "\x00")
		if changes == 0 {
			h.Calls++
		}
		changes++
		h.Changes = append(h.Changes, change{h.Calls, id, figure, h.Figures[key].Text, "", "not in the class list any more"})
		delete(h.Figures, key)
	}
	if first {
		h.Calls = 1
	}
	return changes, nil
}

func (h *history) write(dir string) error {
	text, err := json.MarshalIndent(h, "", " ")
	if err != nil {
		return err
	}
	return atomicfile.WriteFile(filepath.Join(dir, historyName), append(text, '\n'), 0o600)
}

// table writes the log of changes. The first call, from which it counts, is call 1.
func (h *history) table(d marking.Dialect, path string) error {
	return d.WriteTable(path, []string{"call", "id", "figure", "was", "is", "reason"}, nil, func(write func(...string) error) error {
		for _, c := range h.Changes {
			if err := write(strconv.Itoa(c.Call), c.ID, c.Figure, c.Was, c.Is, c.Reason); err != nil {
				return err
			}
		}
		return nil
	})
}
