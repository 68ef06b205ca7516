package earth

import "gravity.example/gravlab/internal/native"

var (
	analyse      = native.AskFunction[tidal, *Analysis]("earth.analyse")
	fitTrend     = native.AskFunction[record, *Trend]("earth.trend")
	tidesRoutine = native.Ask("earth.tides")
)
