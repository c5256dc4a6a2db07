package files

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"
)

// Work is a folder for what is not finished, which one process has at a time.
type Work struct {
	dir  string
	lock *os.File
}

// ErrLocked says that another process has a lock.
var ErrLocked = errors.New("another process is at work there")

// lockName is the file in a folder of work that its process has locked.
const lockName = "lock"

// WorkBeside claims the folder of work for what is to lie at path: a hidden one
// beside it, on the same file system. The error is ErrLocked while another
// process makes the same. What a killed one left there is removed.
func WorkBeside(path string) (*Work, error) {
	base := filepath.Base(path)
	if len(base) > 200 { // with the prefix it has to be a name, too
		base = fmt.Sprintf("%x", sha256.Sum256([]byte(base)))
	}
	dir := filepath.Join(filepath.Dir(path), TempPrefix+base)
	for {
		if err := os.Mkdir(dir, 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
			return nil, err
		}
		w, err := claim(dir)
		if errors.Is(err, fs.ErrNotExist) {
			continue // another process has just finished and removed it
		}
		if err != nil {
			return nil, err
		}
		return w, w.clear()
	}
}

// tempName begins the names of folders of work among the system's temporary
// files.
const tempName = "stillspan-"

// abandoned is the age from which a folder without a lock is one that a process
// left before it had made it.
const abandoned = time.Hour

// WorkInTemp makes a folder of work of a name that nobody can foresee among the
// system's temporary files, and removes what killed processes left there.
func WorkInTemp() (*Work, error) {
	sweepTemp()
	for {
		dir, err := os.MkdirTemp("", tempName+"*")
		if err != nil {
			return nil, err
		}
		w, err := claim(dir)
		if err == nil {
			return w, nil
		}
		os.RemoveAll(dir)
		// Another process that sweeps takes a lock that is made and not yet held
		// for one that was left.
		if !errors.Is(err, fs.ErrNotExist) && !errors.Is(err, ErrLocked) {
			return nil, err
		}
	}
}

func sweepTemp() {
	entries, _ := os.ReadDir(os.TempDir())
	for _, e := range entries {
		if !e.IsDir() || !strings.HasPrefix(e.Name(), tempName) {
			continue
		}
		info, err := e.Info()
		if err != nil || !owned(info) {
			continue
		}
		dir := filepath.Join(os.TempDir(), e.Name())
		if _, err := os.Lstat(filepath.Join(dir, lockName)); err != nil {
			if time.Since(info.ModTime()) > abandoned {
				os.RemoveAll(dir)
			}
			continue
		}
		if w, err := claim(dir); err == nil {
			w.Close()
		}
	}
}

// claim locks a folder that is there, and no link to one.
func claim(dir string) (*Work, error) {
	info, err := os.Lstat(dir)
	switch {
	case err != nil:
		return nil, err
	case !info.IsDir():
		return nil, fmt.Errorf("%q is no folder", dir)
	}
	name := filepath.Join(dir, lockName)
	f, err := OpenLock(name, 0o600)
	if err != nil {
		return nil, err
	}
	if err := TryLock(f); err != nil {
		f.Close()
		return nil, err
	}
	// Who had it before may have removed it in between.
	mine, err := f.Stat()
	if err == nil {
		info, err = os.Lstat(name)
	}
	if err == nil && !os.SameFile(mine, info) {
		err = fs.ErrNotExist
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	return &Work{dir, f}, nil
}

// OpenLock opens the file of a lock, which is made where there is none, and
// follows no link.
func OpenLock(path string, perm fs.FileMode) (*os.File, error) {
	return os.OpenFile(path, os.O_RDWR|os.O_CREATE|noFollow|syscall.O_NONBLOCK, perm)
}

// clear removes all but the lock.
func (w *Work) clear() error {
	entries, err := os.ReadDir(w.dir)
	for _, e := range entries {
		if e.Name() != lockName {
			err = errors.Join(err, os.RemoveAll(filepath.Join(w.dir, e.Name())))
		}
	}
	if err != nil {
		w.lock.Close()
	}
	return err
}

// Path is a place in the folder.
func (w *Work) Path(name string) string { return filepath.Join(w.dir, name) }
