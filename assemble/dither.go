package assemble

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

// dither writes 16-bit samples in the given depth, as bytes up to 8 bits and
// as little-endian words above. A sample that the depth holds exactly stays
// what it is, so black is black.
func dither(dst []byte, p plane, depth int) {
	shift := uint(16 - depth)
	top := uint32(1)<<depth - 1
	for row := range p.h {
		in := p.row(row)
		th := bayer[row&7]
		for x := range th {
			th[x] = th[x] << shift >> 6
		}
		if depth == 8 {
			out := dst[row*p.w:]
			out = out[:len(in)]
			for i, v := range in {
				out[i] = byte(min((uint32(v)+th[i&7])>>8, 255))
			}
			continue
		}
		out := dst[2*row*p.w:]
		out = out[:2*len(in)]
		for i, v := range in {
			o := min((uint32(v)+th[i&7])>>shift, top)
			out[2*i] = byte(o)
			out[2*i+1] = byte(o >> 8)
		}
	}
}
