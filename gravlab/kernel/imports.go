//go:build cells

package kernel

// Nothing builds this file. It keeps the modules in go.mod that cells of a reader
// may need and the program does not, so that they are fetched with the others.
import (
	_ "github.com/go-echarts/go-echarts/v2/charts"
	_ "github.com/janpfeifer/gonb/gonbui"
	_ "gonum.org/v1/gonum/stat"
	_ "gonum.org/v1/plot" // wants the modules of its PDF and SVG canvases
	_ "gonum.org/v1/plot/plotter"
	_ "gonum.org/v1/plot/plotutil"
)
