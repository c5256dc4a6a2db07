package deflicker

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Options says what counts as flicker. DefaultOptions gives the defaults.
type Options struct {
	// SmoothFrames is the period, in frames, that parts light from flicker:
	// changes that take longer are kept, faster ones are removed. 4 to 2000.
	SmoothFrames int
	// LimitEV is the most by which any frame is corrected, EV, over 0 to 6.
	LimitEV float64
	// KeepSteps leaves deliberate changes of exposure as they are.
	KeepSteps bool
}

// DefaultOptions suits clips of a day's light at usual playback rates.
func DefaultOptions() Options { return Options{SmoothFrames: 40, LimitEV: 1.5} }

// Validate says which option is out of its range.
func (o Options) Validate() error {
	if o.SmoothFrames < 4 || o.SmoothFrames > maxSmooth {
		return fmt.Errorf("smoothing over %d frames: must be 4 to %d", o.SmoothFrames, maxSmooth)
	}
	if !(o.LimitEV > 0 && o.LimitEV <= 6) {
		return fmt.Errorf("correction limit %g EV: must be over 0 and at most 6", o.LimitEV)
	}
	return nil
}

const (
	// fewest measured frames from which light and flicker can be told apart.
	fewest = 5
	// invisible is the scatter, EV rms, that is left alone: 0.2 % of light, a
	// quarter of a code of 255 at middle grey.
	invisible = 0.003
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
	m := newModel(y, c.SpreadEV)
	if m.measured < fewest {
		r.Confidence, r.Why = "poor", fmt.Sprintf("%d measured frames are too few to tell light from flicker", m.measured)
		return r, nil
	}
	steps, auto := stepPlaces(y, c.SpreadEV, labelEV)
	m.fit(steps, penalty(float64(opt.SmoothFrames)))
	r.Events = m.events()
	kept := m.stairs
	if !opt.KeepSteps {
		kept = spreadSteps(m.stairs, steps, float64(opt.SmoothFrames), 0.8*opt.LimitEV)
	}
	shrink := m.shrink(c.NoiseEV)
	for t := range y {
		r.TrendEV[t] = m.light[t] + kept[t]
		corr := kept[t] - m.stairs[t]
		if !math.IsNaN(y[t]) && !m.event[t] {
			e := y[t] - m.light[t] - m.stairs[t]
			corr -= e * shrink(e)
		}
		r.CorrectionEV[t] = min(max(corr, -opt.LimitEV), opt.LimitEV)
	}
	r.Steps = steps
	after := make([]float64, n)
	for t := range after {
		after[t] = y[t] + r.CorrectionEV[t]
	}
	r.FlickerAfter = FlickerEV(after)
	r.Confidence, r.Why = confidence(c, m, auto)
	return r, nil
}

// model is the fitted light curve.
type model struct {
	y, spread []float64
	measured  int
	usual     float64 // usual spread, EV
	light     []float64
	stairs    []float64
	event     []bool
	sigma     float64 // robust scatter about light and stairs, EV
}

func newModel(y, spread []float64) *model {
	m := &model{y: y, spread: spread, event: make([]bool, len(y))}
	var v, w []float64
	for t := range y {
		if math.IsNaN(y[t]) {
			continue
		}
		m.measured++
		if t < len(spread) && !math.IsNaN(spread[t]) {
			v, w = append(v, spread[t]), append(w, 1)
		}
	}
	m.usual = math.NaN()
	if len(v) > 0 {
		m.usual = selectWeight(v, w, float64(len(v))/2)
	}
	return m
}

// fit finds light and step sizes together, reweighting so that frames far off
// (events, misfires) do not pull, and sets the steps' EV.
func (m *model) fit(steps []Step, lambda float64) {
	n := len(m.y)
	w := make([]float64, n)
	for t := range w {
		if !math.IsNaN(m.y[t]) {
			w[t] = 1
		}
	}
	for range 6 {
		m.fitOnce(steps, w, lambda)
		m.sigma = m.residualSigma()
		m.markEvents()
		c := 4.685 * max(m.sigma, 0.25*invisible)
		for t := range w {
			w[t] = 0
			if u := (m.y[t] - m.light[t] - m.stairs[t]) / c; math.Abs(u) < 1 && !m.event[t] {
				w[t] = (1 - u*u) * (1 - u*u)
			}
		}
	}
}

