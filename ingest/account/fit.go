package account

import "math"

// grid is the steady stretch of a shoot that the interval is told from: stamp i
// was due at level[piece(i)] + p*slot[i]. The level is the same throughout
// unless the cadence was delayed and started anew.
type grid struct {
	t     []float64
	slot  []int
	piece []int // first stamp of each piece; piece[0] is 0
	level []float64
	p     float64
	tick  float64
}

const (
	leastRamped  = 0.05 // of the interval by which a ramp changes it, else it is none
	leastChanged = 0.01 // and by which a change does
)

// fit reads the intervals of a shoot's stretches: that of the longest is the
// shoot's.
func (s *solver) fit(out *Shoot, path []node, from int) {
	out.Judged = true
	longest := -1
	var before float64
	ramped := false
	for a := 0; a < len(path); {
		b := a + 1
		for b < len(path) && path[b].events&evChange == 0 {
			b++
		}
		c := &s.cadences[path[a].cadence]
		g := s.gridOf(path, a, b)
		var iv cadenceFit
		was := ramped
		if ramped = c.kind == ramp; ramped {
			first, last := c.at(from+a), c.at(from+b-1)
			if ramped = math.Abs(last-first) > leastRamped*first; ramped {
				out.Ramps = append(out.Ramps, Ramp{a, b - 1, first, last})
			}
			iv = cadenceFit{p: (g.t[len(g.t)-1] - g.t[0]) / math.Max(1, float64(g.slot[len(g.slot)-1]-g.slot[0])), jitter: math.NaN()}
			iv.sd = math.NaN()
		} else {
			iv = g.interval()
			if c.walk > 2*walkShare*c.interval+0.2*g.tick {
				iv = g.running(c)
				out.FreeRunning = out.FreeRunning || b-a > longest
			}
		}
		if a > 0 && (was || ramped || math.Abs(iv.p-before) > leastChanged*before) {
			out.Changes = append(out.Changes, Change{a, before, iv.p})
		}
		before = iv.p
		if b-a > longest {
			longest = b - a
			out.IntervalS, out.UncertaintyS, out.JitterRMSS, out.TickS = iv.p, iv.sd, iv.jitter, g.tick
		}
		a = b
	}
}

// gridOf lays frames a to b of a path on a grid, without those off it.
func (s *solver) gridOf(path []node, a, b int) *grid {
	g := &grid{p: s.cadences[path[a].cadence].at(int(path[a].row))}
	shift, slot := 0.0, 0
	anew := true
	for i := a; i < b; i++ {
		n := &path[i]
		r := &s.rows[n.row]
		if i > a {
			slot += int(n.step)
		}
		// Over a long gap the interval itself decides how many places it holds.
		if n.events&(evAnew|evPause|evRest|evClock) != 0 || n.step > longPause {
			anew = true
		}
		if !timed(r.t) || n.events&(evLate|evDouble|evWrong) != 0 {
			continue
		}
		if len(g.t) == 0 {
			shift = math.Floor(r.t)
		}
		if anew {
			g.piece = append(g.piece, len(g.t))
			anew = false
		}
		g.t = append(g.t, r.t-shift)
		g.slot = append(g.slot, slot)
		g.tick = max(g.tick, r.g)
	}
	if len(g.t) == 0 {
		g.t, g.slot, g.piece = []float64{0}, []int{0}, []int{0}
	}
	g.solve()
	return g
}

// cadenceFit is a fitted interval with its standard deviation, and the scatter.
type cadenceFit struct{ p, sd, jitter float64 }

// sums are the moments of one piece's stamps about its own means.
type sums struct {
	n, x, y  float64 // count and means
	sxx, sxy float64
}

func (g *grid) pieceEnd(k int) int {
	if k+1 < len(g.piece) {
		return g.piece[k+1]
	}
	return len(g.t)
}

