package assemble

import "math"

// bayer is the ordered dither of 8 x 8 thresholds, 0 to 63. It is the same in
// every frame, so that it neither crawls nor costs the encoder bits.
var bayer = func() (m [8][8]uint32) {
	for y := range 8 {
		for x := range 8 {
			v := 0
			for b := range 3 {
				v |= (x>>b&1^y>>b&1)<<(5-2*b) | (y>>b&1)<<(4-2*b)
			}
			m[y][x] = uint32(v)
		}
	}
	return m
}()

// dither8 writes 16-bit samples as bytes.
func dither8(dst []byte, p plane) {
	for row := range p.h {
		in := p.pix[row*p.w:][:p.w]
		out := dst[row*p.w:][:p.w]
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
		in := p.pix[row*p.w:][:p.w]
		out := dst[2*row*p.w:][:2*p.w]
		th := bayer[row&7]
		for x := range th {
			th[x] = th[x] << shift >> 6
		}
		for i, v := range in {
			o := min((uint32(v)+th[i&7])>>shift, top)
			out[2*i] = byte(o)
			out[2*i+1] = byte(o >> 8)
		}
	}
}

// blender mixes corrected pictures, luma in light that is linear after a
// display gamma of 2.4 (ITU-R BT.1886).
type blender struct {
	linear [1 << 16]uint16 // limited-range code to light, full scale
	code   [1 << 16]uint16 // back
}

func newBlender() *blender {
	b := &blender{}
	for c := range b.linear {
		v := min(max((float64(c)/256-16)/219, 0), 1)
		b.linear[c] = uint16(math.Round(65535 * math.Pow(v, 2.4)))
		b.code[c] = uint16(math.Round((16 + 219*math.Pow(float64(c)/65535, 1/2.4)) * 256))
	}
	return b
}

// mix writes p and q, the latter with the given share from 0 to 1, to dst.
func (b *blender) mix(dst, p, q picture, share float64) {
	s := uint64(math.Round(share * 65536))
	lerp := func(a, b uint16) uint64 { return (uint64(a)*(65536-s) + uint64(b)*s + 32768) >> 16 }
	n := len(p.y.pix)
	for i := range n {
		dst.words[i] = b.code[lerp(b.linear[p.words[i]], b.linear[q.words[i]])]
	}
	for i := n; i < len(p.words); i++ {
		dst.words[i] = uint16(lerp(p.words[i], q.words[i]))
	}
}
