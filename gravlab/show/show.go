// Package show shows figures and tables under a notebook's cell.
//
//	show.Plot("Swing of the beam", show.Axis("time", "s"), show.Axis("angle", "mrad"),
//		show.Points("record", t, angle, u),
//		show.Line("fit", t, fitted),
//		show.Residuals("mrad", t, angle, u, fitted),
//		show.Caption("The fit leaves no pattern behind."))
//
// Numbers are in the unit that the axis names. Uncertainties are standard ones;
// leave u out where there is none. Chart takes the same and shows a figure to
// zoom into, with a still image beside it.
//
// The lab server draws and displays; a cell links this package and the plain
// description of a figure, and no drawing code. Without a lab server a figure is
// one line of text that says what it would show.
package show

import (
	"errors"
	"fmt"
	"html"
	"strings"

	"gravity.example/gravlab/draw/figure"
	"gravity.example/gravlab/wire"
)

// Plot shows a figure with these axes and items.
func Plot(title string, x, y figure.Axis, items ...Item) { Figure(build(title, x, y, items)) }

// Chart is Plot as a chart to zoom into.
func Chart(title string, x, y figure.Axis, items ...Item) {
	send(wire.Chart, build(title, x, y, items))
}

// Figure shows a figure that was put together by hand.
func Figure(f *figure.Figure) { send(wire.Figure, f) }

func build(title string, x, y figure.Axis, items []Item) *figure.Figure {
	f := &figure.Figure{Title: title, X: x, Y: y}
	for _, add := range items {
		add(f)
	}
	return f
}

// send packs a figure into a frame.
func send(kind wire.Kind, f *figure.Figure) {
	head, numbers, err := thin(f).Pack()
	if err != nil {
		fmt.Println("not shown:", err)
		return
	}
	exchange(wire.Frame{Head: wire.Head{Kind: kind, Figure: head}, Numbers: numbers}, f.AltText())
}

// Sketch shows a drawing to scale.
func Sketch(s *figure.Sketch) {
	head, err := s.Pack()
	if err != nil {
		fmt.Println("not shown:", err)
		return
	}
	exchange(wire.Frame{Head: wire.Head{Kind: wire.Sketch, Figure: head}}, s.AltText())
}

// HTML shows a piece of HTML.
func HTML(text string) { display("text/html", []byte(text), "(HTML)") }

// Markdown shows text in Markdown, with TeX between dollar signs.
func Markdown(text string) { display("text/markdown", []byte(text), text) }

// PNG shows a picture, given as a PNG file; alt says what is to be seen in it.
// One of package image is written to a bytes.Buffer by png.Encode first. This
// package does not do it, else every cell would be linked with image/png.
func PNG(file []byte, alt string) { display("image/png", file, alt) }

// Table shows rows below a line of headings. Numbers are written to six
// digits; other values as fmt.Print writes them.
func Table(headings []string, rows ...[]any) {
	var page, plain strings.Builder
	page.WriteString("<table><thead><tr>")
	for _, h := range headings {
		tag := "th"
		if strings.TrimSpace(h) == "" { // the corner over names of rows heads nothing
			tag = "td"
		}
		page.WriteString("<" + tag + ">" + html.EscapeString(h) + "</" + tag + ">")
	}
	page.WriteString("</tr></thead><tbody>")
	plain.WriteString(strings.Join(headings, "\t"))
	for _, row := range rows {
		page.WriteString("<tr>")
		texts := make([]string, len(row))
		for i, v := range row {
			texts[i] = written(v)
			align := ""
			if _, ok := v.(float64); ok {
				align = ` style="text-align:right"`
			}
			page.WriteString("<td" + align + ">" + html.EscapeString(texts[i]) + "</td>")
		}
		page.WriteString("</tr>")
		plain.WriteString("\n" + strings.Join(texts, "\t"))
	}
	page.WriteString("</tbody></table>")
	display("text/html", []byte(page.String()), plain.String())
}

func written(v any) string {
	if x, ok := v.(float64); ok {
		return fmt.Sprintf("%.6g", x)
	}
	return fmt.Sprint(v)
}

// display sends bytes of a MIME type; plain is what a reader of text gets.
func display(mime string, data []byte, plain string) {
	exchange(wire.Frame{Head: wire.Head{Kind: wire.Show, MIME: mime, Text: plain}, Data: data}, plain)
}

// exchange sends a frame and prints what there is to say in the cell itself.
func exchange(f wire.Frame, plain string) {
	reply, err := wire.Exchange(f)
	switch {
	case errors.Is(err, wire.ErrNoServer):
		fmt.Println(plain)
	case errors.Is(err, wire.ErrTooLong):
		fmt.Println("not shown: it is larger than 1 MiB; show a part of it, or fewer points")
	case err != nil:
		fmt.Println("not shown:", err)
	case reply.Kind == wire.Refused:
		fmt.Println("not shown:", reply.Text)
	case reply.Text != "":
		fmt.Println(reply.Text)
	}
}
