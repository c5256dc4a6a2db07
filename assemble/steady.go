package assemble

import "math"

// steadier moves frames by parts of a pixel on their way from the decoder, which
// gives them with a margin for it.
type steadier struct {
	geo   geometry
	scale [2]float64 // pixels of the clip in the upright still's width and height
	lines [4][]float32
}

func newSteadier(g geometry, srcW, srcH int) *steadier {
	return &steadier{geo: g, scale: [2]float64{
		float64(srcW) * float64(g.w+2*g.padX) / float64(g.cropW+2*g.marginX),
		float64(srcH) * float64(g.h+2*g.padY) / float64(g.cropH+2*g.marginY),
	}}
}

// move fills out with what lies in the middle of wide, its content moved right
// and down by shares of the still's width and height.
func (s *steadier) move(out, wide picture, by [2]float64) {
	x, y := float64(s.geo.padX)-by[0]*s.scale[0], float64(s.geo.padY)-by[1]*s.scale[1]
	s.plane(out.y, wide.y, x, y)
	sw, sh := float64(out.y.w)/float64(out.cb.w), float64(out.y.h)/float64(out.cb.h)
	s.plane(out.cb, wide.cb, x/sw, y/sh)
	s.plane(out.cr, wide.cr, x/sw, y/sh)
}

// plane interpolates between four samples both ways (Keys 1981, a = -1/2), those
// beyond the edge being that at the edge.
func (s *steadier) plane(out, in plane, x, y float64) {
	ix, iy := int(math.Floor(x)), int(math.Floor(y))
	kx, ky := cubic(x-float64(ix)), cubic(y-float64(iy))
	next := iy - 1 // the input row that is filtered next
	for row := range out.h {
		for ; next <= iy+row+2; next++ {
			line := &s.lines[(next%4+4)%4]
			if cap(*line) < out.w {
				*line = make([]float32, out.w)
			}
			*line = (*line)[:out.w]
			across(*line, in.row(min(max(next, 0), in.h-1)), ix-1, kx)
		}
		var l [4][]float32
		for k := range l {
			l[k] = s.lines[((iy+row-1+k)%4+4)%4]
		}
		for col, to := 0, out.row(row); col < out.w; col++ {
			v := ky[0]*l[0][col] + ky[1]*l[1][col] + ky[2]*l[2][col] + ky[3]*l[3][col]
			to[col] = uint16(min(max(v+0.5, 0), 65535))
		}
	}
}

// across filters a row from column from on.
func across(out []float32, in []uint16, from int, k [4]float32) {
	if from >= 0 && from+len(out)+3 <= len(in) {
		in = in[from:]
		for col := range out {
			t := in[col : col+4 : col+4]
			out[col] = k[0]*float32(t[0]) + k[1]*float32(t[1]) + k[2]*float32(t[2]) + k[3]*float32(t[3])
		}
		return
	}
	for col := range out {
		sum := float32(0)
		for i, w := range k {
			sum += w * float32(in[min(max(from+col+i, 0), len(in)-1)])
		}
		out[col] = sum
	}
}

// cubic are the weights of the four samples about a place t beyond the second.
func cubic(t float64) [4]float32 {
	t2, t3 := t*t, t*t*t
	return [4]float32{
		float32((-t3 + 2*t2 - t) / 2), float32((3*t3 - 5*t2 + 2) / 2),
		float32((-3*t3 + 4*t2 + t) / 2), float32((t3 - t2) / 2),
	}
}
