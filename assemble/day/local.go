package day

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"sync"
	"time"

	"stillspan/internal/files"
	"stillspan/internal/process"

	"golang.org/x/sync/semaphore"
)

// Local runs tasks on this machine, each as a process of its own, so that
// whatever happens to one leaves the others alone.
type Local struct {
	Program string // what Task.Args are given to
	Limits  Limits
	// Store, unless nil, lends its lock to the tasks: it is not free until
	// the last of them, and the programs it started, have ended.
	Store *Store
	// OwnTemp gives the tasks a folder of their own for temporary files, which is
	// removed after; what a killed run left is removed by the next.
	OwnTemp bool

	tempDir string
}

// Line is one line of what a task prints on standard output, as JSON.
type Line struct {
	Done    int      `json:"done,omitempty"`
	Total   int      `json:"total,omitempty"`
	Failure *Failure `json:"failure,omitempty"`
}

// interruptGrace is how long a task has to tidy up when it is interrupted.
const interruptGrace = 20 * time.Second

// Run hands the tasks out, the longest first, and returns when all have ended.
// A task that fails never stops another, unless it fails for a reason that must
// stop all (see StopsAll). The error is for work that could not go on. on is
// called from one goroutine at a time.
func (l *Local) Run(ctx context.Context, b Batch, on func(Event)) error {
	if err := l.Limits.Validate(); err != nil {
		return err
	}
	limits := l.Limits.filled()
	if l.OwnTemp {
		w, err := files.WorkInTemp()
		if err != nil {
			return fmt.Errorf("cannot make a temporary folder: %w", err)
		}
		defer w.Close()
		l.tempDir = w.Path("tasks")
		if err := os.Mkdir(l.tempDir, 0o700); err != nil {
			return err
		}
	}
	tasks := append([]Task(nil), b.Tasks...)
	Order(tasks)
	var mu sync.Mutex // guards stopped and on
	stopped := false
	emit := func(e Event) {
		mu.Lock()
		defer mu.Unlock()
		if e.Failure != nil && StopsAll(e.Failure) {
			stopped = true
		}
		on(e)
	}
	room := room{semaphore.NewWeighted(int64(limits.Workers)), semaphore.NewWeighted(limits.MemoryBytes)}
	var running sync.WaitGroup
	for _, t := range tasks {
		leave, err := room.enter(ctx, min(max(1, t.MemoryBytes), limits.MemoryBytes))
		if err != nil {
			break
		}
		mu.Lock()
		stop := stopped
		mu.Unlock()
		if stop {
			leave()
			emit(Event{Task: t.ID, Kind: Withheld})
			continue
		}
		running.Go(func() {
			defer leave()
			emit(Event{Task: t.ID, Kind: Started})
			if f := l.run(ctx, t, b.LogDir, emit); f != nil {
				emit(Event{Task: t.ID, Kind: Failed, Failure: f})
				return
			}
			emit(Event{Task: t.ID, Kind: Ended})
		})
	}
	running.Wait()
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if stopped {
		return ErrStopped
	}
	return nil
}

// room is what the tasks at work share.
type room struct{ workers, memory *semaphore.Weighted }

// enter waits for a place and so many bytes; leave gives them back.
func (r room) enter(ctx context.Context, bytes int64) (leave func(), err error) {
	if err := r.workers.Acquire(ctx, 1); err != nil {
		return nil, err
	}
	if err := r.memory.Acquire(ctx, bytes); err != nil {
		r.workers.Release(1)
		return nil, err
	}
	leave = func() { r.workers.Release(1); r.memory.Release(bytes) }
	if ctx.Err() != nil { // both may be free when it ends
		leave()
		return nil, ctx.Err()
	}
	return leave, nil
}

// run runs one task to its end.
func (l *Local) run(ctx context.Context, t Task, logDir string, emit func(Event)) *Failure {
	// The signal on the parent's death is bound to the thread that started
	// the child (prctl(2), PR_SET_PDEATHSIG).
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	cmd, tail := process.Command(ctx, l.Program, t.Args...)
	cmd.Cancel = func() error { return process.Interrupt(cmd.Process) }
	cmd.WaitDelay = interruptGrace
	var lock *os.File
	if l.Store != nil {
		lock = l.Store.lock
	}
	ready(cmd, lock)
	if l.tempDir != "" {
		cmd.Env = append(os.Environ(), "TMPDIR="+l.tempDir)
	}
	if f, err := os.Create(filepath.Join(logDir, t.ID+".log")); err == nil {
		defer f.Close()
		cmd.Stderr = io.MultiWriter(tail, lossy{f})
	}
	stdout, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		return &Failure{Kind: TaskFailed, Text: "cannot start the render: " + err.Error()}
	}
	failure := readLines(stdout, t.ID, emit)
	err = cmd.Wait()
	switch {
	case failure != nil:
		return failure
	case err != nil && ctx.Err() != nil:
		return &Failure{Kind: TaskFailed, Text: "interrupted"}
	case err != nil:
		return &Failure{Kind: TaskFailed, Text: endText(err, tail.Last())}
	}
	return nil
}

// readLines passes progress on and returns the failure the task tells of.
func readLines(r io.Reader, id string, emit func(Event)) *Failure {
	var failure *Failure
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		var l Line
		if json.Unmarshal(lines.Bytes(), &l) != nil {
			continue
		}
		if l.Failure != nil {
			failure = l.Failure
		} else if l.Total > 0 {
			emit(Event{Task: id, Kind: Progressed, Done: l.Done, Total: l.Total})
		}
	}
	_, _ = io.Copy(io.Discard, r) // a line too long must not block the task
	return failure
}

func endText(err error, said string) string {
	text := "the render ended without a word"
	if x, ok := errors.AsType[*exec.ExitError](err); ok && !x.Exited() {
		text = fmt.Sprintf("the render was ended from outside (%s)", x.ProcessState)
	} else if said != "" {
		return said
	}
	if said != "" {
		text += ": " + said
	}
	return text
}

// lossy drops what cannot be written: a log on a full disk must not end the
// task it tells of.
type lossy struct{ w io.Writer }

func (l lossy) Write(p []byte) (int, error) {
	_, _ = l.w.Write(p)
	return len(p), nil
}
