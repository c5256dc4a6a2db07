package account

import (
	"math"
	"slices"
)

// cadence is one interval the frames may keep, or the way they do without.
type cadence struct {
	kind cadenceKind
	// interval, seconds, of a steady cadence.
	interval float64
	// local is the interval at each row, of a ramp, and jumps tells where it changes at
	// once.
	local []float64
	jumps []bool
	// slack is how far a stamp may stray from its place beyond the clock's
	// grain, walk by how much the place itself may move in one interval, both in
	// seconds.
	slack, walk float64
	// bits is what every frame costs for being told no closer than that.
	bits float64
	// odd is what it costs once that the interval is none that one would set.
	odd float64
}

type cadenceKind int

const (
	steady cadenceKind = iota
	ramp               // the interval changes smoothly
	hand               // no interval: a shoot fired by hand
	tests              // a few frames fired by hand before or after a shoot
)

// free reports whether frames are due at no moment.
func (c *cadence) free() bool { return c.kind >= hand }

// at is the interval at row j.
func (c *cadence) at(j int) float64 {
	if c.kind == ramp {
		return c.local[j]
	}
	return c.interval
}

const (
	maxCadences = 8
	// slackShare and walkShare of the interval are what any intervalometer may
	// stray by.
	slackShare = 0.02
	// sameShare is how far intervals may differ that were set alike.
	sameShare = 0.04
	walkShare = 0.002
)

// cadences are the candidates: what the steps agree on in windows of several
// lengths and over all, and a ramp where that moves.
func cadences(rows []row) []cadence {
	s := timedSteps(rows)
	if len(s) < 3 {
		return nil
	}
	var found []cadence
	var support []float64
	add := func(part []step) {
		c, share, ok := agree(part)
		if !ok {
			return
		}
		weight := share * float64(len(part))
		for k := range found {
			if near := max(0.006*found[k].interval, (c.walk+found[k].walk)/2); math.Abs(found[k].interval-c.interval) <= near {
				support[k] += weight
				if c.bits > found[k].bits-0.5 {
					return
				}
			}
		}
		found = append(found, c)
		support = append(support, weight)
	}
	add(s)
	for _, w := range []int{160, 40, 16, 8} { // the long ones first: they tell it best
		for at := 0; at < len(s); at += w / 2 {
			add(s[at:min(len(s), at+w)])
		}
	}
	for _, c := range coarse(s) {
		found = append(found, c)
		support = append(support, float64(len(s)))
	}
	order := make([]int, len(found))
	for k := range order {
		order[k] = k
	}
	slices.SortStableFunc(order, func(a, b int) int { return int(math.Copysign(1, support[b]-support[a])) })
	var out []cadence
	for _, k := range order[:min(len(order), maxCadences)] {
		out = append(out, found[k])
	}
	return out
}

// step is from one timed row to the next.
type step struct {
	from, to int // rows
	dt, g    float64
	n        float64 // numbers, at least 1
}

// timedSteps are the steps between timed rows in which time does not fall.
func timedSteps(rows []row) []step {
	var out []step
	last, n := -1, 0
	for j := range rows {
		if n++; !rows[j].shared { // numbers that nobody has may be another body's
			n += max(1, rows[j].du) - 1
		}
		if !timed(rows[j].t) {
			continue
		}
		if last >= 0 {
			if dt := rows[j].t - rows[last].t; dt >= 0 {
				out = append(out, step{last, j, dt, max(rows[j].g, rows[last].g), float64(n)})
			}
		}
		last, n = j, 0
	}
	return out
}

const (
	agreeShare = 0.5  // of the steps of a window must lie near one interval
	nearShare  = 0.15 // of the interval is near
)

