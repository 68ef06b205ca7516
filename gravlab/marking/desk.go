package marking

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"time"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/draw"
	"gravity.example/gravlab/draw/figure"
	"gravity.example/gravlab/internal/clip"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/sandbox"
	"gravity.example/gravlab/wire"
)

const (
	mostFigures = 20
	mostPoints  = 20_000    // of a figure
	mostSeries  = 100       // of a figure; marks may be as many
	mostHead    = 30_000    // bytes of a figure's texts, or of a sketch
	mostSVG     = 1_500_000 // bytes of a drawn figure
	mostGiven   = 25        // answers to one question that are kept
	mostNumbers = 20_000    // of an answer
	mostWords   = 20_000    // bytes of an answer
)

// A desk receives what one notebook's program submits and shows. It answers
// through a lab server, which judges nothing and tells the program nothing, and keeps the
// answers in their order.
type recorder struct {
	sheet    bank.Sheet
	session  *labserver.Session
	given    []labserver.Entry
	tries    map[string]int // different answers, by question
	notes    []string
	foreign  int
	read     []string // recordings of the sheet that the program read
	ownFiles []string // files of the student's own
	shown    int
	pictures []picture
	slow     bool // a figure took too long
}

func newDesk(p bank.Sheet, files fs.FS) (*recorder, error) {
	b, err := labserver.New(labserver.Options{InMemory: true, Assessed: true, Find: func(id string) (bank.Lab, error) {
		if p.Lab.Is(id) {
			return p.Lab, nil
		}
		return bank.Lab{}, fmt.Errorf("this notebook is a sheet of lab %s", p.Lab.ID)
	}, Sheet: func(l bank.Lab, c bank.Code) bank.Sheet {
		if c == p.Code {
			return p
		}
		return l.Sheet(c)
	}})
	if err != nil {
		return nil, err
	}
	return &recorder{sheet: p, tries: map[string]int{}, session: b.Session(labserver.SessionOptions{Confined: true, Files: files})}, nil
}

// exchange answers one frame on the wire.
func (d *recorder) exchange(in []byte) []byte {
	f, err := wire.Decode(in)
	if err != nil {
		return d.session.Exchange(in) // which refuses it
	}
	return labserver.Encode(d.reply(f))
}

// reply answers one frame.
func (d *recorder) reply(f wire.Frame) wire.Frame {
	recorded := wire.Frame{Head: wire.Head{Kind: wire.Recorded}}
	switch f.Kind {
	case wire.Answer, wire.Function, wire.Values:
		if !d.own(f) {
			d.foreign++
			return recorded
		}
		reply, given := d.session.Answer(f)
		if given != nil {
			d.note(f.Question, given)
		}
		return reply
	case wire.Figure, wire.Chart, wire.Sketch:
		d.shown++
		if len(d.pictures) < mostFigures && !d.slow {
			var p picture
			p, d.slow = redraw(f)
			d.pictures = append(d.pictures, p)
		}
		return recorded
	case wire.Show, wire.Hint, wire.Done:
		// Nothing of it is shown to anybody.
		return recorded
	default:
		if f.Kind == wire.Recording && !d.own(f) {
			return wire.Frame{Head: wire.Head{Kind: wire.Refused, Text: "this recording belongs to another sheet"}}
		}
		reply := d.session.Reply(f)
		switch list := map[wire.Kind]*[]string{wire.Columns: &d.read, wire.Chunk: &d.ownFiles}[reply.Kind]; {
		case list == nil:
		case !slices.Contains(*list, reply.Name):
			*list = append(*list, reply.Name)
			slices.Sort(*list)
		}
		return reply
	}
}

// own reports whether a frame is about the sheet that the notebook declares.
func (d *recorder) own(f wire.Frame) bool {
	if !d.sheet.Lab.Is(f.Lab) {
		return false
	}
	code, err := bank.ParseCode(f.Code)
	return err == nil && code == d.sheet.Code
}

// note keeps an answer that was submitted, or why it was none.
func (d *recorder) note(question string, g *labserver.Submission) {
	q, ok := d.sheet.Question(question)
	switch {
	case !ok:
		d.remark(fmt.Sprintf("submits an answer to %q, which is not a question of the lab", clip.Line(question, 40)))
	case !g.Kept:
		d.keep(labserver.Entry{Question: q.ID, Verdict: judge.Verdict{Outcome: judge.OutcomeUnreadable, Of: q.Marks, Message: g.View.Message}})
	default:
		d.tries[q.ID] = g.Tries
		if !g.Again {
			d.keep(labserver.Entry{Question: q.ID, Answer: d.bounded(q.ID, g.Answer)})
		}
	}
}

// bounded is an answer of which a store can hold a thousand.
func (d *recorder) bounded(question string, a judge.Answer) judge.Answer {
	n := 0
	for _, v := range a.Values {
		n += len(v)
	}
	if n > mostNumbers {
		a.Values, a.Fault = nil, fmt.Sprintf("it gave %d numbers", n)
	}
	for _, s := range []*string{&a.Text, &a.Unit, &a.Fault} {
		if len(*s) > mostWords {
			*s = (*s)[:mostWords]
			d.remark(fmt.Sprintf("submits more than %d bytes of text to %s; the rest is left out", mostWords, question))
		}
	}
	return a
}

