//go:build !unix

package crossbench

import "time"

var begin = time.Now()

// processorTime is the time on the wall where the other is not to be had.
func processorTime() float64 { return time.Since(begin).Seconds() }