// agree is the cadence that most steps of a window keep. Steps are summed over
// so many frames that the clock's grain is small beside the interval: at 0.5 s
// on a whole-second clock single steps say nothing, steps over sixteen frames
// do. Steps across missing numbers are divided by the count of numbers.
func agree(s []step) (c cadence, share float64, ok bool) {
	var p, reach float64
	var g float64
	for _, x := range s {
		g = max(g, x.g)
	}
	v := make([]float64, 0, len(s))
	for lag := 1; lag <= len(s); lag *= 2 {
		v = v[:0]
		var dt, n float64
		for i, x := range s {
			dt += x.dt
			n += x.n
			if i >= lag {
				dt -= s[i-lag].dt
				n -= s[i-lag].n
			}
			if i >= lag-1 {
				v = append(v, dt/n)
			}
		}
		reach = g / float64(lag)
		p = denseMean(v, 0.4, reach)
		if reach <= 0.2*p || 3*lag > len(s) {
			break
		}
	}
	if !(p > 0) || len(s) < 3 {
		return c, 0, false
	}
	// Where frames follow each other, scatter and grain cancel in the mean.
	if g < 0.3*p {
		sigma, walk := scatter(s, p)
		reach := slackShare*p + 2.5*math.Sqrt(2*sigma*sigma+walk*walk)
		var dt, n float64
		for _, x := range s {
			if math.Abs(x.dt/x.n-p) <= reach+x.g/x.n {
				dt += x.dt
				n += x.n
			}
		}
		if n > 0 {
			p = dt / n
		}
	}
	near := 0
	for _, x := range s {
		if math.Abs(x.dt/x.n-p) <= nearShare*p+x.g/x.n {
			near++
		}
	}
	share = float64(near) / float64(len(s))
	if share < agreeShare {
		return c, share, false
	}
	sigma, walk := scatter(s, p)
	walk = max(walkShare*p+2.5*walk, min(reach/4, 0.05*p)/math.Sqrt(float64(near)))
	return newCadence(p, sigma, walk, g), share, true
}

// newCadence is a steady cadence of given scatter on a clock of grain g.
func newCadence(p, sigma, walk, g float64) cadence {
	c := cadence{interval: p, slack: min(slackShare*p+3.5*sigma, 0.25*p), walk: min(walk, 0.25*p)}
	// A normal of deviation sigma takes as many bits as a range of 4.1 sigma.
	c.bits = max(0, math.Log2((g+min(2*slackShare*p+4.1*sigma, 0.5*p)+2*c.walk)/(g+0.07*p)))
	if off := math.Abs(p - math.Round(2*p)/2); g > 0.3*p && off > 0.003*p {
		c.odd = bitsOdd
	}
	return c
}

// coarse are the cadences that steps cannot tell apart where the clock's grain is
// large beside them: that of the usual step, and the one that holds if every frame
// fired.
func coarse(s []step) []cadence {
	var dt, n, g float64
	v := make([]float64, len(s))
	for i, x := range s {
		dt += x.dt
		n += x.n
		g = max(g, x.g)
		v[i] = x.dt / x.n
	}
	slices.Sort(v)
	var out []cadence
	usual := v[len(v)/2]
	if usual < 1.5*g { // one more step of such a clock tells nothing
		usual = 0
	}
	for _, p := range [2]float64{usual, dt / n} {
		if p > 0 && g > 0.3*p {
			out = append(out, newCadence(p, 0, max(walkShare*p, g/n/4), g))
		}
	}
	return out
}

// scatter tells the scatter of places about a steady cadence from a walk of the
// cadence itself: over four steps the first stays, the second adds up. Both are
// standard deviations in seconds, beyond what the clock's grain explains.
func scatter(s []step, p float64) (sigma, walk float64) {
	one := offSteps(s, p, 1)
	if len(one) < 6 {
		return 0, 0
	}
	v1 := middleVariance(one)
	for lag, most := 4, 4; lag <= most; lag *= 4 {
		many := offSteps(s, p, lag)
		if len(many) < 3 {
			break
		}
		v := middleVariance(many)
		chance := 3 * v * math.Sqrt(2/float64(len(many)))
		if hidden := v1 < 1e-3*s[0].g*s[0].g && s[0].g > 0.3*p; hidden { // of a steady cadence the grain would hide all
			chance = 0.02 * s[0].g * s[0].g
		}
		if q := (v - v1) / float64(lag-1); v-v1 >= chance && q > 0 {
			if lag > 4 {
				return 0, math.Sqrt(q) // of which single steps show nothing
			}
			return math.Sqrt(max(0, v1-q) / 2), math.Sqrt(min(q, v1))
		}
		if s[0].g > 0.3*p {
			most = 16
		}
	}
	return math.Sqrt(v1 / 2), 0
}

