// Package drawing holds the small drawings that stand beside a verdict where a picture says sooner
// than words what was confused: an amplitude and the whole of a swing, a radius and a diameter.
//
// Each is an SVG file of this folder, named as the drawing. It takes the colour of the text around
// it, so that it suits light and dark pages, and says in words what it shows.
package drawing

import (
	"embed"
	"html/template"
	"slices"
	"strings"
)

//go:embed *.svg
var files embed.FS

// Of the drawings these are for mistakes that can be made in any question.
const (
	Radian = "radian" // degrees and radians
	Turn   = "turn"   // turns and radians, frequency and angular frequency
)

// Names are all drawings.
func Names() []string {
	all, err := files.ReadDir(".")
	if err != nil {
		panic(err) // they are part of the program
	}
	var names []string
	for _, f := range all {
		names = append(names, strings.TrimSuffix(f.Name(), ".svg"))
	}
	return names
}

// Has reports whether there is a drawing of that name.
func Has(name string) bool { return slices.Contains(Names(), name) }

// HTML is a drawing as a piece of HTML; nothing for a name that no drawing has.
func HTML(name string) template.HTML {
	if !Has(name) {
		return ""
	}
	text, err := files.ReadFile(name + ".svg")
	if err != nil {
		panic(err)
	}
	return template.HTML(strings.Join(strings.Fields(string(text)), " "))
}
