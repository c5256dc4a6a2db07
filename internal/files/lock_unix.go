//go:build unix

package files

import (
	"errors"
	"os"
	"syscall"
)

// ErrLocked says that another process has a lock.
var ErrLocked = errors.New("another process is at work there")

// TryLock takes the lock that goes with an open file, and with each process that
// has inherited it; it goes when all of these have ended.
func TryLock(f *os.File) error {
	err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return ErrLocked
	}
	return err
}
