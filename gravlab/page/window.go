package page

import (
	"encoding/json"
	"net/http"
	"slices"

	"gravity.example/gravlab/internal/door"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/wire"
)

// windowKey is where a cell of a lab says which recording a fit can be tried on beside it.
const windowKey = "window"

// A windowOf is what a cell says: a recording of the sheet, the column of its readings, the unit
// in which they are shown and how many of that are one in SI, and whether the fit has a drift.
type windowOf struct {
	recording, column, unit string
	times                   float64
	drift                   bool
}

func windowIn(c *notebook.Cell) (w windowOf, ok bool) {
	own, _ := c.Own()[windowKey].(map[string]any)
	w.recording, _ = own["recording"].(string)
	w.column, _ = own["column"].(string)
	w.unit, _ = own["unit"].(string)
	if times, ok := own["times"].(json.Number); ok {
		w.times, _ = times.Float64()
	}
	w.drift, _ = own["drift"].(bool)
	return w, w.recording != "" && w.times > 0
}

// windowView is a record as the page fits it.
type windowView struct {
	Times    []float64 `json:"times"` // s
	Readings []float64 `json:"readings"`
	Unit     string    `json:"unit"`
	Drift    bool      `json:"drift"`
}

// window sends the recording that a cell names: the same that the lab's code reads.
func (s *Server) window(w http.ResponseWriter, r *http.Request, b *document) {
	b.mu.Lock()
	err := b.load()
	var of windowOf
	ok := false
	if err == nil && b.hasSheet {
		if c := b.nb.Cell(r.PathValue("cell")); c != nil {
			of, ok = windowIn(c)
		}
	}
	lab, code := b.sheet.Lab.ID, string(b.sheet.Code)
	session := s.bench.Session(labserver.SessionOptions{Confined: true, Files: filesBeside(b.copy, b.source)})
	b.mu.Unlock()
	if err != nil || !ok {
		door.Refuse(w, http.StatusNotFound, "no recording is shown there")
		return
	}
	view := windowView{Unit: of.unit, Drift: of.drift}
	var all []float64
	for {
		frame, err := wire.Frame{Head: wire.Head{Kind: wire.Recording, Lab: lab, Code: code, Name: of.recording, At: len(all)}}.Append(nil)
		if err != nil {
			door.Refuse(w, http.StatusInternalServerError, err.Error())
			return
		}
		reply, err := wire.Decode(session.Exchange(frame))
		if err != nil || reply.Kind != wire.Columns {
			door.Refuse(w, http.StatusConflict, "the recording cannot be had: "+reply.Text)
			return
		}
		all = append(all, reply.Numbers...)
		if len(all) < reply.Total && len(reply.Numbers) > 0 {
			continue
		}
		column := func(name string) []float64 {
			i := slices.IndexFunc(reply.Columns, func(c wire.Column) bool { return c.Name == name })
			if n := len(all) / max(1, len(reply.Columns)); i >= 0 {
				return all[i*n : (i+1)*n]
			}
			return nil
		}
		view.Times = column("time")
		for _, v := range column(of.column) {
			view.Readings = append(view.Readings, v*of.times)
		}
		break
	}
	door.Reply(w, view)
}
