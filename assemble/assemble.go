// Package assemble turns stills and their corrections into a verified clip:
// decode, correct and encode as one bounded stream around ffmpeg.
package assemble

import (
	"slices"
	"time"

	"stillspan/ingest/meta"
	"stillspan/internal/files"
	"stillspan/internal/playback"
)

// Source is one still on its way into the clip.
type Source struct {
	Path          string
	Format        string // as meta.Facts.Format
	Raw           bool   // needs development
	Width, Height int    // stored pixels
	Orientation   int    // EXIF 1 to 8
	Preview       *meta.Preview
	CorrectionEV  float64 // added to the exposure
	// ColourEV is added to red and to blue against green, beside CorrectionEV:
	// see deflicker.Channels.
	ColourEV [2]float64
	// Profile is the number from 1 of the still's in Job.Profiles; 0 where it is
	// sRGB or taken for it.
	Profile int `json:",omitempty"`
	// Joins is set for a still that goes into the same frame of the clip as the one
	// before it: such a frame is the mean of its stills in linear light.
	Joins bool `json:",omitempty"`
	// Was is the still's file as it was measured; zero where that is not known.
	Was files.Identity
	// Shift is where the content is moved, right and down, in shares of the
	// upright still's width and height, within Options.Steady.
	Shift [2]float64
	// Turn is how far the content is turned first, about the still's middle, radians
	// clockwise.
	Turn float64 `json:",omitempty"`
	// Fields are local corrections, added up; none for none.
	Fields []Field `json:",omitempty"`
}

// Field is a low-resolution gain field laid over the upright, uncropped
// picture: W x H values in EV, row-major, interpolated bilinearly.
type Field struct {
	W, H int
	EV   []float32
}

// Gap is Count frames missing after Sources[After].
type Gap struct{ After, Count int }

// Shown is what a frame of a clip shows: a source, the first time or once more
// at an end of the clip, or one made up after it. Of a mean of several it is the
// first, and Last the last. A frame of the slate is one that is held, of no source.
type Shown struct {
	Source, Last        int
	MadeUp, Held, Slate bool
}

// Shown says it of every frame of the clip.
func (j *Job) Shown() []Shown {
	filled := map[int]int{}
	if j.GapMode != GapLeave {
		for _, g := range j.Gaps {
			filled[g.After] += g.Count
		}
	}
	var out []Shown
	show := func(f Shown, times int) { out = append(out, slices.Repeat([]Shown{f}, times)...) }
	show(Shown{Held: true, Slate: true}, j.slateFrames())
	for k := 0; k < len(j.Sources); {
		last := j.lastOf(k)
		show(Shown{Source: k, Last: last}, 1)
		if k == 0 {
			show(Shown{Source: k, Last: last, Held: true}, j.HoldFirst)
		}
		if last == len(j.Sources)-1 {
			show(Shown{Source: k, Last: last, Held: true}, j.HoldLast)
		}
		show(Shown{Source: k, Last: last, MadeUp: true}, filled[last])
		k = last + 1
	}
	return out
}

// lastOf is the last source of the frame that source k goes into.
func (j *Job) lastOf(k int) int {
	for k+1 < len(j.Sources) && j.Sources[k+1].Joins {
		k++
	}
	return k
}

// GapMode says what becomes of missing frames.
type GapMode string

// What can be done with missing frames.
const (
	GapLeave GapMode = "leave" // the clip is shorter and jumps
	GapHold  GapMode = "hold"  // the frame before is repeated
	GapBlend GapMode = "blend" // in-between frames are mixed, in linear light
)

// Clip is what was written and what ffprobe says of it.
type Clip struct {
	File      string
	Bytes     int64
	Frames    int // frames in the clip
	Filled    int // of these, frames made by GapHold or GapBlend
	Held      int // of these, frames that an end stands still beyond its own
	Slate     int // of these, frames of the slate
	DurationS float64
	Rate      playback.Rate
	Codec     string // as ffprobe names it
	Profile   string
	Width     int
	Height    int
	PixFmt    string
	// Colour tags as ffprobe names them.
	ColorRange, ColorSpace, ColorPrimaries, ColorTransfer string
	// Timecode is the label of the first frame, as written.
	Timecode string
	Created  time.Time
	// Verified is true when ffprobe counted the frames and found rate, size,
	// codec, duration, time code and colour tags as ordered. Problems says what was
	// not, and of a verified clip which stills ffmpeg found fault with.
	Verified bool
	Problems []string
}
