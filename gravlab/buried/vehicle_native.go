//go:build !wasip1

package buried

import (
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/internal/native"
)

// A confined program has the host do it (package native).
var fitLoads = native.Function("buried.fitLoads", loading.fit, fit.ErrNotConverged)
