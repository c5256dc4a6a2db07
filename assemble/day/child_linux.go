package day

import "syscall"

// childAttr keeps a task out of the terminal's reach, so that an interrupt
// comes to it once, from us; and ends it when this process is killed.
func childAttr() *syscall.SysProcAttr {
	return &syscall.SysProcAttr{Setpgid: true, Pdeathsig: syscall.SIGTERM}
}
