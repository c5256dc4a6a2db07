//go:build unix

package files

import (
	"errors"
	"io/fs"
	"os"
	"syscall"
)

// noFollow has a link refused.
const noFollow = syscall.O_NOFOLLOW

// TryLock takes the lock that goes with an open file, and with each process that
// has inherited it; it goes when all of these have ended.
func TryLock(f *os.File) error {
	err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return ErrLocked
	}
	return err
}

// owned tells whether a file belongs to the user that this process runs as.
func owned(info fs.FileInfo) bool {
	st, ok := info.Sys().(*syscall.Stat_t)
	return ok && int(st.Uid) == os.Getuid()
}

// Rename replaces what is there.
func Rename(from, to string) error { return os.Rename(from, to) }

// Sync puts a file's or a folder's content on the disk.
func Sync(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// Close removes the folder and all that is in it, and lets others have its name;
// whoever has made a lock there meanwhile keeps the folder.
func (w *Work) Close() error {
	err := w.clear()
	if err == nil {
		err = os.Remove(w.lock.Name())
	}
	if err == nil {
		err = os.Remove(w.dir)
	}
	w.lock.Close()
	if errors.Is(err, fs.ErrExist) || errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}