// offSteps are by how much steps summed over so many differ from their interval,
// beyond what the clock's grain explains.
func offSteps(s []step, p float64, lag int) []float64 {
	var out []float64
	var sum float64
	run := 0
	for _, x := range s {
		d := x.dt - p*x.n
		if math.Abs(d) > 0.3*p+x.g {
			run, sum = 0, 0
			continue
		}
		sum += d
		if run++; run == lag {
			out = append(out, beyond(sum, x.g))
			run, sum = 0, 0
		}
	}
	return out
}

// beyond is d less what the floors of two stamps may add to it.
func beyond(d, grain float64) float64 {
	return math.Copysign(max(0, math.Abs(d)-grain), d)
}

// middleVariance is the variance of values that the middle three quarters of them
// tell, as if they were normal, so that single strays do not count. It sorts v.
func middleVariance(v []float64) float64 {
	const normal = 0.3684 // variance of the middle three quarters of a normal of variance 1
	slices.Sort(v)
	cut := len(v) / 8
	v = v[cut : len(v)-cut]
	var sum, sum2 float64
	for _, x := range v {
		sum += x
		sum2 += x * x
	}
	n := float64(len(v))
	return max(0, sum2/n-sum*sum/(n*n)) / normal
}

// denseMean finds the shortest interval that holds the given share of the
// values and returns the mean of all values no further than reach from its
// middle: a mode that ignores up to 1-share of strays. It sorts v.
func denseMean(v []float64, share, reach float64) float64 {
	slices.Sort(v)
	k := max(1, int(math.Ceil(share*float64(len(v)))))
	best := 0
	for i := 0; i+k <= len(v); i++ {
		if v[i+k-1]-v[i] < v[best+k-1]-v[best] {
			best = i
		}
	}
	lo, hi := v[best], v[best+k-1]
	middle := (lo + hi) / 2
	reach = max(reach, (hi-lo)/2) * (1 + 1e-9)
	var sum float64
	var m int
	for _, x := range v {
		if math.Abs(x-middle) <= reach {
			sum += x
			m++
		}
	}
	return sum / float64(m)
}

const (
	rampHalf  = 6   // steps to either side by which a ramp's interval is told
	rampLeast = 1.2 // a ramp changes the interval by this factor or more
	rampJump  = 0.1 // natural logarithm of the factor by which it does not at once
)

// rampOf is the cadence of an interval that changes smoothly: at each row that of
// the line through the steps around it. ok is false where the interval does not
// move, or not smoothly.
func rampOf(rows []row) (c cadence, ok bool) {
	s := timedSteps(rows)
	usual, g := 0.0, 0.0
	for _, x := range s {
		usual += x.dt / x.n / float64(len(s))
		g = max(g, x.g)
	}
	half := rampHalf
	if g > 0.1*usual {
		half *= 2 // single steps tell little
	}
	if len(s) < 2*half+1 {
		return c, false
	}
	mid := make([]float64, len(s))
	for i := range s {
		mid[i] = nearStep(s, i, half)
	}
	sorted := slices.Sorted(slices.Values(mid))
	least, most := sorted[len(mid)/20], sorted[len(mid)-1-len(mid)/20] // blind to strays
	if !(least > 0) || most < rampLeast*least {
		return c, false
	}
	var res []float64
	for i, x := range s {
		if d := x.dt - x.n*mid[i]; math.Abs(d) < 0.5*mid[i] {
			res = append(res, beyond(d, x.g))
		}
	}
	if len(res) < len(s)/2 {
		return c, false
	}
	sigma := math.Sqrt(middleVariance(res))
	if sigma > 0.1*least {
		return c, false
	}
	c = cadence{kind: ramp, local: make([]float64, len(rows))}
	at := 0
	for j := range rows {
		for at+1 < len(s) && s[at].to < j {
			at++
		}
		c.local[j] = mid[at]
	}
	c.jumps = jumps(c.local, rows)
	c.slack = slackShare*least + 2*sigma
	c.walk = slackShare*least + sigma + g/float64(2*half)
	c.bits = bitsRampFrame + max(0, math.Log2((g+2*c.slack+2*c.walk)/(g+0.2*least)))
	return c, true
}

