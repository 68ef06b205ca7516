package sandbox

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

const pollEvery = 20 * time.Millisecond

// tempVariable names the folder for temporary files.
const tempVariable = "TMPDIR"

func systemEnv() []string { return nil }

// apart gives a process a group of its own, so that it can be ended with its
// children, and has the system end it when its parent ends.
func apart(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true, Pdeathsig: syscall.SIGKILL}
}

// along has the system end a process when its parent ends.
func along(cmd *exec.Cmd) { cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL} }

func killGroup(p *os.Process) {
	syscall.Kill(-p.Pid, syscall.SIGKILL)
	p.Kill()
}

func alive(pid int) bool { return syscall.Kill(pid, 0) != syscall.ESRCH }

// bound sets the system's own limits on a worker: a second line behind those
// that are watched.
func bound(pid int) {
	limit(pid, unix.RLIMIT_DATA, 2<<30)
	limit(pid, unix.RLIMIT_FSIZE, 256<<20)
	limit(pid, unix.RLIMIT_CORE, 0)
	limit(pid, unix.RLIMIT_CPU, 3600)
}

// boundCompiler sets the limits of a compiler or linker, beyond those that are watched: a
// process that meets one of these is known to have passed its own.
func boundCompiler(pid int) (release func()) {
	limit(pid, unix.RLIMIT_DATA, 2*compilerMemory)
	limit(pid, unix.RLIMIT_FSIZE, 64<<20)
	limit(pid, unix.RLIMIT_CORE, 0)
	limit(pid, unix.RLIMIT_CPU, uint64(compilerTime/time.Second)+1)
	return func() {}
}

func limit(pid int, what int, n uint64) {
	// It fails only for a process that has ended already.
	_ = unix.Prlimit(pid, what, &unix.Rlimit{Cur: n, Max: n}, nil)
}

// usage reads the processor time and the resident memory of a process.
func usage(pid int) (cpu time.Duration, resident int64, ok bool) {
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return 0, 0, false
	}
	// Fields after the name, which ends at the last bracket: state is the third of all.
	fields := bytes.Fields(stat[bytes.LastIndexByte(stat, ')')+1:])
	if len(fields) < 22 || fields[0][0] == 'Z' {
		return 0, 0, false
	}
	number := func(i int) int64 {
		n, _ := strconv.ParseInt(string(fields[i-3]), 10, 64)
		return n
	}
	const tick = 10 * time.Millisecond // USER_HZ is 100 on all that Go runs on
	return time.Duration(number(14)+number(15)) * tick, number(24) * int64(os.Getpagesize()), true
}

// reserve gives n bytes of zeros that cost nothing until they are written to.
func reserve(n int) []byte {
	b, err := unix.Mmap(-1, 0, n, unix.PROT_READ|unix.PROT_WRITE, unix.MAP_ANON|unix.MAP_PRIVATE)
	if err != nil {
		return nil
	}
	return b
}

func release(b []byte) {
	if b != nil {
		unix.Munmap(b)
	}
}

// ownTime is the processor time of this process.
func ownTime() (time.Duration, bool) {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0, false
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano()), true
}
