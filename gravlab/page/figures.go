package page

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"

	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/wire"
)

// ranKey keeps with a cell which code its output comes from (madeOf), so that output
// that is older than its code is known as such.
const ranKey = "ran"

// mainLine is the line of a cell from which on it is run: what stands above declares.
var mainLine = regexp.MustCompile(`(?m)^%%`)

// madeOf names the code on which a box's output depends: its own, and what the boxes
// above declare, but for functions that it does not use, such as those of an answer. It reads no
// Go, which is done in confined workers only: it looks for words.
func madeOf(above []string, source string) string {
	var declared []string
	for _, text := range above {
		if at := mainLine.FindStringIndex(text); at != nil {
			text = text[:at[0]]
		}
		declared = append(declared, text)
	}
	// What declares functions alone counts where one of them is used, by the box or by what counts.
	counts := make([]bool, len(declared))
	using := []string{source}
	for i, text := range declared {
		if onlyFunctions(text) == nil {
			counts[i], using = true, append(using, text)
		}
	}
	for k := 0; k < len(using); k++ {
		for i, text := range declared {
			if !counts[i] && slices.ContainsFunc(onlyFunctions(text), func(name string) bool { return uses(using[k], name) }) {
				counts[i], using = true, append(using, text)
			}
		}
	}
	h := sha256.New()
	for i, text := range declared {
		if counts[i] {
			io.WriteString(h, text+"\x00")
		}
	}
	io.WriteString(h, source)
	return hex.EncodeToString(h.Sum(nil)[:12])
}

// topLevel is how a declaration begins.
var topLevel = regexp.MustCompile(`(?m)^(?:func|var|const|type|import)\b(?: ([a-zA-Z_]\w*)\()?`)

// onlyFunctions are the names of the functions of a text that declares functions and nothing else,
// as most answers do; else there are none.
func onlyFunctions(text string) (names []string) {
	for _, m := range topLevel.FindAllStringSubmatch(text, -1) {
		if m[1] == "" || m[1] == "init" {
			return nil
		}
		names = append(names, m[1])
	}
	return names
}

// unread is what holds words that are no names: strings and comments.
var unread = regexp.MustCompile("\"(?:[^\"\\\\\n]|\\\\.)*\"|`[^`]*`|//[^\n]*|(?s:/\\*.*?\\*/)")

// uses reports whether a text names something that it does not declare itself.
func uses(text, name string) bool {
	if !strings.Contains(text, name) {
		return false
	}
	text = unread.ReplaceAllString(text, " ")
	own := regexp.MustCompile(`\bvar [\w, ]*\b` + name + `\b|\b` + name + `\b[\w, ]*:=`)
	return regexp.MustCompile(`\b`+name+`\b`).MatchString(text) && !own.MatchString(text)
}

// above are the sources of the code cells above one.
func above(nb *notebook.Notebook, index int) (list []string) {
	for _, c := range nb.Cells[:index] {
		if c.Kind == notebook.Code {
			list = append(list, c.Source)
		}
	}
	return list
}

// older reports whether a cell's output comes from other code than what stands there now.
func (b *document) older(index int, c *notebook.Cell) bool {
	ran, ok := c.Own()[ranKey].(string)
	return ok && len(c.Outputs) > 0 && ran != madeOf(above(b.nb, index), c.Source)
}

// figureOf reports whether a cell shows something and answers nothing.
func figureOf(c *notebook.Cell) bool {
	_, _, marked := c.Question()
	return c.Kind == notebook.Code && !marked && strings.Contains(c.Source, "show.")
}

// drawsOnly reports whether all that a cell puts out is what it shows: its code is of
// interest to those who ask how.
func drawsOnly(c *notebook.Cell) bool {
	return figureOf(c) && !strings.Contains(c.Source, "fmt.Print")
}

// awaits reports whether a cell's figures are worked out when the lab is opened: confined,
// and only what may run at all.
func (b *document) awaits(c *notebook.Cell) bool {
	o := b.server.o
	return o.Runner != nil && !o.Unconfined && (b.own || b.allowed) && b.fault == "" && figureOf(c) && len(c.Outputs) == 0
}

