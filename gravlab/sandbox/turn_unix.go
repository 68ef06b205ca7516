//go:build unix

package sandbox

import "syscall"

// CanPause reports whether this system can let a box stand still.
const CanPause = true

// pauseGroup lets a worker stand still with what it has started, or lets them go on.
func pauseGroup(pid int, pause bool) {
	what := syscall.SIGCONT
	if pause {
		what = syscall.SIGSTOP
	}
	// It fails only for a process that has ended already.
	_ = syscall.Kill(-pid, what)
}

// giveWay lowers the priority of a worker and of what it starts. It is called right after
// the start, and asks for the whole group, since the system keeps priorities by thread.
func giveWay(pid, nice int) {
	if nice > 0 {
		// It fails only for a process that has ended already.
		_ = syscall.Setpriority(syscall.PRIO_PGRP, pid, nice)
	}
}
