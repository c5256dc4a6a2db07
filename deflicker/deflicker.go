// Package deflicker turns what was measured in each frame into a light curve,
// tells wanted change of light from flicker, and gives each frame's
// correction in EV. Numbers in, numbers out.
package deflicker

import "math"

// FlickerEV is the flicker figure, EV rms, of a light curve l in EV:
//
//	F = sqrt(mean((l[t-1] - 2 l[t] + l[t+1])^2) / 6)
//
// White jitter of standard deviation s gives F = s and any linear trend gives
// 0. Frames that are NaN, and their neighbours, are left out. Fewer than three
// usable frames in a row give NaN.
func FlickerEV(l []float64) float64 {
	var sum float64
	var n int
	for t := 1; t+1 < len(l); t++ {
		d := l[t-1] - 2*l[t] + l[t+1]
		if math.IsNaN(d) || math.IsInf(d, 0) {
			continue
		}
		sum += d * d
		n++
	}
	if n == 0 {
		return math.NaN()
	}
	return math.Sqrt(sum / float64(n) / 6)
}

// PumpingEV is the pumping figure, EV rms, of a light curve l in EV: what of it
// lies in periods of about 8 to 60 frames, between two smooth lines that keep
// half of a wave of either period. A linear trend gives 0. Frames that are NaN
// are left out. Fewer than eight usable frames give NaN.
func PumpingEV(l []float64) float64 {
	w := make([]float64, len(l))
	n := 0.0
	for t := range l {
		if !math.IsNaN(l[t]) && !math.IsInf(l[t], 0) {
			w[t] = 1
			n++
		}
	}
	if n < fastestPump {
		return math.NaN()
	}
	var s float64
	for t, p := range pumping(l, w) {
		s += w[t] * p * p
	}
	return math.Sqrt(s / n)
}

const (
	// Periods of pumping, frames.
	fastestPump, slowestPump = 8, 60
	// pumpShare is the share of white scatter's variance that pumping keeps.
	pumpShare = 0.17
)

// pumping is the part of l that pumps, as far as w is above 0.
func pumping(l, w []float64) []float64 {
	p, slow := smooth(l, w, lines(fastestPump)), smooth(l, w, lines(slowestPump))
	for t := range p {
		p[t] -= slow[t]
	}
	return p
}

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
	// NoiseEV is the standard deviation of a single frame's ExposureEV, from
	// how far the comparisons disagree; NaN when there are too few to tell.
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