// A figureEvent is one line of what figures sends: the output of a cell, or nothing if its
// code did not come to its end.
type figureEvent struct {
	Cell string `json:"cell"`
	HTML string `json:"html"`
}

// figures works out what the boxes of a lab show and sends it as it comes, those near the
// reader's place first. It ends with the request, and gives way to boxes that the
// reader runs.
func (s *Server) figures(w http.ResponseWriter, r *http.Request, b *document) {
	var in struct{ Tab string }
	release := b.forWriter(w, r, &in, &in.Tab)
	if release == nil {
		return
	}
	ctx, cancel := context.WithCancel(r.Context())
	defer cancel()
	if b.figuring != nil {
		b.figuring() // of a page that has gone, or is loaded again
	}
	b.figuring = cancel
	cells := b.awaited(s.desk.get().Cells[b.name])
	release()
	w.Header().Set("Content-Type", "application/x-ndjson")
	flush, _ := w.(http.Flusher)
	for _, id := range cells {
		if !b.calm(ctx) {
			return
		}
		e, changed := b.workOut(ctx, id)
		if ctx.Err() != nil {
			return
		}
		if changed {
			continue
		}
		json.NewEncoder(w).Encode(e)
		if flush != nil {
			flush.Flush()
		}
	}
	b.keepFigures()
}

// Prepare works out the figures of a lab that its reader has not begun and keeps them in the
// cache, so that they are there when it is opened.
func (s *Server) Prepare(ctx context.Context, lab string) error {
	b := s.find(lab)
	if b == nil || s.o.Figures == "" {
		return nil
	}
	b.mu.Lock()
	err := b.load()
	var cells []string
	if err == nil && b.cached() != "" {
		cells = b.awaited("")
	}
	b.mu.Unlock()
	if err != nil || len(cells) == 0 {
		return err
	}
	if err := os.MkdirAll(s.o.Figures, 0o700); err != nil {
		return err
	}
	for _, id := range cells {
		b.workOut(ctx, id)
		if ctx.Err() != nil {
			break
		}
	}
	b.keepFigures()
	return ctx.Err()
}

// awaited lists the cells whose figures are still to be worked out. The caller holds b.mu.
func (b *document) awaited(place string) (ids []string) {
	if b.nb == nil {
		return nil
	}
	from := 0
	for _, c := range b.nb.Cells {
		if c.ID == place {
			from = len(ids)
		}
		if b.awaits(c) {
			ids = append(ids, c.ID)
		}
	}
	return slices.Concat(ids[from:], ids[:from])
}

// calm waits until the reader runs nothing; false if ctx has ended.
func (b *document) calm(ctx context.Context) bool {
	for {
		b.mu.Lock()
		n := len(b.running)
		b.mu.Unlock()
		if n == 0 {
			return ctx.Err() == nil
		}
		select {
		case <-ctx.Done():
			return false
		case <-time.After(50 * time.Millisecond):
		}
	}
}

// shownOnly are the frames of a box that shows and reads: one that submits an answer or
// asks for a hint waits for the reader.
var shownOnly = []wire.Kind{wire.Recording, wire.File, wire.Figure, wire.Chart, wire.Sketch, wire.Show}

