package measure

import (
	"errors"
	"fmt"
	"runtime"
	"slices"
	"time"

	"stillspan/deflicker/develop"
	"stillspan/deflicker/measure/jpeg"
	"stillspan/ingest/format"
	"stillspan/ingest/meta"
	"stillspan/internal/problem"
)

// Input is one still to be measured.
type Input struct {
	Path    string
	Facts   meta.Facts
	ModTime time.Time
	Size    int64 // bytes
	// Thumb asks for Grid.Thumb, with no side longer than so many pixels; 0 for none.
	Thumb int
	// Planes, unless nil, is handed the main picture of a JPEG that is read whole and
	// without fault, reduced to Per eighths as jpeg.Picture.Reduce does it. It is
	// called by several at once; the picture is another's after.
	Planes func(*jpeg.Picture)
	Per    int
	// Problem is what is known to be wrong with it; such a still is not opened.
	Problem *Finding
}

// Finding is what is wrong with a still.
type Finding = problem.Still

// Sources of a Grid, and the values of Options.Source.
const (
	SourcePreview = "preview" // a picture embedded in the file
	SourceReduced = "reduced" // block means, without a full decode
	SourceFull    = "full"    // every pixel
	// SourceDeveloped is a raw file developed by Options.Develop, at half its
	// width and height; of other files it is SourceReduced.
	SourceDeveloped = "developed"
)

// Options says how to measure. The zero value is the documented default.
type Options struct {
	// Workers is how many stills are measured at once, and with it the most
	// that lie in memory; default (0) one per CPU, range 1 to 256.
	Workers int
	// Source forces what is measured: SourcePreview, SourceReduced, SourceFull
	// or SourceDeveloped. Default (empty): All chooses once for all. A still
	// that lacks the source asked for takes the next in that order.
	Source string
	// Verify walks every JPEG's main picture to its end, so that damage
	// anywhere in it is found. The walk measures it, too, and previews are
	// not used. Without Verify, a still whose preview is measured is only
	// checked for its end marker, and walked where that is missing. No
	// measurement of an earlier run is believed.
	Verify bool
	// CacheDir is where measurements are kept; default (empty) the folder
	// "stillspan" in the user's cache folder. NoCache keeps none.
	CacheDir string
	NoCache  bool
	// CacheBytes bounds the cache; default (0) 2 GB.
	CacheBytes int64
	// MaxPixels bounds the pictures that are decoded; default (0) what
	// format.MaxDecoded leaves a JPEG.
	MaxPixels int64
	// Develop is how raw files are developed; SourceDeveloped needs it. What is
	// to be corrected is what has to be measured: cameras give their previews
	// a contrast of their own, which makes flicker larger in them.
	Develop *develop.Settings
	// FFmpeg is the program that decodes what this package does not;
	// default (empty) "ffmpeg".
	FFmpeg string
}

// Validate says which option is out of its range.
func (o Options) Validate() error {
	switch {
	case o.Workers < 0 || o.Workers > 256:
		return errors.New("measuring workers must be 1 to 256, or 0 for one per CPU")
	case o.Source != "" && !slices.Contains(sourceNames, o.Source):
		return fmt.Errorf("measuring source %q: must be preview, reduced, full or developed", o.Source)
	case o.Source == SourceDeveloped && o.Develop == nil:
		return errors.New("measuring developed pictures: how to develop them is not said")
	case o.CacheBytes < 0 || o.MaxPixels < 0:
		return errors.New("cache and pixel limits must not be negative")
	}
	return nil
}

// filled is o with its defaults in place.
func (o Options) filled() Options {
	if o.Workers == 0 {
		o.Workers = min(runtime.NumCPU(), 256)
	}
	if o.CacheBytes == 0 {
		o.CacheBytes = 2e9
	}
	if o.MaxPixels == 0 {
		o.MaxPixels = format.MaxDecoded / 3
	}
	if o.FFmpeg == "" {
		o.FFmpeg = "ffmpeg"
	}
	return o
}
