//go:build unix && !linux

package kernel

// limitMemory does nothing here: these systems have no such limit.
func limitMemory(pid int, bytes uint64) {}
