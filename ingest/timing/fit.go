package timing

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"
)

const minTimed = 4 // shots with a time below which no cadence is spoken of

// Fit finds the cadence of the shots, which are in the order taken, and what
// departs from it. Stamps are taken as floored to the clock's tick.
//
// Interval and start are fitted by least squares to stamp against cadence
// place, missing frames being whole places skipped, and narrowed to what the
// floored stamps leave possible. Where the cadence was delayed and ran on from
// there, the pieces share one interval and have each their own start.
func Fit(shots []Shot, opt Options) Result {
	s := newSeries(shots)
	if len(s.t) < minTimed {
		return Result{Why: fmt.Sprintf("only %d frames carry a time; a cadence needs %d", len(s.t), minTimed), Slot: countOn(len(shots))}
	}
	r := s.roughInterval()
	if r.interval <= 0 {
		return Result{TickS: s.tick, Why: "the times do not move on from frame to frame", Slot: countOn(len(shots))}
	}
	stretches, changes, ok := s.stretches(opt, 0)
	if ok && len(changes) <= 2 {
		return joinStretches(shots, s, stretches, changes, opt)
	}
	if r.share < opt.SteadyShare || r.spread > opt.MaxSpread {
		return Result{TickS: s.tick, Slot: countOn(len(shots)),
			Why: fmt.Sprintf("no steady interval: only %.0f %% of the steps lie near %.3g s, with a scatter of %.0f %%", 100*r.share, r.interval, 100*r.spread)}
	}
	return freeRunning(shots, s, r, opt)
}

// countOn is the places of frames of which only the order is known.
func countOn(n int) []int {
	slot := make([]int, n)
	for i := range slot {
		slot[i] = i
	}
	return slot
}

// stretches lays s on one grid, or on several where the interval changed; the
// last shot of a stretch is the first of the next.
func (s series) stretches(opt Options, depth int) (all []*grid, changes []int, ok bool) {
	r := s.roughInterval()
	cut := s.stepChange(r, opt)
	if cut == 0 {
		if r.interval <= 0 || r.share < opt.SteadyShare || r.spread > opt.MaxSpread {
			return nil, nil, false
		}
		g, bend, ok := fitGrid(s, r, opt.LateFraction)
		if !ok || bend == 0 {
			return []*grid{g}, nil, ok && !g.wanders(r)
		}
		cut = bend
	}
	if depth == 3 {
		return nil, nil, false
	}
	left, lc, ok := s.part(0, cut+1).stretches(opt, depth+1)
	if !ok {
		return nil, nil, false
	}
	right, rc, ok := s.part(cut, len(s.t)).stretches(opt, depth+1)
	if !ok {
		return nil, nil, false
	}
	changes = append(lc, cut)
	for _, c := range rc {
		changes = append(changes, cut+c)
	}
	return append(left, right...), changes, true
}

// wanders reports whether the frames stray further from the grid than their
// steps do from each other. On a grid steps scatter by the square root of two
// more than places; where every frame is timed from the one before, steps
// scatter little and their sum runs away. No clock scatters by 15 % of its own
// interval either.
func (g *grid) wanders(r rough) bool {
	c := g.interval()
	return c.jitter > r.spread*r.interval+g.tick/2 ||
		c.jitter > 0.4*g.tick && (c.jitter > 0.15*g.p || c.rho > 0.5 && c.jitter > 0.05*g.p)
}

// stepChange finds a change of the interval so large that single steps show
// it: the split at which the mean of the steps, long pauses cut down, differs
// most, if each side is steady by itself and they differ by a quarter.
func (s series) stepChange(r rough, opt Options) int {
	n := len(s.t) - 1
	if n < 2*minChange || r.interval <= 0 {
		return 0
	}
	step := make([]float64, n)
	var total float64
	for i := range step {
		k := float64(max(1, s.numberStep(i, i+1)))
		step[i] = min(max((s.t[i+1]-s.t[i])/k, 0), 3*r.interval)
		total += step[i]
	}
	var best, sum float64
	var cut int
	for i := 1; i < n; i++ {
		sum += step[i-1]
		a, b := float64(i), float64(n-i)
		d := sum/a - (total-sum)/b
		if gain := d * d * a * b; gain > best && i >= minChange && n-i >= minChange {
			best, cut = gain, i
		}
	}
	if cut == 0 {
		return 0
	}
	left, right := s.part(0, cut+1).roughInterval(), s.part(cut, len(s.t)).roughInterval()
	for _, side := range []rough{left, right} {
		if side.share < max(0.8, opt.SteadyShare) || side.spread > 0.1 {
			return 0
		}
	}
	if math.Abs(left.interval-right.interval) < 0.25*min(left.interval, right.interval)+s.tick/8 {
		return 0
	}
	return cut
}