func (g *grid) pieceSums(k int) sums {
	var m sums
	from, to := g.piece[k], g.pieceEnd(k)
	for i := from; i < to; i++ {
		m.x += float64(g.slot[i])
		m.y += g.t[i]
	}
	m.n = float64(to - from)
	m.x /= m.n
	m.y /= m.n
	for i := from; i < to; i++ {
		dx, dy := float64(g.slot[i])-m.x, g.t[i]-m.y
		m.sxx += dx * dx
		m.sxy += dx * dy
	}
	return m
}

// solve fits one interval and a level for each piece by least squares. Levels
// are moments, so half a tick is added to the floored stamps.
func (g *grid) solve() {
	var sxx, sxy float64
	for k := range g.piece {
		m := g.pieceSums(k)
		sxx += m.sxx
		sxy += m.sxy
	}
	if sxx > 0 {
		g.p = sxy / sxx
	}
	g.relevel()
}

// relevel sets each level for the interval as it is.
func (g *grid) relevel() {
	g.level = g.level[:0]
	for k := range g.piece {
		m := g.pieceSums(k)
		g.level = append(g.level, m.y-g.p*m.x+g.tick/2)
	}
}

// interval is the fitted interval with its standard deviation, and the jitter.
func (g *grid) interval() cadenceFit {
	var n, rss, sxx, lag float64
	for k := range g.piece {
		sxx += g.pieceSums(k).sxx
		var before float64
		for i := g.piece[k]; i < g.pieceEnd(k); i++ {
			e := g.t[i] - g.p*float64(g.slot[i]) + g.tick/2 - g.level[k]
			n++
			rss += e * e
			lag += e * before
			before = e
		}
	}
	quantum := g.tick * g.tick / 12
	free := max(1, n-1-float64(len(g.piece)))
	c := cadenceFit{p: g.p, jitter: math.Sqrt(max(0, rss/free-quantum))}
	if mean, sd, ok := g.bounded(0); ok {
		g.p = mean
		g.relevel()
		return cadenceFit{p: mean, sd: sd}
	}
	if sxx == 0 {
		c.sd = g.p
		return c
	}
	variance := max(rss/free, quantum)
	if rho := min(lag/max(rss, 1e-30), 0.95); rho > 0 {
		variance *= (1 + rho) / (1 - rho)
	}
	c.sd = math.Sqrt(variance/sxx + g.resonance(c.jitter, n))
	// Where the clock's steps are larger than the scatter, stamps that hover about
	// one tell less than least squares believe.
	if c.jitter < g.tick/3 {
		if _, sd, ok := g.bounded(2 * c.jitter); ok {
			c.sd = max(c.sd, sd)
		}
	}
	return c
}

// running is the interval where every frame is timed from the one before: the
// mean of the steps near one interval.
func (g *grid) running(c *cadence) cadenceFit {
	var v []float64
	for i := 1; i < len(g.t); i++ {
		if d := g.t[i] - g.t[i-1]; g.slot[i] == g.slot[i-1]+1 && math.Abs(d-c.interval) <= 0.25*c.interval+g.tick {
			v = append(v, d)
		}
	}
	if len(v) < 2 {
		return cadenceFit{p: c.interval, sd: c.walk, jitter: c.walk}
	}
	m := float64(len(v))
	var sum, sum2 float64
	for _, d := range v {
		sum += d
		sum2 += d * d
	}
	mean := sum / m
	sd := math.Sqrt(max(0, (sum2-sum*mean)/(m-1)-g.tick*g.tick/6))
	// The clock's share falls out between neighbouring steps and is left once
	// for each pause.
	pauses := float64(len(g.t)-1) - m
	return cadenceFit{p: mean, sd: math.Sqrt(sd*sd/m + pauses*g.tick*g.tick/6/(m*m)), jitter: sd}
}

