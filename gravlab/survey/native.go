//go:build !wasip1

package survey

import "gravity.example/gravlab/internal/native"

// What a confined program has the host do (package native).
var correct = native.Function("survey.terrain", ring.correct)
