package pendulum

import "gravity.example/gravlab/internal/native"

var (
	detect            = native.AskFunction[task, Detection]("pendulum.detect")
	series            = native.AskFunction[pulls, []float64]("pendulum.series")
	harmonics         = native.AskFunction[pulls, []float64]("pendulum.harmonics")
	reactionHarmonics = native.AskFunction[pulls, [2][]float64]("pendulum.reactionHarmonics")
)
