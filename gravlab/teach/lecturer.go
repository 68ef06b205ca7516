package teach

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/atomicfile"
	"gravity.example/gravlab/internal/door"
	"gravity.example/gravlab/judge"
)

// What the lecturer sees, as JSON.
type (
	overview struct {
		Version  int           `json:"version"`
		Assessed bool          `json:"assessed"`
		Labs     []labView     `json:"labs"`
		Students []studentView `json:"students"`
		Rounds   []round       `json:"rounds"`
		Note     string        `json:"note"`
		Left     int           `json:"left"` // seconds to the end; -1: there is none
		Running  int           `json:"running"`
		Waiting  int           `json:"waiting"`
		Trouble  string        `json:"trouble"`
		Taken    string        `json:"taken"`
	}
	labView struct {
		ID        string         `json:"id"`
		Number    string         `json:"number"`
		Title     string         `json:"title"`
		Open      bool           `json:"open"`
		Questions []questionView `json:"questions"`
		Mark      string         `json:"mark"` // the command that marks it
	}
	questionView struct {
		ID    string `json:"id"`
		Title string `json:"title"`
	}
	studentView struct {
		ID     string                          `json:"id"`
		Name   string                          `json:"name"`
		Here   bool                            `json:"here"`
		Ever   bool                            `json:"ever"` // has come in since the program began
		Lab    string                          `json:"lab"`
		At     string                          `json:"at"`
		Help   string                          `json:"help"` // since when, RFC 3339
		Extra  int                             `json:"extra"`
		Frozen bool                            `json:"frozen"`
		Cells  map[string]map[string]cellStand `json:"cells"`
	}
	cellStand struct {
		Sign    string `json:"sign"`
		Outcome string `json:"outcome"`
		Slip    string `json:"slip,omitempty"`
		Half    bool   `json:"half,omitempty"`
		Tries   int    `json:"tries"`
	}
)

// now answers with the class as it stands, or with 204 if that is what the page has.
func (c *Class) now(w http.ResponseWriter, r *http.Request) {
	since, _ := strconv.Atoi(r.URL.Query().Get("since"))
	c.mu.Lock()
	if since == c.version {
		c.mu.Unlock()
		w.WriteHeader(http.StatusNoContent)
		return
	}
	v := c.overview()
	c.mu.Unlock()
	packed(w, r, v)
}

// overview is what the lecturer sees. The caller holds c.mu.
func (c *Class) overview() overview {
	v := overview{Version: c.version, Assessed: c.o.Assessed, Note: c.hour.Note, Left: -1, Trouble: c.trouble, Taken: c.taken, Students: []studentView{}}
	if !c.hour.Ends.IsZero() {
		v.Left = max(0, int(time.Until(c.hour.Ends).Seconds()))
	}
	v.Running, v.Waiting = c.queue.length()
	titles := map[string]string{}
	for _, l := range c.o.Labs {
		view := labView{ID: l.ID, Number: l.Number(), Title: l.Title, Open: !c.hour.Closed[l.ID], Mark: c.o.Mark(l, c.handedIn(l.ID))}
		for _, q := range l.Sheet("").Questions {
			view.Questions = append(view.Questions, questionView{q.ID, q.Title})
			titles[l.FullID(q.ID)] = q.Title
		}
		v.Labs = append(v.Labs, view)
	}
	tallies := map[string]tally{}
	for _, p := range c.places {
		id := p.student.ID
		s := studentView{ID: id, Name: nameOf(p.student), Here: !p.seen.IsZero() && time.Since(p.seen) < away, Ever: !p.seen.IsZero(),
			Lab: p.lab, At: p.at, Extra: c.hour.Extra[id], Frozen: c.hour.Frozen[id] != "", Cells: map[string]map[string]cellStand{}}
		if since, ok := c.hour.Help[id]; ok {
			s.Help = since.Format(time.RFC3339)
		}
		for lab, questions := range p.tally {
			cells := map[string]cellStand{}
			for q, st := range questions {
				if st.outcome != judge.OutcomeBlank {
					cells[q] = cellStand{st.outcome.Sign(), string(st.outcome), st.slip, st.half, st.tries}
				}
			}
			s.Cells[lab] = cells
		}
		v.Students = append(v.Students, s)
		tallies[id] = p.tally
	}
	v.Rounds = roundsOf(tallies, time.Now())
	for i := range v.Rounds {
		lab := slices.IndexFunc(c.o.Labs, func(l bank.Lab) bool { return l.ID == v.Rounds[i].Lab })
		if lab >= 0 {
			v.Rounds[i].Title = titles[c.o.Labs[lab].FullID(v.Rounds[i].Question)]
		}
	}
	return v
}

// An order is what the lecturer wants done.
type order struct {
	Lab     string
	Student string
	On      bool
	Note    string
	Minutes int
}

