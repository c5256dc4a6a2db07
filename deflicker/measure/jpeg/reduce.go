package jpeg

import (
	"cmp"
	"math"
)

// Reduce reads a picture as Decode does, and its planes at per eighths of their
// size: per is 1, 2 or 4. Of each block of 8 x 8 samples, per x per are made of as
// many of its lowest frequencies, by an inverse cosine transform of that size, so
// that they lie in the middles of equal parts of it and nothing is shifted.
// ErrKind is returned for what is not reduced: progressive pictures, and planes
// that are no Y'CbCr.
func (b *Picture) Reduce(data []byte, per int) error {
	b.per = per
	defer func() { b.per = 0 }()
	err := b.Decode(data)
	if err == nil && (b.rgb || b.progressive) {
		err = ErrKind
	}
	if err != nil {
		return err
	}
	for i := range b.parts[:b.n] {
		b.parts[i].complete(per)
	}
	return nil
}

// complete makes the samples of blocks that are their means, and of those that were
// not read.
func (p *component) complete(per int) {
	for j, mean := range p.means {
		switch {
		case mean == unread:
			mean = 0
		case per > 1:
			continue
		}
		v := sample(float32(mean)*(White/Full) + middle)
		for at := range per {
			row := p.pix[((j/p.stride*per+at)*p.stride+j%p.stride)*per:][:per]
			for x := range row {
				row[x] = v
			}
		}
	}
}

// Head reads a picture's headers, up to the first scan's, for its size and
// sampling. ErrKind is returned for what Reduce does not read.
func (b *Picture) Head(data []byte) error {
	b.heads = true
	err := b.Decode(data)
	b.heads = false
	switch {
	case !b.seen:
		return cmp.Or(err, errNoPicture)
	case b.rgb || b.progressive:
		return ErrKind
	}
	return nil
}

// White is the code of a sample that is 255 in a picture's 8 bits.
const White = 255 << 8

// middle is mid-grey, with half a code for rounding.
const middle = 128<<8 + 0.5

// Plane is a plane that Reduce has made, White for 255: h rows of stride samples of
// which w hold picture. What was not read of it is mid-grey.
func (b *Picture) Plane(i int) (pix []uint16, stride, w, h int) {
	p := &b.parts[i]
	per := b.reduced
	return p.pix, p.stride * per, ceilDiv(ceilDiv(b.Width*p.h, b.hmax)*per, 8), ceilDiv(ceilDiv(b.Height*p.v, b.vmax)*per, 8)
}

// Sampling is how many samples of the first component lie over one of the others,
// across and down, where they have planes of one size; 0, 0 for a single
// component.
func (b *Picture) Sampling() (across, down int, ok bool) {
	if b.n == 1 {
		return 0, 0, true
	}
	u, v := &b.parts[1], &b.parts[2]
	return b.hmax / u.h, b.vmax / u.v, u.h == v.h && u.v == v.v
}

// reduction is how blocks are brought to one size: what their terms are worth, up to
// the last in zigzag order that counts.
type reduction struct {
	limit uint // how many
	scale [maxTerms]float32
}

// maxTerms is how many terms are kept of a block.
const maxTerms = 32

// reductions are those to per x per samples. A term of frequencies u and v has the
// weight per/8 a(u) a(v) cos..., a the factors of an orthonormal transform; what of
// it does not depend on the sample is in scale.
var reductions = func() (all [5]*reduction) {
	for _, per := range []int{2, 4} {
		r := &reduction{}
		for i := range r.scale {
			if u, v := zigzag(i); u < per && v < per {
				r.limit = uint(i + 1)
				r.scale[i] = float32(White / 255 * float64(per) / 8 * factor(u, per) * factor(v, per))
			}
		}
		all[per] = r
	}
	return all
}()

// factor is what of the weight of frequency u of n does not depend on the sample:
// for the middle one of four, and that of two, the cosine but for its sign; for odd
// ones of four the greater of two.
func factor(u, n int) float64 {
	a := math.Sqrt(2 / float64(n))
	switch {
	case u == 0 || 2*u == n:
		return a * math.Sqrt2 / 2
	case n == 4:
		return a * math.Cos(math.Pi/8)
	}
	return a
}

