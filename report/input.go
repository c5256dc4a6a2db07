package report

import (
	"image"
	"time"

	"stillspan/assemble"
	"stillspan/deflicker"
	"stillspan/ingest"
	"stillspan/ingest/plan"
	"stillspan/internal/playback"
)

// Input is all that a report is made of. Nothing in it is changed.
type Input struct {
	Dump  *ingest.Dump
	Plan  *plan.File    // nil when there is none
	Match plan.Matching // of Plan with Dump.Sequences
	Made  time.Time
	// Rate is the playback rate of shoots for which neither plan nor clip
	// names one; 24 when zero.
	Rate playback.Rate
	// Work is what was done on each sequence, in the order of
	// Dump.Sequences; it may be shorter.
	Work []Work
	// Warnings are remarks on the run, such as a tool that is not installed.
	Warnings []string
}

// Work is what was measured, solved and written for one sequence. The zero
// value is a sequence of which only the headers were read.
type Work struct {
	// Measured is set once Curve and Result hold something.
	Measured bool
	Curve    deflicker.Curve
	Result   deflicker.Result
	// Uncorrected is set when the clip is to keep its flicker by request.
	Uncorrected bool
	// Local is set when the local pass, uneven flicker across the frame, ran.
	Local bool
	// HighShare and LowShare are measure.Grid's shares by frame; nil when not
	// measured, NaN for a frame that could not be.
	HighShare, LowShare []float64
	// Source says what was decoded to measure: "preview", "reduced", "full".
	Source string
	Zone   *Zone // nil for the whole picture

	// Damage holds what decoding found, beyond Frame.Problem, by frame index.
	Damage map[int]Damage

	Clip    *assemble.Clip // nil when none was written
	Rate    playback.Rate  // playback rate ordered; zero to take it from clip or plan
	Gaps    assemble.GapMode
	Flashes []Flash

	// Strip is a film strip of some frames in order, at most about twelve.
	// Before and After are the same frames without and with correction.
	Strip         []image.Image
	Before, After []image.Image
	// Measured picture: one upright frame on which the zone is drawn.
	ZonePicture image.Image

	Warnings []string
}
