package kernel

import (
	"fmt"
	"strings"

	"gravity.example/gravlab/notebook"
)

// book makes a notebook of code cells.
func book(kernel, language string, cells ...string) *notebook.Notebook {
	nb := notebook.New(kernel, kernel, language)
	for i, source := range cells {
		nb.Cells = append(nb.Cells, notebook.NewCell(notebook.Code, fmt.Sprintf("cell-%d", i+1), source))
	}
	return nb
}

// printed returns what a cell wrote to its standard output.
func printed(c *notebook.Cell) string {
	var text strings.Builder
	for _, o := range c.Outputs {
		if o.Kind == notebook.Stream && o.Name == "stdout" {
			text.WriteString(o.Text)
		}
	}
	return text.String()
}
