package day

import (
	"cmp"
	"errors"
	"fmt"
	"runtime"
	"slices"
)

// Task is one self-contained run of the program.
type Task struct {
	ID     string // unique among the tasks, fit for a file name
	Args   []string
	Frames int
	// Cost ranks tasks by how long they take, in any unit.
	Cost float64
	// MemoryBytes is the most the task and its child processes hold.
	MemoryBytes int64
}

// Batch is what Local and Slurm are given.
type Batch struct {
	Tasks []Task
	// Finish are the arguments of the run that collects the results. Only a
	// cluster, which outlives this process, runs it, after the last task.
	Finish []string
	// LogDir is where each task's messages go, in ID.log.
	LogDir string
}

// Event is something that happened to a task.
type Event struct {
	Task string
	Kind EventKind
	// Done of Total frames, for Progressed.
	Done, Total int
	// Failure is set for Failed.
	Failure *Failure
}

// EventKind says what happened.
type EventKind string

// What can happen to a task.
const (
	Started    EventKind = "started"
	Progressed EventKind = "progress"
	Ended      EventKind = "ended"
	Failed     EventKind = "failed"
	// Withheld is a task that was not handed out because of another's
	// failure.
	Withheld EventKind = "withheld"
)

// ErrStopped is returned by a Local that stopped handing out tasks because
// every further one would have failed the same way.
var ErrStopped = errors.New("the rest of the day was put off")

// Order sorts tasks so that the longest goes first and none is left running
// alone at the end; equal ones by ID.
func Order(tasks []Task) {
	slices.SortStableFunc(tasks, func(a, b Task) int {
		return cmp.Or(cmp.Compare(b.Cost, a.Cost), cmp.Compare(a.ID, b.ID))
	})
}

// coresPerTask is how many cores one render keeps busy by itself, since
// decoding, correcting and encoding overlap.
const coresPerTask = 2

// Limits says how much is done at once. The zero value is what this machine
// allows.
type Limits struct {
	// Workers is how many tasks run at once; default (0) one per two cores,
	// range 1 to 256.
	Workers int
	// MemoryBytes is what the tasks at work may hold together; default (0)
	// three quarters of the memory that is free, as far as that can be told.
	// A task larger than that runs alone.
	MemoryBytes int64
}

// Validate says which limit is out of its range.
func (l Limits) Validate() error {
	switch {
	case l.Workers < 0 || l.Workers > 256:
		return fmt.Errorf("jobs at once must be 1 to 256, or 0 to choose, not %d", l.Workers)
	case l.MemoryBytes < 0:
		return errors.New("memory must not be negative")
	}
	return nil
}

func (l Limits) filled() Limits {
	if l.Workers == 0 {
		l.Workers = min(256, max(1, runtime.NumCPU()/coresPerTask))
	}
	if l.MemoryBytes == 0 {
		l.MemoryBytes = freeMemory() / 4 * 3
	}
	if l.MemoryBytes <= 0 {
		l.MemoryBytes = 2 << 30
	}
	return l
}
