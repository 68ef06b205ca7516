package fit

import "gravity.example/gravlab/internal/native"

var (
	triangleRoutine = native.Ask("fit.triangle")
	svdRoutine      = native.Ask("fit.svd")
	linearRoutine   = native.Ask("fit.linear")
	swingRoutine    = native.Ask("fit.swing")
)
