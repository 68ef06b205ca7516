//go:build !wasip1

package torsion

import "gravity.example/gravlab/internal/native"

// What a confined program has the host do (package native).
var snap = native.Function("torsion.snapIn", func(b Balance) (SnapIn, error) { return b.findSnapIn(), nil })
