package pictures

import (
	"cmp"
	"math"
	"slices"
)

// change is that of up to three series at once.
type change [3]float64

func (c change) size() float64 { return math.Sqrt(c.dot(c)) }

func (c change) dot(d change) float64 { return c[0]*d[0] + c[1]*d[1] + c[2]*d[2] }

func (c change) plus(d change) change { return change{c[0] + d[0], c[1] + d[1], c[2] + d[2]} }

// bump is a sudden change of level in a series: from First on, and back after
// Last where it returned.
type bump struct {
	First, Last int
	By          change
	Returned    bool
}

// side is how many steps before and after a change say what steps are usual.
const side = 5

// bumps finds changes of level that are sudden, out of steps less what is usual:
// by more than floor and by more than six times
// their own scatter, taken over all the series and about the place. Two that
// undo each other within most frames are one that returned.
func bumps(steps []change, floor float64, most int, doubt []float64) []bump {
	limit := limits(steps, floor)
	for t, e := range doubt {
		limit[t] = max(limit[t], 5*e)
	}
	var out []bump
	for t := 1; t < len(steps); t++ {
		if steps[t].size() <= limit[t] {
			continue
		}
		b := bump{First: t, Last: t, By: steps[t]}
		for t+1 < len(steps) && steps[t+1].dot(b.By) > 0 && steps[t+1].size() > limit[t+1] {
			t++
			b.By = b.By.plus(steps[t])
		}
		out = append(out, b)
	}
	return paired(out, most)
}

// paired joins changes that undo each other.
func paired(in []bump, most int) []bump {
	var out []bump
	used := make([]bool, len(in))
	for i, b := range in {
		if used[i] {
			continue
		}
		left := b.By
		for j := i + 1; j < len(in) && in[j].First-b.First <= most; j++ {
			left = left.plus(in[j].By)
			if left.size() > 0.35*max(b.By.size(), in[j].By.size()) {
				continue
			}
			b.Last, b.Returned = in[j].First-1, true
			for k := i + 1; k <= j; k++ {
				used[k] = true
			}
			break
		}
		out = append(out, b)
	}
	return out
}

// unusual is each step less what steps are usual before it or, if it is more like
// those, after it.
func unusual(x, y []float64) []change {
	n := len(x)
	out := make([]change, n)
	step := func(t int) change { return change{x[t] - x[t-1], y[t] - y[t-1]} }
	usual := func(from, to int) (m change, ok bool) {
		var vx, vy []float64
		for t := max(1, from); t < min(to, n); t++ {
			v := step(t)
			vx, vy = append(vx, v[0]), append(vy, v[1])
		}
		return change{medianOf(vx), medianOf(vy)}, len(vx) >= 2
	}
	for t := 1; t < n; t++ {
		v, best := step(t), math.Inf(1)
		for _, w := range [][2]int{{t - side, t}, {t + 1, t + 1 + side}} {
			m, ok := usual(w[0], w[1])
			if !ok {
				continue
			}
			d := change{v[0] - m[0], v[1] - m[1]}
			if r := d.size(); r < best {
				best, out[t] = r, d
			}
		}
	}
	return out
}

// around is how far about a place scatter is taken.
const around = 20

// limits is how large a step has to be to stand out.
func limits(steps []change, floor float64) []float64 {
	n := len(steps)
	size := make([]float64, n)
	for t, v := range steps {
		size[t] = v.size()
	}
	// The median of the length of a vector of two normal deviates is 1.18 of
	// their standard deviation.
	sigma := func(from, to int) float64 { return medianOf(slices.Clone(size[max(1, from):min(to, n)])) / 1.18 }
	all := sigma(1, n)
	out := make([]float64, n)
	for t := range out {
		if out[t] = max(floor, 6*all, 6*sigma(t-around, t+around+1)); t < 3 || t >= n-2 {
			out[t] *= 1.5 // only one side says what is usual
		}
	}
	return out
}

// filled interpolates over the NaN of v; ends go on level. All NaN stays.
func filled(v []float64) {
	last := -1
	for t, x := range v {
		if math.IsNaN(x) {
			continue
		}
		for u := last + 1; u < t; u++ {
			if v[u] = x; last >= 0 {
				v[u] = v[last] + (x-v[last])*float64(u-last)/float64(t-last)
			}
		}
		last = t
	}
	if last >= 0 {
		for u := last + 1; u < len(v); u++ {
			v[u] = v[last]
		}
	}
}