// zigzag is the place of term i of a block (T.81, figure A.6): its frequency
// across and down.
func zigzag(i int) (u, v int) {
	for range i {
		switch up := (u+v)%2 == 0; {
		case up && u == 7:
			v++
		case up && v == 0:
			u++
		case up:
			u, v = u+1, v-1
		case v == 7:
			u++
		case u == 0:
			v++
		default:
			u, v = u-1, v+1
		}
	}
	return u, v
}

// extend is the value of the size bits at the head of w (T.81, F.2.2.1).
func extend(w uint64, size uint) int32 {
	if size == 0 {
		return 0
	}
	v := int32(w >> (64 - size))
	if w>>63 == 0 {
		v -= 1<<size - 1
	}
	return v
}

// terms reads a block's AC terms into c, as far as r counts them, passes over the
// others and returns what comes after them; ok is false where they are no valid
// code.
func (t *acTable) terms(data []byte, b bits, limit uint, c *[maxTerms]int32) (after bits, ok bool) {
	for k := uint(1); ; {
		if b.have < 31 {
			b = b.filled(data)
		}
		e := t.value[b.w>>(64-acBits)]
		if e == 0 {
			if e = t.spec.value(b.w); e == 0 {
				return b, false
			}
		}
		b = b.past(uint(e & 63))
		if k += uint(e>>6) & 127; k > limit {
			if k >= endOfBlock {
				return b, true
			}
			return t.pass(data, b, k)
		}
		c[(k-1)&(maxTerms-1)] = int32(e) >> 16
	}
}

// paint reads a block's AC terms and makes its samples, with its DC term dc.
func (s *slot) paint(data []byte, b bits, dc, at int) (after bits, ok bool) {
	var c [maxTerms]int32
	after, ok = s.ac.terms(data, b, s.r.limit, &c)
	q := s.scale
	mean := float32(dc)*s.r.scale[0] + middle
	if s.wide == 2 {
		a, b := s.pix[at:at+2], s.pix[at+s.stride:at+s.stride+2]
		right, low, both := float32(c[1])*q[1], float32(c[2])*q[2], float32(c[4])*q[4]
		l0, l1, r0, r1 := mean+low, mean-low, right+both, right-both
		a[0], a[1] = sample(l0+r0), sample(l0-r0)
		b[0], b[1] = sample(l1+r1), sample(l1-r1)
		return after, ok
	}
	var x [4][4]float32 // columns
	x[0][0], x[0][1], x[0][2], x[0][3] = four(mean, float32(c[2])*q[2], float32(c[3])*q[3], float32(c[9])*q[9])
	x[1][0], x[1][1], x[1][2], x[1][3] = four(float32(c[1])*q[1], float32(c[4])*q[4], float32(c[8])*q[8], float32(c[11])*q[11])
	x[2][0], x[2][1], x[2][2], x[2][3] = four(float32(c[5])*q[5], float32(c[7])*q[7], float32(c[12])*q[12], float32(c[18])*q[18])
	x[3][0], x[3][1], x[3][2], x[3][3] = four(float32(c[6])*q[6], float32(c[13])*q[13], float32(c[17])*q[17], float32(c[24])*q[24])
	for v := range 4 {
		row := s.pix[at : at+4 : at+4]
		x0, x1, x2, x3 := four(x[0][v], x[1][v], x[2][v], x[3][v])
		row[0], row[1], row[2], row[3] = samples(x0, x1, x2, x3)
		at += s.stride
	}
	return after, ok
}

// four is the inverse cosine transform of four terms, of which the odd ones were
// multiplied by cos(pi/8).
func four(y0, y1, y2, y3 float32) (x0, x1, x2, x3 float32) {
	const t = math.Sqrt2 - 1 // tan(pi/8)
	e0, e1 := y0+y2, y0-y2
	o0, o1 := y1+t*y3, t*y1-y3
	return e0 + o0, e1 + o1, e1 - o1, e0 - o0
}

// sample is a sample's code, of what has half a code more for rounding.
func sample(v float32) uint16 { return uint16(min(max(int32(v), 0), White)) }

// samples are four at once: together they have no less than the greatest of them, and
// the sign of any.
func samples(v0, v1, v2, v3 float32) (s0, s1, s2, s3 uint16) {
	i0, i1, i2, i3 := int32(v0), int32(v1), int32(v2), int32(v3)
	if uint32(i0|i1|i2|i3) <= White {
		return uint16(i0), uint16(i1), uint16(i2), uint16(i3)
	}
	return sample(v0), sample(v1), sample(v2), sample(v3)
}
