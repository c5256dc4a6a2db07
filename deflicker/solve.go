package deflicker

import (
	"fmt"
	"math"
)

// Options says what counts as flicker. DefaultOptions gives the defaults.
type Options struct {
	// SmoothFrames is the period, in frames, that parts light from flicker:
	// changes that take longer are kept, faster ones are removed. 4 to 2000;
	// 0 chooses by the sequence, from 72 up unless its light changes faster.
	SmoothFrames int
	// LimitEV is the most by which any frame is corrected, EV, over 0 to 6.
	LimitEV float64
	// KeepSteps leaves deliberate changes of exposure as they are.
	KeepSteps bool
	// KeepColour leaves colours as they are.
	KeepColour bool
}

// DefaultOptions suits clips of a day's light at usual playback rates.
func DefaultOptions() Options { return Options{LimitEV: 1.5} }

// Validate says which option is out of its range.
func (o Options) Validate() error {
	if o.SmoothFrames != 0 && (o.SmoothFrames < 4 || o.SmoothFrames > maxSmooth) {
		return fmt.Errorf("smoothing over %d frames: must be 4 to %d, or 0 to choose by the sequence", o.SmoothFrames, maxSmooth)
	}
	if !(o.LimitEV > 0 && o.LimitEV <= 6) {
		return fmt.Errorf("correction limit %g EV: must be over 0 and at most 6", o.LimitEV)
	}
	return nil
}

const (
	// fewest measured frames from which light and flicker can be told apart.
	fewest = 5
	// invisible is the scatter, EV rms, that is left alone: 0.14 % of light, a
	// sixth of a code of 255 at middle grey.
	invisible = 0.002
	// longestEvent is the most frames a short event lasts.
	longestEvent = 8
)

// Solve tells light from flicker. The light curve is taken as
//
//	light + exposure steps + scatter (+ short events)
//
// Light is a smooth line, fitted together with the sizes of the steps by
// penalised least squares that frames far off do not pull. What is kept is
// the light plus the steps spread to a smooth slope; the rest is corrected,
// as far as it exceeds the error of measurement. Frames in which the parts of
// the picture change differently (lightning, headlights that fill the frame)
// are events and keep their light.
//
// labelEV is each frame's ExposureLabelEV, NaN where unknown, or nil. It says
// where steps are; their size comes from the curve. Frames with NaN in the
// curve are corrected by the spread of the steps only. With fewer than five
// measured frames nothing is corrected.
func Solve(c Curve, labelEV []float64, opt Options) (Result, error) {
	if err := opt.Validate(); err != nil {
		return Result{}, err
	}
	n := len(c.ExposureEV)
	if labelEV != nil && len(labelEV) != n {
		return Result{}, fmt.Errorf("%d exposure labels for %d frames", len(labelEV), n)
	}
	y := c.ExposureEV
	r := Result{
		TrendEV:      append([]float64(nil), y...),
		CorrectionEV: make([]float64, n),
	}
	r.FlickerBefore = FlickerEV(y)
	r.FlickerAfter = r.FlickerBefore
	r.PumpingBefore = PumpingEV(y)
	r.PumpingAfter = r.PumpingBefore
	m := newModel(y, c.SpreadEV)
	m.parts = c.PartsEV
	if m.measured < fewest {
		r.ColourBefore = ColourEV(c.RedEV, c.BlueEV)
		r.ColourAfter = r.ColourBefore
		r.Confidence, r.Why = "poor", fmt.Sprintf("%d measured frames are too few to tell light from flicker", m.measured)
		return r, nil
	}
	steps, auto := stepPlaces(y, labelEV)
	first := opt.SmoothFrames
	if first == 0 {
		first = firstPeriod
	}
	bend := parabolas(float64(first))
	steps = m.fitReal(steps, bend)
	var white []float64
	if places := r.colour(c, m, opt); len(places) > 0 {
		white = m.lessWhite(steps, places, bend)
	}
	r.SmoothFrames = m.settle(steps, opt.SmoothFrames)
	r.Steps, r.Events = steps, m.events()
	r.correct(m, white, c.NoiseEV, opt)
	after := plus(y, r.CorrectionEV)
	r.FlickerAfter, r.PumpingAfter = FlickerEV(after), PumpingEV(after)
	r.Confidence, r.Why = confidence(c, m, auto)
	return r, nil
}

