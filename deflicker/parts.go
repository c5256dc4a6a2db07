package deflicker

import "math"

// The picture's parts, partsAcross by partsDown, are compared by themselves: an
// error of exposure moves all alike, the scene's light does not.
const partsAcross, partsDown = 6, 4

// partMeter gathers how the parts change against the whole picture.
type partMeter struct {
	links [partsAcross * partsDown][]link
}

// compare notes each part's change, of cells of which each changed by change EV
// with a weight, less the whole picture's g.
func (m *partMeter) compare(c *view, change, weight []float32, g link) {
	sums, total := partSums(c, change, weight, g, func(x, y int) int { return y*partsDown/c.h*partsAcross + x*partsAcross/c.w })
	for p := range m.links {
		if total[p] > 0 {
			m.links[p] = append(m.links[p], link{from: g.from, to: g.to, ev: sums[p] / total[p], spread: g.spread})
		}
	}
}

// partSums adds up, for each part, the weights of its cells and by how much these
// changed otherwise than the whole picture's g, one step of the biweight.
func partSums(c *view, change, weight []float32, g link, part func(x, y int) int) (sums, total [partsAcross * partsDown]float64) {
	reach := float32(1 / (biweightReach * max(g.spread, 0.02)))
	for y := range c.h {
		for x := range c.w {
			i := y*c.w + x
			e := change[i] - float32(g.ev)
			u := e * reach
			if weight[i] <= 0 || u*u >= 1 {
				continue
			}
			k := float64(weight[i] * (1 - u*u) * (1 - u*u))
			p := part(x, y)
			sums[p] += k * float64(e)
			total[p] += k
		}
	}
	return sums, total
}

// append adds the comparisons of a later stretch.
func (m *partMeter) append(q *partMeter) {
	for p := range m.links {
		m.links[p] = append(m.links[p], q.links[p]...)
	}
}

// halves are what the two halves of the picture, the squares of a chessboard, say
// of a change by themselves: by how far they differ is the error of either,
// whatever moves.
type halves [2][]link

const (
	// chessSquares is how many squares the board has along either side: in large ones
	// little of what moves leaves one half for the other.
	chessSquares = 6
	// ownStep is by how much more a half would say if it were asked for its own
	// change instead of by how far it lies off the whole picture's: the slope of
	// one step of the biweight (calculated for a normal scatter).
	ownStep = 1.6
)

// halfOf is the half to which the cell at x, y of w x h belongs.
func halfOf(x, y, w, h int) int { return (y*chessSquares/h ^ x*chessSquares/w) & 1 }

// compare notes each half's change, as partMeter.compare does.
func (h *halves) compare(c *view, change, weight []float32, g link) {
	sums, total := partSums(c, change, weight, g, func(x, y int) int { return halfOf(x, y, c.w, c.h) })
	if total[0] > 0 && total[1] > 0 {
		for k := range h {
			h[k] = append(h[k], link{from: g.from, to: g.to, ev: sums[k] / total[k], spread: g.spread})
		}
	}
}

// append adds the comparisons of a later stretch.
func (h *halves) append(q *halves) {
	for k := range h {
		h[k] = append(h[k], q[k]...)
	}
}

// error is the standard deviation of what the whole picture says of a single
// frame, EV; NaN when there are too few frames to tell. level is disagree's.
func (h *halves) error(level []float64) float64 {
	a, b := join(level, h[0]), join(level, h[1])
	for t := range a {
		a[t] = (a[t] - b[t]) / 2
	}
	return ownStep * scatter(a)
}

// disagree is by how much the parts usually differ from the whole picture in
// what pumps, EV, frame by frame; level is 0, or NaN where a frame could not be
// measured.
func (m *partMeter) disagree(level []float64) []float64 {
	w := make([]float64, len(level))
	for t := range level {
		if !math.IsNaN(level[t]) {
			w[t] = 1
		}
	}
	var each [][]float64
	for _, links := range m.links {
		if len(links) == 0 {
			continue
		}
		y := join(level, links)
		each = append(each, pumping(y, w))
	}
	d := make([]float64, len(level))
	s := new(scratch)
	v := make([]float64, len(each))
	for t := range d {
		for p := range each {
			v[p] = each[p][t]
		}
		if len(v) > 0 {
			d[t] = 1.4826 * s.quantile(v, ones(len(v)), 0, true)
		}
	}
	return d
}
