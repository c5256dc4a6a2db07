package files

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"syscall"
)

// Place is where a result is to be written. One rule holds for all of them:
//
//   - what is not there is made, and only then if nothing has appeared there
//     meanwhile;
//   - a regular file that is there is replaced when this program wrote it, or
//     with Overwrite;
//   - a pipe, and the null device, are written to and never replaced;
//   - a folder, a link and any other device are refused.
type Place struct {
	Path string
	// Mark stands near the beginning of all that this program writes of the
	// kind; empty for none.
	Mark string
	// Ours, unless nil, tells of a regular file without the mark that this
	// program wrote it all the same.
	Ours      func(path string) bool
	Overwrite bool
}

// ErrThere is wrapped by the error for a file that is there and was not written
// by this program.
var ErrThere = errors.New("is there already and was not written by this program")

// markWithin is how far from its beginning a file is looked at for its mark.
const markWithin = 1 << 10

// Check tells why nothing may be written to the place; nil where it may. It is
// asked before any work is done and again when the result is whole.
func (p Place) Check() error {
	_, err := p.look()
	return err
}

// found is what lies at a place.
type found int

const (
	nothing found = iota
	ours          // or to be overwritten
	stream        // a pipe, or the null device
)

func (p Place) look() (found, error) {
	info, err := os.Lstat(p.Path)
	switch {
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ENOTDIR): // whoever makes the folder says why not
		return nothing, nil
	case err != nil:
		return nothing, fmt.Errorf("cannot write %q: %w", p.Path, Cause(err))
	}
	what := "a device"
	switch mode := info.Mode(); {
	case mode.IsRegular():
		if p.Overwrite || marked(p.Path, p.Mark) || p.Ours != nil && p.Ours(p.Path) {
			return ours, nil
		}
		return nothing, fmt.Errorf("%q %w", p.Path, ErrThere)
	case mode.IsDir():
		what = "a folder"
	case mode&fs.ModeSymlink != 0:
		// The shell names the pipes it makes for a command by links.
		if to, err := os.Stat(p.Path); err == nil && to.Mode()&fs.ModeNamedPipe != 0 {
			return stream, nil
		}
		what = "a link"
	case mode&fs.ModeNamedPipe != 0 || isNull(info):
		return stream, nil
	}
	return nothing, fmt.Errorf("cannot write %q: it is %s", p.Path, what)
}

// Append opens the place for lines that follow those of earlier runs.
func (p Place) Append() (*os.File, error) {
	what, err := p.look()
	if err != nil {
		return nil, err
	}
	flags := map[found]int{nothing: os.O_CREATE | os.O_EXCL | os.O_APPEND, ours: os.O_APPEND | noFollow, stream: syscall.O_NONBLOCK}[what]
	if what == ours && !marked(p.Path, p.Mark) {
		flags |= os.O_TRUNC
	}
	f, err := os.OpenFile(p.Path, os.O_WRONLY|flags, 0o666)
	return f, wrap(p.Path, err)
}

func isNull(info fs.FileInfo) bool {
	null, err := os.Stat(os.DevNull)
	return err == nil && os.SameFile(info, null)
}

// marked tells whether a regular file begins as this program begins it.
func marked(path, mark string) bool {
	if mark == "" {
		return false
	}
	f, _, err := Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	head := make([]byte, markWithin)
	n, err := io.ReadFull(f, head)
	return (err == nil || err == io.ErrUnexpectedEOF) && bytes.Contains(head[:n], []byte(mark))
}

// Write writes to the place: a file whole or not at all, and put on the disk
// before it takes its name.
func (p Place) Write(fill func(io.Writer) error) error {
	what, err := p.look()
	if err != nil {
		return err
	}
	if what == stream {
		return p.pour(fill)
	}
	dir := filepath.Dir(p.Path)
	if _, done := swept.LoadOrStore(dir, true); !done {
		sweepParts(dir)
	}
	tmp, err := writeTemp(p.Path, true, fill)
	if err != nil {
		return err
	}
	defer os.Remove(tmp) // where it has not been renamed
	if err := p.Put(tmp); err != nil {
		return err
	}
	return Sync(dir)
}

// swept are the folders that this process has looked for half-written files.
var swept sync.Map

// Put gives a finished file, or a folder for a place where nothing is, the
// place's name, if the rule still permits it.
func (p Place) Put(tmp string) error {
	err := RenameNew(tmp, p.Path)
	if !errors.Is(err, fs.ErrExist) {
		return wrap(p.Path, err)
	}
	switch what, err := p.look(); {
	case err != nil:
		return err
	case what == stream:
		return fmt.Errorf("cannot write %q: a pipe was put there meanwhile", p.Path)
	}
	return wrap(p.Path, Rename(tmp, p.Path))
}

func wrap(path string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("cannot write %q: %w", path, Cause(err))
}

// pour writes to a pipe that somebody reads. It is opened without waiting: a
// pipe that nobody reads would hold the caller for ever.
func (p Place) pour(fill func(io.Writer) error) error {
	f, err := os.OpenFile(p.Path, os.O_WRONLY|syscall.O_NONBLOCK, 0)
	if errors.Is(err, syscall.ENXIO) {
		return fmt.Errorf("cannot write %q: nobody reads from the pipe", p.Path)
	}
	if err != nil {
		return wrap(p.Path, err)
	}
	w := bufio.NewWriterSize(f, 1<<16)
	info, err := f.Stat()
	switch {
	case err == nil && info.Mode()&fs.ModeNamedPipe == 0 && !isNull(info):
		err = errors.New("another thing was put there meanwhile")
	case err == nil:
		err = errors.Join(fill(w), w.Flush())
	}
	return wrap(p.Path, errors.Join(err, f.Close()))
}

// RenameNew gives a finished file or folder its name where nothing has it; the
// error is fs.ErrExist where something does.
func RenameNew(tmp, path string) error {
	err := renameNew(tmp, path)
	if err == nil || errors.Is(err, fs.ErrExist) || errors.Is(err, fs.ErrNotExist) {
		return err
	}
	// Not every file system knows how. A second name is the next best, and where
	// there are none either, a look before.
	if err := os.Link(tmp, path); err == nil {
		return os.Remove(tmp)
	} else if errors.Is(err, fs.ErrExist) {
		return err
	}
	if _, err := os.Lstat(path); err == nil {
		return fs.ErrExist
	}
	return Rename(tmp, path)
}
