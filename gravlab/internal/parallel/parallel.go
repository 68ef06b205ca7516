// Package parallel spreads work over the processors.
package parallel

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// Each calls do for 0 to n-1, on all processors.
func Each(n int, do func(i int)) {
	var next atomic.Int64
	var wait sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		wait.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				do(i)
			}
		})
	}
	wait.Wait()
}
