package process

import (
	"os"
	"os/exec"
	"sync"
	"syscall"
	"unsafe"

	"golang.org/x/sys/windows"
)

// ownJob puts this process and all that it starts into one job, which the system
// ends with its last handle: no encoder goes on writing for nobody.
var ownJob = sync.OnceValue(func() error {
	_, err := newJob(windows.CurrentProcess(), windows.JOBOBJECT_BASIC_LIMIT_INFORMATION{
		LimitFlags: windows.JOB_OBJECT_LIMIT_KILL_ON_JOB_CLOSE | windows.JOB_OBJECT_LIMIT_BREAKAWAY_OK,
	}, 0)
	return err
})

func newJob(process windows.Handle, basic windows.JOBOBJECT_BASIC_LIMIT_INFORMATION, bytes uintptr) (windows.Handle, error) {
	job, err := windows.CreateJobObject(nil, nil)
	if err != nil {
		return 0, err
	}
	limits := windows.JOBOBJECT_EXTENDED_LIMIT_INFORMATION{BasicLimitInformation: basic, ProcessMemoryLimit: bytes}
	_, err = windows.SetInformationJobObject(job, windows.JobObjectExtendedLimitInformation, uintptr(unsafe.Pointer(&limits)), uint32(unsafe.Sizeof(limits)))
	if err == nil {
		err = windows.AssignProcessToJobObject(job, process)
	}
	if err != nil {
		windows.CloseHandle(job)
		return 0, err
	}
	return job, nil
}

func dieWithParent(*exec.Cmd) { _ = ownJob() }

// bound limits the memory of a running process.
func bound(cmd *exec.Cmd, bytes int64) error {
	h, err := windows.OpenProcess(windows.PROCESS_SET_QUOTA|windows.PROCESS_TERMINATE, false, uint32(cmd.Process.Pid))
	if err != nil {
		return syscall.ESRCH // it has ended
	}
	defer windows.CloseHandle(h)
	job, err := newJob(h, windows.JOBOBJECT_BASIC_LIMIT_INFORMATION{LimitFlags: windows.JOB_OBJECT_LIMIT_PROCESS_MEMORY}, uintptr(bytes))
	if err != nil {
		return nil // it may have ended, or the system knows no jobs within jobs
	}
	return windows.CloseHandle(job) // the limit stays
}

// stop ends a process: there is no way to ask one.
func stop(p *os.Process) error { return p.Kill() }

// Interrupt asks a process of a group of its own to tidy up and end.
func Interrupt(p *os.Process) error {
	if windows.GenerateConsoleCtrlEvent(windows.CTRL_BREAK_EVENT, uint32(p.Pid)) != nil {
		return p.Kill()
	}
	return nil
}
