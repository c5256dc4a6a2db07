package timing

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// grid is a series laid on a steady cadence: shot i was due at
// level[piece(i)] + p*slot[i]. The level is the same throughout unless the
// cadence was delayed and started anew.
type grid struct {
	series
	slot   []int
	out    []bool // off the cadence by itself; left out of the fit
	piece  []int  // first shot of each piece; piece[0] is 0
	level  []float64
	p      float64
	stepSD float64 // rough scatter of single steps, less the clock's share
	slack  float64 // what single stamps may stray beyond the tick, seconds
}

// Thresholds of the search. They are in standard deviations of a stamp or in
// ticks and follow from the arithmetic of a floored clock, so they are not
// options.
const (
	minSide = 2 // shots needed on each side of a restart
	// A stair of one tick also arises when a steady cadence drifts across a
	// whole second, so a restart is only believed where no straight line
	// passes within this part of a tick of all stamps.
	fixedSlack   = 0.25
	restartSigma = 6.0
	changeSigma  = 10.0
	minChange    = 12 // shots needed on each side of a change of interval
)

// fitGrid lays s on a cadence of about p. It returns the shot from which on
// another interval holds, or 0. ok is false when the restarts are so many
// that there is no grid.
func fitGrid(s series, r rough, late float64) (g *grid, change int, ok bool) {
	p := r.interval
	g = &grid{series: s, p: p, piece: []int{0}, out: make([]bool, len(s.t)), stepSD: r.spread * p}
	g.firstSlots(p)
	g.markStrays(late)
	g.solve()
	if g.reslot() {
		g.markStrays(late)
		g.solve()
	}
	most := max(3, len(s.t)/20)
	g.plainRestarts(p, late)
	rounds := 0
	for {
		cuts, change := g.search()
		if change > 0 {
			return g, change, true
		}
		if len(cuts) == 0 {
			break
		}
		g.piece = append(g.piece, cuts...)
		slices.Sort(g.piece)
		before := len(g.piece) - len(cuts)
		g.solve()
		if moved := g.settle(); !moved && len(g.piece) <= before {
			break // what the search finds is too small to tell from scatter
		}
		if rounds++; len(g.piece) > most || rounds > 2*most {
			return g, 0, false
		}
	}
	g.markStrays(late)
	g.solve()
	return g, 0, true
}

// firstSlots counts the cadence places between neighbours. Where the clock's
// tick is coarse against the interval a single step tells little; then one
// place a shot is taken unless the step is beyond all doubt longer.
func (g *grid) firstSlots(p float64) {
	n := len(g.t)
	step := make([]int, n) // places from the shot before
	for i := 1; i < n; i++ {
		d := g.t[i] - g.t[i-1]
		step[i] = 1
		if g.tick < p/2 || math.Abs(d-p) > g.tick+p/2 {
			step[i] = max(0, int(math.Round(d/p)))
		}
	}
	// A frame late or early by about half an interval or more rounds to its
	// neighbour's place. The shots on both sides of it tell: two intervals
	// between them and one shot is one place each.
	for i := 1; i+1 < n; i++ {
		runOn := g.numberStep(i-1, i) <= 1 && g.numberStep(i, i+1) <= 1
		two := math.Abs(g.t[i+1]-g.t[i-1]-2*p) < g.tick+0.1*p
		if g.tick < p/2 && runOn && two {
			step[i], step[i+1] = 1, 1
		}
	}
	g.slot = make([]int, n)
	for i := 1; i < n; i++ {
		g.slot[i] = g.slot[i-1] + step[i]
	}
}

// reslot counts long pauses again with the refined interval, which the first
// idea of it was too coarse for. It reports whether any place changed.
func (g *grid) reslot() bool {
	shift := 0
	for i := 1; i < len(g.t); i++ {
		k := g.slot[i] + shift - g.slot[i-1]
		if k > 2 {
			again := int(math.Round((g.t[i] - g.t[i-1]) / g.p))
			if !g.out[i] && !g.out[i-1] && again != k {
				shift += again - k
			}
		}
		g.slot[i] += shift
	}
	return shift != 0
}

