package assemble

import (
	"math"

	"stillspan/deflicker"
)

// The stream from the decoder is Y'CbCr in 16 bits a sample, full range, with
// the matrix of ITU-R BT.601, which is how JFIF stores stills: decoding then
// needs no conversion, and what there is of precision beyond 8 bits survives
// scaling. What goes to the encoder is limited range with the matrix of ITU-R
// BT.709. Both conversions happen here, together with the correction.
const (
	fullWhite = 255 << 8 // 16-bit code of white from an 8-bit source
	midChroma = 128 << 8

	fixed = 14 // fractional bits of the matrix
	steep = 12 // fractional bits of the chroma scale
	knots = 1024
)

// Luma weights of the two matrices.
const (
	kr601, kb601 = 0.299, 0.114
	kr709, kb709 = 0.2126, 0.0722
)

// toBT709 holds, in fixed point, what BT.601 chroma adds to Y' and how it
// turns into BT.709 chroma in limited-range codes.
var toBT709 = func() (m struct{ yb, yr, bb, br, rb, rr int32 }) {
	// R' = Y' + r Pr; B' = Y' + b Pb; G' = Y' - gb Pb - gr Pr.
	r, b := 2*(1-kr601), 2*(1-kb601)
	gb, gr := b*kb601/(1-kr601-kb601), r*kr601/(1-kr601-kb601)
	kg709 := 1 - kr709 - kb709
	yb, yr := kb709*b-kg709*gb, kr709*r-kg709*gr
	cb, cr := 224.0/255/(2*(1-kb709)), 224.0/255/(2*(1-kr709))
	fix := func(v float64) int32 { return int32(math.Round(v * (1 << fixed))) }
	m.yb, m.yr = fix(yb), fix(yr)
	m.bb, m.br = fix((b-yb)*cb), fix(-yr*cb)
	m.rb, m.rr = fix(-yb*cr), fix((r-yr)*cr)
	return m
}()

// tables turn one frame's codes into corrected ones.
//
// A gain in linear light scales R', G' and B' almost alike, because IEC
// 61966-2-1 is close to a power law. So Y' goes through the tone curve, and Cb
// and Cr, which are differences of primed values, are scaled by that curve's
// slope at the pixel's Y'. How far this is from the tone curve on each of R',
// G' and B' is measured by a test.
type tables struct {
	ev     float64
	luma   [1 << 16]uint16  // full-range code to limited-range 16-bit code
	chroma [knots + 1]int32 // scale by Y', fixed point
	tone   [knots + 1]float64
}

func newTables() *tables {
	t := &tables{}
	t.set(0)
	return t
}

// slopeSpan is the half-width, in knots, over which the slope is taken: chroma
// reaches from Y' to the primed channels that lie beside it.
const slopeSpan = knots / 16

func (t *tables) set(ev float64) {
	t.ev = ev
	for k := range t.tone {
		t.tone[k] = deflicker.Tone(float64(k)/knots, ev)
	}
	for k := range t.chroma {
		lo, hi := max(k-slopeSpan, 0), min(k+slopeSpan, knots)
		slope := (t.tone[hi] - t.tone[lo]) * knots / float64(hi-lo)
		t.chroma[k] = int32(math.Round(slope * (1 << steep)))
	}
	// Knots are close enough that straight lines between them are exact to
	// a hundredth of an 8-bit code; 65,536 tone curves would cost more than
	// the frame.
	for c := range t.luma {
		v := min(float64(c)/fullWhite, 1) * knots
		k := min(int(v), knots-1)
		out := t.tone[k] + (v-float64(k))*(t.tone[k+1]-t.tone[k])
		t.luma[c] = uint16(math.Round((16 + 219*out) * 256))
	}
}

// plane is one plane of samples, each in 16 bits.
type plane struct {
	w, h int
	pix  []uint16
}

// picture is a frame in Y'CbCr, planes of 16-bit words in one run of memory.
type picture struct {
	words     []uint16
	y, cb, cr plane
}

// newPicture lays a picture of w x h with chroma subsampled by sw, sh over
// words, which must be pictureWords long.
func newPicture(words []uint16, w, h, sw, sh int) picture {
	cw, ch := w/sw, h/sh
	n, m := w*h, cw*ch
	return picture{
		words,
		plane{w, h, words[:n]},
		plane{cw, ch, words[n : n+m]},
		plane{cw, ch, words[n+m : n+2*m]},
	}
}

func pictureWords(w, h, sw, sh int) int { return w*h + 2*(w/sw)*(h/sh) }

// correct turns the decoder's codes into corrected codes for the encoder, in
// place.
func (t *tables) correct(p picture) {
	sw, sh := p.y.w/p.cb.w, p.y.h/p.cb.h
	for row := range p.cb.h {
		cb := p.cb.pix[row*p.cb.w:][:p.cb.w]
		cr := p.cr.pix[row*p.cb.w:][:p.cb.w]
		y0 := p.y.pix[row*sh*p.y.w:][:p.y.w]
		switch {
		case sw == 2 && sh == 2:
			t.row420(y0, p.y.pix[(row*sh+1)*p.y.w:][:p.y.w], cb, cr)
		case sw == 2:
			t.row422(y0, cb, cr)
		default:
			t.row444(y0, cb, cr)
		}
	}
}

// chromaAt converts and scales one pair of chroma samples beside luma y, and
// returns what they add to luma.
func (t *tables) chromaAt(y uint16, cb, cr *uint16) int32 {
	m := &toBT709
	u, v := int32(*cb)-midChroma, int32(*cr)-midChroma
	add := (u*m.yb + v*m.yr) >> fixed
	at := min(max(int32(y)+add, 0), fullWhite)
	s := t.chroma[at>>6]
	*cb = clip16(((u*m.bb+v*m.br)>>fixed*s+(1<<(steep-1)))>>steep + midChroma)
	*cr = clip16(((u*m.rb+v*m.rr)>>fixed*s+(1<<(steep-1)))>>steep + midChroma)
	return add
}

func clip16(v int32) uint16 { return uint16(min(max(v, 0), 65535)) }

func (t *tables) row420(y0, y1, cb, cr []uint16) {
	cr = cr[:len(cb)]
	y0, y1 = y0[:2*len(cb)], y1[:2*len(cb)]
	for i := range cb {
		add := t.chromaAt(y0[2*i], &cb[i], &cr[i])
		y0[2*i] = t.luma[clip16(int32(y0[2*i])+add)]
		y0[2*i+1] = t.luma[clip16(int32(y0[2*i+1])+add)]
		y1[2*i] = t.luma[clip16(int32(y1[2*i])+add)]
		y1[2*i+1] = t.luma[clip16(int32(y1[2*i+1])+add)]
	}
}

func (t *tables) row422(y, cb, cr []uint16) {
	cr = cr[:len(cb)]
	y = y[:2*len(cb)]
	for i := range cb {
		add := t.chromaAt(y[2*i], &cb[i], &cr[i])
		y[2*i] = t.luma[clip16(int32(y[2*i])+add)]
		y[2*i+1] = t.luma[clip16(int32(y[2*i+1])+add)]
	}
}

func (t *tables) row444(y, cb, cr []uint16) {
	cr = cr[:len(cb)]
	y = y[:len(cb)]
	for i := range cb {
		add := t.chromaAt(y[i], &cb[i], &cr[i])
		y[i] = t.luma[clip16(int32(y[i])+add)]
	}
}
