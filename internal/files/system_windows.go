package files

import (
	"errors"
	"io/fs"
	"os"
	"time"

	"golang.org/x/sys/windows"
)

// noFollow opens a link itself and not what it points to.
const noFollow = windows.FILE_FLAG_OPEN_REPARSE_POINT

// TryLock takes the lock that goes with an open file; it goes when the file is
// closed.
func TryLock(f *os.File) error {
	err := windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, new(windows.Overlapped))
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return ErrLocked
	}
	return err
}

// owned is always so: the folder for temporary files is the user's own.
func owned(fs.FileInfo) bool { return true }

func renameNew(tmp, path string) error {
	err := move(tmp, path, 0)
	if err != nil {
		return &os.LinkError{Op: "rename", Old: tmp, New: path, Err: err}
	}
	return nil
}

// Rename replaces what is there.
func Rename(from, to string) error {
	if err := move(from, to, windows.MOVEFILE_REPLACE_EXISTING); err != nil {
		return &os.LinkError{Op: "rename", Old: from, New: to, Err: err}
	}
	return nil
}

// patience is how long a scanner of new files may hold one open.
const patience = 2 * time.Second

func move(tmp, path string, flags uint32) error {
	from, err := windows.UTF16PtrFromString(tmp)
	if err != nil {
		return err
	}
	to, err := windows.UTF16PtrFromString(path)
	if err != nil {
		return err
	}
	for end := time.Now().Add(patience); ; time.Sleep(50 * time.Millisecond) {
		err = windows.MoveFileEx(from, to, flags)
		held := errors.Is(err, windows.ERROR_ACCESS_DENIED) || errors.Is(err, windows.ERROR_SHARING_VIOLATION)
		if !held || time.Now().After(end) {
			return err
		}
	}
}

// Sync puts a file's content on the disk; a folder's is in the journal before a
// rename returns.
func Sync(path string) error {
	info, err := os.Stat(path)
	if err != nil || info.IsDir() {
		return err
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// Close removes the folder and all that is in it, and lets others have its name.
// A file that is open cannot be removed, so that the lock goes last; whoever has
// taken it meanwhile keeps the folder.
func (w *Work) Close() error {
	if err := w.clear(); err != nil {
		return err
	}
	name := w.lock.Name()
	if err := w.lock.Close(); err != nil {
		return err
	}
	if os.Remove(name) == nil {
		return os.Remove(w.dir)
	}
	return nil
}
