package deflicker

import (
	"math"
	"sort"
)

const (
	// leastStep is the smallest change of the labels, and of the pixels, that
	// counts as a step, EV: under a third stop less the error of its labels.
	leastStep = 0.15
	// labelError is how far a nominal label may be from the exact value, EV.
	labelError = 0.1
	// maxSteps bounds the steps of one sequence.
	maxSteps = 200
)

// stepPlaces finds the frames at which a deliberate change of exposure took
// place, in order, with the size by the labels (NaN without labels). auto is
// true when the labels change so often that the camera, not the photographer,
// set the exposure: then no step is told apart.
func stepPlaces(y, label []float64) (steps []Step, auto bool) {
	if labelled(label) {
		steps = labelSteps(y, label)
	} else {
		steps = pixelSteps(y, leastStep)
	}
	// Places guessed from pixels lie stepWindow apart and are never that many.
	if labelled(label) && (len(steps) > maxSteps || len(steps)*4 > len(y)) {
		return nil, true
	}
	return steps[:min(len(steps), maxSteps)], false
}

// labelled says whether at least nine in ten frames carry a label.
func labelled(label []float64) bool {
	n := 0
	for _, l := range label {
		if !math.IsNaN(l) {
			n++
		}
	}
	return n > 0 && n*10 >= len(label)*9
}

// labelSteps takes the places from the labels and asks the pixels whether
// anything happened there: manual lenses, filters or a label that a camera
// rounds differently change nothing in the picture. What scatter may have hidden
// is left to the joint fit.
func labelSteps(y, label []float64) []Step {
	var steps []Step
	hidden := 3 * math.Sqrt2 * scatter(y)
	last := -1
	for t := range y {
		if math.IsNaN(label[t]) || math.IsNaN(y[t]) {
			continue
		}
		if last >= 0 {
			by, seen := label[t]-label[last], y[t]-y[last]
			if math.Abs(by) > leastStep && (seen*by > 0 && math.Abs(seen) > 0.3*math.Abs(by) || math.Abs(seen-by) < hidden) {
				steps = append(steps, Step{Frame: t, LabelEV: by})
			}
		}
		last = t
	}
	return steps
}

// stepWindow is how many frames on each side a step is looked for in.
const stepWindow = 6

// pixelSteps finds jumps that stay: the lines fitted to the frames before and
// after miss each other by far more than the scatter, at least by least EV, and
// it happens from one frame to the next.
func pixelSteps(y []float64, least float64) []Step {
	least = tellable(y, least)
	if math.IsNaN(least) {
		return nil
	}
	type jump struct {
		t    int
		size float64
	}
	var jumps []jump
	for t := 3; t+3 <= len(y); t++ {
		before, ok1 := lineEnd(y, t-1, -1)
		after, ok2 := lineEnd(y, t, +1)
		if !ok1 || !ok2 || math.IsNaN(y[t]-y[t-1]) {
			continue
		}
		d := after - before
		if math.Abs(d) > least && (y[t]-y[t-1])*d > 0 && math.Abs(y[t]-y[t-1]) > 0.5*math.Abs(d) {
			jumps = append(jumps, jump{t, math.Abs(d)})
		}
	}
	sort.SliceStable(jumps, func(i, j int) bool { return jumps[i].size > jumps[j].size })
	var steps []Step
	for _, j := range jumps {
		free := true
		for _, s := range steps {
			free = free && (j.t-s.Frame >= stepWindow || s.Frame-j.t >= stepWindow)
		}
		if free {
			steps = append(steps, Step{Frame: j.t, LabelEV: math.NaN()})
		}
	}
	sort.Slice(steps, func(i, j int) bool { return steps[i].Frame < steps[j].Frame })
	return steps
}

// tellable is the least step that can be told from scatter in y, at least least
// EV; NaN where there is too little to go by.
//
// The end of a line through m points with scatter s is known to 2 s / sqrt(m),
// the gap between two such ends to 2.8 s / sqrt(m). Two of that lets false
// places in, which the joint fit then finds to be small.
func tellable(y []float64, least float64) float64 {
	return max(least, 2*2.8*scatter(y)/math.Sqrt(stepWindow))
}

// lineEnd fits a line to the stepWindow frames from t on in direction dir and
// returns its value half a frame before t.
func lineEnd(y []float64, t, dir int) (at float64, ok bool) {
	var n, sx, sy, sxx, sxy float64
	for i := range stepWindow {
		k := t + dir*i
		if k < 0 || k >= len(y) {
			break
		}
		if math.IsNaN(y[k]) {
			continue
		}
		x := float64(i) + 0.5
		n++
		sx, sy, sxx, sxy = sx+x, sy+y[k], sxx+x*x, sxy+x*y[k]
	}
	if n < 3 {
		return 0, false
	}
	slope := (n*sxy - sx*sy) / (n*sxx - sx*sx)
	return (sy - slope*sx) / n, true
}

// scatter is the standard deviation of what is white in y, EV, from the
// median size of its second differences; NaN when there are too few.
func scatter(y []float64) float64 {
	var d, w []float64
	for t := 1; t+1 < len(y); t++ {
		if v := math.Abs(y[t-1] - 2*y[t] + y[t+1]); !math.IsNaN(v) {
			d, w = append(d, v), append(w, 1)
		}
	}
	if len(d) == 0 {
		return math.NaN()
	}
	return 1.4826 * selectWeight(d, w, float64(len(d))/2) / math.Sqrt(6)
}

// atLeast leaves out steps whose size in the pixels is below ev.
func atLeast(steps []Step, ev float64) []Step {
	var real []Step
	for _, s := range steps {
		if math.Abs(s.EV) >= ev {
			real = append(real, s)
		}
	}
	return real
}

// stairs sums the steps up, frame by frame.
func stairs(n int, steps []Step) []float64 {
	h := make([]float64, n)
	var sum float64
	k := 0
	for t := range h {
		for k < len(steps) && steps[k].Frame <= t {
			sum += steps[k].EV
			k++
		}
		h[t] = sum
	}
	return h
}

// spreadSteps turns the stairs h into a smooth slope that stays within limit
// EV of them. Where steps are so dense that the smoothing by which light is
// found takes them out by itself, so do they here: then what their sizes are
// off by does not matter. Otherwise the slope bends over periods of twice the
// longest stretch between steps, at least over 2 x period frames.
func spreadSteps(h []float64, steps []Step, period, limit float64) []float64 {
	if len(steps) == 0 {
		return h
	}
	long, last := 0, 0
	for _, s := range steps {
		long, last = max(long, s.Frame-last), s.Frame
	}
	long = max(long, len(h)-last)
	bend := parabolas(period)
	if 2*float64(long) > period {
		bend = lines(max(2*period, 2*float64(long)))
	}
	w := make([]float64, len(h))
	y := append([]float64(nil), h...)
	for t := range w {
		w[t] = 1
	}
	// Points that would leave the limit are drawn to it, harder each time.
	for range 12 {
		s := smooth(y, w, bend)
		out := false
		for t := range s {
			if d := s[t] - h[t]; math.Abs(d) > limit*1.001 {
				y[t] = h[t] + math.Copysign(limit, d)
				w[t] *= 8
				out = true
			}
		}
		if !out {
			return s
		}
	}
	s := smooth(y, w, bend)
	for t := range s {
		s[t] = min(max(s[t], h[t]-limit), h[t]+limit)
	}
	return s
}
