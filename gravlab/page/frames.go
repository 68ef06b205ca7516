package page

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"gravity.example/gravlab/draw"
	"gravity.example/gravlab/internal/door"
	"gravity.example/gravlab/internal/webassets"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/report"
)

// mostFrames is how many frames are kept for a browser that has not fetched
// them yet.
const mostFrames = 400

// frames keeps what stands in frames, by secret names.
type frames struct {
	mu    sync.Mutex
	held  map[string]held
	order []string
}

type held struct {
	html   string          // of a cell
	option json.RawMessage // of a chart
}

func (f *frames) keep(h held) string {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.held == nil {
		f.held = map[string]held{}
	}
	if len(f.order) >= mostFrames {
		delete(f.held, f.order[0])
		f.order = f.order[1:]
	}
	id := door.Secret()
	f.held[id], f.order = h, append(f.order, id)
	return id
}

func (f *frames) get(id string) (held, bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	h, ok := f.held[id]
	return h, ok
}

// outputs renders what a cell has put out.
func (b *document) outputs(index int, list []*notebook.Output) string {
	var all strings.Builder
	for _, o := range list {
		all.WriteString(b.output(index, o))
	}
	return all.String()
}

// output renders one output.
func (b *document) output(index int, o *notebook.Output) string {
	return report.Output(index, o, report.Frames{
		HTML: func(text string) string {
			return fmt.Sprintf(`<iframe class="foreign" sandbox="" title="output" src="/frame/%s"></iframe>`, b.frames.keep(held{html: text}))
		},
		Chart: func(option any) string {
			text, err := json.Marshal(option)
			if err != nil || b.server.o.Web == "" {
				return ""
			}
			return fmt.Sprintf(`<button type="button" class="quiet-button" data-chart="/frame/%s">Explore the chart</button>`, b.frames.keep(held{option: text}))
		},
	})
}

// hasFrame reports whether a frame can be shown: those of an earlier run of the
// program, and the oldest of many, are gone.
func (s *Server) hasFrame(w http.ResponseWriter, r *http.Request, b *document) {
	h, found := b.frames.get(r.PathValue("id"))
	if found && h.option != nil {
		_, err := os.Stat(filepath.Join(s.o.Web, webassets.Charts))
		found = err == nil
	}
	door.Reply(w, map[string]bool{"there": found})
}

// frame serves the content of a frame. Its policy takes away its origin, so that
// it has no cookies, no storage and no way to the page around it, also when it
// is opened by itself.
func (s *Server) frame(w http.ResponseWriter, r *http.Request) {
	var h held
	found := false
	for _, b := range s.books {
		if h, found = b.frames.get(r.PathValue("id")); found {
			break
		}
	}
	if !found {
		door.Refuse(w, http.StatusNotFound, "this frame is gone; load the page again")
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	const nothing = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; "
	around := "frame-ancestors " + s.door.Origin(r)
	if h.option == nil {
		w.Header().Set("Content-Security-Policy", "sandbox; "+nothing+around)
		fmt.Fprintf(w, "<!DOCTYPE html><meta charset=\"utf-8\"><style>body{font:16px sans-serif;background:#fff;color:#222;margin:.5em}</style>%s", h.html)
		return
	}
	script, err := os.ReadFile(filepath.Join(s.o.Web, webassets.Charts))
	if err != nil {
		door.Refuse(w, http.StatusNotFound, "the charts are not in the cache any more; start the program again")
		return
	}
	library := draw.ScriptText(string(script))
	head, tail := draw.ChartPage(h.option)
	w.Header().Set("Content-Security-Policy", "sandbox allow-scripts; "+nothing+"script-src "+hash(library)+" "+hash(draw.StartScript)+"; "+around)
	fmt.Fprint(w, head, library, tail)
}

// hash is how a policy names a script.
func hash(script string) string {
	sum := sha256.Sum256([]byte(script))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}
