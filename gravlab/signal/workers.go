package signal

import "runtime"

// workers is how many goroutines share the work: one for each core.
func workers() int { return runtime.GOMAXPROCS(0) }
