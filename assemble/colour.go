package assemble

import (
	"math"
	"reflect"
	"runtime"
	"sync"

	"stillspan/internal/codec"
	"stillspan/internal/icc"
	"stillspan/internal/srgb"
)

// conversion takes frames of one colour space to another: R', G' and B' through
// the curves of the one to linear light, by a matrix to the primaries of the
// other, and through its curve. What lies outside the other's colours is cut off
// channel by channel (media-relative colorimetric).
type conversion struct {
	linear [3]*[linearCodes]float32
	matrix [9]float32
	encode *[linearCodes]uint16 // square root of light to channel values
	// gain is by the square root of luminance what a pixel's light is multiplied
	// by; nil for nothing. kr, kg and kb are the parts of its luminance.
	gain       *[linearCodes]float32
	kr, kg, kb float32
	to         ycc
}

// linearCodes is how finely channel values and linear light are told apart: a
// sixty-fourth of an 8-bit code, in tables that the second cache holds.
const linearCodes = 1 << 14

// toGamut takes frames of a profile's colours to those of another, whose curve is
// that of sRGB.
func toGamut(from, to *icc.Profile) *conversion {
	c := newConversion(from, to)
	c.encode = signalTable(srgb.Encode)
	return c
}

// toSignal takes frames of a wide space's colours, 1 their white, to its signal.
func toSignal(s *codec.Space, whiteNits float64) *conversion {
	c := newConversion(s.Gamut, s.Gamut)
	c.to = yccOf(s.KR, s.KB)
	white := whiteNits / s.PeakNits
	top := 1.0
	if s.SceneGain != nil {
		top = s.SceneGain(white * min(s.KR, s.KB)) // the most for a channel of 1, which alone may be on
	}
	c.encode = signalTable(func(light float64) float64 { return s.Signal(light * white * top) })
	if s.SceneGain == nil {
		return c
	}
	c.kr, c.kg, c.kb = float32(s.KR), float32(1-s.KR-s.KB), float32(s.KB)
	c.gain = new([linearCodes]float32)
	for i := range c.gain {
		v := max(float64(i), 0.5) / (linearCodes - 1)
		c.gain[i] = float32(s.SceneGain(v*v*white) / top)
	}
	return c
}

func newConversion(from, to *icc.Profile) *conversion {
	c := &conversion{to: bt709}
	for i, v := range from.To(to) {
		c.matrix[i] = float32(v)
	}
	for j := range from.Curves {
		if j > 0 && reflect.DeepEqual(from.Curves[j], from.Curves[0]) {
			c.linear[j] = c.linear[0]
			continue
		}
		c.linear[j] = linearTable(from.Curves[j].At)
	}
	return c
}

// linearTable takes channel values to light.
func linearTable(light func(channel float64) float64) *[linearCodes]float32 {
	t := new([linearCodes]float32)
	for i := range t {
		t[i] = float32(light(float64(i) / (linearCodes - 1)))
	}
	return t
}

// signalTable takes the square root of light to channel values: the square spends
// the codes where the curve is steep.
func signalTable(signal func(light float64) float64) *[linearCodes]uint16 {
	t := new([linearCodes]uint16)
	for i := range t {
		v := float64(i) / (linearCodes - 1)
		t[i] = uint16(math.Round(65535 * signal(v*v)))
	}
	return t
}

// ycc is limited-range Y'CbCr of channel values of 0 to 65535: luma as 16.16 fixed
// point, and what the differences of two channels add to chroma.
type ycc struct {
	r, g, b            uint32
	cbR, cbG, crG, crB int64
}

// bt709 is that of ITU-R BT.709-6 (items 3.2 and 3.3), in which frames are worked.
var bt709 = yccOf(codec.Spaces[0].KR, codec.Spaces[0].KB)

func yccOf(kr, kb float64) ycc {
	kg := 1 - kr - kb
	luma := func(k float64) uint32 { return uint32(math.Round(k * yRange * 65536 / 65535)) }
	chroma := func(k, other float64) int64 {
		return int64(math.Round(k / (2 * (1 - other)) * (224 << 8) * 65536 / 65535))
	}
	y := ycc{r: luma(kr), b: luma(kb), cbR: chroma(kr, kb), cbG: chroma(kg, kb), crG: chroma(kg, kr), crB: chroma(kb, kr)}
	y.g = luma(1) - y.r - y.b // white is white
	return y
}

