package assemble

import (
	"math"

	"stillspan/deflicker"
)

// Limited range in 16 bits (BT.709-6, item 4.6, times 256): luma from 16 to
// 235, colour difference around 128 with 224 steps.
const (
	yBlack = 16 << 8
	yRange = 219 << 8
	cMid   = 128 << 8
)

// Decoded stills reach us as JFIF Y'CbCr: full range, matrix of ITU-R BT.601,
// 16 bits of which 255 x 256 is white. That is what a
// JPEG holds, so that ffmpeg scales it without converting, and a pixel is
// taken to R'G'B', corrected, and taken to BT.709 in one go here.
const (
	jfifShift = 14 + toneShift // of the fixed-point matrix, down to the table's codes
	jfifHalf  = 1 << (jfifShift - 1)
	jfifRV    = 22970  // 1.402 x 2^14
	jfifGU    = -5638  // -0.344136
	jfifGV    = -11700 // -0.714136
	jfifBU    = 29032  // 1.772
)

// The table is entered with 14 bits: a sixty-fourth of an 8-bit code, and small
// enough for the second cache.
const (
	toneBits  = 14
	toneShift = 16 - toneBits
	toneWhite = 255 << (toneBits - 8)
	toneZero  = int32(margin * toneWhite) // index of code 0
	toneCodes = 1<<toneBits + 2*int(toneZero)
)

// margin is how far, in parts of the range from black to white, R', G' and B'
// of impossible Y'CbCr reach beyond it; the table holds black and white there,
// so that nothing has to be clamped.
const margin = 0.9

// toneTable is the correction of one frame: 16-bit channel values by channel
// code, margins included.
type toneTable [toneCodes]uint16

func (t *toneTable) set(ev float64) {
	for i, v := range deflicker.ToneTable(toneWhite+1, ev) {
		t[int(toneZero)+i] = uint16(math.Round(65535 * v))
	}
	for i := int(toneZero) + toneWhite + 1; i < toneCodes; i++ {
		t[i] = 65535
	}
}

// fieldStep is the fineness of a local correction, tables a EV; fieldRun is how
// many pixels along a row share one.
const (
	fieldStep = 256
	fieldRun  = 16
	maxTables = 256
)

// corrector applies one frame's correction after the other, allocation-free
// but for tables not met before.
type corrector struct {
	single toneTable
	ev     float64
	levels map[int]*toneTable // of local corrections, by EV x fieldStep
	// fromX and fromY take a clip's pixel to a place in the upright,
	// uncropped still, 0 to 1: offset and step.
	fromX, fromY [2]float64
}

func newCorrector(g geometry, srcW, srcH int) *corrector {
	return &corrector{
		ev:    math.NaN(),
		fromX: [2]float64{float64(g.cropX) / float64(srcW), float64(g.cropW) / float64(srcW) / float64(g.w)},
		fromY: [2]float64{float64(g.cropY) / float64(srcH), float64(g.cropH) / float64(srcH) / float64(g.h)},
	}
}

// plane is one plane of samples, each in 16 bits.
type plane struct {
	w, h int
	pix  []uint16
}

func (p plane) row(y int) []uint16 { return p.pix[y*p.w : (y+1)*p.w] }

// picture is a frame in Y'CbCr, planes of 16-bit words in one run of memory.
type picture struct {
	words     []uint16
	y, cb, cr plane
}

// newPicture lays a picture of w x h with chroma subsampled by sw, sh over one
// run of words.
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

// level is the table for a local correction.
func (c *corrector) level(ev float64) *toneTable {
	k := int(math.Round(ev * fieldStep))
	if t, ok := c.levels[k]; ok {
		return t
	}
	if c.levels == nil || len(c.levels) >= maxTables {
		c.levels = map[int]*toneTable{}
	}
	t := new(toneTable)
	t.set(float64(k) / fieldStep)
	c.levels[k] = t
	return t
}