// joinStretches reads the finished grids into one result.
func joinStretches(shots []Shot, s series, grids []*grid, changes []int, opt Options) Result {
	res := Result{Judged: true, TickS: s.tick}
	slot := make([]int, len(s.t))
	off := make([]float64, len(s.t))
	limit := make([]float64, len(s.t))
	first, base, longest := 0, 0, 0
	for k, g := range grids {
		iv := g.interval()
		if k > 0 {
			res.Changes = append(res.Changes, Change{s.index[first], grids[k-1].p, iv.p})
		}
		if len(g.t) > longest {
			longest = len(g.t)
			res.IntervalS, res.UncertaintyS, res.JitterRMSS = iv.p, iv.sd, iv.jitter
		}
		if k == 0 {
			res.StartS = s.base + g.level[0]
		}
		// A stamp leaves half a tick open, which is not held against the frame.
		lim := max(opt.LateFraction*iv.p+s.tick/2, s.tick) + 4*min(iv.jitter, 0.3*iv.p)
		for i := range g.t {
			slot[first+i] = base + g.slot[i] - g.slot[0]
			off[first+i] = g.offset(i)
			limit[first+i] = lim
		}
		for j := 1; j < len(g.piece); j++ {
			at := g.piece[j]
			by := g.level[j] - g.level[j-1]
			if g.slot[at]-g.slot[at-1] == 1 && math.Abs(by) > max(opt.LateFraction*iv.p, s.tick) {
				res.Delays = append(res.Delays, Delay{s.index[first+at], by})
			}
		}
		base = slot[first+len(g.t)-1]
		first += len(g.t) - 1
	}
	for i := range s.t {
		res.Irregular = appendIrregular(res.Irregular, s, slot, off, limit[i], i)
	}
	res.Slot = fillSlots(shots, s, slot)
	res.Gaps = gaps(shots, res.Slot, res.IntervalS)
	res.TooLong = tooLong(shots, res.IntervalS)
	return res
}

// appendIrregular names shot i if it is off the cadence.
func appendIrregular(list []Irregular, s series, slot []int, off []float64, limit float64, i int) []Irregular {
	if i > 0 && slot[i] == slot[i-1] {
		// Two frames for one place: the one further off is the extra.
		extra := i
		if math.Abs(off[i-1]) > math.Abs(off[i]) {
			extra = i - 1
		}
		if n := len(list); n > 0 && list[n-1].Index == s.index[extra] {
			list = list[:n-1]
		}
		return append(list, Irregular{s.index[extra], Double, off[extra]})
	}
	switch {
	case off[i] > limit:
		return append(list, Irregular{s.index[i], Late, off[i]})
	case off[i] < -limit:
		return append(list, Irregular{s.index[i], Early, off[i]})
	}
	return list
}

// offset is how far the moment of shot i lies from its place. A shot beside a
// restart may belong to either piece; the nearer one counts.
func (g *grid) offset(i int) float64 {
	k := 0
	for k+1 < len(g.piece) && g.piece[k+1] <= i {
		k++
	}
	r := g.residual(i) + g.tick/2
	best := r - g.level[k]
	if k > 0 && i == g.piece[k] && math.Abs(r-g.level[k-1]) < math.Abs(best) {
		best = r - g.level[k-1]
	}
	if k+1 < len(g.piece) && i == g.piece[k+1]-1 && math.Abs(r-g.level[k+1]) < math.Abs(best) {
		best = r - g.level[k+1]
	}
	return best
}

// freeRunning judges a set in which every frame is timed from the one before:
// steps are independent, so departures add up and there is no grid.
func freeRunning(shots []Shot, s series, r rough, opt Options) Result {
	res := Result{Judged: true, FreeRunning: true, TickS: s.tick}
	n := len(s.t)
	p := r.interval
	var near []float64
	for range 3 { // settles which steps count as one interval
		near = near[:0]
		for i := 0; i+1 < n; i++ {
			if d := s.t[i+1] - s.t[i]; math.Abs(d-p) <= 0.25*p+s.tick {
				near = append(near, d)
			}
		}
		p = stat.Mean(near, nil)
	}
	sd := math.Sqrt(max(0, stat.Variance(near, nil)-s.tick*s.tick/6))
	m := float64(len(near))
	res.IntervalS = p
	res.JitterRMSS = sd
	// The clock's share falls out between neighbouring steps and is left once
	// for each pause.
	res.UncertaintyS = math.Sqrt(sd*sd/m + float64(n-len(near))*s.tick*s.tick/6/(m*m))
	res.StartS = s.base + s.t[0] + s.tick/2

	slot := make([]int, n)
	limit := max(opt.LateFraction*p, s.tick) + 3*sd
	for i := 1; i < n; i++ {
		d := s.t[i] - s.t[i-1]
		k := max(1, int(math.Round(d/p)))
		if k == 2 && d-p <= limit {
			k = 1
		}
		slot[i] = slot[i-1] + k
		if k == 1 && math.Abs(d-p) > limit {
			res.Delays = append(res.Delays, Delay{s.index[i], d - p})
		}
	}
	res.Slot = fillSlots(shots, s, slot)
	res.Gaps = gaps(shots, res.Slot, p)
	res.TooLong = tooLong(shots, p)
	return res
}

// Drift compares the interval shot with the one planned, both in seconds.
// sPerHour is how many seconds each hour of shooting falls behind the plan
// (negative when it runs ahead), ppm the same in parts per million. Both are
// NaN unless both intervals are above zero.
func Drift(intervalS, plannedS float64) (sPerHour, ppm float64) {
	if !(intervalS > 0) || !(plannedS > 0) || math.IsInf(intervalS, 0) || math.IsInf(plannedS, 0) {
		return math.NaN(), math.NaN()
	}
	rel := (intervalS - plannedS) / plannedS
	return rel * 3600, rel * 1e6
}
