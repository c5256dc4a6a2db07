package assemble

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"stillspan/deflicker"
)

// exact is the correction by its definition, in float64: JFIF Y'CbCr (JFIF
// 1.02, matrix of ITU-R BT.601) to R'G'B', Response.Tone on each, and the
// limited-range codes of ITU-R BT.709-6 times 256.
func exact(y, cb, cr, ev float64) (float64, float64, float64) {
	ch := func(v float64) float64 { return (*deflicker.Response)(nil).Tone(0, v, ev) }
	r := ch(y + 2*(1-0.299)*cr)
	g := ch(y - 2*(1-0.114)*0.114/0.587*cb - 2*(1-0.299)*0.299/0.587*cr)
	b := ch(y + 2*(1-0.114)*cb)
	l := 0.2126*r + 0.7152*g + 0.0722*b
	return 256 * (16 + 219*l), 256 * (128 + 224*(b-l)/1.8556), 256 * (128 + 224*(r-l)/1.5748)
}

// Whatever the colour and the correction, the tables are within 0.06 of an
// 8-bit code of what the definition gives for the table's input code, itself
// within 1/64 of a code.
func TestCorrectAgainstDefinition(t *testing.T) {
	const w, h, tolerance = 128, 64, 16 // tolerance in 1/256 of an 8-bit code
	rng := rand.New(rand.NewPCG(1, 2))
	for _, ev := range []float64{0, 0.06, -0.06, 1, -1, 3, -3} {
		c := newCorrector(nil, geometry{cropW: w, cropH: h, w: w, h: h}, w, h)
		src := newPicture(make([]uint16, pictureWords(w, h, 1, 1)), w, h, 1, 1)
		dst := newPicture(make([]uint16, pictureWords(w, h, 1, 1)), w, h, 1, 1)
		for i := range src.words {
			src.words[i] = uint16(rng.IntN(1 << 16))
		}
		for i, v := range []uint16{0, 255 << 8} { // black and white, neutral
			src.y.pix[i], src.cb.pix[i], src.cr.pix[i] = v, 128<<8, 128<<8
		}
		copy(dst.words, src.words)
		c.correct(dst, [3]float64{ev, ev, ev}, nil)
		worst := 0.0
		for i := range src.y.pix {
			y := float64(src.y.pix[i]) / (255 << 8)
			u, v := float64(int(src.cb.pix[i])-128<<8)/(255<<8), float64(int(src.cr.pix[i])-128<<8)/(255<<8)
			a, b, d := exact(y, u, v, ev)
			const step = 1.2 / toneWhite
			a0, b0, d0 := exact(y-step, u, v, ev)
			a1, b1, d1 := exact(y+step, u, v, ev)
			slack := max(a1-a0, math.Abs(b1-b0), math.Abs(d1-d0), math.Abs(b1-b), math.Abs(b0-b), math.Abs(d1-d), math.Abs(d0-d))
			for _, e := range []float64{a - float64(dst.y.pix[i]), b - float64(dst.cb.pix[i]), d - float64(dst.cr.pix[i])} {
				worst = max(worst, math.Abs(e)-slack)
			}
		}
		if worst > tolerance {
			t.Errorf("%g EV: off by %.1f/256 of a code, want at most %d/256", ev, worst, tolerance)
		}
		if dst.y.pix[0] != 16<<8 || dst.cb.pix[0] != 128<<8 || dst.y.pix[1] != 235<<8 || dst.cr.pix[1] != 128<<8 {
			t.Errorf("%g EV: black %d %d, white %d %d", ev, dst.y.pix[0], dst.cb.pix[0], dst.y.pix[1], dst.cr.pix[1])
		}
	}
}

// Chroma of a subsampled block is the mean over the block's pixels.
func TestCorrectSubsampled(t *testing.T) {
	for _, s := range [][2]int{{2, 2}, {2, 1}, {1, 1}} {
		w, h := 4, 2
		src := newPicture(make([]uint16, pictureWords(w, h, s[0], s[1])), w, h, s[0], s[1])
		dst := newPicture(make([]uint16, pictureWords(w, h, s[0], s[1])), w, h, s[0], s[1])
		for i := range src.y.pix {
			src.y.pix[i] = uint16(9600 + 1600*i)
		}
		for i := range src.cb.pix {
			src.cb.pix[i], src.cr.pix[i] = 2300*16, 1800*16
		}
		c := newCorrector(nil, geometry{cropW: w, cropH: h, w: w, h: h}, w, h)
		copy(dst.words, src.words)
		c.correct(dst, [3]float64{0.5, 0.5, 0.5}, nil)
		for cy := range src.cb.h {
			for cx := range src.cb.w {
				var b, r float64
				for y := range s[1] {
					for x := range s[0] {
						l := float64(src.y.pix[(cy*s[1]+y)*w+cx*s[0]+x]) / (255 << 8)
						_, cb, cr := exact(l, (2300.0-2048)/4080, (1800.0-2048)/4080, 0.5)
						b, r = b+cb/float64(s[0]*s[1]), r+cr/float64(s[0]*s[1])
					}
				}
				i := cy*src.cb.w + cx
				if math.Abs(b-float64(dst.cb.pix[i])) > 16 || math.Abs(r-float64(dst.cr.pix[i])) > 16 {
					t.Errorf("%v chroma %d: %d %d, want %.0f %.0f", s, i, dst.cb.pix[i], dst.cr.pix[i], b, r)
				}
			}
		}
	}
}