// bounded narrows the interval by what floored stamps allow: every moment
// lies within its tick, so only intervals for which each piece has a start
// moment are possible, and each is as likely as its range of start moments is
// wide. Mean and standard deviation of that distribution are returned. slack is
// what a stamp may stray beyond its tick; ok is false when scatter leaves no
// possible interval.
//
// Least squares alone is too sure of itself here: at 5.0003 s every step of
// 300 is stamped 5 s and its residuals are nil.
func (g *grid) bounded(slack float64) (mean, sd float64, ok bool) {
	width := func(k int, p float64) float64 { return g.startRange(k, p) + 2*slack }
	shots := 0
	for k := range g.piece {
		shots = max(shots, g.pieceEnd(k)-g.piece[k])
	}
	narrowest := func(p float64) float64 {
		w := math.Inf(1)
		for k := range g.piece {
			w = min(w, width(k, p))
		}
		return w
	}
	reach := 4 * (g.tick + 2*slack) / float64(max(2, shots))
	top := concaveTop(narrowest, g.p-reach, g.p+reach)
	if !(narrowest(top) > 1e-9*g.tick) {
		return 0, 0, false
	}
	lo := lastPositive(narrowest, top, top-4*reach)
	hi := lastPositive(narrowest, top, top+4*reach)

	const steps = 200
	var w0, w1, w2 float64
	for i := range steps {
		p := lo + (hi-lo)*(float64(i)+0.5)/steps
		w := 1.0
		for k := range g.piece {
			w *= max(0, width(k, p)) / g.tick
		}
		d := p - top
		w0 += w
		w1 += w * d
		w2 += w * d * d
	}
	if w0 == 0 {
		return 0, 0, false
	}
	m := w1 / w0
	return top + m, math.Sqrt(max(0, w2/w0-m*m)), true
}

// startRange is how far the start moment of piece k may move when the interval
// is p: w(p) = min(t + tick - p slot) - max(t - p slot), which is concave in p.
func (g *grid) startRange(k int, p float64) float64 {
	lo, hi := math.Inf(-1), math.Inf(1)
	for i := g.piece[k]; i < g.pieceEnd(k); i++ {
		r := g.t[i] - p*float64(g.slot[i])
		lo = max(lo, r)
		hi = min(hi, r)
	}
	return hi + g.tick - lo
}

// concaveTop is where the concave f is largest in lo to hi, by golden section.
func concaveTop(f func(float64) float64, lo, hi float64) float64 {
	const golden = 0.6180339887498949
	a, b := hi-golden*(hi-lo), lo+golden*(hi-lo)
	fa, fb := f(a), f(b)
	for range 60 {
		if fa < fb {
			lo, a, fa = a, b, fb
			b = lo + golden*(hi-lo)
			fb = f(b)
		} else {
			hi, b, fb = b, a, fa
			a = hi - golden*(hi-lo)
			fa = f(a)
		}
	}
	return (lo + hi) / 2
}

// lastPositive is the point nearest to far at which f, positive at near and
// falling towards far, is still positive.
func lastPositive(f func(float64) float64, near, far float64) float64 {
	for range 50 {
		mid := (near + far) / 2
		if f(mid) > 0 {
			near = mid
		} else {
			far = mid
		}
	}
	return near
}

// resonance is the variance that rounding adds when the interval is close to a
// simple fraction a/q of the tick: rounding errors then run in step instead of
// cancelling. Their amplitude is tick/q and scatter smooths it by
// exp(-2 pi^2 (jitter/tick)^2), the first Fourier term of rounding under
// Gaussian scatter.
func (g *grid) resonance(jitter, n float64) float64 {
	rel := jitter / g.tick
	damp := math.Exp(-2 * math.Pi * math.Pi * rel * rel)
	var v float64
	for q := 1.0; q <= 4; q++ {
		f := g.p / g.tick * q
		cycles := max(1, n*math.Abs(f-math.Round(f)))
		a := 0.6 * damp * g.tick / (q * n * cycles)
		v += a * a
	}
	return v
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
