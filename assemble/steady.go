package assemble

import "math"

// steadier moves and turns frames by parts of a pixel on their way from the decoder,
// which gives them with a margin for it.
type steadier struct {
	geo    geometry
	scale  [2]float64 // pixels of the clip in the upright still's width and height
	middle [2]float64 // of the still, pixels of what the decoder gives
	lines  [4][]float32
}

func newSteadier(g geometry, srcW, srcH int) *steadier {
	s := &steadier{geo: g, scale: [2]float64{
		float64(srcW) * float64(g.w+2*g.padX) / float64(g.cropW+2*g.marginX),
		float64(srcH) * float64(g.h+2*g.padY) / float64(g.cropH+2*g.marginY),
	}}
	s.middle = [2]float64{
		s.scale[0] * (0.5 - float64(g.cropX-g.marginX)/float64(srcW)),
		s.scale[1] * (0.5 - float64(g.cropY-g.marginY)/float64(srcH)),
	}
	return s
}

// move fills out with what lies in the middle of wide, its content turned, radians
// clockwise, and moved right and down by shares of the still's width and height.
func (s *steadier) move(out, wide picture, by [2]float64, turn float64) {
	x, y := float64(s.geo.padX)-by[0]*s.scale[0], float64(s.geo.padY)-by[1]*s.scale[1]
	sw, sh := float64(out.y.w)/float64(out.cb.w), float64(out.y.h)/float64(out.cb.h)
	for _, p := range []struct {
		out, in plane
		w, h    float64 // pixels of luma in a sample
	}{{out.y, wide.y, 1, 1}, {out.cb, wide.cb, sw, sh}, {out.cr, wide.cr, sw, sh}} {
		if turn == 0 {
			s.plane(p.out, p.in, x/p.w, y/p.h)
		} else {
			turned(p.out, p.in, s.mapping(x, y, turn, p.w, p.h))
		}
	}
}

// affine maps a sample of a plane to where in another its value lies.
type affine struct{ x, y, xx, xy, yx, yy float64 }

// mapping is that of a plane of samples of w x h pixels, moved and turned.
func (s *steadier) mapping(x, y, turn, w, h float64) affine {
	sin, cos := math.Sincos(turn)
	// Of the first sample, in pixels from the middle of the still.
	dx, dy := x+w/2-s.middle[0], y+h/2-s.middle[1]
	return affine{
		(cos*dx+sin*dy+s.middle[0])/w - 0.5, (cos*dy-sin*dx+s.middle[1])/h - 0.5,
		cos, sin * h / w, -sin * w / h, cos,
	}
}

// turned interpolates as plane does.
func turned(out, in plane, a affine) {
	const phases = 256
	var weights [phases + 1][4]float32
	for i := range weights {
		weights[i] = cubic(float64(i) / phases)
	}
	for row := range out.h {
		x, y := a.x+a.xy*float64(row), a.y+a.yy*float64(row)
		for col, to := 0, out.row(row); col < out.w; col, x, y = col+1, x+a.xx, y+a.yx {
			ix, iy := int(math.Floor(x)), int(math.Floor(y))
			kx, ky := &weights[int(phases*(x-float64(ix))+0.5)], &weights[int(phases*(y-float64(iy))+0.5)]
			var sum float32
			for j := range 4 {
				line := in.row(min(max(iy-1+j, 0), in.h-1))
				if ix >= 1 && ix+3 <= in.w {
					t := line[ix-1 : ix+3 : ix+3]
					sum += ky[j] * (kx[0]*float32(t[0]) + kx[1]*float32(t[1]) + kx[2]*float32(t[2]) + kx[3]*float32(t[3]))
					continue
				}
				for i := range 4 {
					sum += ky[j] * kx[i] * float32(line[min(max(ix-1+i, 0), in.w-1)])
				}
			}
			to[col] = uint16(min(max(sum+0.5, 0), 65535))
		}
	}
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
