//go:build unix

package crossbench

import "syscall"

// processorTime is what this process has used so far, in s. Unlike time on the wall it does not
// count what other processes use.
func processorTime() float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		panic(err)
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}
