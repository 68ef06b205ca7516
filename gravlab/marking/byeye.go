package marking

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"html/template"
	"slices"
	"strconv"
	"strings"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/htmlpage"
	"gravity.example/gravlab/judge"
)

//go:embed byeye.js
var byEyeScript string

var byEyeTemplates = htmlpage.Templates(files, "byeye.html", nil)

// mostShown is how many figures stand beside a text.
const mostShown = 4

// A textView is a text on the page on which a person reads.
type textView struct {
	Number, Row    int
	Text           string
	Figures        []figureView
	Marks, Comment string

	id string
}

type textGroup struct {
	ID, Title string
	Of        int
	Prompt    template.HTML
	Rubric    []bank.Criterion
	Texts     []textView
}

// byEyePage shows each text beside the figures of the same notebook and the rubric. It
// shows no names, and the order of the texts says nothing: it is that of their
// fingerprints. The marks go into by-eye.csv by way of the file that the page saves.
func (b *marksBook) byEyePage() ([]byte, error) {
	groups := make([]textGroup, len(b.questions))
	var rows [][]string
	for _, r := range b.rows {
		if r.item == nil || !slices.ContainsFunc(r.cells, func(c cell) bool { return c.outcome == judge.OutcomeWaiting }) {
			continue
		}
		var j judged
		if !b.k.store.read(r.item.key, "judged", &j) || len(j.Verdicts) != len(r.cells) {
			return nil, fmt.Errorf("the store has lost the verdicts of %s: mark again", r.item.name)
		}
		var pictures []picture
		b.k.store.read(r.item.key, "figures", &pictures)
		var figures []figureView
		for _, p := range pictures[:min(len(pictures), mostShown)] {
			figures = append(figures, viewOf(p))
		}
		sheet := b.sheet(&r)
		for i, v := range j.Verdicts {
			if v.Entry.Verdict.Outcome != judge.OutcomeWaiting {
				continue
			}
			q, text := sheet.Questions[i], v.Entry.Answer.Text
			t := textView{Row: len(rows), Text: text, Figures: figures, id: textID(text + r.student.ID)}
			if m, ok := b.eye.of(r.student.ID, q.ID, text); ok {
				t.Marks, t.Comment = marksText(m.marks), m.comment
			}
			rows = append(rows, []string{r.student.ID, harmless(r.student.Name), q.ID, strconv.Itoa(q.Marks), harmless(text), textID(text), "", ""})
			g := &groups[i]
			g.ID, g.Title, g.Of, g.Prompt, g.Rubric = q.ID, q.Title, q.Marks, paragraphs(q.Prompt), q.Rubric
			g.Texts = append(g.Texts, t)
		}
	}
	groups = slices.DeleteFunc(groups, func(g textGroup) bool { return len(g.Texts) == 0 })
	n := 0
	for _, g := range groups {
		slices.SortFunc(g.Texts, func(x, y textView) int { return strings.Compare(x.id, y.id) })
		for i := range g.Texts {
			n++
			g.Texts[i].Number = n
		}
	}
	listed := map[eyeKey]bool{}
	for _, row := range rows {
		listed[eyeKey{row[0], row[2], row[5]}] = true
	}
	others := [][]string{}
	for k, m := range b.eye.marks {
		if !listed[k] {
			others = append(others, m.row)
		}
	}
	slices.SortFunc(others, slices.Compare)
	data, err := json.Marshal(map[string]any{"header": byEyeHeader, "rows": rows, "others": others, "print": fingerprint([]byte(b.lab.ID + b.base))[:12]})
	if err != nil {
		return nil, err
	}
	body := htmlpage.Unturned(string(htmlpage.Render(byEyeTemplates, "byeye", struct {
		Lab, Title string
		Groups     []textGroup
	}{b.lab.Number(), b.lab.Title, groups})))
	p := htmlpage.Page{Title: b.lab.Title + ": texts to read", Style: style, Body: template.HTML(body)}
	if len(groups) > 0 {
		// json.Marshal writes < and > so that no text ends the element.
		p.Scripts = template.HTML("<script type=\"application/json\" id=\"rows\">" + string(data) + "</script>\n<script>" + byEyeScript + "</script>\n")
		p.Allowed = []string{byEyeScript}
	}
	return p.Bytes(), nil
}
