//go:build !wasip1

package pendulum

import "gravity.example/gravlab/internal/native"

// What a confined program has the host do (package native).
var (
	detect            = native.Function("pendulum.detect", task.detect)
	series            = native.Function("pendulum.series", pulls.series)
	harmonics         = native.Function("pendulum.harmonics", pulls.harmonics)
	reactionHarmonics = native.Function("pendulum.reactionHarmonics", pulls.reactionHarmonics)
)
