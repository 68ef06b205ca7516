//go:build unix && !linux

package sandbox

import (
	"os"
	"os/exec"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// pollEvery is slower here: each look is a process of its own.
const pollEvery = 200 * time.Millisecond

// tempVariable names the folder for temporary files.
const tempVariable = "TMPDIR"

func systemEnv() []string { return nil }

// apart gives a process a group of its own, so that it can be ended with its
// children. A worker sees its input end when its parent does.
func apart(cmd *exec.Cmd) { cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} }

func along(*exec.Cmd) {}

func killGroup(p *os.Process) {
	syscall.Kill(-p.Pid, syscall.SIGKILL)
	p.Kill()
}

func alive(pid int) bool { return syscall.Kill(pid, 0) != syscall.ESRCH }

func bound(int) {} // watched only

func boundCompiler(int) (release func()) { return func() {} }

// usage asks ps, which is the same on all of these systems.
func usage(pid int) (cpu time.Duration, resident int64, ok bool) {
	out, err := exec.Command("ps", "-o", "rss=,time=", "-p", strconv.Itoa(pid)).Output()
	fields := strings.Fields(string(out))
	if err != nil || len(fields) != 2 {
		return 0, 0, false
	}
	kib, err := strconv.ParseInt(fields[0], 10, 64)
	if err != nil {
		return 0, 0, false
	}
	// [hours:]minutes:seconds[.hundredths]
	var seconds float64
	for part := range strings.SplitSeq(fields[1], ":") {
		n, err := strconv.ParseFloat(part, 64)
		if err != nil {
			return 0, 0, false
		}
		seconds = 60*seconds + n
	}
	return time.Duration(seconds * float64(time.Second)), kib << 10, true
}

// reserve gives n bytes of zeros that cost nothing until they are written to.
func reserve(n int) []byte {
	b, err := syscall.Mmap(-1, 0, n, syscall.PROT_READ|syscall.PROT_WRITE, syscall.MAP_ANON|syscall.MAP_PRIVATE)
	if err != nil {
		return nil
	}
	return b
}

func release(b []byte) {
	if b != nil {
		syscall.Munmap(b)
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