// do does what the lecturer wants.
func (c *Class) do(w http.ResponseWriter, r *http.Request) {
	var in order
	if json.NewDecoder(r.Body).Decode(&in) != nil {
		door.Refuse(w, http.StatusBadRequest, "this request cannot be read")
		return
	}
	c.mu.Lock()
	known := slices.ContainsFunc(c.places, func(p *place) bool { return p.student.ID == in.Student })
	c.mu.Unlock()
	what := r.PathValue("what")
	if in.Student != "" && !known || in.Student == "" && (what == "card" || what == "extra" || what == "helped") {
		door.Refuse(w, http.StatusNotFound, "there is no such student")
		return
	}
	var out any = struct{}{}
	var err error
	switch what {
	case "lab":
		c.decide(func(h *hour) { h.Closed[in.Lab] = !in.On })
	case "note":
		note := strings.TrimSpace(in.Note)
		if text := []rune(note); len(text) > 500 {
			note = string(text[:500])
		}
		c.decide(func(h *hour) { h.Note = note })
	case "end":
		c.decide(func(h *hour) {
			h.Ends = time.Time{}
			if in.On {
				h.Ends = time.Now().Add(time.Duration(min(max(in.Minutes, 0), 1440)) * time.Minute).Truncate(time.Second)
			}
			h.longer(time.Now())
		})
	case "extra":
		c.decide(func(h *hour) {
			h.Extra[in.Student] = min(max(in.Minutes, 0), 1440)
			h.longer(time.Now())
		})
	case "freeze":
		c.freeze(in.Student, in.On)
	case "helped":
		c.decide(func(h *hour) { delete(h.Help, in.Student) })
	case "card":
		out, err = c.newCard(in.Student)
	case "take":
		c.freeze("", true)
		out, err = c.takeIn(r.Context())
	default:
		door.Refuse(w, http.StatusNotFound, "there is nothing at this address")
		return
	}
	if err != nil {
		c.o.Log(what + ": " + err.Error())
		door.Refuse(w, http.StatusInternalServerError, err.Error())
		return
	}
	door.Reply(w, out)
}

// decide changes the hour and keeps it.
func (c *Class) decide(change func(h *hour)) {
	c.mu.Lock()
	defer c.mu.Unlock()
	change(&c.hour)
	c.keep()
}

// freeze lets one student, or all of them, change nothing more, or lets them go on.
func (c *Class) freeze(id string, on bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, p := range c.places {
		switch s := p.student.ID; {
		case id != "" && s != id:
		case on:
			c.hour.Frozen[s] = byHand
		default:
			delete(c.hour.Frozen, s)
		}
	}
	c.keep()
}

// newCard replaces a student's card. What the old one has let in is let in no more.
func (c *Class) newCard(id string) (any, error) {
	code, err := c.roll.replace(id)
	if err != nil {
		return nil, err
	}
	c.mu.Lock()
	var p *place
	for _, o := range c.places {
		if o.student.ID == id {
			p = o
		}
	}
	c.lock(p)
	name := nameOf(p.student)
	c.mu.Unlock()
	p.shut() // its page has the old keys
	view, err := c.cardOf(cardView{Name: name, Code: code})
	if err != nil {
		return nil, err
	}
	return map[string]string{"name": name, "code": view.Grouped, "address": c.o.Address, "qr": string(view.QR)}, nil
}

// takeIn copies the working copies of all labs into the folder handed-in, after what runs has
// ended. A folder that was taken in before is kept under another name.
func (c *Class) takeIn(ctx context.Context) (any, error) {
	ctx, stop := context.WithTimeout(ctx, 10*time.Second)
	defer stop()
	c.mu.Lock()
	places := slices.Clone(c.places)
	c.mu.Unlock()
	for _, p := range places {
		p.making.Lock()
		if p.server != nil {
			p.server.Halt(ctx)
		}
		p.making.Unlock()
	}
	n := 0
	var commands []string
	for _, l := range c.o.Labs {
		to := c.handedIn(l.ID)
		fresh := to + ".new"
		if err := os.RemoveAll(fresh); err != nil {
			return nil, err
		}
		if err := os.MkdirAll(fresh, 0o700); err != nil {
			return nil, err
		}
		for _, p := range places {
			some, err := copyFolder(filepath.Join(fresh, p.student.ID), c.work(l.ID, p.student.ID))
			if err != nil {
				return nil, fmt.Errorf("%s: %w", p.student.ID, err)
			}
			if some {
				n++
			}
		}
		if err := setAside(to); err != nil {
			return nil, err
		}
		if err := os.Rename(fresh, to); err != nil {
			return nil, err
		}
		commands = append(commands, c.o.Mark(l, to))
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.taken = fmt.Sprintf("%d notebooks taken in", n)
	if n == 1 {
		c.taken = "1 notebook taken in"
	}
	c.changed()
	return map[string]any{"notebooks": n, "commands": commands}, nil
}

// setAside renames a folder to a free name, if it is there.
func setAside(folder string) error {
	to := atomicfile.FreeName(func(n int) string { return fmt.Sprintf("%s.before-%d", folder, n) })
	if err := os.Rename(folder, to); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// copyFolder copies the files of a folder. some is false if there are none.
func copyFolder(to, from string) (some bool, err error) {
	entries, err := os.ReadDir(from)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	for _, e := range entries {
		if !e.Type().IsRegular() || strings.HasPrefix(e.Name(), ".") {
			continue
		}
		text, err := os.ReadFile(filepath.Join(from, e.Name()))
		if err != nil {
			return some, err
		}
		if err := os.MkdirAll(to, 0o700); err != nil {
			return some, err
		}
		if err := atomicfile.WriteFile(filepath.Join(to, e.Name()), text, 0o600); err != nil {
			return some, err
		}
		some = true
	}
	return some, nil
}
