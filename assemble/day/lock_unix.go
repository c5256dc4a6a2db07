//go:build unix

package day

import (
	"errors"
	"os"
	"syscall"
)

var errLocked = errors.New("locked")

// tryLock takes the lock that goes with the open file, and with each process
// that has inherited it.
func tryLock(f *os.File) error {
	err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return errLocked
	}
	return err
}

// alive tells whether a process is there.
func alive(pid int) bool {
	if pid <= 0 {
		return false
	}
	err := syscall.Kill(pid, 0)
	return err == nil || errors.Is(err, syscall.EPERM)
}
