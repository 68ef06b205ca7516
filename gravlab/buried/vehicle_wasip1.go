package buried

import (
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/internal/native"
)

var fitLoads = native.AskFunction[loading, *LoadFit]("buried.fitLoads", fit.ErrNotConverged)
