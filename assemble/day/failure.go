package day

import (
	"errors"
	"fmt"
	"io/fs"
	"syscall"

	"stillspan/assemble/shoot"
	"stillspan/internal/problem"
	"stillspan/internal/words"
)

// Failure is why a task ended without its result; its Kind is one of those
// below.
type Failure = problem.Error

// Kinds of failure.
const (
	TaskFailed = "failed"
	DiskFull   = "disk-full"
	SourceGone = "source-gone"
)

// What to try, by kind.
const (
	makeSpace = "free some space and run the same command: finished clips are kept"
	plugIn    = "plug the drive in again and run the same command: finished clips are kept"
)

// StopsAll tells whether the tasks that wait would fail as well.
func StopsAll(f *Failure) bool { return f.Kind == DiskFull || f.Kind == SourceGone }

// failureOf tells an engine what it has to know of the error of a task that
// reads inputs below root.
func failureOf(err error, root string, inputs []Input) *Failure {
	if f, ok := errors.AsType[*Failure](err); ok && f.Kind != "" {
		return f
	}
	f := &Failure{Kind: TaskFailed, Text: words.OneLine(err.Error()), Try: problem.Try(err)}
	switch {
	case isDiskFull(err):
		f.Kind, f.Try = DiskFull, makeSpace
	case errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.EIO) || errors.Is(err, syscall.ENXIO) || errors.Is(err, syscall.ENODEV):
		if Changed(inputs[:min(1, len(inputs))]) != nil || shoot.FolderIsThere(root) != nil {
			f.Kind, f.Try = SourceGone, plugIn
			f.Text = fmt.Sprintf("the stills in %q are no longer there: %s", root, f.Text)
		}
	}
	return f
}

// explain adds what to do on a full disk.
func explain(err error) error {
	if isDiskFull(err) && problem.Try(err) == "" {
		return problem.Hint(err, makeSpace)
	}
	return err
}

func isDiskFull(err error) bool {
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT)
}
