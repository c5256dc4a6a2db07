// Package shoot is one shoot's way from its frames to its clip: found, measured,
// solved, rendered, each step filling a value of its own. Commands, the day run
// and the benches all take it.
package shoot

import (
	"image"
	"slices"

	"stillspan/assemble"
	"stillspan/assemble/flash"
	"stillspan/deflicker"
	"stillspan/deflicker/develop"
	"stillspan/deflicker/measure"
	"stillspan/deflicker/pictures"
	"stillspan/ingest"
	"stillspan/ingest/plan"
	"stillspan/internal/playback"
	"stillspan/internal/settings"
)

// Shoot is a sequence of stills, what was planned of it, and what became of
// it so far. A later step reads the values of earlier ones and edits none.
type Shoot struct {
	// Sequence is nil for a planned shoot that nothing answers to.
	Sequence *ingest.Sequence
	// Planned is nil for a sequence that answers to no plan.
	Planned   *plan.Shoot
	MatchedBy plan.How
	// Root is the folder of originals.
	Root string
	// Settings are what was stated for this shoot, by the command line or else
	// by the plan.
	Settings settings.Values
	// Rate is the playback rate; it is decided by Find and nowhere else.
	Rate playback.Rate

	Measured *Measured // by Measure
	Solved   *Solved   // by Solve
	Rendered *Rendered // by Render
	Copied   *Copied   // by CountCopies
	Pictures Pictures  // for the page

	Warnings []string

	ahead *assemble.Ahead // nil where nothing is decoded ahead
}

// Measured is what the pixels of a shoot say, a value a frame.
type Measured struct {
	Curve deflicker.Curve
	Local deflicker.Local
	Bands deflicker.Bands
	// Response is the camera's own, as far as the sequence tells it; nil where
	// it does not, for the reason ResponseWhy.
	Response    *deflicker.Response
	ResponseWhy string
	// LabelEV is the exposure by the camera's labels, NaN where unknown.
	LabelEV []float64
	// HighShare and LowShare are measure.Grid's; NaN where not measured.
	HighShare, LowShare []float64
	// Damage holds what decoding found beyond Frame.Problem, by frame index.
	Damage map[int]measure.Finding
	// Seen is what the pictures show, in pixels of the full still, upright.
	Seen pictures.Found
	// Source says what was decoded: "preview", "reduced", "full", "developed".
	Source string
	// Kept counts the frames whose measurement is that of an earlier run.
	Kept int
	// Develop is how raw files are developed; nil when they are not.
	Develop *develop.Settings

	columns [][]float64         // of each frame, for a forecast of the slice
	thumbs  map[int]image.Image // of some frames, for the strip
}

// Solved is what is to be done about the flicker.
type Solved struct {
	deflicker.Result
	// Corrects is false when the clip is to keep its flicker by request.
	Corrects bool
}

// Rendered is the clip and what was seen in its frames.
type Rendered struct {
	Clip    assemble.Clip
	Gaps    assemble.GapMode
	Flashes []flash.Passage
	// Light is what is left of the faults of light and colour, measured in the
	// frames as they went to the encoder.
	Light deflicker.Figures
}

// InClip tells whether frame k goes into a clip: it is sound and of the form of
// most.
func (s *Shoot) InClip(k int) bool {
	_, apart := slices.BinarySearch(s.Sequence.Apart, k)
	return !apart && s.Sound(k)
}

// Sound tells whether frame k is as the camera wrote it, as far as was looked.
func (s *Shoot) Sound(k int) bool {
	if s.Measured != nil {
		if _, damaged := s.Measured.Damage[k]; damaged {
			return false
		}
	}
	return s.Sequence.Frames[k].Problem == nil
}

// Trouble says why frame k goes into no clip; empty where it does.
func (s *Shoot) Trouble(k int) string {
	switch p := s.Sequence.Frames[k].Problem; {
	case s.InClip(k):
		return ""
	case p != nil:
		return p.Text
	case s.Sound(k):
		return "of another format or size than most"
	}
	d := s.Measured.Damage[k]
	return d.Text
}
