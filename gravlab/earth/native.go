//go:build !wasip1

package earth

import "gravity.example/gravlab/internal/native"

// What a confined program has the host do (package native).
var (
	analyse      = native.Function("earth.analyse", tidal.analyse)
	fitTrend     = native.Function("earth.trend", record.fit)
	tidesRoutine = native.Offer("earth.tides", tidesOf)
)