// keep adds an answer, or why it was none. The same at once again, and old ones of a
// question with many, are dropped; of a question whose answer others do not build
// on, the last is enough.
func (d *recorder) keep(e labserver.Entry) {
	most := mostGiven
	if q, _ := d.sheet.Question(e.Question); q.Kind != judge.KindNumber && q.Kind != judge.KindMeasured {
		most = 1
	}
	var at []int // of the question
	for i, old := range d.given {
		if old.Question == e.Question {
			at = append(at, i)
		}
	}
	if n := len(at); n > 0 && e.Verdict.Message != "" && d.given[at[n-1]].Verdict == e.Verdict {
		return
	}
	if len(at) >= most {
		d.given = slices.Delete(d.given, at[0], at[0]+1)
	}
	d.given = append(d.given, e)
}

func (d *recorder) remark(text string) {
	if len(d.notes) < 20 && !slices.Contains(d.notes, text) {
		d.notes = append(d.notes, text)
	}
}

// callsOf are the fingerprints of the judge's calls to the student's functions:
// results at other calls are worth nothing.
func callsOf(p bank.Sheet) map[string]string {
	out := map[string]string{}
	for _, q := range p.Questions {
		if q.Function == nil {
			continue
		}
		h := sha256.New()
		for _, call := range q.Function.Calls {
			binary.Write(h, binary.LittleEndian, uint64(len(call)))
			binary.Write(h, binary.LittleEndian, call)
		}
		out[q.ID] = hex.EncodeToString(h.Sum(nil))[:16]
	}
	return out
}

// patience is how much processor time this process may use while a figure is drawn, which takes
// milliseconds of it. How long it takes by the clock depends on what else the machine does.
const patience = 30 * time.Second

// redraw draws a figure from its data, whatever they are. slow says that it
// took too long and was given up.
func redraw(f wire.Frame) (p picture, slow bool) {
	done := make(chan picture, 1)
	go func() { done <- drawn(f) }()
	tick := time.NewTicker(100 * time.Millisecond)
	defer tick.Stop()
	for began := sandbox.ProcessorTime(); ; {
		select {
		case p := <-done:
			return p, false
		case <-tick.C:
			if sandbox.ProcessorTime()-began > patience {
				return picture{Problem: "the figure took too long to draw"}, true
			}
		}
	}
}

// drawn draws a figure, or says why it could not be drawn.
func drawn(f wire.Frame) (p picture) {
	defer func() {
		if r := recover(); r != nil {
			p = picture{Problem: "the figure could not be drawn"}
		}
	}()
	p, err := svgOf(f)
	switch {
	case err != nil:
		return picture{Problem: clip.Line(err.Error(), 200)}
	case len(p.SVG) > mostSVG:
		return picture{Problem: fmt.Sprintf("drawn, it has %d bytes, and up to %d are shown", len(p.SVG), mostSVG)}
	}
	return p
}

func svgOf(f wire.Frame) (picture, error) {
	if len(f.Figure) > mostHead {
		return picture{}, fmt.Errorf("its texts have %d bytes; up to %d are drawn", len(f.Figure), mostHead)
	}
	if f.Kind == wire.Sketch {
		var sk figure.Sketch
		if err := json.Unmarshal(f.Figure, &sk); err != nil {
			return picture{}, errors.New("the sketch cannot be read")
		}
		if err := sk.Validate(); err != nil {
			return picture{}, err
		}
		svg, err := draw.SketchSVG(&sk)
		return picture{Alt: clip.Line(sk.AltText(), 500), Caption: clip.Line(sk.Caption, 1000), SVG: string(svg)}, err
	}
	fig, err := figure.Unpack(f.Figure, f.Numbers)
	if err != nil {
		return picture{}, err
	}
	if err := fig.Validate(); err != nil {
		return picture{}, err
	}
	if err := small(fig); err != nil {
		return picture{}, err
	}
	svg, err := draw.SVG(figure.Thin(fig, mostPoints))
	return picture{Alt: clip.Line(fig.AltText(), 500), Caption: clip.Line(fig.Caption, 1000), SVG: string(svg)}, err
}

// small refuses a figure that would take long to draw however few points its
// series keep.
func small(fig *figure.Figure) error {
	if m := fig.Map; m != nil && len(m.Z) > mostPoints {
		return fmt.Errorf("the map has %d points; up to %d are drawn", len(m.Z), mostPoints)
	}
	series, marks := 0, 0
	for _, p := range fig.Panels() {
		series, marks = series+len(p.Series), marks+len(p.Marks)
	}
	if series > mostSeries || marks > mostSeries {
		return fmt.Errorf("the figure has %d series and %d marks; up to %d of each are drawn", series, marks, mostSeries)
	}
	return nil
}