// residual is shot i's stamp against cadence places alone.
func (g *grid) residual(i int) float64 { return g.t[i] - g.p*float64(g.slot[i]) }

// markStrays leaves out single frames off the cadence, judged against the
// median of their neighbours so that a restart is not taken for strays.
func (g *grid) markStrays(late float64) {
	n := len(g.t)
	r := make([]float64, n)
	diff := make([]float64, 0, n)
	for i := range r {
		r[i] = g.residual(i)
		if i > 1 {
			diff = append(diff, math.Abs(r[i]-2*r[i-1]+r[i-2]))
		}
	}
	// Second differences of white scatter have 6 times its variance; their
	// median is blind to single frames and restarts.
	var local float64
	if len(diff) > 0 {
		slices.Sort(diff)
		local = 1.4826 * stat.Quantile(0.5, stat.Empirical, diff, nil) / math.Sqrt(6)
	}
	jitter := math.Sqrt(max(0, local*local-g.tick*g.tick/12))
	// On a coarse clock that median jumps from 0 to a whole tick; a step has
	// twice the variance of a place.
	jitter = min(jitter, g.stepSD/math.Sqrt2, 0.3*g.p)
	g.slack = fixedSlack*g.tick + 3*jitter
	limit := max(late*g.p, g.tick) + g.slack

	const half = 4
	window := make([]float64, 0, 2*half+1)
	for i := range r {
		window = window[:0]
		for j := max(0, i-half); j <= min(n-1, i+half); j++ {
			window = append(window, r[j])
		}
		slices.Sort(window)
		m := len(window)
		median := (window[(m-1)/2] + window[m/2]) / 2
		g.out[i] = math.Abs(r[i]-median) > limit
	}
}

// plainRestarts cuts where a single step already departs from a whole number of
// intervals by more than a late frame does, and the frames after stay so.
func (g *grid) plainRestarts(p, late float64) {
	last := -1
	for i := range g.t {
		if g.out[i] {
			continue
		}
		if last >= 0 {
			places := float64(g.slot[i] - g.slot[last])
			off := g.t[i] - g.t[last] - places*p
			if math.Abs(off) > max(late*p, g.tick)+g.slack+0.05*p*max(0, places-1) {
				g.piece = append(g.piece, i)
			}
		}
		last = i
	}
	if len(g.piece) > 1 {
		g.solve()
		g.settle()
	}
}

// pieceEnd is the shot after the last one of piece k.
func (g *grid) pieceEnd(k int) int {
	if k+1 < len(g.piece) {
		return g.piece[k+1]
	}
	return len(g.t)
}

// sums are the moments of one piece's shots about its own means.
type sums struct {
	n, x, y       float64 // count and means
	sxx, sxy, syy float64
}

func (g *grid) pieceSums(from, to int) sums {
	var m sums
	for i := from; i < to; i++ {
		if !g.out[i] {
			m.n++
			m.x += float64(g.slot[i])
			m.y += g.t[i]
		}
	}
	if m.n == 0 {
		return m
	}
	m.x /= m.n
	m.y /= m.n
	for i := from; i < to; i++ {
		if !g.out[i] {
			dx, dy := float64(g.slot[i])-m.x, g.t[i]-m.y
			m.sxx += dx * dx
			m.sxy += dx * dy
			m.syy += dy * dy
		}
	}
	return m
}

// solve fits one interval and a level for each piece by least squares. Levels
// are moments, so half a tick is added to the floored stamps.
func (g *grid) solve() {
	var sxx, sxy float64
	all := make([]sums, len(g.piece))
	for k := range g.piece {
		all[k] = g.pieceSums(g.piece[k], g.pieceEnd(k))
		sxx += all[k].sxx
		sxy += all[k].sxy
	}
	if sxx > 0 {
		g.p = sxy / sxx
	}
	g.level = g.level[:0]
	for k, m := range all {
		if m.n == 0 && k > 0 {
			g.level = append(g.level, g.level[k-1])
			continue
		}
		g.level = append(g.level, m.y-g.p*m.x+g.tick/2)
	}
}

