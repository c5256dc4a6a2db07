// Package ingest turns a folder tree of stills into a Dump: frames in the
// order they were taken, grouped into sequences, each judged for timing,
// settings and damage. Originals are only ever opened for reading.
package ingest

import (
	"time"

	"stillspan/ingest/account"
	"stillspan/ingest/meta"
	"stillspan/internal/files"
	"stillspan/internal/problem"
)

// Frame is one shot: a still and whatever else the camera wrote for it.
type Frame struct {
	Path    string // for opening
	Name    string // slash-separated, relative to the dump's root
	Size    int64
	ModTime time.Time
	// Was is the file as its headers were read; zero when they were not.
	Was files.Identity
	// Number is the running file number, rollovers unwrapped; -1 for none.
	Number int
	Facts  meta.Facts
	// YearGuessed is set where Facts.Taken is from a name without a year: it is
	// that of the file's time.
	YearGuessed bool
	// Raw is the path of the raw companion of a RAW+JPEG pair; empty when
	// the shot has one file. Path then names the JPEG.
	Raw string
	// Picture is the path of the JPEG of a pair of which Path names the raw
	// file; empty for all else.
	Picture string
	// Problem is nil for a sound frame.
	Problem *Problem
	// Companion is what is wrong with the other file of a pair, Raw or Picture;
	// nil for nothing. The clip needs it not, but it may be the original.
	Companion *Problem

	damagedMetadata bool // Facts are what could be read
	contradicted    bool // the name holds another time than Facts.Taken, which it does not elsewhere
	named           naming
}

// Problem is what is wrong with a still.
type Problem = problem.Still

// SettingChange is a setting that moved in mid-sequence.
type SettingChange struct {
	Frame    int    // index of the first frame with the new value
	Field    string // "shutter", "aperture", "iso", "white balance", ...
	From, To string
}

// ExposureMove is a move of the exposure by its settings: at one frame, or the
// whole of many moves.
type ExposureMove struct {
	First, Last int     // indexes of the first and the last frame with other values
	Steps       int     // at how many frames it moved
	NetEV       float64 // stops from before First to Last by the labels, more light above 0; NaN when unknown
	RangeEV     float64 // of many: how far apart the levels were, stops
	Ramp        bool    // of many: they lead one way
	Settings    []SettingChange
	Mode        string        // "manual", the camera's program, or empty for not stated
	Lasts       time.Duration // from the frame before First to Last; 0 when unknown
}

// Turned tells of an orientation flag that is not the same in all frames. Held
// is the EXIF value taken for all.
type Turned struct {
	Held, Count int // Count frames state another
	First       int // index of the first of them
}

// Sequence is a run of frames that belong to one shoot.
type Sequence struct {
	// ID is a short name, unique in the dump and stable between runs, fit
	// for a file name.
	ID     string
	Frames []Frame
	Timing account.Shoot // indexes into Frames; its own Files and Number are nil
	// Exposures are the frames of brackets that are not those wanted.
	Exposures []Frame
	Settings  []SettingChange
	Exposure  []ExposureMove
	Turned    *Turned // nil for one orientation
	// Halves are the frames, by index, of which one of the two files is missing
	// that the others have.
	Halves []int
	// Apart are the sound frames, by index, whose stills are of another format
	// or size than most: no clip can hold both.
	Apart []int
	Notes []string // plain remarks, such as "exposure mode is not manual"
}

// Dump is a folder tree of stills, put in order.
type Dump struct {
	Root      string
	Sequences []Sequence
	Loose     []Frame // sound, and too few together to be a sequence: test shots
	// Remains are stretches of loose frames that may be what is left of a shoot, or of the
	// one beside them.
	Remains []Remains
	Ignored []Ignored
	// Unreadable holds files and folders that could not be opened at all or
	// belong to no sequence because of it.
	Unreadable []Frame
	// FolderGaps are folders that are not here between others of one card.
	FolderGaps []FolderGap
	// NumberGaps are file numbers that are missing beside shoots.
	NumberGaps []NumberGap
}

// Remains are loose frames that keep an interval, with others missing between.
type Remains struct {
	First, Last string // names
	Frames      int
	IntervalS   float64
	Missing     int // frames
}

// Ignored counts files left alone, by kind: "video", "sidecar", "hidden",
// "other", "raw companion", "picture companion", "copy".
type Ignored struct {
	Kind  string
	Count int
}
