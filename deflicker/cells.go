package deflicker

import (
	"math"

	"stillspan/internal/orientation"
)

// cells is one frame ready for comparison: log luminances and their weights.
type cells struct {
	w, h   int
	ev     []float64 // log2 of the cell's linear luminance
	weight []float64 // 0 to 1; 0 where the cell says nothing of exposure
	lumEV  float64   // log2 of the zone's mean luminance
}

const (
	// darkLum is the luminance at which a cell's weight has fallen to half:
	// about code 13 of 255 in sRGB, where steps of one code are 0.2 EV.
	darkLum = 0.004
	// whiteLum is the mean luminance above which a cell has no weight.
	whiteLum = 0.97
	// clipShare is the share of clipped samples at which a cell's weight
	// has fallen to 0.
	clipShare = 0.1
)

// newCells reduces a grid; nil when there is nothing to measure in it.
func newCells(g *Grid, o MeterOptions) *cells {
	n := g.W * g.H
	if g.W <= 0 || g.H <= 0 || len(g.Lum) != n || len(g.Clip) != n {
		return nil
	}
	k := (max(g.W, g.H) + meterCells - 1) / meterCells
	c := &cells{w: (g.W + k - 1) / k, h: (g.H + k - 1) / k}
	c.ev = make([]float64, c.w*c.h)
	c.weight = make([]float64, c.w*c.h)
	in := zoneWeights(o, c.w, c.h)
	var sum, total float64
	for y := range c.h {
		for x := range c.w {
			i := y*c.w + x
			lum, clip := block(g, x*k, y*k, k)
			sum += in[i] * lum
			total += in[i]
			if !(lum > 0) || lum > whiteLum {
				continue
			}
			c.ev[i] = math.Log2(lum)
			d := darkLum / lum
			c.weight[i] = in[i] * max(0, 1-clip/clipShare) / (1 + d*d)
		}
	}
	if !(sum > 0) || math.IsInf(sum, 0) {
		return nil
	}
	c.lumEV = math.Log2(sum / total)
	return c
}

// block averages up to k x k of the grid's cells from (x0, y0).
func block(g *Grid, x0, y0, k int) (lum, clip float64) {
	n := 0
	for y := y0; y < min(y0+k, g.H); y++ {
		for x := x0; x < min(x0+k, g.W); x++ {
			lum += g.Lum[y*g.W+x]
			clip += g.Clip[y*g.W+x]
			n++
		}
	}
	return lum / float64(n), clip / float64(n)
}

// zoneWeights is the share of each stored cell that lies in the zone.
func zoneWeights(o MeterOptions, w, h int) []float64 {
	in := make([]float64, w*h)
	z := o.Zone
	if z == (Zone{}) {
		for i := range in {
			in[i] = 1
		}
		return in
	}
	z = z.stored(orientation.Of(o.Orientation))
	for y := range h {
		fy := overlap(float64(y)/float64(h), float64(y+1)/float64(h), z.Y, z.Y+z.H)
		for x := range w {
			in[y*w+x] = fy * overlap(float64(x)/float64(w), float64(x+1)/float64(w), z.X, z.X+z.W)
		}
	}
	return in
}

// overlap is the share of a to b that lies within lo to hi.
func overlap(a, b, lo, hi float64) float64 {
	return max(0, min(b, hi)-max(a, lo)) / (b - a)
}

// stored turns a zone of the upright picture into one of the picture as it is
// stored.
func (z Zone) stored(t orientation.Turn) Zone {
	if t.FlipX {
		z.X = 1 - z.X - z.W
	}
	if t.FlipY {
		z.Y = 1 - z.Y - z.H
	}
	if t.Transpose {
		z = Zone{z.Y, z.X, z.H, z.W}
	}
	return z
}
