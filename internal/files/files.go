// Package files is what every stage asks of the file system: why an act on a
// file failed, a still opened without waiting, what lies inside what, and a
// file written whole or not at all.
package files

import (
	"bufio"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"time"
)

// Cause takes the call and the paths off an error of package os, for a caller
// that names the file itself.
func Cause(err error) error {
	if p, ok := errors.AsType[*fs.PathError](err); ok {
		return p.Err
	}
	if l, ok := errors.AsType[*os.LinkError](err); ok {
		return l.Err
	}
	return err
}

// ErrNotRegular is what Open says of a pipe, a device or a folder.
var ErrNotRegular = errors.New("not a regular file")

// Open opens a regular file for reading. Between listing and opening another
// thing may have taken its name, and a pipe opened without O_NONBLOCK would
// hold the caller until someone writes.
func Open(path string) (*os.File, fs.FileInfo, error) {
	f, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, nil, err
	}
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = ErrNotRegular
	}
	if err != nil {
		f.Close()
		return nil, nil, err
	}
	return f, info, nil
}

// Inside tells whether path is folder or lies below it, whether or not path
// exists. Folders are compared as the system knows them, so that neither a
// link nor the case of a letter hides one.
func Inside(path, folder string) (bool, error) {
	want, err := os.Stat(folder)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	p, err := resolve(path)
	if err != nil {
		return false, err
	}
	for {
		if info, err := os.Stat(p); err == nil && os.SameFile(info, want) {
			return true, nil
		}
		above := filepath.Dir(p)
		if above == p {
			return false, nil
		}
		p = above
	}
}

// OnePlace tells whether two paths name one place, whether or not it is there.
func OnePlace(a, b string) bool {
	x, errA := os.Stat(a)
	y, errB := os.Stat(b)
	if errA == nil && errB == nil {
		return os.SameFile(x, y)
	}
	p, errA := resolve(a)
	q, errB := resolve(b)
	return errA == nil && errB == nil && p == q
}

// resolve makes path absolute and follows links in the part that exists.
func resolve(path string) (string, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	if real, err := filepath.EvalSymlinks(abs); err == nil {
		return real, nil
	}
	dir := filepath.Dir(abs)
	if dir == abs {
		return abs, nil
	}
	real, err := resolve(dir)
	return filepath.Join(real, filepath.Base(abs)), err
}

// Alias gives a file another name in a folder of work: a link, and where the
// system makes none, a copy.
func Alias(path, name string) error {
	abs, err := filepath.Abs(path)
	if err != nil {
		return err
	}
	err = os.Symlink(abs, name)
	if runtime.GOOS != "windows" {
		return err
	}
	// Windows keeps links for developers, and Wine says that it made one.
	if err == nil {
		if _, err := os.Stat(name); err == nil {
			return nil
		}
		os.Remove(name)
	}
	in, _, err := Open(abs)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.Create(name)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

// TempPrefix begins the names of half-written files, which lie beside the
// place they are meant for.
const TempPrefix = ".stillspan-"

// Write writes a file of this program's own keeping whole or not at all: under
// another name in the same folder, put on the disk before it is renamed, and its
// name after. What is there is replaced; Place asks before.
func Write(path string, fill func(io.Writer) error) error {
	if err := write(path, true, fill); err != nil {
		return err
	}
	return Sync(filepath.Dir(path))
}

// WriteLight writes a file whole or not at all, but leaves it to the system when
// it is put on the disk: for what can be made again.
func WriteLight(path string, data []byte) error {
	return write(path, false, func(w io.Writer) error { _, err := w.Write(data); return err })
}

func write(path string, sync bool, fill func(io.Writer) error) error {
	tmp, err := writeTemp(path, sync, fill)
	if err != nil {
		return err
	}
	if err := Rename(tmp, path); err != nil {
		os.Remove(tmp)
		return wrap(path, err)
	}
	return nil
}

// TempSuffix ends the names of half-written files.
const TempSuffix = ".tmp"

// createTemp makes a half-written file, locked for as long as it is open where
// the file system knows locks, so that sweepParts leaves it alone.
func createTemp(dir string) (*os.File, error) {
	for {
		f, err := os.CreateTemp(dir, TempPrefix+"*"+TempSuffix)
		if err != nil {
			return nil, err
		}
		if err = TryLock(f); !errors.Is(err, ErrLocked) {
			if _, err = os.Lstat(f.Name()); err == nil {
				return f, nil
			}
		}
		f.Close() // another process sweeps, and has it
		os.Remove(f.Name())
	}
}

// writing is how long a half-written file is left alone after it was written to:
// it has no lock between its end and its own name.
const writing = time.Second

// sweepParts removes half-written files of processes that were killed.
func sweepParts(dir string) {
	entries, _ := os.ReadDir(dir)
	for _, e := range entries {
		name := e.Name()
		if !e.Type().IsRegular() || !strings.HasPrefix(name, TempPrefix) || !strings.HasSuffix(name, TempSuffix) {
			continue
		}
		info, err := e.Info()
		if err != nil || !owned(info) || time.Since(info.ModTime()) < writing {
			continue
		}
		if f, err := os.OpenFile(filepath.Join(dir, name), os.O_RDWR|noFollow|syscall.O_NONBLOCK, 0); err == nil {
			err := TryLock(f)
			f.Close() // Windows removes none that is open
			if err == nil {
				os.Remove(f.Name())
			}
		}
	}
}

// writeTemp writes a file under another name beside path.
func writeTemp(path string, sync bool, fill func(io.Writer) error) (tmp string, err error) {
	f, err := createTemp(filepath.Dir(path))
	if err != nil {
		return "", wrap(path, err)
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
			err = wrap(path, err)
		}
	}()
	w := bufio.NewWriterSize(f, 1<<16)
	if err := fill(w); err != nil {
		return "", err
	}
	if err := errors.Join(w.Flush(), f.Chmod(0o644)); err != nil {
		return "", err
	}
	if sync {
		if err := f.Sync(); err != nil {
			return "", err
		}
	}
	return f.Name(), f.Close()
}

// WriteBytes is Write of what is at hand.
func WriteBytes(path string, data []byte) error {
	return Write(path, func(w io.Writer) error { _, err := w.Write(data); return err })
}
