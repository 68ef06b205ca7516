package kernel

import "golang.org/x/sys/unix"

// limitMemory limits what a process, and each that it starts from then on, may
// keep in memory. A Go program that reaches it ends with "out of memory".
func limitMemory(pid int, bytes uint64) {
	if bytes > 0 {
		// It fails only for a process that has ended already.
		_ = unix.Prlimit(pid, unix.RLIMIT_DATA, &unix.Rlimit{Cur: bytes, Max: bytes}, nil)
	}
}
