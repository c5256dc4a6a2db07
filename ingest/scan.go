package ingest

import (
	"context"
	"errors"
	"runtime"
	"time"

	"stillspan/ingest/timing"
)

// Options are the thresholds by which a folder tree becomes sequences.
type Options struct {
	// Workers is how many headers are read at once; default one per CPU,
	// range 1 to 256.
	Workers int
	// MinFrames is the shortest run called a sequence; shorter runs are
	// loose. Default 5, range 2 to 100000.
	MinFrames int
	// A pause is a new sequence when it lasts more than BreakIntervals
	// intervals and more than BreakMin.
	BreakIntervals float64
	BreakMin       time.Duration
	// Timing holds the thresholds of the cadence fit.
	Timing timing.Options
}

// DefaultOptions returns the documented defaults.
func DefaultOptions() Options {
	return Options{
		Workers:        runtime.NumCPU(),
		MinFrames:      5,
		BreakIntervals: 30,
		BreakMin:       2 * time.Minute,
		Timing:         timing.DefaultOptions(),
	}
}

// Validate says which option is out of its range.
func (o Options) Validate() error {
	switch {
	case o.Workers < 1 || o.Workers > 256:
		return errors.New("workers must be 1 to 256")
	case o.MinFrames < 2 || o.MinFrames > 100000:
		return errors.New("minimum frames must be 2 to 100000")
	case !(o.BreakIntervals >= 2):
		return errors.New("break intervals must be at least 2")
	case o.BreakMin < 0:
		return errors.New("break time must not be negative")
	}
	return o.Timing.Validate()
}

// Scan reads the stills under root and puts them in order. Findings about
// single files are in the Dump; the error is for work that cannot go on.
// progress, unless nil, is called from one goroutine as headers are read.
func Scan(ctx context.Context, root string, opt Options, progress func(done, total int)) (*Dump, error) {
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	return nil, errors.New("not built yet")
}
