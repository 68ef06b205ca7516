package sandbox

import (
	"os"
	"os/exec"
	"time"
	"unsafe"

	"golang.org/x/sys/windows"
)

const pollEvery = 20 * time.Millisecond

// tempVariable names the folder for temporary files.
const tempVariable = "TMP"

// systemEnv is what Windows needs to start a program at all.
func systemEnv() []string {
	var env []string
	for _, name := range []string{"SystemRoot", "windir", "SystemDrive"} {
		if v := os.Getenv(name); v != "" {
			env = append(env, name+"="+v)
		}
	}
	return env
}

// apart does nothing: bound puts the worker into a job object.
func apart(*exec.Cmd) {}

func along(*exec.Cmd) {}

func killGroup(p *os.Process) { p.Kill() }

// CanPause reports whether this system can let a box stand still.
const CanPause = false

func pauseGroup(int, bool) {}

// giveWay lowers the priority of a worker and of what it starts.
func giveWay(pid, nice int) {
	if nice <= 0 {
		return
	}
	if h, err := windows.OpenProcess(windows.PROCESS_SET_INFORMATION, false, uint32(pid)); err == nil {
		windows.SetPriorityClass(h, windows.BELOW_NORMAL_PRIORITY_CLASS)
		windows.CloseHandle(h)
	}
}

func alive(pid int) bool {
	h, err := windows.OpenProcess(windows.PROCESS_QUERY_LIMITED_INFORMATION, false, uint32(pid))
	if err != nil {
		return false
	}
	defer windows.CloseHandle(h)
	var code uint32
	return windows.GetExitCodeProcess(h, &code) == nil && code == 259 // STILL_ACTIVE
}

// bound puts a worker into a job object: its memory and its children's are
// limited, and all end when this process does. The handle stays open for as long as
// this process lives.
func bound(pid int) { inJob(pid, 2<<30) }

func boundCompiler(pid int) (release func()) { return inJob(pid, 2*compilerMemory) }

func inJob(pid int, memory uint64) (release func()) {
	job, err := windows.CreateJobObject(nil, nil)
	if err != nil {
		return func() {} // the process is watched all the same
	}
	info := windows.JOBOBJECT_EXTENDED_LIMIT_INFORMATION{
		BasicLimitInformation: windows.JOBOBJECT_BASIC_LIMIT_INFORMATION{
			LimitFlags: windows.JOB_OBJECT_LIMIT_KILL_ON_JOB_CLOSE | windows.JOB_OBJECT_LIMIT_PROCESS_MEMORY,
		},
		ProcessMemoryLimit: uintptr(memory),
	}
	windows.SetInformationJobObject(job, windows.JobObjectExtendedLimitInformation, uintptr(unsafe.Pointer(&info)), uint32(unsafe.Sizeof(info)))
	if h, err := windows.OpenProcess(windows.PROCESS_SET_QUOTA|windows.PROCESS_TERMINATE, false, uint32(pid)); err == nil {
		windows.AssignProcessToJobObject(job, h)
		windows.CloseHandle(h)
	}
	return func() { windows.CloseHandle(job) }
}

// counters is PROCESS_MEMORY_COUNTERS.
type counters struct {
	size, faults                             uint32
	peakWorkingSet, workingSet               uintptr
	peakPaged, paged, peakNonPaged, nonPaged uintptr
	pagefile, peakPagefile                   uintptr
}

var getProcessMemoryInfo = windows.NewLazySystemDLL("psapi.dll").NewProc("GetProcessMemoryInfo")

// usage asks the system for the processor time and the memory of a process.
func usage(pid int) (cpu time.Duration, resident int64, ok bool) {
	h, err := windows.OpenProcess(windows.PROCESS_QUERY_INFORMATION|windows.PROCESS_VM_READ, false, uint32(pid))
	if err != nil {
		return 0, 0, false
	}
	defer windows.CloseHandle(h)
	var created, ended, kernel, user windows.Filetime
	if windows.GetProcessTimes(h, &created, &ended, &kernel, &user) != nil {
		return 0, 0, false
	}
	span := func(f windows.Filetime) time.Duration {
		return time.Duration(uint64(f.HighDateTime)<<32|uint64(f.LowDateTime)) * 100 // ns
	}
	c := counters{size: uint32(unsafe.Sizeof(counters{}))}
	r, _, _ := getProcessMemoryInfo.Call(uintptr(h), uintptr(unsafe.Pointer(&c)), uintptr(c.size))
	if r == 0 {
		return 0, 0, false
	}
	return span(kernel) + span(user), int64(c.workingSet), true
}

// reserve gives n bytes of zeros that cost little until they are written to.
func reserve(n int) []byte {
	p, err := windows.VirtualAlloc(0, uintptr(n), windows.MEM_RESERVE|windows.MEM_COMMIT, windows.PAGE_READWRITE)
	if err != nil {
		return nil
	}
	return unsafe.Slice((*byte)(*(*unsafe.Pointer)(unsafe.Pointer(&p))), n)
}

func release(b []byte) {
	if b != nil {
		windows.VirtualFree(uintptr(unsafe.Pointer(&b[0])), 0, windows.MEM_RELEASE)
	}
}

// ownTime is the processor time of this process.
func ownTime() (time.Duration, bool) {
	cpu, _, ok := usage(os.Getpid())
	return cpu, ok
}
