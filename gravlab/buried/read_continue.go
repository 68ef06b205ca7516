package buried

import (
	"errors"
	"fmt"
	"math"

	"gravity.example/gravlab/internal/arg"
)

// A Continued map is a map of gz as it would be measured higher up.
type Continued struct {
	GZ [][]float64 // m/s², at the places of the map
	// Seen is the fraction of the half space below each place, as a solid angle
	// over 2π, that the map fills: 1 in the middle of a wide map, about a quarter at
	// a corner. Where it is far from 1, GZ is a guess.
	Seen [][]float64
}

// Upward continues a map of gz, gz[i][j] at x[i] north and y[j] east (m, rising by one
// step each), to a height (m) above it, for a field whose sources all lie below the map:
//
//	g(height) = ∬ g height/(2π r³) dA.
//
// So each value above is a mean of the map, weighted by the solid angle under which
// its cells are seen from there. A cell reaches half a step around its
// value, and has that value throughout, which asks for heights of a step or
// more. Beyond the map the field is taken to be the mean of the map's rim.
//
// Waves of a length λ keep exp(−2π height/λ) of their size. Noise that is independent
// from cell to cell keeps sqrt(dx dy/(8π))/height of its size, for heights of
// two steps and more.
//
// Source: Poisson's integral for the half space; R. J. Blakely, Potential Theory in
// Gravity and Magnetic Applications (1995), chapter 12 (from memory).
func Upward(x, y []float64, gz [][]float64, height float64) (Continued, error) {
	const fn = "buried.Upward"
	err := errors.Join(
		arg.AtLeast(fn, "x", len(x), 2), arg.AtLeast(fn, "y", len(y), 2),
		arg.Rising(fn, "x", x, "place in m"), arg.Rising(fn, "y", y, "place in m"),
		arg.SameLength(fn, "x", len(x), "gz", len(gz)))
	if err != nil {
		return Continued{}, err
	}
	dx, errX := evenStep(fn, "x", x)
	dy, errY := evenStep(fn, "y", y)
	if err := errors.Join(errX, errY, arg.Between(fn, "height", height, 1e-6, 1e12, "height in m")); err != nil {
		return Continued{}, err
	}
	for i, row := range gz {
		name := fmt.Sprintf("gz[%d]", i)
		if err := errors.Join(arg.SameLength(fn, "y", len(y), name, len(row)), checkLocal(fn, name, row)); err != nil {
			return Continued{}, err
		}
	}
	// The weight of a cell depends on how many steps it lies away.
	weight := make([][]float64, len(x))
	for i := range weight {
		weight[i] = make([]float64, len(y))
		for j := range weight[i] {
			a, b := float64(i)*dx, float64(j)*dy
			weight[i][j] = face(a-dx/2, a+dx/2, b-dy/2, b+dy/2, height) / (2 * math.Pi)
		}
	}
	rim, cells := 0.0, 0
	for i, row := range gz {
		for j, g := range row {
			if i == 0 || j == 0 || i == len(x)-1 || j == len(y)-1 {
				rim += g
				cells++
			}
		}
	}
	rim /= float64(cells)
	c := Continued{GZ: make([][]float64, len(x)), Seen: make([][]float64, len(x))}
	for i := range x {
		c.GZ[i], c.Seen[i] = make([]float64, len(y)), make([]float64, len(y))
		for j := range y {
			sum, seen := 0.0, 0.0
			for k, row := range gz {
				w := weight[max(i-k, k-i)]
				for l, g := range row {
					part := w[max(j-l, l-j)]
					sum += float64(part * g)
					seen += part
				}
			}
			c.GZ[i][j], c.Seen[i][j] = sum+(1-seen)*rim, seen
		}
	}
	return c, nil
}

// evenStep is the step of evenly spaced places.
func evenStep(fn, name string, x []float64) (float64, error) {
	step := (x[len(x)-1] - x[0]) / float64(len(x)-1)
	for i := range x {
		if math.Abs(x[i]-x[0]-float64(i)*step) > 1e-6*step {
			return 0, arg.Bad(fn, fmt.Sprintf("%s[%d]", name, i), x[i], fmt.Sprintf("%g: places in even steps of %g m", x[0]+float64(i)*step, step))
		}
	}
	return step, nil
}