// correct takes p from JFIF Y'CbCr to BT.709, limited range in 16
// bits, in place. field may be nil.
func (c *corrector) correct(p picture, ev float64, field *Field) {
	if field == nil && ev != c.ev {
		c.single.set(ev)
		c.ev = ev
	}
	sw, sh := p.y.w/p.cb.w, p.y.h/p.cb.h
	for cy := range p.cb.h {
		y0 := cy * sh
		r := rows{y: [2][]uint16{p.y.row(y0), p.y.row(y0 + sh - 1)}, cb: p.cb.row(cy), cr: p.cr.row(cy)}
		if field == nil {
			r.run(&c.single, sw, sh, 0, p.cb.w)
			continue
		}
		v := c.fromY[0] + c.fromY[1]*(float64(y0)+float64(sh)/2)
		for x := 0; x < p.cb.w; x += fieldRun / sw {
			end := min(x+fieldRun/sw, p.cb.w)
			u := c.fromX[0] + c.fromX[1]*float64((x+end)*sw)/2
			r.run(c.level(ev+field.at(u, v)), sw, sh, x, end)
		}
	}
}

// rows are one row of chroma with the rows of luma that share it.
type rows struct {
	y      [2][]uint16
	cb, cr []uint16
}

// The matrix of ITU-R BT.709-6 (items 3.2 and 3.3): E'Y = 0.2126 R' + 0.7152 G'
// + 0.0722 B', E'CB = (B' - E'Y) / 1.8556, E'CR = (R' - E'Y) / 1.5748; as 16.16
// fixed point for channel values of 0 to 65535.
const (
	wr = 11919 // 0.2126 x yRange x 65536 / 65535
	wg = 40098
	wb = 4048

	cbR = 6570 // 0.2126 / 1.8556 x 224 x 256 x 65536 / 65535
	cbG = 22102
	crG = 26043
	crB = 2629
)

// run corrects chroma samples x0 to x1 of a row and the luma over them. The
// colour differences are the mean of the block's, and equal R', G' and B' give
// exactly neutral chroma.
func (r *rows) run(tone *toneTable, sw, sh, x0, x1 int) {
	shift := map2(sw*sh) + 16
	half := int64(1) << (shift - 1)
	for x := x0; x < x1; x++ {
		u, v := int32(r.cb[x])-cMid, int32(r.cr[x])-cMid
		dr := toneZero + (v*jfifRV+jfifHalf)>>jfifShift
		dg := toneZero + (u*jfifGU+v*jfifGV+jfifHalf)>>jfifShift
		db := toneZero + (u*jfifBU+jfifHalf)>>jfifShift
		var sr, sg, sb uint32
		for _, row := range r.y[:sh] {
			px := row[x*sw : x*sw+sw]
			for i, y := range px {
				l := int32(y >> toneShift)
				cr, cg, cb := uint32(tone[l+dr]), uint32(tone[l+dg]), uint32(tone[l+db])
				px[i] = uint16((cr*wr + cg*wg + cb*wb + yBlack<<16 + 1<<15) >> 16)
				sr, sg, sb = sr+cr, sg+cg, sb+cb
			}
		}
		cr, cg, cb := int64(sr), int64(sg), int64(sb)
		r.cb[x] = uint16(cMid + ((cb-cr)*cbR+(cb-cg)*cbG+half)>>shift)
		r.cr[x] = uint16(cMid + ((cr-cg)*crG+(cr-cb)*crB+half)>>shift)
	}
}

// map2 is the binary logarithm of 1, 2 or 4.
func map2(n int) int { return n >> 1 }

// at is the field's value at a place of the upright still, 0 to 1 across and
// down, in EV.
func (f *Field) at(u, v float64) float64 {
	x0, x1, fx := between(u, f.W)
	y0, y1, fy := between(v, f.H)
	top := float64(f.EV[y0*f.W+x0])*(1-fx) + float64(f.EV[y0*f.W+x1])*fx
	bottom := float64(f.EV[y1*f.W+x0])*(1-fx) + float64(f.EV[y1*f.W+x1])*fx
	return top*(1-fy) + bottom*fy
}

// between finds the cells whose middles lie about u, and the share of the
// second; beyond the outermost middles the outermost cell holds.
func between(u float64, n int) (a, b int, share float64) {
	p := min(max(u*float64(n)-0.5, 0), float64(n-1))
	a = int(p)
	return a, min(a+1, n-1), p - float64(a)
}