// chroma is the colour differences of a block's summed R', G' and B'.
func (k *ycc) chroma(sr, sg, sb uint32, half int64, shift int) (cb, cr uint16) {
	r, g, b := int64(sr), int64(sg), int64(sb)
	return uint16(cMid + ((b-r)*k.cbR+(b-g)*k.cbG+half)>>shift), uint16(cMid + ((r-g)*k.crG+(r-b)*k.crB+half)>>shift)
}

// Channel values of BT.709 limited-range Y'CbCr (BT.709-6, items 3.2 and 3.3).
const (
	lumaScale = 1.0 / yRange
	rvScale   = 1.5748 / (224 << 8)
	buScale   = 1.8556 / (224 << 8)
	gvScale   = -1.5748 * 0.2126 / 0.7152 / (224 << 8)
	guScale   = -1.8556 * 0.0722 / 0.7152 / (224 << 8)
)

// run converts a frame in place, from BT.709 limited range to limited range, on
// all processors.
func (c *conversion) run(p picture) {
	inBands(p.cb.h, func(from, to int) { c.rows(p, from, to) })
}

// inBands has n rows done in bands, one a processor.
func inBands(n int, do func(from, to int)) {
	parts := min(runtime.GOMAXPROCS(0), n/minBand+1)
	var g sync.WaitGroup
	for i := range parts {
		g.Go(func() { do(i*n/parts, (i+1)*n/parts) })
	}
	g.Wait()
}

// minBand is how many rows are worth another processor.
const minBand = 32

// rows converts rows of chroma and the luma over them.
func (c *conversion) rows(p picture, from, to int) {
	sw, sh := p.y.w/p.cb.w, p.y.h/p.cb.h
	shift := log2(sw*sh) + 16
	half := int64(1) << (shift - 1)
	k := &c.to
	for cy := from; cy < to; cy++ {
		luma := [2][]uint16{p.y.row(cy * sh), p.y.row(cy*sh + sh - 1)}
		cbs, crs := p.cb.row(cy), p.cr.row(cy)
		for x := range cbs {
			u, v := float32(int32(cbs[x])-cMid), float32(int32(crs[x])-cMid)
			dr, dg, db := v*rvScale, u*guScale+v*gvScale, u*buScale
			var sr, sg, sb uint32
			for _, row := range luma[:sh] {
				px := row[x*sw : x*sw+sw]
				for i, y := range px {
					l := float32(int32(y)-yBlack) * lumaScale
					cr, cg, cb := c.convert(l+dr, l+dg, l+db)
					px[i] = uint16((cr*k.r + cg*k.g + cb*k.b + yBlack<<16 + 1<<15) >> 16)
					sr, sg, sb = sr+cr, sg+cg, sb+cb
				}
			}
			cbs[x], crs[x] = k.chroma(sr, sg, sb, half, shift)
		}
	}
}

// convert takes R', G' and B', 0 to 1, to channel values of 0 to 65535.
func (c *conversion) convert(r, g, b float32) (cr, cg, cb uint32) {
	r, g, b = c.linear[0][code(r)], c.linear[1][code(g)], c.linear[2][code(b)]
	m := &c.matrix
	r, g, b = m[0]*r+m[1]*g+m[2]*b, m[3]*r+m[4]*g+m[5]*b, m[6]*r+m[7]*g+m[8]*b
	if c.gain != nil {
		by := c.gain[root(c.kr*r+c.kg*g+c.kb*b)]
		r, g, b = by*r, by*g, by*b
	}
	return uint32(c.encode[root(r)]), uint32(c.encode[root(g)]), uint32(c.encode[root(b)])
}

// root is the place of the square root of light in a table.
func root(light float32) int32 {
	if light < 0 {
		light = 0
	}
	return code(float32(math.Sqrt(float64(light))))
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
