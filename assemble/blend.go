package assemble

import (
	"math"

	"stillspan/internal/srgb"
)

// blender mixes two corrected pictures: luma in linear light after IEC
// 61966-2-1, colour differences as they are.
type blender struct {
	linear [65536]uint16 // limited-range code to linear light, full scale
	code   [65536]uint16 // back
}

func newBlender() *blender {
	b := &blender{}
	at := 0
	for c := range b.linear {
		v := min(max(float64(c-yBlack)/yRange, 0), 1)
		l := uint16(math.Round(65535 * srgb.Decode(v)))
		b.linear[c] = l
		if c < yBlack || c > yBlack+yRange {
			continue
		}
		for ; at <= int(l); at++ { // the curve rises, so its inverse fills up in order
			b.code[at] = uint16(c)
		}
	}
	return b
}

// mix writes the mixture with a share of q to dst.
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
