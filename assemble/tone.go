package assemble

import (
	"math"
	"slices"

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

// toneTable is the correction of one channel: 16-bit channel values by channel
// code, margins included.
type toneTable [toneCodes]uint16

// toneCoarse is how many codes of the table lie from one place where the
// correction is worked out to the next: a quarter of an 8-bit code.
const toneCoarse = 1 << (toneBits - 10)

func (t *toneTable) set(r *deflicker.Response, channel int, ev float64) {
	var at [toneWhite/toneCoarse + 1]float64
	r.Table(at[:], channel, ev)
	for i := range toneWhite {
		a, b := at[i/toneCoarse], at[i/toneCoarse+1]
		t[int(toneZero)+i] = uint16(65535*(a+(b-a)*float64(i%toneCoarse)/toneCoarse) + 0.5)
	}
	for i := int(toneZero) + toneWhite; i < toneCodes; i++ {
		t[i] = 65535
	}
}

// tones are the corrections of R, G and B. Equal ones share a table.
type tones [3]*toneTable

// levelStep is how far apart, parts of an EV, the tables lie that local
// corrections are interpolated between.
const (
	levelStep = 32
	maxLevels = 96
)

// corrector applies one frame's correction after the other, allocation-free
// but for tables not met before.
type corrector struct {
	response *deflicker.Response
	alike    bool // the response of all channels is the same
	own      [3]toneTable
	whole    tones
	ev       [3]float64           // of whole
	levels   map[level]*toneTable // of local corrections
	row      []int32              // of a local correction, EV x levelStep x 256, by column of chroma
	// fromX and fromY take a clip's pixel to a place in the upright,
	// uncropped still, 0 to 1: offset and step.
	fromX, fromY [2]float64
}

// level is a channel and its correction in EV x levelStep.
type level struct{ channel, ev int }

func newCorrector(r *deflicker.Response, g geometry, srcW, srcH int) *corrector {
	return &corrector{
		response: r, alike: r.Alike(),
		ev:    [3]float64{math.NaN()},
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

// level is the table for channel c and a local correction of k / levelStep EV.
func (c *corrector) level(channel, k int) *toneTable {
	if c.alike {
		channel = 0
	}
	at := level{channel, k}
	if t, ok := c.levels[at]; ok {
		return t
	}
	if c.levels == nil || len(c.levels) >= maxLevels {
		c.levels = map[level]*toneTable{}
	}
	t := new(toneTable)
	t.set(c.response, channel, float64(k)/levelStep)
	c.levels[at] = t
	return t
}

// set makes whole ready for a correction of ev EV.
func (c *corrector) set(ev [3]float64) {
	if ev == c.ev {
		return
	}
	c.ev = ev
	for j := range ev {
		if j > 0 && c.alike && ev[j] == ev[0] {
			c.whole[j] = c.whole[0]
			continue
		}
		c.own[j].set(c.response, j, ev[j])
		c.whole[j] = &c.own[j]
	}
}

// correct takes p from JFIF Y'CbCr to BT.709, limited range in 16
// bits, in place, correcting R, G and B by ev EV and what fields add to it.
func (c *corrector) correct(p picture, ev [3]float64, fields []Field) {
	sw, sh := p.y.w/p.cb.w, p.y.h/p.cb.h
	if len(fields) == 0 {
		c.set(ev)
	}
	for cy := range p.cb.h {
		y0 := cy * sh
		r := rows{y: [2][]uint16{p.y.row(y0), p.y.row(y0 + sh - 1)}, cb: p.cb.row(cy), cr: p.cr.row(cy)}
		if len(fields) == 0 {
			r.run(&c.whole, sw, sh)
			continue
		}
		c.along(fields, p.cb.w, sw, float64(y0)+float64(sh)/2)
		c.runLocal(&r, ev, sw, sh)
	}
}

// along evaluates fields for one row of chroma of n samples, each over sw
// pixels, at height y in pixels.
func (c *corrector) along(fields []Field, n, sw int, y float64) {
	if len(c.row) != n {
		c.row = make([]int32, n)
	}
	v := c.fromY[0] + c.fromY[1]*y
	for x := range c.row {
		u := c.fromX[0] + c.fromX[1]*(float64(x)+0.5)*float64(sw)
		ev := 0.0
		for i := range fields {
			ev += fields[i].at(u, v)
		}
		c.row[x] = int32(math.Round(ev * levelStep * 256))
	}
}

// runLocal corrects a row of chroma and the luma over it by ev and what row
// adds to it, interpolated between tables.
func (c *corrector) runLocal(r *rows, ev [3]float64, sw, sh int) {
	var add [3]int32
	for j := range add {
		add[j] = int32(math.Round(ev[j] * levelStep * 256))
	}
	lo, hi := slices.Min(c.row), slices.Max(c.row)
	var tables [3][]*toneTable
	var first [3]int32
	for j := range tables {
		first[j] = (lo + add[j]) >> 8
		for k := first[j]; k <= (hi+add[j])>>8+1; k++ {
			tables[j] = append(tables[j], c.level(j, int(k)))
		}
	}
	for x, at := range c.row {
		var mixed mixedTones
		for j := range add {
			e := at + add[j]
			k := e>>8 - first[j]
			mixed[j] = mixedTone{tables[j][k], tables[j][k+1], uint32(e & 255)}
		}
		r.block(&mixed, sw, sh, x)
	}
}

// mixedTones are corrections between two tables each, share / 256 of the way.
type (
	mixedTone struct {
		a, b  *toneTable
		share uint32
	}
	mixedTones [3]mixedTone
)

func (m *mixedTone) at(i int32) uint32 {
	return (uint32(m.a[i])*(256-m.share) + uint32(m.b[i])*m.share + 128) >> 8
}

// rows are one row of chroma with the rows of luma that share it.
type rows struct {
	y      [2][]uint16
	cb, cr []uint16
}

// The luma of ITU-R BT.709-6 (item 3.2), E'Y = 0.2126 R' + 0.7152 G' + 0.0722 B', as
// bt709 has it: 16.16 fixed point for channel values of 0 to 65535, here as constants
// for what is done to each pixel of a clip.
const (
	wr = 11919 // 0.2126 x yRange x 65536 / 65535
	wg = 40098
	wb = 4048
)

// run corrects a row of chroma samples and the luma over them. The
// colour differences are the mean of the block's, and equal R', G' and B' give
// exactly neutral chroma.
func (r *rows) run(tone *tones, sw, sh int) {
	shift := log2(sw*sh) + 16
	half := int64(1) << (shift - 1)
	red, green, blue := tone[0], tone[1], tone[2]
	for x := range r.cb {
		dr, dg, db := r.offsets(x)
		var sr, sg, sb uint32
		for _, row := range r.y[:sh] {
			px := row[x*sw : x*sw+sw]
			for i, y := range px {
				l := int32(y >> toneShift)
				cr, cg, cb := uint32(red[l+dr]), uint32(green[l+dg]), uint32(blue[l+db])
				px[i] = uint16((cr*wr + cg*wg + cb*wb + yBlack<<16 + 1<<15) >> 16)
				sr, sg, sb = sr+cr, sg+cg, sb+cb
			}
		}
		r.chroma(x, sr, sg, sb, half, shift)
	}
}

// block is run for chroma sample x alone.
func (r *rows) block(tone *mixedTones, sw, sh, x int) {
	shift := log2(sw*sh) + 16
	dr, dg, db := r.offsets(x)
	var sr, sg, sb uint32
	for _, row := range r.y[:sh] {
		px := row[x*sw : x*sw+sw]
		for i, y := range px {
			l := int32(y >> toneShift)
			cr, cg, cb := tone[0].at(l+dr), tone[1].at(l+dg), tone[2].at(l+db)
			px[i] = uint16((cr*wr + cg*wg + cb*wb + yBlack<<16 + 1<<15) >> 16)
			sr, sg, sb = sr+cr, sg+cg, sb+cb
		}
	}
	r.chroma(x, sr, sg, sb, int64(1)<<(shift-1), shift)
}

// offsets are what chroma sample x adds to luma for R', G' and B', as indexes
// of a table.
func (r *rows) offsets(x int) (dr, dg, db int32) {
	u, v := int32(r.cb[x])-cMid, int32(r.cr[x])-cMid
	return toneZero + (v*jfifRV+jfifHalf)>>jfifShift,
		toneZero + (u*jfifGU+v*jfifGV+jfifHalf)>>jfifShift,
		toneZero + (u*jfifBU+jfifHalf)>>jfifShift
}

// chroma writes the colour differences of a block's summed R', G' and B'.
func (r *rows) chroma(x int, sr, sg, sb uint32, half int64, shift int) {
	r.cb[x], r.cr[x] = bt709.chroma(sr, sg, sb, half, shift)
}

// log2 is the binary logarithm of 1, 2 or 4.
func log2(n int) int { return n >> 1 }

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
// second; beyond the outermost middles the line through the last two goes on,
// as a lens's fall-off does in the corners.
func between(u float64, n int) (a, b int, share float64) {
	if n < 2 {
		return 0, 0, 0
	}
	p := u*float64(n) - 0.5
	a = min(max(int(math.Floor(p)), 0), n-2)
	return a, a + 1, p - float64(a)
}