// workOut runs one box that nobody has run and keeps what it shows. changed says that
// the reader was quicker.
func (b *document) workOut(ctx context.Context, id string) (e figureEvent, changed bool) {
	b.mu.Lock()
	var c *notebook.Cell
	if b.nb != nil { // else the lab has been begun anew
		c = b.nb.Cell(id)
	}
	if c == nil || !b.awaits(c) || b.running[id] != nil {
		b.mu.Unlock()
		return e, true
	}
	index := slices.Index(b.nb.Cells, c)
	box := b.box(index)
	box.Idle = true
	before := madeOf(box.Above, box.Source)
	var mu sync.Mutex
	out := notebook.Cell{}
	printed, submits := 0, false
	box.Output = func(text []byte) {
		mu.Lock()
		defer mu.Unlock()
		if printed += len(text); printed <= mostPrinted {
			out.Print("stdout", strings.ToValidUTF8(string(text), "\ufffd"))
		}
	}
	put := func(o *notebook.Output) {
		mu.Lock()
		defer mu.Unlock()
		out.Outputs = append(out.Outputs, o)
	}
	box.Log = func(string) {}
	session := b.server.bench.Session(labserver.SessionOptions{Confined: true, MaxShown: 20, Files: filesBeside(b.copy, b.source), Changed: b.changed,
		Show: func(d labserver.Display) error { put(display(d)); return nil }})
	box.Exchange = func(frame []byte) []byte {
		if f, err := wire.Decode(frame); err == nil && !slices.Contains(shownOnly, f.Kind) {
			mu.Lock()
			submits = true
			mu.Unlock()
			return labserver.Encode(wire.Frame{Head: wire.Head{Kind: wire.Refused, Text: "this box waits for its reader"}})
		}
		return session.Exchange(frame)
	}
	b.mu.Unlock()
	result, err := b.server.o.Runner.RunBox(ctx, box)
	b.mu.Lock()
	defer b.mu.Unlock()
	mu.Lock()
	defer mu.Unlock()
	e = figureEvent{Cell: id}
	if err != nil || len(result.Trouble) > 0 || submits || printed > mostPrinted || len(out.Outputs) == 0 || b.nb == nil {
		return e, false
	}
	c = b.nb.Cell(id)
	if c == nil || !b.awaits(c) || b.running[id] != nil || madeOf(above(b.nb, slices.Index(b.nb.Cells, c)), c.Source) != before {
		return e, true
	}
	c.Outputs = out.Outputs
	c.SetOwn(ranKey, before)
	if b.stamp != (stamp{}) { // a lab that is only read begins no working copy
		if _, err := b.write(); err != nil {
			b.server.o.Log(err.Error())
		}
	}
	e.HTML = b.outputs(index, c.Outputs)
	return e, false
}

// thisProgram is what figures in the cache depend on besides their code.
var thisProgram = sync.OnceValue(func() string {
	path, err := os.Executable()
	if err != nil {
		return ""
	}
	file, err := os.Open(path)
	if err != nil {
		return ""
	}
	defer file.Close()
	h := sha256.New()
	if _, err := io.Copy(h, file); err != nil {
		return ""
	}
	return hex.EncodeToString(h.Sum(nil)[:12])
})

// cached is the file of a lab's figures in the cache, a notebook of boxes that have run;
// "" if none are kept: only those of the default sheet are, which everybody opens first, and
// those of a reader's own sheets where many readers share a program.
func (b *document) cached() string {
	if b.server.o.Figures == "" || !b.own || !b.hasSheet || b.sheet.Code != "" && b.server.o.Seat == nil || b.stamp != (stamp{}) || thisProgram() == "" {
		return ""
	}
	return filepath.Join(b.server.o.Figures, b.name+".ipynb")
}

// keepFigures keeps the figures of a lab that nobody has begun in the cache. One that
// cannot be kept is worked out again.
func (b *document) keepFigures() {
	b.mu.Lock()
	defer b.mu.Unlock()
	path := b.cached()
	if b.nb == nil || path == "" {
		return
	}
	nb := notebook.New("gravlab", "gravlab", "go")
	for i, c := range b.nb.Cells {
		if figureOf(c) && len(c.Outputs) > 0 && !b.older(i, c) {
			kept := c.Clone()
			kept.Source = madeOf(above(b.nb, i), c.Source) + " " + thisProgram()
			nb.Cells = append(nb.Cells, kept)
		}
	}
	if len(nb.Cells) == 0 {
		return
	}
	if err := nb.WriteFile(path); err != nil {
		b.server.o.Log(err.Error())
	}
}

// takeFigures takes the figures of a lab that nobody has begun from the cache. The
// caller holds b.mu.
func (b *document) takeFigures() {
	path := b.cached()
	if path == "" {
		return
	}
	kept, err := notebook.ReadFile(path, notebook.Options{})
	if err != nil {
		return // none yet, or of another format
	}
	for i, c := range b.nb.Cells {
		if !b.awaits(c) {
			continue
		}
		made := madeOf(above(b.nb, i), c.Source)
		if k := kept.Cell(c.ID); k != nil && k.Source == made+" "+thisProgram() {
			c.Outputs = k.Outputs
			c.SetOwn(ranKey, made)
		}
	}
}
