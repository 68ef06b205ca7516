package page

import (
	"bytes"
	"net/http"
	"os"
	"path/filepath"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/door"
	"gravity.example/gravlab/internal/webassets"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/report"
)

// A labView is one lab in the list.
type labView struct {
	Name     string   `json:"name"`
	Number   string   `json:"number"`
	Title    string   `json:"title"`
	Asks     string   `json:"asks"`    // what makes curious; "" if the lab does not say
	Picture  string   `json:"picture"` // its address, "" if there is none
	Minutes  int      `json:"minutes"`
	Tracks   []string `json:"tracks"`
	BuildsOn []string `json:"buildsOn"` // numbers of labs
	Begun    bool     `json:"begun"`
	Given    int      `json:"given"` // questions that have an answer
	Right    int      `json:"right"` // questions with all their marks
	Count    int      `json:"count"` // of questions
	Marks    int      `json:"marks"`
	Of       int      `json:"of"`
	File     string   `json:"file"`   // of a notebook from elsewhere
	Closed   string   `json:"closed"` // why it cannot be opened now
	Assessed bool     `json:"assessed"`
}

// list gives the list of labs.
func (s *Server) list(w http.ResponseWriter, _ *http.Request) {
	tracks := []string{string(bank.LaboratoryClass), string(bank.SurveyHire), string(bank.PlanetarySpace)}
	out := struct {
		Labs   []labView `json:"labs"`
		Tracks []string  `json:"tracks"`
		Last   string    `json:"last"`
	}{Labs: []labView{}, Tracks: tracks, Last: s.desk.get().Last}
	for _, b := range s.books {
		out.Labs = append(out.Labs, b.listed())
	}
	if s.find(out.Last) == nil {
		out.Last = ""
	}
	door.Reply(w, out)
}

// listed says what the list shows of a book. It opens no lab that nobody has
// begun.
func (b *document) listed() labView {
	b.mu.Lock()
	defer b.mu.Unlock()
	v := labView{Name: b.name, Tracks: []string{}, BuildsOn: []string{}, Begun: stampOf(b.copy) != stamp{}}
	sheet, known, assessed := b.sheet, b.hasSheet, b.assessed
	if b.nb == nil {
		path := b.source
		if v.Begun {
			path = b.copy
		}
		if !b.own || v.Begun {
			if nb, err := notebook.ReadFile(path, notebook.Options{}); err == nil {
				sheet, known, assessed, _ = sheetOf(nb)
				v.Title = firstHeading(nb)
			}
		}
	} else {
		v.Title = firstHeading(b.nb)
	}
	lab := sheet.Lab
	if !known && b.own {
		if found, err := exercises.Find(b.name); err == nil {
			lab = found
		}
	}
	v.Closed = b.closed(false)
	if own := b.server.ownSheet(b.name); own != nil {
		sheet.Code, assessed = *own, assessed || own.Sealed()
	}
	v.Assessed = assessed
	if !b.own {
		v.File = b.source
	} else {
		v.Title, v.Number, v.Asks = lab.Title, lab.Number(), lab.Asks
		if name := "lab-" + lab.ID + ".svg"; hasAsset(name) {
			v.Picture = "/asset/" + name
		}
		for _, t := range lab.Tracks {
			v.Tracks = append(v.Tracks, string(t))
		}
		for _, id := range lab.BuildsOn {
			if on, err := exercises.Find(id); err == nil {
				v.BuildsOn = append(v.BuildsOn, on.Number())
			}
		}
	}
	v.Minutes = lab.Minutes
	if lab.ID == "" {
		return v
	}
	sum, err := b.server.bench.Summary(lab.ID, string(sheet.Code), assessed)
	if err != nil {
		return v
	}
	v.Count, v.Of = len(sum.Standings), sum.Of
	for _, st := range sum.Standings {
		if st.Verdict.Outcome != judge.OutcomeBlank {
			v.Given++
		}
		if !assessed && st.Verdict.Marks == st.Verdict.Of {
			v.Right++
		}
	}
	v.Marks = sum.Marks
	return v
}

// report gives the lab as one page to keep.
func (s *Server) report(w http.ResponseWriter, _ *http.Request, b *document) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.load(); err != nil {
		door.Refuse(w, http.StatusInternalServerError, err.Error())
		return
	}
	o := report.Options{}
	if s.o.Web != "" {
		if text, err := os.ReadFile(filepath.Join(s.o.Web, webassets.Charts)); err == nil {
			o.Charts = string(text)
		}
	}
	if sum := b.summary(); sum != nil {
		o.Title = b.sheet.Lab.Title
		if b.sheet.Code != "" {
			o.Remark = "Sheet " + string(b.sheet.Code)
		}
		for _, st := range sum.Standings {
			if b.assessed {
				continue // what it is worth comes with the marking
			}
			v := st.Verdict
			o.Questions = append(o.Questions, report.QuestionRow{From: b.sheet.Lab.FullID(st.Question.ID), Title: st.Question.Title,
				Understood: v.Understood, Outcome: v.Outcome, Slip: v.Slip, Marks: v.Marks, Of: v.Of})
		}
	}
	var page bytes.Buffer
	if err := report.Write(&page, b.nb, o); err != nil {
		door.Refuse(w, http.StatusInternalServerError, err.Error())
		return
	}
	// It is kept as a file; opened at this address it could do nothing.
	w.Header().Set("Content-Security-Policy", "sandbox; default-src 'none'")
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	page.WriteTo(w)
}

// notebook gives the lab as a notebook file, to hand in.
func (s *Server) notebook(w http.ResponseWriter, _ *http.Request, b *document) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.load(); err != nil {
		door.Refuse(w, http.StatusInternalServerError, err.Error())
		return
	}
	data, err := b.nb.Bytes()
	if err != nil {
		door.Refuse(w, http.StatusInternalServerError, err.Error())
		return
	}
	w.Header().Set("Content-Type", "application/x-ipynb+json")
	w.Write(data)
}
