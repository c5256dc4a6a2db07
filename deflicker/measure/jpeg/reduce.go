package jpeg

import (
	"cmp"
	"encoding/binary"
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
	if err != nil || per > 1 {
		return err
	}
	for i := range b.parts[:b.n] {
		p := &b.parts[i]
		for j, mean := range p.means {
			if mean != unread {
				p.pix[j] = sample(float32(mean) * (White / Full))
			}
		}
	}
	return nil
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

// Plane is a plane that Reduce has made: its samples, White for 255, and how many
// of them a row has of which w hold picture, in h rows. What was not read of it is
// mid-grey.
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

// makeRoom readies the plane of a component at per eighths.
func (p *component) makeRoom(blocks, per int) {
	n := blocks * per * per
	if cap(p.pix) < n {
		p.pix = make([]uint16, n)
	}
	p.pix = p.pix[:n]
	for i := range p.pix {
		p.pix[i] = 128 << 8
	}
}

// reduction is how blocks are brought to one size.
type reduction struct {
	limit uint      // one more than the last term in zigzag order that counts
	place [64]uint8 // of each term in rows of that size; noPlace where it does not count
	scale [64]float32
}

// noPlace takes the terms that do not count.
const noPlace = 16

// reductions are those to per x per samples. A term of frequencies u and v has the
// weight per/8 a(u) a(v) cos..., a the factors of an orthonormal transform; what of
// it does not depend on the sample is in scale.
var reductions = func() (all [5]*reduction) {
	for _, per := range []int{2, 4} {
		r := &reduction{}
		for i := range r.place {
			r.place[i] = noPlace
			u, v := zigzag(i)
			if u < per && v < per {
				r.limit = uint(i + 1)
				r.place[i] = uint8(v*per + u)
				r.scale[i] = float32(White / 255 * float64(per) / 8 * factor(u, per) * factor(v, per))
			}
		}
		all[per] = r
	}
	return all
}()

// factor is what of the weight of frequency u of n does not depend on the sample;
// for the middle one of four, and that of two, the cosine does not but for its sign.
func factor(u, n int) float64 {
	a := math.Sqrt(2 / float64(n))
	if u == 0 || 2*u == n {
		a *= math.Sqrt2 / 2
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

// An entry of acTable.value holds in its low six bits how many bits a symbol and
// its extra bits take, above them how many coefficients to go on, with endOfBlock
// as in acTable.one, and from bit 16 on the value, or with moreBits set how many
// of the bits are its. It is 0 for hardCode.
const moreBits = 1 << 15

// fill makes the table of values.
func (t *acTable) fill() {
	if t.valued {
		return
	}
	t.valued = true
	if t.value == nil {
		t.value = new([1 << acBits]uint32)
	}
	for i := range t.value {
		w := uint64(i) << (64 - acBits)
		entry, length := t.spec.skip(w)
		if length == 0 || length > acBits {
			t.value[i] = 0
			continue
		}
		e, size := uint32(entry), uint(entry&63)-length
		switch {
		case size == 0:
		case uint(entry&63) > acBits:
			e |= moreBits | uint32(size)<<16
		default:
			e |= uint32(extend(w<<length, size)) << 16
		}
		t.value[i] = e
	}
}

// extend is the value of the size bits at the head of w (T.81, F.2.2.1), of which
// there is one at least.
func extend(w uint64, size uint) int32 {
	v := int32(w >> (64 - size))
	if w>>63 == 0 {
		v -= 1<<size - 1
	}
	return v
}

// terms reads a block's AC terms from bit pos on into c, times quan, as far as r
// counts them, passes over the others and returns the bit after them; ok is false
// where they are no valid code.
func (t *acTable) terms(data []byte, pos uint, r *reduction, quan *[64]float32, c *[32]float32) (after uint, ok bool) {
	k := uint(1)
	for {
		w := binary.BigEndian.Uint64(data[pos>>3:]) << (pos & 7)
		for clear := pos + 57 - acBits - 15; pos <= clear; {
			e := t.value[w>>(64-acBits)]
			value := int32(e) >> 16
			if e == 0 {
				w = binary.BigEndian.Uint64(data[pos>>3:]) << (pos & 7)
				entry, length := t.spec.skip(w)
				if length == 0 {
					return pos, false
				}
				e = uint32(entry)
				if size := uint(entry&63) - length; size > 0 {
					value = extend(w<<length, size)
				}
				clear = pos // w is good for this one
			} else if e&moreBits != 0 {
				size := uint(value)
				value = extend(w<<(uint(e&63)-size), size)
			}
			n := uint(e & 63)
			pos += n
			w <<= n
			k += uint(e>>6) & 127
			if k > r.limit {
				if k >= endOfBlock {
					return pos, true
				}
				return t.pass(data, pos, k)
			}
			at := (k - 1) & 63
			c[r.place[at]&31] = float32(value) * quan[at]
		}
	}
}

// paint reads a block's AC terms from bit pos on and makes its samples, with its
// DC term dc.
func (s *slot) paint(data []byte, pos uint, dc, at int) (after uint, ok bool) {
	var c [32]float32
	after, ok = s.ac.terms(data, pos, s.r, s.scale, &c)
	c[0] = float32(dc) * s.r.scale[0]
	if s.wide == 2 {
		a, b := s.pix[at:at+2], s.pix[at+s.stride:at+s.stride+2]
		l0, l1, r0, r1 := c[0]+c[2], c[0]-c[2], c[1]+c[3], c[1]-c[3]
		a[0], a[1] = sample(l0+r0), sample(l0-r0)
		b[0], b[1] = sample(l1+r1), sample(l1-r1)
		return after, ok
	}
	for u := range 4 {
		c[u], c[u+4], c[u+8], c[u+12] = four(c[u], c[u+4], c[u+8], c[u+12])
	}
	for v := range 4 {
		row := s.pix[at : at+4 : at+4]
		x0, x1, x2, x3 := four(c[4*v], c[4*v+1], c[4*v+2], c[4*v+3])
		row[0], row[1], row[2], row[3] = sample(x0), sample(x1), sample(x2), sample(x3)
		at += s.stride
	}
	return after, ok
}

// four is the inverse cosine transform of four terms.
func four(y0, y1, y2, y3 float32) (x0, x1, x2, x3 float32) {
	const a, b = 0.92387953251, 0.38268343236 // cos(pi/8), cos(3 pi/8)
	e0, e1 := y0+y2, y0-y2
	o0, o1 := a*y1+b*y3, b*y1-a*y3
	return e0 + o0, e1 + o1, e1 - o1, e0 - o0
}

// sample is a sample's code, of v from mid-grey.
func sample(v float32) uint16 {
	return uint16(min(max(int32(v+(128<<8)+0.5), 0), White))
}