func TestCorrectField(t *testing.T) {
	const w, h = 64, 2
	src := newPicture(make([]uint16, pictureWords(w, h, 2, 2)), w, h, 2, 2)
	dst := newPicture(make([]uint16, pictureWords(w, h, 2, 2)), w, h, 2, 2)
	for i := range src.y.pix {
		src.y.pix[i] = 1600 * 16
	}
	for i := range src.cb.pix {
		src.cb.pix[i], src.cr.pix[i] = 1<<15, 1<<15
	}
	c := newCorrector(nil, geometry{cropX: 32, cropW: w, cropH: h, w: w, h: h}, 2*w, h)
	f := []Field{{W: 2, H: 1, EV: []float32{-0.25, 0.25}}, {W: 2, H: 1, EV: []float32{-0.25, 0.25}}}
	copy(dst.words, src.words)
	c.correct(dst, [3]float64{0.1, 0.1, 0.1}, f)
	for _, x := range []int{0, 31, 63} {
		u := (32 + float64(x/2*2+1)) / 128 // the middle of its chroma sample
		ev := 0.1 + u*2 - 0.5 - 0.5
		y, _, _ := exact(1600.0/4080, 0, 0, ev)
		if d := math.Abs(y - float64(dst.y.pix[x])); d > 24 {
			t.Errorf("pixel %d: %d, want %.0f at %.3f EV", x, dst.y.pix[x], y, ev)
		}
	}
}

// Dither keeps means, and leaves what the depth holds exactly.
func TestDither(t *testing.T) {
	const w, h = 64, 64
	for _, depth := range []int{8, 10, 16} {
		for _, v := range []uint16{0, 16 << 8, 16<<8 + 100, 30000, 235 << 8, 65535} {
			p := plane{w, h, make([]uint16, w*h)}
			for i := range p.pix {
				p.pix[i] = v
			}
			out := make([]byte, 2*w*h)
			dither(out, p, depth)
			sum := 0.0
			for i := range p.pix {
				if depth == 8 {
					sum += float64(out[i])
				} else {
					sum += float64(out[2*i]) + 256*float64(out[2*i+1])
				}
			}
			step := math.Exp2(float64(16 - depth))
			want := min(float64(v)/step, math.Exp2(float64(depth))-1)
			if got := sum / w / h; math.Abs(got-want) > 1.0/64 {
				t.Errorf("depth %d, code %d: mean %.3f, want %.3f", depth, v, got, want)
			}
		}
	}
}

func BenchmarkCorrect(b *testing.B) {
	for _, s := range [][2]int{{2, 2}, {2, 1}, {1, 1}} {
		b.Run(fmt.Sprintf("chroma 1/%d", s[0]*s[1]), func(b *testing.B) {
			const w, h = 3840, 2160
			n := pictureWords(w, h, s[0], s[1])
			src, dst := newPicture(make([]uint16, n), w, h, s[0], s[1]), newPicture(make([]uint16, n), w, h, s[0], s[1])
			rng := rand.New(rand.NewPCG(1, 2))
			for i := range src.y.pix {
				src.y.pix[i] = uint16(16000 + 4*(i%w) + rng.IntN(3200))
			}
			for i := range src.cb.pix {
				src.cb.pix[i], src.cr.pix[i] = uint16(32000+rng.IntN(900)), uint16(33000+rng.IntN(900))
			}
			c := newCorrector(nil, geometry{cropW: w, cropH: h, w: w, h: h}, w, h)
			b.SetBytes(int64(2 * n))
			b.ReportAllocs()
			for b.Loop() {
				copy(dst.words, src.words)
				c.correct(dst, [3]float64{0.05, 0.05, 0.05}, nil)
			}
		})
	}
}

func BenchmarkDither(b *testing.B) {
	p := plane{3840, 2160, make([]uint16, 3840*2160)}
	out := make([]byte, len(p.pix))
	b.SetBytes(int64(2 * len(p.pix)))
	b.ReportAllocs()
	for b.Loop() {
		dither(out, p, 8)
	}
}
