package survey

import "gravity.example/gravlab/internal/native"

var correct = native.AskFunction[ring, ringCorrection]("survey.terrain")
