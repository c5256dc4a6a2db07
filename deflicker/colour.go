package deflicker

import (
	"math"
	"slices"
)

const (
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
// Drift is the smooth line that follows the curve best: colours of a sunset
// change faster than its light. A white balance steps in both curves at once, so that places where one does
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
	m.fit(steps, parabolas(firstPeriod))
	steps = atLeast(steps, tellable(c, leastColourStep))
	m.fit(steps, parabolas(firstPeriod))
	m.fit(steps, parabolas(float64(m.bestPeriod(slices.Concat(fastPeriods, periods)))))
	floor := leastColour
	if noise > 0 {
		floor = max(floor, 1.5*noise)
	}
	share := max(0, 1-square(floor/scatter(m.residual())))
	if share == 0 && len(steps) == 0 {
		return nil
	}
	level := new(scratch).quantile(m.stairs, ones(len(c)), 0, false)
	e := make([]float64, len(c))
	for t, x := range c {
		if !math.IsNaN(x) {
			e[t] = level - m.stairs[t] - share*(x-m.light[t]-m.stairs[t])
			e[t] = min(max(e[t], -colourLimit), colourLimit)
		}
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
