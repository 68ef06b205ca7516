package fieldday

import (
	"fmt"
	"strings"

	"gravity.example/gravlab"
)

// Summary says in a few lines what was found.
func (r *Result) Summary() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d stations, %d readings; chi² %.1f for %d degrees of freedom\n", len(r.Stations), len(r.Book.Readings), r.Adjustment.Chi2, r.Adjustment.DoF)
	for _, d := range r.Days {
		fmt.Fprintf(&b, "%s: drift %.1f ± %.1f µGal/h", d.Name, d.Found.Rate*3600/gravlab.MicroGal, d.Found.URate*3600/gravlab.MicroGal)
		for i, s := range d.Found.Steps {
			fmt.Fprintf(&b, "; step of %.1f ± %.1f µGal at %s", s/gravlab.MicroGal, d.Found.USteps[i]/gravlab.MicroGal, d.Drift.Tares[i].Format("15:04:05 MST"))
		}
		b.WriteByte('\n')
	}
	if r.Density != nil {
		fmt.Fprintf(&b, "density by the hill %.0f ± %.0f kg/m³; %.0f kg/m³ is used\n", r.Density.Density, r.Density.U, r.Reduction.Density)
	}
	if r.Body != nil {
		for _, l := range r.Body.Lines {
			fmt.Fprintln(&b, l)
		}
	}
	if len(r.Doubts) > 0 {
		fmt.Fprintf(&b, "%d things to look at:\n", len(r.Doubts))
		for i, d := range r.Doubts {
			if i == 12 {
				fmt.Fprintf(&b, "  and %d more, in suspicious.csv\n", len(r.Doubts)-12)
				break
			}
			fmt.Fprintf(&b, "  %s\n", d.Error())
		}
	}
	return b.String()
}
