package assemble

import (
	"math"

	"stillspan/deflicker"
)

// The stream inside is limited-range Y'CbCr in 12 of 16 bits: fine enough that
// the clip's depth is reached by dither, small enough that a table stays in
// the first cache.
const (
	inBits  = 12
	inCodes = 1 << inBits
	yBlack  = 16 << (inBits - 8)
	yRange  = 219 << (inBits - 8)
	cMid    = 128 << (inBits - 8)
)

// tables turn one frame's codes into corrected ones.
//
// A gain in linear light scales R', G' and B' almost alike, because IEC
// 61966-2-1 is close to a power law. So Y' goes through the tone curve, and Cb
// and Cr, which are differences of primed values, are scaled by that curve's
// slope at the pixel's Y'. How far this is from the tone curve on each of R',
// G' and B' is measured by a test.
type tables struct {
	luma   [inCodes]uint16 // 16-bit limited-range code
	chroma [inCodes]int32  // scale by Y' code, 16.16 fixed point
}

// slopeSpan is the half-width, in Y', over which the slope is taken: chroma
// reaches from Y' to the primed channels that lie beside it.
const slopeSpan = 0.06

func (t *tables) set(ev float64) {
	for c := range t.luma {
		v := min(max(float64(c-yBlack)/yRange, 0), 1)
		out := v
		slope := 1.0
		if ev != 0 {
			out = deflicker.Tone(v, ev)
			lo, hi := max(v-slopeSpan, 0), min(v+slopeSpan, 1)
			slope = (deflicker.Tone(hi, ev) - deflicker.Tone(lo, ev)) / (hi - lo)
		}
		t.luma[c] = uint16(math.Round((16 + 219*out) * 256))
		t.chroma[c] = int32(math.Round(slope * 65536))
	}
}

// plane is one plane of samples, each in 16 bits.
type plane struct {
	w, h int
	pix  []uint16
}

// picture is a frame in Y'CbCr, planes of 16-bit words.
type picture struct{ y, cb, cr plane }

// newPicture lays a picture of w x h with chroma subsampled by sw, sh over one
// run of words.
func newPicture(words []uint16, w, h, sw, sh int) picture {
	cw, ch := w/sw, h/sh
	n, m := w*h, cw*ch
	return picture{
		plane{w, h, words[:n]},
		plane{cw, ch, words[n : n+m]},
		plane{cw, ch, words[n+m : n+2*m]},
	}
}

func pictureWords(w, h, sw, sh int) int { return w*h + 2*(w/sw)*(h/sh) }

// correct turns 12-bit codes of src into corrected 16-bit codes in dst.
func (t *tables) correct(dst, src picture) {
	correctChroma(t, dst.cb.pix, src.cb.pix, src)
	correctChroma(t, dst.cr.pix, src.cr.pix, src)
	out := dst.y.pix[:len(src.y.pix)]
	for i, c := range src.y.pix {
		out[i] = t.luma[c&(inCodes-1)]
	}
}

func correctChroma(t *tables, dst, src []uint16, p picture) {
	sw, sh := p.y.w/p.cb.w, p.y.h/p.cb.h
	for row := range p.cb.h {
		in := src[row*p.cb.w : (row+1)*p.cb.w]
		out := dst[row*p.cb.w : (row+1)*p.cb.w]
		luma := p.y.pix[row*sh*p.y.w:]
		for i, c := range in {
			y := luma[i*sw] & (inCodes - 1)
			v := (int32(c)-cMid)*(t.chroma[y]>>4)>>8 + 1<<15
			out[i] = uint16(min(max(v, 0), 65535))
		}
	}
}

// bayer is the ordered dither of 8 x 8 thresholds, 0 to 63. It is the same in
// every frame, so that it neither crawls nor costs the encoder bits.
var bayer = func() (m [8][8]uint32) {
	for y := range 8 {
		for x := range 8 {
			v := 0
			for b := range 3 {
				v |= ((x>>b&1 ^ y>>b&1) << (5 - 2*b)) | (y >> b & 1 << (4 - 2*b))
			}
			m[y][x] = uint32(v)
		}
	}
	return m
}()

// dither8 writes 16-bit samples as bytes.
func dither8(dst []byte, p plane) {
	for row := range p.h {
		in := p.pix[row*p.w : (row+1)*p.w]
		out := dst[row*p.w : (row+1)*p.w]
		th := bayer[row&7]
		for x := range th {
			th[x] = th[x]<<2 + 2
		}
		for i, v := range in {
			out[i] = byte(min((uint32(v)+th[i&7])>>8, 255))
		}
	}
}

// dither16 writes 16-bit samples as little-endian words of the given depth.
func dither16(dst []byte, p plane, depth int) {
	shift := uint(16 - depth)
	top := uint32(1)<<depth - 1
	for row := range p.h {
		in := p.pix[row*p.w : (row+1)*p.w]
		out := dst[2*row*p.w:]
		th := bayer[row&7]
		for x := range th {
			th[x] = (th[x]<<shift + 32) >> 6
		}
		for i, v := range in {
			o := min((uint32(v)+th[i&7])>>shift, top)
			out[2*i] = byte(o)
			out[2*i+1] = byte(o >> 8)
		}
	}
}

// blend mixes two corrected pictures, share of b, luma in linear light.
type blender struct {
	linear [65536]uint16 // limited-range code to linear light, full scale
	code   [65536]uint16 // back
}

func newBlender() *blender {
	b := &blender{}
	for c := range b.linear {
		v := min(max((float64(c)/256-16)/219, 0), 1)
		b.linear[c] = uint16(math.Round(65535 * math.Pow(v, 2.4)))
	}
	for l := range b.code {
		b.code[l] = uint16(math.Round((16 + 219*math.Pow(float64(l)/65535, 1/2.4)) * 256))
	}
	return b
}

func (b *blender) mix(dst, p, q picture, share float64) {
	s := uint64(math.Round(share * 65536))
	for i := range dst.y.pix {
		l := (uint64(b.linear[p.y.pix[i]])*(65536-s) + uint64(b.linear[q.y.pix[i]])*s + 32768) >> 16
		dst.y.pix[i] = b.code[l]
	}
	for _, c := range [][3][]uint16{{dst.cb.pix, p.cb.pix, q.cb.pix}, {dst.cr.pix, p.cr.pix, q.cr.pix}} {
		for i := range c[0] {
			c[0][i] = uint16((uint64(c[1][i])*(65536-s) + uint64(c[2][i])*s + 32768) >> 16)
		}
	}
}
