package draw

import (
	"math"

	"gravity.example/gravlab/draw/figure"
)

// Contours returns the lines on which a map is z, each as its points x, y in order; a closed
// one ends where it begins. Between the values of the map they are straight in two triangles
// per cell, as the lines of a drawn map are.
func Contours(m *figure.Map, z float64) (lines [][][2]float64) {
	type end [2]int64
	if len(m.X) < 2 || len(m.Y) < 2 {
		return nil
	}
	// Two triangles find the crossing of their common edge apart from rounding.
	fine := math.Min(math.Abs(m.X[1]-m.X[0]), math.Abs(m.Y[1]-m.Y[0])) * 1e-6
	key := func(x, y float64) end { return end{int64(math.Round(x / fine)), int64(math.Round(y / fine))} }
	type segment struct {
		points [2][2]float64
		ends   [2]end
		used   bool
	}
	var all []segment
	at := map[end][]int{}
	isolines(m, z, func(x0, y0, x1, y1 float64) {
		s := segment{points: [2][2]float64{{x0, y0}, {x1, y1}}, ends: [2]end{key(x0, y0), key(x1, y1)}}
		if s.ends[0] == s.ends[1] {
			return
		}
		for _, e := range s.ends {
			at[e] = append(at[e], len(all))
		}
		all = append(all, s)
	})
	follow := func(i, side int) (line [][2]float64) {
		for {
			all[i].used = true
			line = append(line, all[i].points[side])
			e, next := all[i].ends[side], -1
			for _, k := range at[e] {
				if !all[k].used {
					next = k
					break
				}
			}
			if next < 0 {
				return line
			}
			side = 0
			if all[next].ends[0] == e {
				side = 1
			}
			i = next
		}
	}
	for i := range all {
		if all[i].used {
			continue
		}
		ahead := follow(i, 1)
		behind := follow(i, 0)
		line := make([][2]float64, 0, len(ahead)+len(behind))
		for k := len(behind) - 1; k >= 0; k-- {
			line = append(line, behind[k])
		}
		lines = append(lines, append(line, ahead...))
	}
	return lines
}