// jumps marks the rows at which a ramp's interval changes at once, by far more than two
// rows before and after: another interval was set there.
func jumps(local []float64, rows []row) []bool {
	out := make([]bool, len(local))
	change := func(j int) float64 {
		if j < 1 || j >= len(local) {
			return 0
		}
		places := max(1, (rows[j].t-rows[j-1].t)/max(local[j], local[j-1]))
		return math.Abs(math.Log(local[j]/local[j-1])) / places
	}
	for j := 1; j < len(local); j++ {
		out[j] = change(j) > rampJump+2*max(change(j-2), change(j+2))
	}
	return out
}

// nearStep is the interval at step i by the steps around it or, where it or they lie
// far from a line as at an end of the ramp, by those on the side where they do least.
func nearStep(s []step, i, half int) float64 {
	best, least := 0.0, math.Inf(1)
	for _, side := range [3][2]int{{half, half}, {2 * half, 0}, {0, 2 * half}} {
		from, to := max(0, i-side[0]), min(len(s), i+side[1]+1)
		if to-from <= half {
			continue
		}
		p, off := localStep(s[from:to], i-from)
		if math.Abs(s[i].dt/s[i].n-p) > 0.1*p+s[i].g {
			off += p
		}
		if off < least {
			best, least = p, off
		}
		if least <= slackShare*best+s[i].g/2 || s[i].n > 1 { // over a hole both sides tell
			break
		}
	}
	return best
}

// localStep is the interval at step i of a few: the value there of the line
// through those steps that lie near their median line; off is by how much they usually
// miss that.
func localStep(s []step, i int) (p, off float64) {
	middle, slope, off := medianLine(s, i)
	var n, sx, sy, sxx, sxy float64
	for k, x := range s {
		v, at := x.dt/x.n, float64(k-i)
		if math.Abs(v-middle-slope*at) > 0.3*middle+x.g/x.n {
			continue
		}
		n++
		sx += at
		sy += v
		sxx += at * at
		sxy += at * v
	}
	d := n*sxx - sx*sx
	if n < 3 || d <= 0 {
		return middle, off
	}
	return (sy*sxx - sx*sxy) / d, off
}

// medianLine is the value at step i and the slope of a line through the steps
// that is blind to strays: its slope is the median of those between the halves
// (after Theil 1950 and Sen 1968). off is the median of what the steps miss it by.
func medianLine(s []step, i int) (at, slope, off float64) {
	half := len(s) / 2
	v := make([]float64, 0, 2*len(s))
	for k := 0; k+half < len(s); k++ {
		v = append(v, (s[k+half].dt/s[k+half].n-s[k].dt/s[k].n)/float64(half))
	}
	slices.Sort(v)
	slope = v[len(v)/2]
	v = v[:0]
	for k := range s {
		v = append(v, s[k].dt/s[k].n-slope*float64(k-i))
	}
	slices.Sort(v)
	at = v[len(v)/2]
	for k := range v {
		v[k] = math.Abs(v[k] - at)
	}
	slices.Sort(v)
	return at, slope, v[len(v)/2]
}
