package assemble

import "stillspan/internal/srgb"

// mixer adds pictures up in linear light after IEC 61966-2-1, each of R, G and B
// by itself.
type mixer struct {
	linear *[linearCodes]float32
	encode *[linearCodes]uint16 // square root of light to channel values
	light  []float32            // R, G and B of each pixel
}

func newMixer() *mixer {
	return &mixer{linear: linearTable(srgb.Decode), encode: signalTable(srgb.Encode)}
}

// add adds a share of p, or begins with it.
func (m *mixer) add(p picture, share float32, begin bool) {
	if n := 3 * len(p.y.pix); len(m.light) != n {
		m.light = make([]float32, n)
	}
	sw, sh := p.y.w/p.cb.w, p.y.h/p.cb.h
	inBands(p.y.h, func(from, to int) {
		for y := from; y < to; y++ {
			cbs, crs, light := p.cb.row(y/sh), p.cr.row(y/sh), m.light[3*y*p.y.w:]
			for x, luma := range p.y.row(y) {
				l := float32(int32(luma)-yBlack) * lumaScale
				u, v := float32(int32(cbs[x/sw])-cMid), float32(int32(crs[x/sw])-cMid)
				to := light[3*x : 3*x+3]
				if begin {
					to[0], to[1], to[2] = 0, 0, 0
				}
				to[0] += share * m.linear[code(l+v*rvScale)]
				to[1] += share * m.linear[code(l+u*guScale+v*gvScale)]
				to[2] += share * m.linear[code(l+u*buScale)]
			}
		}
	})
}

// take writes what was added up to p.
func (m *mixer) take(p picture) {
	sw, sh := p.y.w/p.cb.w, p.y.h/p.cb.h
	shift := log2(sw*sh) + 16
	half := int64(1) << (shift - 1)
	inBands(p.cb.h, func(from, to int) {
		for cy := from; cy < to; cy++ {
			r := rows{cb: p.cb.row(cy), cr: p.cr.row(cy)}
			for x := range r.cb {
				var sr, sg, sb uint32
				for y := cy * sh; y < (cy+1)*sh; y++ {
					px := p.y.row(y)[x*sw : x*sw+sw]
					for i := range px {
						light := m.light[3*(y*p.y.w+x*sw+i):]
						cr, cg, cb := uint32(m.encode[root(light[0])]), uint32(m.encode[root(light[1])]), uint32(m.encode[root(light[2])])
						px[i] = uint16((cr*wr + cg*wg + cb*wb + yBlack<<16 + 1<<15) >> 16)
						sr, sg, sb = sr+cr, sg+cg, sb+cb
					}
				}
				r.chroma(x, sr, sg, sb, half, shift)
			}
		}
	})
}
