package labserver

import (
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"strings"
	"unicode/utf8"

	"gravity.example/gravlab/draw"
	"gravity.example/gravlab/draw/figure"
	"gravity.example/gravlab/internal/clip"
	"gravity.example/gravlab/internal/htmlpage"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/wire"
)

// A Display is something to see, in one or more forms: its content by MIME
// type. Text is a string, an image/png the bytes of the file, and a type that
// ends in +json a JSON-like value of maps, lists, strings and float64.
type Display map[string]any

var errTooMany = errors.New("this program has shown too much")

// put shows a display. Without anybody to show it to, it is counted and dropped.
func (s *Session) put(d Display) error {
	s.mu.Lock()
	s.shown++
	many := s.shown > s.o.MaxShown
	s.mu.Unlock()
	if many {
		return errTooMany
	}
	if s.o.Show == nil {
		return nil
	}
	return s.o.Show(d)
}

// show draws what the program wants to show.
func (s *Session) show(f wire.Frame) wire.Frame {
	s.mu.Lock()
	many := s.shown >= s.o.MaxShown
	s.mu.Unlock()
	if many {
		return refuse("%v: at most %d displays", errTooMany, s.o.MaxShown)
	}
	var d Display
	var err error
	switch {
	case s.o.Show == nil:
		// Nobody will see it: nothing is drawn, and the program need not know.
	case f.Kind == wire.Show:
		d, err = plainDisplay(f)
	case f.Kind == wire.Sketch:
		d, err = sketch(f)
	default:
		d, err = s.bench.plot(f)
	}
	if err != nil {
		return refuse("%v", err)
	}
	reply := recorded()
	if err := s.put(d); err != nil {
		reply.Text, _ = d["text/plain"].(string)
	}
	return reply
}

// plainDisplay shows what came ready.
func plainDisplay(f wire.Frame) (Display, error) {
	d := Display{}
	if f.Text != "" {
		d["text/plain"] = f.Text
	}
	switch f.MIME {
	case "text/html", "text/markdown", "text/plain":
		if !utf8.Valid(f.Data) {
			return nil, errors.New("the text is not UTF-8")
		}
		d[f.MIME] = string(f.Data)
	case "image/png":
		if !strings.HasPrefix(string(f.Data), "\x89PNG\r\n\x1a\n") {
			return nil, errors.New("the picture is not a PNG file")
		}
		d[f.MIME] = f.Data
	default:
		return nil, fmt.Errorf("there is no way to show %q", clip.Line(f.MIME, 60))
	}
	return d, nil
}

// pixels is the scale of a still image: 840 pixels across, sharp at the width
// of a notebook.
const pixels = 1

// plot draws a figure, as a chart with its still image if that is wanted.
func (b *Server) plot(f wire.Frame) (Display, error) {
	fig, err := figure.Unpack(f.Figure, f.Numbers)
	if err != nil {
		return nil, err
	}
	if err := fig.Validate(); err != nil {
		return nil, err
	}
	svg, err := draw.SVG(fig)
	if err != nil {
		return nil, err
	}
	png, err := draw.PNG(fig, pixels)
	if err != nil {
		return nil, err
	}
	d := still(fig.AltText(), fig.Caption, svg, png)
	if f.Kind != wire.Chart {
		return d, nil
	}
	if d["text/html"], err = draw.Chart(fig, b.o.ChartScript, svg); err != nil {
		return nil, err
	}
	// A report holds the script once, and each chart's own part of it.
	option, ok, err := draw.ChartOption(fig)
	if err != nil {
		return nil, err
	}
	if ok {
		d[draw.ChartMIME] = notebook.Object(option)
	}
	return d, nil
}

// still is the display of a drawing. Notebooks show SVG or PNG without a
// caption, so that one with a caption comes as HTML too.
func still(alt, caption string, svg, png []byte) Display {
	d := Display{"text/plain": alt, "image/svg+xml": string(svg), "image/png": png}
	if caption != "" {
		d["text/plain"] = alt + "\n" + caption
		source, _ := htmlpage.Source("image/svg+xml", base64.StdEncoding.EncodeToString(svg))
		d["text/html"] = string(htmlpage.Render(templates, "figure", struct {
			Source       template.HTMLAttr
			Alt, Caption string
		}{source, alt, caption}))
	}
	return d
}

// sketch draws a sketch.
func sketch(f wire.Frame) (Display, error) {
	var sk figure.Sketch
	if err := json.Unmarshal(f.Figure, &sk); err != nil {
		return nil, fmt.Errorf("the sketch cannot be read: %w", err)
	}
	if err := sk.Validate(); err != nil {
		return nil, err
	}
	svg, err := draw.SketchSVG(&sk)
	if err != nil {
		return nil, err
	}
	png, err := draw.SketchPNG(&sk, pixels)
	if err != nil {
		return nil, err
	}
	return still(sk.AltText(), sk.Caption, svg, png), nil
}
