//go:build unix

package kernel

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// sweep ends the process group of a kernel and everything else that carries
// its mark, and removes its folder. It takes well under two seconds, and does
// no harm if there is nothing left.
func sweep(pid int, folder string) {
	if pid > 1 {
		// Asked to, GoNB ends its gopls and removes its files.
		if syscall.Kill(-pid, syscall.SIGTERM) == nil {
			for range 40 {
				if syscall.Kill(pid, 0) != nil {
					break
				}
				time.Sleep(10 * time.Millisecond)
			}
			syscall.Kill(-pid, syscall.SIGKILL)
		}
	}
	// Who has moved to another group or session is found by the mark. A
	// process that forks while it is looked for may need a second look.
	for range 20 {
		left := marked(folder)
		for _, p := range left {
			syscall.Kill(p, syscall.SIGKILL)
		}
		if len(left) == 0 {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	for range 20 {
		if os.RemoveAll(folder) == nil {
			if _, err := os.Lstat(folder); err != nil {
				return
			}
		}
		time.Sleep(10 * time.Millisecond)
	}
}

// marked returns the processes of the kernel with that folder: they have it in
// their environment, or run a program in it.
func marked(folder string) []int {
	if folder == "" {
		return nil
	}
	if runtime.GOOS != "linux" {
		return markedByPS(folder)
	}
	mark := []byte(markEnv + "=" + folder)
	var found []int
	for _, pid := range processes() {
		dir := "/proc/" + strconv.Itoa(pid)
		env, err := os.ReadFile(dir + "/environ")
		if err != nil {
			continue // gone, or another user's
		}
		exe, _ := os.Readlink(dir + "/exe")
		own := strings.HasPrefix(exe, folder+string(filepath.Separator))
		for entry := range bytes.SplitSeq(env, []byte{0}) {
			own = own || bytes.Equal(entry, mark)
		}
		if own && pid != os.Getpid() {
			found = append(found, pid)
		}
	}
	return found
}

// markedByPS asks ps, which shows the environment of one's own processes on
// the BSDs and macOS.
func markedByPS(folder string) []int {
	out, err := exec.Command("ps", "axeww", "-o", "pid=,command=").Output()
	if err != nil {
		return nil
	}
	var found []int
	for line := range strings.Lines(string(out)) {
		first, rest, _ := strings.Cut(strings.TrimSpace(line), " ")
		pid, err := strconv.Atoi(first)
		mine := strings.Contains(rest, folder+"/") || strings.Contains(rest, markEnv+"="+folder)
		if err == nil && mine && pid != os.Getpid() && !strings.Contains(rest, watchArgument) {
			found = append(found, pid)
		}
	}
	return found
}

// programOf returns the base name of the program that a process runs.
func programOf(pid int) string {
	if runtime.GOOS == "linux" {
		exe, _ := os.Readlink("/proc/" + strconv.Itoa(pid) + "/exe")
		return filepath.Base(exe)
	}
	out, _ := exec.Command("ps", "-o", "comm=", "-p", strconv.Itoa(pid)).Output()
	return filepath.Base(strings.TrimSpace(string(out)))
}

func processes() []int {
	names, err := filepath.Glob("/proc/[0-9]*")
	if err != nil {
		return nil
	}
	var pids []int
	for _, name := range names {
		if pid, err := strconv.Atoi(filepath.Base(name)); err == nil {
			pids = append(pids, pid)
		}
	}
	return pids
}