// fitOnce solves for light z and step sizes s:
//
//	minimise sum w (y - z - H s)^2 + lambda sum (second difference of z)^2
//
// where column k of H is 1 from step k on.
func (m *model) fitOnce(steps []Step, w []float64, lambda float64) {
	n, k := len(m.y), len(steps)
	sm, ok := newSmoother(w, lambda)
	if !ok {
		// Fewer than two frames left: keep the fit there is.
		if m.light == nil {
			m.light, m.stairs = append([]float64(nil), m.y...), make([]float64, n)
		}
		return
	}
	b := mat.NewDense(n, 1+k, nil)
	for t := range n {
		if w[t] == 0 {
			continue
		}
		b.Set(t, 0, w[t]*m.y[t])
		for j, s := range steps {
			if t >= s.Frame {
				b.Set(t, 1+j, w[t])
			}
		}
	}
	z := sm.solve(b)
	if k > 0 {
		m.sizeSteps(steps, w, b, z)
	}
	m.light, m.stairs = make([]float64, n), stairs(n, steps)
	for t := range n {
		m.light[t] = z.At(t, 0)
		for j, s := range steps {
			m.light[t] -= s.EV * z.At(t, 1+j)
		}
	}
}

// sizeSteps solves the normal equations for the step sizes, with a faint pull
// towards the labels' size for steps that the frames do not settle.
func (m *model) sizeSteps(steps []Step, w []float64, b, z *mat.Dense) {
	k := len(steps)
	a, rhs := mat.NewSymDense(k, nil), mat.NewVecDense(k, nil)
	for i, s := range steps {
		for t := s.Frame; t < len(w); t++ {
			if w[t] == 0 {
				continue
			}
			rhs.SetVec(i, rhs.AtVec(i)+w[t]*(m.y[t]-z.At(t, 0)))
			for j := i; j < k; j++ {
				h := 0.0
				if t >= steps[j].Frame {
					h = 1
				}
				a.SetSym(i, j, a.At(i, j)+w[t]*(h-z.At(t, 1+j)))
			}
		}
		const pull = 0.01
		a.SetSym(i, i, a.At(i, i)+pull)
		if !math.IsNaN(s.LabelEV) {
			rhs.SetVec(i, rhs.AtVec(i)+pull*s.LabelEV)
		}
	}
	var size mat.VecDense
	if err := size.SolveVec(a, rhs); err != nil && size.Len() != k {
		return
	}
	for i := range steps {
		steps[i].EV = size.AtVec(i)
	}
}

func (m *model) residualSigma() float64 {
	var v, w []float64
	for t := range m.y {
		if e := m.y[t] - m.light[t] - m.stairs[t]; !math.IsNaN(e) {
			v, w = append(v, math.Abs(e)), append(w, 1)
		}
	}
	return 1.4826 * selectWeight(v, w, float64(len(v))/2)
}

// markEvents finds short runs of frames that are far off the light and in
// which the parts of the picture disagree about the change: an error of
// exposure moves all parts alike, a flash does not.
func (m *model) markEvents() {
	far := max(5*m.sigma, 0.05)
	first := -1
	for t := 0; t <= len(m.y); t++ {
		if t < len(m.y) {
			m.event[t] = false
			if e := m.y[t] - m.light[t] - m.stairs[t]; math.Abs(e) > far {
				if first < 0 {
					first = t
				}
				continue
			}
		}
		if first >= 0 && t-first <= longestEvent && m.uneven(first, t) {
			for i := first; i < t; i++ {
				m.event[i] = true
			}
		}
		first = -1
	}
}

// uneven says whether the change into or out of frames from to end-1 differs
// across the picture far more than changes usually do.
func (m *model) uneven(from, end int) bool {
	limit := 3*m.usual + 0.02
	for _, t := range []int{from, end} {
		if t < len(m.spread) && m.spread[t] > limit {
			return true
		}
	}
	return false
}

func (m *model) events() []Event {
	var ev []Event
	for t := 0; t < len(m.y); t++ {
		if !m.event[t] {
			continue
		}
		e := Event{First: t, Last: t}
		for ; t < len(m.y) && m.event[t]; t++ {
			e.Last = t
			if d := m.y[t] - m.light[t] - m.stairs[t]; math.Abs(d) > math.Abs(e.EV) {
				e.EV = d
			}
		}
		ev = append(ev, e)
	}
	return ev
}

// shrink is the share of a deviation e that is corrected: none of what is
// measurement error or too small to see, nearly all of what stands well above
// (the Wiener factor 1 - noise^2/scatter^2, by the sequence's scatter or, for
// single frames far off, by their own).
func (m *model) shrink(noise float64) func(e float64) float64 {
	floor := invisible
	if noise > 0 {
		floor = max(floor, 1.5*noise)
	}
	all := max(0, 1-square(floor/m.sigma))
	return func(e float64) float64 {
		return max(all, 1-square(4*floor/e))
	}
}

func square(x float64) float64 { return x * x }

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