// fitReal fits light and steps, and returns those steps that are real. Others are
// dropped in two goes, as each takes part of its neighbours' size.
func (m *model) fitReal(steps []Step, bend penalty) []Step {
	m.fit(steps, bend)
	for _, least := range []float64{leastStep / 2, leastStep} {
		if real := atLeast(steps, least); len(real) < len(steps) {
			steps = real
			m.fit(steps, bend)
		}
	}
	return steps
}

// correct fills in what is kept and what is added to each frame: white is what the
// steps of a white balance ask for, nil for nothing, and noise Curve.NoiseEV.
func (r *Result) correct(m *model, white []float64, noise float64, opt Options) {
	kept := m.stairs
	if !opt.KeepSteps {
		kept = spreadSteps(m.stairs, r.Steps, float64(r.SmoothFrames), 0.8*opt.LimitEV)
	}
	shrink := m.shrink(noise)
	for t := range m.y {
		r.TrendEV[t] = m.light[t] + kept[t]
		corr := kept[t] - m.stairs[t]
		if !math.IsNaN(m.y[t]) && !m.event[t] {
			corr -= (m.y[t] - m.light[t] - m.stairs[t]) * shrink(t)
		}
		if white != nil {
			corr += white[t]
		}
		r.CorrectionEV[t] = min(max(corr, -opt.LimitEV), opt.LimitEV)
	}
}

// colour tells drift of the colours from their wobble, and returns the steps of
// a white balance.
func (r *Result) colour(c Curve, m *model, opt Options) []Step {
	r.ColourBefore = ColourEV(c.RedEV, c.BlueEV)
	r.ColourAfter = r.ColourBefore
	if opt.KeepColour || len(c.RedEV) != len(m.y) || len(c.BlueEV) != len(m.y) {
		return nil
	}
	add, steps := steadyColours([2][]float64{c.RedEV, c.BlueEV}, m.event, m.unevenness(), c.ColourNoiseEV)
	r.RedEV, r.BlueEV = add[0], add[1]
	r.ColourAfter = ColourEV(plus(c.RedEV, r.RedEV), plus(c.BlueEV, r.BlueEV))
	return steps
}

// plus adds b to a; nil is 0.
func plus(a, b []float64) []float64 {
	if b == nil {
		return a
	}
	c := make([]float64, len(a))
	for i := range c {
		c[i] = a[i] + b[i]
	}
	return c
}

// confidence puts in a word how far the corrections can be trusted.
func confidence(c Curve, m *model, auto bool) (word, why string) {
	word = "good"
	worse := func(to, because string) {
		if word != "poor" {
			word = to
		}
		if why != "" {
			why += "; "
		}
		why += because
	}
	if lost := len(m.y) - m.measured; lost*20 > len(m.y) {
		worse("fair", fmt.Sprintf("%d of %d frames could not be measured", lost, len(m.y)))
	}
	if m.measured < 12 {
		worse("fair", fmt.Sprintf("only %d measured frames", m.measured))
	}
	if auto {
		worse("fair", "the exposure labels change all the time, so steps cannot be told from flicker")
	}
	switch {
	case m.usual > 0.2 || c.NoiseEV > 0.03:
		worse("poor", fmt.Sprintf("the scene moves too much between frames to tell (its parts disagree by %.2f EV)", m.usual))
	case m.usual > 0.08 || c.NoiseEV > 0.01:
		worse("fair", fmt.Sprintf("the scene moves a lot between frames (its parts disagree by %.2f EV)", m.usual))
	}
	return word, why
}
