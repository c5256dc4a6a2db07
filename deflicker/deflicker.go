// Package deflicker turns what was measured in each frame into a light curve,
// tells wanted change of light from flicker, and gives each frame's
// correction in EV. Numbers in, numbers out.
package deflicker

// Grid is one frame reduced to W x H cells, row-major, as the picture is
// stored.
type Grid struct {
	W, H int
	// Code is the mean channel value of each cell, as encoded, 0 to 1: R', G'
	// and B'.
	Code [3][]float64
	// Clip is the share, 0 to 1, of each cell's samples that lie at the white
	// end or so near black that they say nothing of exposure; 1, with Code 0,
	// where nothing of the cell is known.
	Clip []float64
}

// Curve is the light of a sequence, frame by frame, in EV.
type Curve struct {
	// LumEV is log2 of the (zone-weighted) mean linear luminance of each
	// frame; NaN where the frame could not be measured.
	LumEV []float64
	// ExposureEV is the part of LumEV that moves the whole picture at once:
	// robust exposure ratios between neighbours, joined over several lags.
	// Its zero is arbitrary. NaN where the frame could not be measured.
	ExposureEV []float64
	// SpreadEV is how much the picture's parts disagree about the change
	// from the frame before, EV.
	SpreadEV []float64
	// PartsEV is by how much the picture's parts usually differ from the whole
	// in changes of 8 to 60 frames, EV; nil where that is not known.
	PartsEV []float64
	// NoiseEV is the standard deviation of a single frame's ExposureEV, from
	// how far two halves of the picture disagree; NaN when there are too few
	// frames to tell.
	NoiseEV float64
	// RedEV and BlueEV are by how much red and blue are exposed more than
	// green, EV, each from an arbitrary zero; ColourNoiseEV are their errors.
	// ExposureEV is then the mean of the channels, weighted as in luminance.
	RedEV, BlueEV []float64
	ColourNoiseEV [2]float64
}

// Step is a deliberate change of exposure between frames Frame-1 and Frame.
type Step struct {
	Frame   int
	EV      float64 // size, measured in the pixels
	LabelEV float64 // size by the EXIF labels, which may be off by 0.1 EV
}

// Event is a short true change of the scene's light that is kept as it is.
type Event struct {
	First, Last int
	EV          float64 // peak, EV
}

// Result is a solved curve.
type Result struct {
	TrendEV      []float64 // the light that is kept, on ExposureEV's scale
	CorrectionEV []float64 // add to each frame, EV; 0 where nothing is known
	// RedEV and BlueEV are by how much red and blue are to be exposed more
	// than green, on top of CorrectionEV: see Channels. nil where colours are
	// steady.
	RedEV, BlueEV []float64
	Steps         []Step
	Events        []Event
	// SmoothFrames is the period, in frames, that parted light from flicker;
	// 0 when nothing was solved.
	SmoothFrames int
	// FlickerBefore and FlickerAfter are FlickerEV of the curve without and
	// with the corrections.
	FlickerBefore, FlickerAfter float64
	// ColourBefore and ColourAfter are ColourEV of the colours.
	ColourBefore, ColourAfter float64
	// PumpingBefore and PumpingAfter are PumpingEV of the same.
	PumpingBefore, PumpingAfter float64
	// Confidence is "good", "fair" or "poor"; Why says what stands against it.
	Confidence, Why string
}
