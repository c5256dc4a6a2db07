package ingest

import (
	"errors"
	"runtime"
	"time"
)

// Options are the thresholds by which a folder tree becomes sequences.
type Options struct {
	// Workers is how many headers are read at once. Default one per CPU,
	// range 1 to 256.
	Workers int
	// MinFrames is the shortest run called a sequence; shorter runs are
	// loose. Default 5, range 2 to 100000.
	MinFrames int
	// FocalTolerance is how far the focal length may stray, as a fraction,
	// before it is another framing; zooms report it with a little noise.
	// Default 0.03, range 0 to 0.5.
	FocalTolerance float64
	// OddRun is the longest run of frames of another size or
	// focal length in the midst of a sequence that stays part of it (as
	// "wrong-size" where the size differs). Default 2, range 0 to 100.
	OddRun int
	// PreferRaw takes the raw file of a RAW+JPEG pair for the frame, and not the
	// JPEG.
	PreferRaw bool
	// Thorough reads the picture data of raw files to their end.
	Thorough bool
	// Planned are the shoots that were meant; empty for none. They are hints:
	// a place where one may end and the next begin needs less evidence, and
	// nothing is split or joined by them alone.
	Planned []Planned
	// LateFraction is the least departure from the cadence, as a fraction of
	// the interval, that is called late, early or a delay; never less than the
	// clock's grain counts. Default 0.2, from which on the jump in motion begins
	// to show (common practice, no published source); range above 0 to 0.5.
	LateFraction float64
	// Bracket is the exposure wanted of each bracket, in the order fired from 1.
	// Default 0, the middle one by its light; range 0 to 9.
	Bracket int
}

// Planned is what is known beforehand of one shoot. A zero field is not known.
type Planned struct {
	Folder string // slash-separated: a path in the dump or a last part of one, in any case
	// From and To bound the moment of the first frame by the camera's wall
	// clock, held in UTC whatever zone the files state.
	From, To  time.Time
	Frames    int
	IntervalS float64 // seconds
}

// DefaultOptions returns the documented defaults.
func DefaultOptions() Options {
	return Options{
		Workers:        min(runtime.NumCPU(), 256),
		MinFrames:      5,
		FocalTolerance: 0.03,
		OddRun:         2,
		LateFraction:   0.2,
	}
}

// Validate says which option is out of its range.
func (o Options) Validate() error {
	switch {
	case o.Workers < 1 || o.Workers > 256:
		return errors.New("workers must be 1 to 256")
	case o.MinFrames < 2 || o.MinFrames > 100000:
		return errors.New("minimum frames must be 2 to 100000")
	case !(o.FocalTolerance >= 0 && o.FocalTolerance <= 0.5):
		return errors.New("focal tolerance must be 0 to 0.5")
	case o.OddRun < 0 || o.OddRun > 100:
		return errors.New("odd run must be 0 to 100 frames")
	case !(o.LateFraction > 0 && o.LateFraction <= 0.5):
		return errors.New("late fraction must be above 0 and at most 0.5")
	case o.Bracket < 0 || o.Bracket > 9:
		return errors.New("bracket must be 0 to 9")
	}
	return nil
}
