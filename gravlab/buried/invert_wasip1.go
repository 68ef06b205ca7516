package buried

import (
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/internal/native"
)

var invert = native.AskFunction[inverting, *Inversion]("buried.invert", fit.ErrNotConverged)
