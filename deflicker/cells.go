package deflicker

import (
	"math"
	"sync"

	"stillspan/internal/orientation"
	"stillspan/internal/srgb"
)

// cells is one frame as it is kept for comparison.
type cells struct {
	w, h int
	code [3][]uint16 // mean channel values, R', G' and B' of 65535
	// open is the share, of 255, of each cell that lies in the zone and is
	// not clipped.
	open  []uint8
	lumEV float64 // log2 of the zone's mean luminance
}

const (
	// darkLum is the linear light at which a channel's weight has fallen to
	// half: about code 13 of 255 in sRGB, where steps of one code are 0.2 EV.
	darkLum = 0.004
	// whiteLum is the linear light above which a channel has no weight.
	whiteLum = 0.97
	// clipShare is the share of clipped samples at which a cell's weight
	// has fallen to 0.
	clipShare = 0.1
)

// lumWeight are the channels' shares of luminance (ITU-R BT.709-6, item 3.2).
var lumWeight = [3]float64{0.2126, 0.7152, 0.0722}

// newCells reduces a grid; nil when there is nothing to measure in it.
func newCells(g *Grid, o MeterOptions) *cells {
	if !g.whole() {
		return nil
	}
	k := (max(g.W, g.H) + meterCells - 1) / meterCells
	c := emptyCells((g.W+k-1)/k, (g.H+k-1)/k)
	in := zoneWeights(o, c.w, c.h)
	lin := linear()
	var sum, total float64
	for y := range c.h {
		for x := range c.w {
			i := y*c.w + x
			code, clip := block(g, x*k, y*k, k)
			lum := 0.0
			for j, v := range code {
				c.code[j][i] = uint16(math.Round(65535 * v))
				lum += lumWeight[j] * float64(lin[c.code[j][i]])
			}
			sum += in[i] * lum
			total += in[i]
			c.open[i] = uint8(math.Round(255 * in[i] * max(0, 1-clip/clipShare)))
		}
	}
	if !(sum > 0) || math.IsInf(sum, 0) {
		return nil
	}
	c.lumEV = math.Log2(sum / total)
	return c
}

// linear is the linear light of 16-bit codes.
var linear = sync.OnceValue(func() *[1 << 16]float32 {
	var t [1 << 16]float32
	for i := range t {
		t[i] = float32(srgb.Decode(float64(i) / 65535))
	}
	return &t
})

func emptyCells(w, h int) *cells {
	c := &cells{w: w, h: h, open: make([]uint8, w*h)}
	for j := range c.code {
		c.code[j] = make([]uint16, w*h)
	}
	return c
}

// whole says whether a grid has all its values.
func (g *Grid) whole() bool {
	n := g.W * g.H
	return g.W > 0 && g.H > 0 && len(g.Clip) == n && len(g.Code[0]) == n && len(g.Code[1]) == n && len(g.Code[2]) == n
}

// block averages up to k x k of the grid's cells from (x0, y0).
func block(g *Grid, x0, y0, k int) (code [3]float64, clip float64) {
	n := 0.0
	for y := y0; y < min(y0+k, g.H); y++ {
		for i := y*g.W + x0; i < y*g.W+min(x0+k, g.W); i++ {
			for j := range code {
				code[j] += g.Code[j][i]
			}
			clip += g.Clip[i]
			n++
		}
	}
	for j := range code {
		code[j] = min(max(code[j]/n, 0), 1)
	}
	return code, clip / n
}

// coarser is c at half its width and height.
func (c *cells) coarser() *cells {
	d := emptyCells((c.w+1)/2, (c.h+1)/2)
	d.lumEV = c.lumEV
	for y := range d.h {
		for x := range d.w {
			var sum [3]int
			n, open := 0, 255
			for v := 2 * y; v < min(2*y+2, c.h); v++ {
				for i := v*c.w + 2*x; i < v*c.w+min(2*x+2, c.w); i++ {
					for j := range sum {
						sum[j] += int(c.code[j][i])
					}
					open = min(open, int(c.open[i]))
					n++
				}
			}
			for j := range sum {
				d.code[j][y*d.w+x] = uint16((sum[j] + n/2) / n)
			}
			d.open[y*d.w+x] = uint8(open)
		}
	}
	return d
}

// bytes is the memory that c holds.
func (c *cells) bytes() int { return 7 * c.w * c.h }

// scale reads codes as exposure, EV, and as weights: how much a channel says
// of exposure, 0 to 1, how much of luminance, which is its part in that, and
// how finely it tells exposure, the square of its codes an EV.
type scale struct{ ev, weight, part, fine [3][scaleSteps + 2]float32 }

const scaleSteps = 4096

// newScale is the scale of a response; nil for IEC 61966-2-1 alone.
func newScale(r *Response) *scale {
	s := new(scale)
	for c := range s.ev {
		t := r.channel(c)
		for i := range s.ev[c] {
			v := min(max(float64(i), 0.5)/scaleSteps, 1-0.5/scaleSteps) // finite at both ends
			s.ev[c][i] = float32(t.exposure(lightEV(v)))
			if lin := srgb.Decode(v); lin < whiteLum {
				d := darkLum / lin
				s.weight[c][i] = float32(1 / (1 + d*d))
				s.fine[c][i] = float32(square((v+0.055)/1.055) / (1 + d*d))
				s.part[c][i] = float32(lumWeight[c] * lin / (1 + d*d))
			}
		}
	}
	return s
}

// view is a frame's cells on a scale.
type view struct {
	*cells
	ev, weight, part, fine [3][]float32
}

// look puts c on the scale, into the memory of v.
func (s *scale) look(v *view, c *cells) {
	v.cells = c
	for j, code := range c.code {
		n := len(code)
		v.ev[j], v.weight[j], v.part[j], v.fine[j] = room(v.ev[j], n), room(v.weight[j], n), room(v.part[j], n), room(v.fine[j], n)
		ev, weight, share, fine := v.ev[j], v.weight[j], v.part[j], v.fine[j]
		for i, x := range code {
			p := uint32(x) * scaleSteps
			k, part := p/65535, float32(p%65535)/65535
			a, b := s.ev[j][k], s.ev[j][k+1]
			ev[i] = a + part*(b-a)
			open := float32(c.open[i]) / 255
			weight[i], share[i], fine[i] = s.weight[j][k]*open, s.part[j][k]*open, s.fine[j][k]*open
		}
	}
}

// room is s with n elements, in its own memory where that is enough.
func room[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}

// zeroed is room that holds zeros.
func zeroed[T any](s []T, n int) []T {
	s = room(s, n)
	clear(s)
	return s
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
