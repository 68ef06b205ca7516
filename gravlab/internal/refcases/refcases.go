// Package refcases gathers the known answers of all models: every comparison of a
// number of ours with a published or independently computed one. The tests of
// the packages below and the command gravlab verify run the same cases.
package refcases

import (
	"embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"strconv"
	"strings"
	"text/tabwriter"

	"gravity.example/gravlab/internal/check"
	"gravity.example/gravlab/internal/clip"
	"gravity.example/gravlab/internal/htmlpage"
	"gravity.example/gravlab/internal/refcases/buriedcases"
	"gravity.example/gravlab/internal/refcases/earthcases"
	"gravity.example/gravlab/internal/refcases/equivalencecases"
	"gravity.example/gravlab/internal/refcases/fitcases"
	"gravity.example/gravlab/internal/refcases/pendulumcases"
	"gravity.example/gravlab/internal/refcases/quantitycases"
	"gravity.example/gravlab/internal/refcases/sensorcases"
	"gravity.example/gravlab/internal/refcases/signalcases"
	"gravity.example/gravlab/internal/refcases/surveycases"
	"gravity.example/gravlab/internal/refcases/torsioncases"
)

// A Group holds the cases of one package.
type Group struct {
	Model string
	Cases []check.Case
}

// All returns the cases of every package: the models first, then what they rest on.
func All() []Group {
	return []Group{
		{"torsion", torsioncases.Cases()},
		{"pendulum", pendulumcases.Cases()},
		{"buried", buriedcases.Cases()},
		{"equivalence", equivalencecases.Cases()},
		{"sensor", sensorcases.Cases()},
		{"earth", earthcases.Cases()},
		{"survey", surveycases.Cases()},
		{"fit", fitcases.Cases()},
		{"signal", signalcases.Cases()},
		{"quantity", quantitycases.Cases()},
	}
}

// A Report is a verification that was run.
type Report struct {
	Groups    []GroupReport
	N, Agree  int
	Published int // of N, against a value that a source prints
	// Farthest is the published value from which ours is farthest, measured by what is
	// allowed; its model is empty where none is published.
	Farthest Far
}

// Far says how far a number of ours is from a published one: 1 is all that is allowed.
type Far struct {
	Model  string
	Result check.Result
	By     float64
}

// A GroupReport is the part of one package.
type GroupReport struct {
	Model            string
	Results          []check.Result
	Agree, Published int
}

// Run runs all cases. each is called after every case, for progress.
func Run(groups []Group, each func(done, of int)) Report {
	var r Report
	of := 0
	for _, g := range groups {
		of += len(g.Cases)
	}
	for _, g := range groups {
		gr := GroupReport{Model: g.Model}
		for _, c := range g.Cases {
			res := check.Run(c)
			gr.Results = append(gr.Results, res)
			if res.Agrees {
				gr.Agree++
			}
			if c.Published {
				gr.Published++
				if by := far(res); r.Farthest.Model == "" || by > r.Farthest.By {
					r.Farthest = Far{g.Model, res, by}
				}
			}
			r.N++
			if each != nil {
				each(r.N, of)
			}
		}
		r.Agree += gr.Agree
		r.Published += gr.Published
		r.Groups = append(r.Groups, gr)
	}
	return r
}

// far is the difference of a result over the allowed one: 0 where there is none, infinite
// where there is no result or none is allowed.
func far(r check.Result) float64 {
	d := math.Abs(r.Got - r.Want)
	if r.Err == nil && d == 0 {
		return 0
	}
	if by := d / r.Tol.Allowed(r.Want); r.Err == nil && by >= 0 {
		return by
	}
	return math.Inf(1)
}

// WriteText writes the report as a table, and as its last line
// "N checks, N agree".
func (r Report) WriteText(w io.Writer) error {
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "model\tquantity\tours\treference\tunit\tdifference\tallowed\twhy\tsource\tknown")
	for _, g := range r.Groups {
		for _, res := range g.Results {
			fmt.Fprintf(tw, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", g.Model, mark(res)+clip.Line(res.Quantity, 60), number(res.Got), number(res.Want), res.Unit,
				Difference(res), small(res.Tol.Allowed(res.Want)), clip.Line(res.Tol.Why, 48), clip.Line(res.Source, 60), knownAs(res))
		}
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	for _, g := range r.Groups {
		fmt.Fprintf(w, "%-12s %3d checks, %3d agree, %3d of them against published values\n", g.Model, len(g.Results), g.Agree, g.Published)
	}
	_, err := fmt.Fprintf(w, "%d checks against published values\n%d checks, %d agree\n", r.Published, r.N, r.Agree)
	return err
}

func mark(r check.Result) string {
	if r.Agrees {
		return ""
	}
	return "✗ "
}

func knownAs(r check.Result) string {
	if r.Published {
		return string(r.Known) + ", published"
	}
	return string(r.Known)
}

// Difference is ours less the reference, or the error that stands instead.
func Difference(r check.Result) string {
	if r.Err != nil {
		return "error: " + r.Err.Error()
	}
	return small(r.Got - r.Want)
}

func number(v float64) string { return minus(strconv.FormatFloat(v, 'g', 12, 64)) }

func small(v float64) string {
	if v == 0 || math.IsNaN(v) {
		return fmt.Sprint(v)
	}
	return minus(strconv.FormatFloat(v, 'g', 2, 64))
}

func minus(s string) string { return strings.ReplaceAll(s, "-", "−") }

//go:embed verify.html
var files embed.FS

//go:embed style.css
var style string

var page = htmlpage.Templates(files, "verify.html", template.FuncMap{
	"percent": func(v float64) string { return fmt.Sprintf("%.0f", 100*v) },
	"number":  number, "small": small, "difference": Difference, "known": knownAs,
	"allowed": func(r check.Result) float64 { return r.Tol.Allowed(r.Want) },
})

// WriteHTML writes the report as one page that loads nothing from anywhere.
func (r Report) WriteHTML(w io.Writer) error {
	p := htmlpage.Page{Title: "gravlab: what the models were checked against", Style: style, Type: true, Body: htmlpage.Render(page, "verify.html", r)}
	_, err := w.Write(p.Bytes())
	return err
}