// search looks in every piece for the place where the cadence most likely
// started anew or changed its interval.
func (g *grid) search() (cuts []int, change int) {
	for k := range g.piece {
		cut, isChange := g.searchPiece(g.piece[k], g.pieceEnd(k))
		if cut == 0 {
			continue
		}
		if isChange {
			return nil, cut
		}
		cuts = append(cuts, cut)
	}
	return cuts, 0
}

// searchPiece tests each shot of a piece as the start of a step (restart) or
// a bend (another interval) against the piece's own straight line. The gain
// of adding a regressor h is (e.h)^2/|h'|^2 with e the line's residual and h'
// the part of h at right angles to the line; both come from running sums.
func (g *grid) searchPiece(from, to int) (cut int, isChange bool) {
	m := g.pieceSums(from, to)
	if m.n < 2*minSide+1 || m.sxx == 0 {
		return 0, false
	}
	slope := m.sxy / m.sxx
	noise := math.Sqrt(g.tick*g.tick/12 + g.slack*g.slack/16)

	var bestStep, bestBend float64
	var stepAt, bendAt int
	var stepSize float64
	// Tails: sums over the shots from i on of 1, u, u^2, e and e*u, where u
	// is the place less its mean.
	var n, su, suu, se, seu float64
	for i := to - 1; i > from; i-- {
		if g.out[i] {
			continue
		}
		u := float64(g.slot[i]) - m.x
		e := g.t[i] - m.y - slope*u
		n++
		su += u
		suu += u * u
		se += e
		seu += e * u
		if n < minSide || m.n-n < minSide {
			continue
		}
		norm := n - n*n/m.n - su*su/m.sxx
		if norm > 1e-9 {
			if gain := se * se / norm; gain > bestStep {
				bestStep, stepAt, stepSize = gain, i, se/norm
			}
		}
		if n < minChange || m.n-n < minChange {
			continue
		}
		h, hu := su-n*u, suu-u*su // sums of (u_j-u) and (u_j-u)u_j
		hh := suu - 2*u*su + n*u*u
		norm = hh - h*h/m.n - hu*hu/m.sxx
		if dot := seu - u*se; norm > 1e-9 {
			if gain := dot * dot / norm; gain > bestBend {
				bestBend, bendAt = gain, i
			}
		}
	}
	bend := bestBend > 1.3*bestStep && math.Sqrt(bestBend) > changeSigma*noise
	step := math.Sqrt(bestStep) > restartSigma*noise && math.Abs(stepSize) > 0.3*g.tick
	if (!bend && !step) || g.straight(from, to) {
		return 0, false
	}
	if bend {
		return bendAt, true
	}
	return stepAt, false
}

// straight reports whether one line passes through all stamps of a piece,
// each widened by the slack.
func (g *grid) straight(from, to int) bool {
	return g.widestLine(from, to, g.slack) >= 0
}

// settle turns a restart by a whole number of intervals into missing (or
// doubled) places and joins pieces whose levels then agree. It reports whether
// any place moved.
func (g *grid) settle() bool {
	shift := 0
	keep := g.piece[:1]
	last := 0
	for k := 1; k < len(g.piece); k++ {
		start, end := g.piece[k], g.pieceEnd(k)
		d := g.level[k] - g.level[last] // before any shift of places
		places := int(math.Round(d / g.p))
		if places < -1 {
			places = 0
		}
		if math.Abs(d-float64(places)*g.p) <= max(0.3*g.tick, g.slack) {
			shift += places
		} else {
			places = 0
			keep = append(keep, start)
			last = k
		}
		for i := start; i < end; i++ {
			g.slot[i] += shift
		}
	}
	g.piece = keep
	g.solve()
	return shift != 0
}
