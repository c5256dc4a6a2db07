package assemble

import (
	"math"
	"reflect"

	"stillspan/internal/icc"
	"stillspan/internal/srgb"
)

// conversion takes frames of one profile's colours to those of the clip: R', G'
// and B' through the profile's curves to linear light, by its matrix to the
// primaries of BT.709, and through the curve of sRGB. What lies outside the
// clip's colours is cut off channel by channel (media-relative colorimetric).
type conversion struct {
	linear [3]*[linearCodes]float32
	matrix [9]float32
	encode [linearCodes]uint16 // linear light to channel values
}

// linearCodes is how finely channel values and linear light are told apart: a
// sixty-fourth of an 8-bit code, in tables that the second cache holds.
const linearCodes = 1 << 14

func newConversion(p *icc.Profile) *conversion {
	c := &conversion{}
	for i, v := range p.ToSRGB() {
		c.matrix[i] = float32(v)
	}
	for j := range p.Curves {
		if j > 0 && reflect.DeepEqual(p.Curves[j], p.Curves[0]) {
			c.linear[j] = c.linear[0]
			continue
		}
		c.linear[j] = new([linearCodes]float32)
		for i := range c.linear[j] {
			c.linear[j][i] = float32(p.Curves[j].At(float64(i) / (linearCodes - 1)))
		}
	}
	for i := range c.encode {
		// The square spends the codes where the curve is steep.
		v := float64(i) / (linearCodes - 1)
		c.encode[i] = uint16(math.Round(65535 * srgb.Encode(v*v)))
	}
	return c
}

// Channel values of BT.709 limited-range Y'CbCr (BT.709-6, items 3.2 and 3.3).
const (
	lumaScale = 1.0 / yRange
	rvScale   = 1.5748 / (224 << 8)
	buScale   = 1.8556 / (224 << 8)
	gvScale   = -1.5748 * 0.2126 / 0.7152 / (224 << 8)
	guScale   = -1.8556 * 0.0722 / 0.7152 / (224 << 8)
)

// run converts a frame in place, from and to BT.709 limited range.
func (c *conversion) run(p picture) {
	sw, sh := p.y.w/p.cb.w, p.y.h/p.cb.h
	shift := log2(sw*sh) + 16
	half := int64(1) << (shift - 1)
	for cy := range p.cb.h {
		r := rows{y: [2][]uint16{p.y.row(cy * sh), p.y.row(cy*sh + sh - 1)}, cb: p.cb.row(cy), cr: p.cr.row(cy)}
		for x := range r.cb {
			u, v := float32(int32(r.cb[x])-cMid), float32(int32(r.cr[x])-cMid)
			dr, dg, db := v*rvScale, u*guScale+v*gvScale, u*buScale
			var sr, sg, sb uint32
			for _, row := range r.y[:sh] {
				px := row[x*sw : x*sw+sw]
				for i, y := range px {
					l := float32(int32(y)-yBlack) * lumaScale
					cr, cg, cb := c.convert(l+dr, l+dg, l+db)
					px[i] = uint16((cr*wr + cg*wg + cb*wb + yBlack<<16 + 1<<15) >> 16)
					sr, sg, sb = sr+cr, sg+cg, sb+cb
				}
			}
			r.chroma(x, sr, sg, sb, half, shift)
		}
	}
}

// convert takes R', G' and B', 0 to 1, to channel values of the clip.
func (c *conversion) convert(r, g, b float32) (cr, cg, cb uint32) {
	r, g, b = c.linear[0][code(r)], c.linear[1][code(g)], c.linear[2][code(b)]
	m := &c.matrix
	return c.channel(m[0]*r + m[1]*g + m[2]*b), c.channel(m[3]*r + m[4]*g + m[5]*b), c.channel(m[6]*r + m[7]*g + m[8]*b)
}

func (c *conversion) channel(light float32) uint32 {
	if light < 0 {
		light = 0
	}
	return uint32(c.encode[code(float32(math.Sqrt(float64(light))))])
}

// code is the place of a value from 0 to 1 in a table.
func code(v float32) int32 {
	i := int32(v*(linearCodes-1) + 0.5)
	switch {
	case i < 0:
		return 0
	case i >= linearCodes:
		return linearCodes - 1
	}
	return i
}