// level is that of a series of cells: the median, over the cells, of how far each
// is off its own median over the frames, where all show the same; else joined.
func (s *solver) level(of func(f *frame) []float32, use []bool) []float64 {
	if !s.still() {
		return s.joined(of, use)
	}
	usual, least := s.usual(of), s.least(use)
	level := make([]float64, s.n)
	var off []float64
	for t := range s.n {
		level[t] = math.NaN()
		if f := &s.m.frames[t]; f.known && !s.spoil[t] {
			off = off[:0]
			for c, v := range of(f) {
				if d := float64(v) - usual[c]; !math.IsNaN(d) && s.shows(t, c, use) {
					off = append(off, d)
				}
			}
			if len(off) >= least {
				level[t] = medianOf(off)
			}
		}
	}
	filled(level)
	return level
}

// least is how many of the cells of use it takes to tell of all.
func (s *solver) least(use []bool) int {
	n := 0
	for _, u := range use {
		if u {
			n++
		}
	}
	if use == nil {
		return s.m.cw * s.m.ch / 10
	}
	return max(4, n/6)
}

// shows tells whether cell c is one of use and shows in frame t what it usually does.
func (s *solver) shows(t, c int, use []bool) bool {
	return (use == nil || use[c]) && !s.hidden[t][c]
}

// usual is the median of each cell over the frames; NaN where most do not tell.
func (s *solver) usual(of func(f *frame) []float32) []float64 {
	out := make([]float64, s.m.cw*s.m.ch)
	col := make([]float64, 0, s.n)
	for c := range out {
		col = col[:0]
		for t := range s.n {
			if f := &s.m.frames[t]; f.known && !s.spoil[t] && s.shows(t, c, nil) {
				if v := float64(of(f)[c]); !math.IsNaN(v) {
					col = append(col, v)
				}
			}
		}
		if out[c] = math.NaN(); 2*len(col) > s.n {
			out[c] = medianOf(col)
		}
	}
	return out
}

// joined is the level of a series of cells: the sum, frame after frame, of the
// median change of the cells since the last frame that counts.
func (s *solver) joined(of func(f *frame) []float32, use []bool) []float64 {
	level, least := make([]float64, s.n), s.least(use)
	prev := -1
	var diff []float64
	for t := range s.n {
		level[t] = math.NaN()
		f := &s.m.frames[t]
		if !f.known || s.spoil[t] {
			continue
		}
		if prev < 0 {
			level[t], prev = 0, t
			continue
		}
		diff = diff[:0]
		now, was := of(f), of(&s.m.frames[prev])
		for c := range now {
			if d := float64(now[c] - was[c]); !math.IsNaN(d) && s.shows(t, c, use) && s.shows(prev, c, use) {
				diff = append(diff, d)
			}
		}
		if len(diff) < least {
			continue
		}
		level[t], prev = level[prev]+medianOf(diff), t
	}
	filled(level)
	return level
}

// weighted is a value and how much it counts.
type weighted struct{ v, w float64 }

// weightedMedian sorts v.
func weightedMedian(v []weighted) float64 {
	slices.SortFunc(v, func(a, b weighted) int { return cmp.Compare(a.v, b.v) })
	sum := 0.0
	for _, x := range v {
		sum += x.w
	}
	at := 0.0
	for _, x := range v {
		if at += x.w; at >= sum/2 {
			return x.v
		}
	}
	return math.NaN()
}

// change is the median change of the cells from frame a to frame b; NaN where
// too few tell.
func (s *solver) change(of func(f *frame) []float32, a, b int) float64 {
	now, was := of(&s.m.frames[b]), of(&s.m.frames[a])
	var diff []float64
	for c := range min(len(now), len(was)) {
		if d := float64(now[c] - was[c]); !math.IsNaN(d) && s.shows(a, c, nil) && s.shows(b, c, nil) {
			diff = append(diff, d)
		}
	}
	if len(diff) < s.least(nil) {
		return math.NaN()
	}
	return medianOf(diff)
}

// settled says of a change of level that did not return whether it lasts, by
// frames some way before and after.
func (s *solver) settled(b bump, lasts func(before, after int) float64, size float64) bool {
	before, after := max(0, b.First-2), min(s.n-1, b.First+4)
	d := lasts(before, after)
	return math.IsNaN(d) || math.Abs(d) > size/2
}
