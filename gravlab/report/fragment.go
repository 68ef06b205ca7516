package report

import (
	"strings"

	"gravity.example/gravlab/internal/htmlpage"
	"gravity.example/gravlab/notebook"
)

// Frames are what a page of its own puts where a report would
// show in a frame.
type Frames struct {
	// HTML returns what stands for HTML of a cell that is not simple.
	HTML func(html string) string
	// Chart returns what stands beside the still image of a chart, whose option
	// (draw.ChartMIME) it is given; it may be empty.
	Chart func(option any) string
}

// Output returns one output of a code cell as a report shows it, for a page that
// serves its frames itself. Nothing in it runs or loads anything but what Frames put
// there.
func Output(cell int, o *notebook.Output, f Frames) string {
	p := &page{notebook: &notebook.Notebook{}, shift: 2, frames: &f}
	p.output(cell, o)
	for _, s := range p.problems {
		p.write("problem", s)
	}
	return htmlpage.Printable(strings.TrimSpace(p.body.String()))
}
