package deflicker

import (
	"math"
	"slices"
)

const (
	// leastColour is the wobble, EV rms, that is left alone.
	leastColour = 0.001
	// leastColourStep is the smallest step of a white balance, EV, that is told
	// from wobble, and mostUnevenStep how far the picture's parts may differ in it:
	// lamps that come on light a part, a white balance moves all.
	leastColourStep, mostUnevenStep = 0.008, 0.5
	// colourLimit is the most by which a channel is corrected against green, EV.
	colourLimit = 0.5
)

// steadyColours is what takes the wobble and the steps out of the curves of
// colour c, EV, and keeps their slow drift: add it to them. noise are the errors
// of single values, NaN where unknown. Frames in out (flashes) and those that
// are NaN have no part and 0. It is nil where a curve is steady within its
// error.
//
// Drift is the smooth line that follows the curve best: straight ones keep to it
// closer at the ends than parabolas do. A white balance steps in both curves at
// once, so that places where one does count for both. steps are those found, each
// with the size it has where it is larger.
//
// uneven is how much more the picture's parts differ in the change into a frame
// than they usually do, EV; nil where that is not known.
func steadyColours(c [2][]float64, out []bool, uneven []float64, noise [2]float64) (add [2][]float64, steps []Step) {
	var places [2][]Step
	for k := range c {
		c[k] = append([]float64(nil), c[k]...)
		for t := range c[k] {
			if out[t] {
				c[k][t] = math.NaN()
			}
		}
		places[k] = pixelSteps(c[k], leastColourStep)
	}
	all := slices.DeleteFunc(eitherStep(places[0], places[1]), func(s Step) bool {
		change := func(c []float64) float64 { return math.Abs(c[s.Frame] - c[s.Frame-1]) }
		return uneven != nil && uneven[s.Frame] > mostUnevenStep*max(change(c[0]), change(c[1]))
	})
	var found [2][]Step
	for k := range c {
		add[k], found[k] = steadyColour(c[k], slices.Clone(all), noise[k])
	}
	return add, eitherStep(found[0], found[1])
}

// eitherStep are the places in a or b, of neighbours that of the larger step.
func eitherStep(a, b []Step) (all []Step) {
	both := slices.Concat(a, b)
	slices.SortFunc(both, func(x, y Step) int { return x.Frame - y.Frame })
	for _, s := range both {
		switch last := len(all) - 1; {
		case last < 0 || s.Frame-all[last].Frame >= stepWindow/2:
			all = append(all, s)
		case math.Abs(s.EV) > math.Abs(all[last].EV):
			all[last] = s
		}
	}
	return all[:min(len(all), maxSteps)]
}

// whiteLight is the usual size of the step that a white balance leaves in the
// light, a share of that in red or blue: red's share of luminance, or none.
const whiteLight = 0.2126

// lessWhite takes the steps of a white balance out of the light, in which they are
// smaller than steps of an exposure may be, and leaves steps, those of the
// exposure. It returns what is to be added to the light for it, nil for nothing.
func (m *model) lessWhite(steps, white []Step, p penalty) []float64 {
	white = slices.DeleteFunc(white, func(w Step) bool {
		return slices.ContainsFunc(steps, func(s Step) bool { return max(s.Frame-w.Frame, w.Frame-s.Frame) < stepWindow/2 })
	})
	if len(white) == 0 {
		return nil
	}
	all := slices.Concat(steps, white)
	slices.SortFunc(all, func(a, b Step) int { return a.Frame - b.Frame })
	for i := range all {
		all[i].LabelEV = math.NaN()
	}
	m.fit(all, p)
	// The share of a step's size that stands above its error (Wiener's).
	off := square(tellable(m.y, 0) / 2)
	var found []Step
	for _, s := range all {
		if i := slices.IndexFunc(white, func(w Step) bool { return w.Frame == s.Frame }); i >= 0 {
			usual := square(whiteLight * white[i].EV)
			s.EV *= usual / (usual + off)
			found = append(found, s)
		}
	}
	add := stairs(len(m.y), found)
	level := new(scratch).quantile(add, ones(len(add)), 0, false)
	m.y = slices.Clone(m.y)
	for t := range add {
		add[t] = level - add[t]
		m.y[t] += add[t]
	}
	m.fit(steps, p)
	return add
}

func steadyColour(c []float64, steps []Step, noise float64) ([]float64, []Step) {
	m := newModel(c, nil)
	if m.measured < fewest {
		return nil, nil
	}
	m.fit(steps, lines(firstPeriod))
	steps = atLeast(steps, tellable(c, leastColourStep))
	m.fit(steps, lines(firstPeriod))
	m.fit(steps, lines(float64(m.driftPeriod())))
	floor := leastColour
	if noise > 0 {
		floor = max(floor, 1.5*noise)
	}
	share := max(0, 1-square(floor/scatter(m.residual())))
	if share == 0 && len(steps) == 0 {
		return nil, nil
	}
	level := new(scratch).quantile(m.stairs, ones(len(c)), 0, false)
	e := make([]float64, len(c))
	for t, x := range c {
		if !math.IsNaN(x) {
			e[t] = level - m.stairs[t] - share*(x-m.light[t]-m.stairs[t])
			e[t] = min(max(e[t], -colourLimit), colourLimit)
		}
	}
	return e, steps
}

// driftPeriod is how slow the drift is that is kept: slower than a white balance
// hunts, unless the colour follows faster changes by far better, as it does where
// the light changes or the view.
func (m *model) driftPeriod() int {
	const byFar = 0.8
	slow, score := m.bestPeriod(periods, lines)
	if fast, better := m.bestPeriod(allPeriods, lines); better < byFar*score {
		return fast
	}
	return slow
}

func ones(n int) []float64 {
	v := make([]float64, n)
	for i := range v {
		v[i] = 1
	}
	return v
}
