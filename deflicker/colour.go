package deflicker

import (
	"math"
	"slices"
)

const (
	// colourPeriod is the period, frames, from which a change of colour is the
	// scene's (a sunset): faster ones, and the steps of an automatic white
	// balance, are the camera's.
	colourPeriod = 96
	// leastColour is the wobble, EV rms, that is left alone.
	leastColour = 0.001
	// leastColourStep is the smallest step of a white balance, EV, that is told
	// from wobble.
	leastColourStep = 0.02
	// colourLimit is the most by which a channel is corrected against green, EV.
	colourLimit = 0.5
)

// steadyColours is what takes the wobble and the steps out of the curves of
// colour c, EV, and keeps their slow drift: add it to them. noise are the errors
// of single values, NaN where unknown. Frames in out (flashes) and those that
// are NaN have no part and 0. It is nil where a curve is steady within its
// error.
//
// A white balance steps in both curves at once, so that places where one does
// count for both.
func steadyColours(c [2][]float64, out []bool, noise [2]float64) (add [2][]float64) {
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
	all := eitherStep(places[0], places[1])
	for k := range c {
		add[k] = steadyColour(c[k], slices.Clone(all), noise[k])
	}
	return add
}

// eitherStep are the places in a or b, of neighbours the first.
func eitherStep(a, b []Step) []Step {
	all := slices.Concat(a, b)
	slices.SortFunc(all, func(x, y Step) int { return x.Frame - y.Frame })
	all = slices.CompactFunc(all, func(x, y Step) bool { return max(x.Frame-y.Frame, y.Frame-x.Frame) < stepWindow/2 })
	return all[:min(len(all), maxSteps)]
}

func steadyColour(c []float64, steps []Step, noise float64) []float64 {
	m := newModel(c, nil)
	if m.measured < fewest {
		return nil
	}
	m.fit(steps, parabolas(colourPeriod))
	if real := atLeast(steps, tellable(c, leastColourStep)); len(real) < len(steps) {
		m.fit(real, parabolas(colourPeriod))
	}
	level := new(scratch).quantile(m.stairs, ones(len(c)), 0, false)
	e := make([]float64, len(c))
	var sum float64
	for t, x := range c {
		if !math.IsNaN(x) {
			e[t] = m.light[t] + level - x
			sum += e[t] * e[t]
		}
	}
	floor := leastColour
	if noise > 0 {
		floor = max(floor, 1.5*noise)
	}
	share := 1 - square(floor)*float64(m.measured)/sum
	if !(share > 0) {
		return nil
	}
	for t := range e {
		e[t] = min(max(share*e[t], -colourLimit), colourLimit)
	}
	return e
}

func ones(n int) []float64 {
	v := make([]float64, n)
	for i := range v {
		v[i] = 1
	}
	return v
}

// ColourEV is the colour flicker, EV rms: FlickerEV of red against green or of
// blue against green, whichever is larger. NaN where neither can be told.
func ColourEV(red, blue []float64) float64 {
	r, b := FlickerEV(red), FlickerEV(blue)
	if math.IsNaN(r) || b > r {
		return b
	}
	return r
}
