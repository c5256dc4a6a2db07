// Package jpeg reads JPEG pictures down to the means of their blocks of 8 x 8
// pixels, at a fraction of a full decode's cost, and tells how much of a damaged
// one is left.
package jpeg

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
)

// Picture is what one JPEG was read to: all of its DC terms, of its AC terms
// their length. Baseline, extended sequential and progressive Huffman pictures of 8
// bits with one or three components are read (ITU-T T.81). Its memory is kept
// from one picture to the next.
type Picture struct {
	// MaxPixels bounds the pictures that are read.
	MaxPixels int64

	Width, Height int // pixels
	parts         [3]component
	n             int // components
	hmax, vmax    int
	progressive   bool
	rgb           bool // components are R, G, B, not Y, Cb, Cr
	transform     int  // of an Adobe APP14 segment; -1 for none
	jfif          bool

	quan    [4][64]int // quantisers in zigzag order; 0 where not stated
	restart int
	dc      [4]*dcTable
	ac      [4]*acTable
	dcSet   [4]bool
	acSet   [4]bool
	slots   [10]slot
	seen    bool // a frame header
	heads   bool // nothing but headers is read

	per     int                  // eighths that planes are made of; 0 for none
	reduced int                  // those that they were made of
	scale   [3][maxTerms]float32 // of each component's terms

	scans   int // that give DC terms
	all     int // scans of any kind
	trouble string
	ended   bool // data ended before the picture did
}

// component is a colour of the picture.
type component struct {
	id, h, v, quan int
	across, down   int // blocks that hold picture
	stride         int // blocks across, whole units
	means          []int16
	coded          []uint16 // of the first: bits of each block's AC terms, 0 where unread
	pix            []uint16 // its plane, reduced
}

// maxScans bounds the scans of a picture: progressive ones have about ten, and
// each may cost a decoder a walk over all of it.
const maxScans = 500

// ErrKind says that a JPEG is of a kind that is not read here.
var ErrKind = errors.New("this kind of JPEG is not supported")

// errNoPicture says that there is no picture in the data at all.
var errNoPicture = errors.New("no JPEG picture in it")

// JPEG markers (ITU-T T.81, table B.1).
const (
	mSOF0, mSOF1, mSOF2 = 0xc0, 0xc1, 0xc2
	mDHT, mDAC, mSOF15  = 0xc4, 0xcc, 0xcf
	mRST0, mRST7        = 0xd0, 0xd7
	mSOI, mEOI, mSOS    = 0xd8, 0xd9, 0xda
	mDQT, mDRI          = 0xdb, 0xdd
	mAPP0, mAPP14       = 0xe0, 0xee
	mAPP15, mCOM        = 0xef, 0xfe
	mTEM, mJPG          = 0x01, 0xc8
)

// Slack is what a JPEG's bytes are followed by, so that the entropy decoder
// may run past their end by one unit before it looks where it is: at most ten
// blocks of 64 codes of 31 bits.
const Slack = 4096

// Decode reads a picture out of data, which has to have Slack bytes of
// capacity beyond its length, zeros, and is overwritten. The error says that
// nothing was read; what of it is damaged, Damage tells.
func (b *Picture) Decode(data []byte) error {
	b.reset()
	if len(data) < 4 || data[0] != 0xff || data[1] != mSOI {
		return errNoPicture
	}
	err := b.segments(trimmed(data))
	switch {
	case b.scans == 0 && (err == nil || err == errCut):
		return errNoPicture
	case b.scans == 0:
		return err
	case err == errCut:
		b.ended = true
	case err != nil:
		b.note(err.Error())
	}
	return nil
}

// trimmed is data without a long run of zeros or of ones at its end, as an
// interrupted copy into space set aside leaves it. Such a run decodes to
// blocks that look sound.
func trimmed(data []byte) []byte {
	last := data[len(data)-1]
	if last != 0 && last != 0xff {
		return data
	}
	n := len(data)
	for n > 0 && data[n-1] == last {
		n--
	}
	if len(data)-n < 64 {
		return data
	}
	return data[:n]
}

func (b *Picture) reset() {
	b.n, b.restart, b.transform = 0, 0, -1
	b.seen, b.jfif, b.rgb, b.ended, b.trouble = false, false, false, false, ""
	b.quan, b.dcSet, b.acSet = [4][64]int{}, [4]bool{}, [4]bool{}
	b.scans, b.all = 0, 0
}

// errCut says that the data end before the picture does.
var errCut = errors.New("the data end early")

// segments walks the marker segments up to the end marker.
func (b *Picture) segments(data []byte) error {
	for pos := 2; ; {
		marker, at := nextMarker(data, pos)
		switch {
		case marker == 0:
			return errCut
		case marker == mEOI:
			return nil
		case marker == mSOI, marker == mTEM, marker >= mRST0 && marker <= mRST7:
			pos = at
			continue
		}
		if at+2 > len(data) {
			return errCut
		}
		length := int(binary.BigEndian.Uint16(data[at:]))
		if length < 2 {
			return fmt.Errorf("marker %02X has an impossible length", marker)
		}
		if at+length > len(data) {
			return errCut
		}
		body := data[at+2 : at+length]
		pos = at + length
		if marker == mSOS && b.heads {
			return errCut
		}
		if marker == mSOS {
			if b.all++; b.all > maxScans {
				return errors.New("it is in more scans than any program makes of a picture")
			}
			s, err := b.scanHeader(body)
			if err != nil {
				return err
			}
			pos = b.scan(data, pos, s)
			continue
		}
		if err := b.segment(marker, body); err != nil {
			return err
		}
	}
}

// nextMarker is the next marker from pos on and the place after it; 0 for
// none.
func nextMarker(data []byte, pos int) (marker byte, after int) {
	for {
		i := bytes.IndexByte(data[pos:], 0xff)
		if i < 0 || pos+i+1 >= len(data) {
			return 0, len(data)
		}
		pos += i + 1
		if m := data[pos]; m != 0 && m != 0xff {
			return m, pos + 1
		}
	}
}

// segment reads a segment other than that of a scan.
func (b *Picture) segment(marker byte, body []byte) error {
	switch marker {
	case mSOF0, mSOF1, mSOF2:
		return b.frame(marker, body)
	case mDHT:
		return b.huffman(body)
	case mDQT:
		return b.quantisers(body)
	case mDRI:
		if len(body) < 2 {
			return errors.New("the restart interval is broken")
		}
		b.restart = int(binary.BigEndian.Uint16(body))
	case mAPP0:
		b.jfif = b.jfif || bytes.HasPrefix(body, []byte("JFIF\x00"))
	case mAPP14:
		if len(body) >= 12 && bytes.HasPrefix(body, []byte("Adobe")) {
			b.transform = int(body[11])
		}
	case mDAC, mJPG:
		return ErrKind
	default:
		if marker > mSOF2 && marker <= mSOF15 {
			return ErrKind
		}
	}
	return nil
}

// frame reads a frame header (T.81, B.2.2) and makes room for the means.
func (b *Picture) frame(marker byte, body []byte) error {
	if b.seen {
		return ErrKind
	}
	if len(body) < 6 || len(body) < 6+3*int(body[5]) {
		return errors.New("the frame header is broken")
	}
	b.Height, b.Width = int(binary.BigEndian.Uint16(body[1:])), int(binary.BigEndian.Uint16(body[3:]))
	b.n, b.progressive = int(body[5]), marker == mSOF2
	if body[0] != 8 || b.n != 1 && b.n != 3 || b.Height == 0 {
		return ErrKind
	}
	if b.Width == 0 {
		return errors.New("the picture has no width")
	}
	if int64(b.Width)*int64(b.Height) > b.MaxPixels {
		return fmt.Errorf("%dx%d is more than %d million pixels", b.Width, b.Height, b.MaxPixels/1e6)
	}
	b.hmax, b.vmax = 1, 1
	for i := range b.parts[:b.n] {
		p, c := &b.parts[i], body[6+3*i:]
		p.id, p.h, p.v, p.quan = int(c[0]), int(c[1]>>4), int(c[1]&15), int(c[2])
		if p.h < 1 || p.h > 4 || p.v < 1 || p.v > 4 || p.quan > 3 {
			return errors.New("the frame header is broken")
		}
		b.hmax, b.vmax = max(b.hmax, p.h), max(b.vmax, p.v)
	}
	return b.layOut()
}

// layOut works out how many blocks each component has.
func (b *Picture) layOut() error {
	if b.n == 1 {
		// Sampling factors have no meaning for a single component.
		b.parts[0].h, b.parts[0].v, b.hmax, b.vmax = 1, 1, 1, 1
	}
	ids := [3]int{b.parts[0].id, b.parts[1].id, b.parts[2].id}
	b.rgb = b.n == 3 && (b.transform == 0 || b.transform < 0 && !b.jfif && ids == [3]int{'R', 'G', 'B'})
	for i := range b.parts[:b.n] {
		p := &b.parts[i]
		// The first component has to be the finest, and whole blocks of it
		// have to lie under each block of the others.
		if i == 0 && (p.h != b.hmax || p.v != b.vmax) || b.hmax%p.h != 0 || b.vmax%p.v != 0 {
			return ErrKind
		}
		p.across = ceilDiv(ceilDiv(b.Width*p.h, b.hmax), 8)
		p.down = ceilDiv(ceilDiv(b.Height*p.v, b.vmax), 8)
		p.stride = ceilDiv(b.Width, 8*b.hmax) * p.h
		n := p.stride * ceilDiv(b.Height, 8*b.vmax) * p.v
		if cap(p.means) < n {
			p.means = make([]int16, n)
		}
		p.means = p.means[:n]
		for j := range p.means {
			p.means[j] = unread
		}
		if i == 0 {
			if cap(p.coded) < n {
				p.coded = make([]uint16, n)
			}
			p.coded = p.coded[:n]
			clear(p.coded)
		}
		b.reduced = b.per
		if n *= b.per * b.per; cap(p.pix) < n {
			p.pix = make([]uint16, n)
		}
		p.pix = p.pix[:n]
	}
	b.seen = true
	return nil
}

func ceilDiv(a, b int) int { return (a + b - 1) / b }

// quantisers reads a DQT segment (T.81, B.2.4.1).
func (b *Picture) quantisers(body []byte) error {
	for len(body) > 0 {
		wide, id := body[0]>>4, body[0]&15
		n := 65
		if wide != 0 {
			n = 129
		}
		if id > 3 || wide > 1 || len(body) < n {
			return errors.New("a quantisation table is broken")
		}
		for i := range b.quan[id] {
			if wide == 0 {
				b.quan[id][i] = int(body[1+i])
			} else {
				b.quan[id][i] = int(binary.BigEndian.Uint16(body[1+2*i:]))
			}
		}
		body = body[n:]
	}
	return nil
}

// huffman reads a DHT segment (T.81, B.2.4.2).
func (b *Picture) huffman(body []byte) error {
	for len(body) > 0 {
		if len(body) < 17 {
			return errHuffman
		}
		class, id, counts := body[0]>>4, body[0]&15, body[1:17]
		n := 0
		for _, c := range counts {
			n += int(c)
		}
		if class > 1 || id > 3 || n < 1 || n > 256 || len(body) < 17+n {
			return errHuffman
		}
		symbols := body[17 : 17+n]
		body = body[17+n:]
		if err := b.setTable(class, id, counts, symbols); err != nil {
			return err
		}
	}
	return nil
}

func (b *Picture) setTable(class, id byte, counts, symbols []byte) error {
	if class == 0 {
		if b.dc[id] == nil {
			b.dc[id] = new(dcTable)
		}
		b.dcSet[id] = true
		return b.dc[id].set(counts, symbols)
	}
	if b.progressive {
		return nil // only scans of AC terms use it
	}
	if b.ac[id] == nil {
		b.ac[id] = new(acTable)
	}
	b.acSet[id] = true
	return b.ac[id].set(counts, symbols)
}

// scanHeader reads a scan header (T.81, B.2.3). It gives nil for a scan that
// holds no DC terms.
func (b *Picture) scanHeader(body []byte) (*scan, error) {
	broken := errors.New("a scan header is broken")
	if !b.seen || len(body) < 1 {
		return nil, broken
	}
	n := int(body[0])
	if n < 1 || n > b.n || len(body) < 4+2*n {
		return nil, broken
	}
	first, approx := body[1+2*n], body[3+2*n]
	s := &scan{ac: !b.progressive}
	low := uint(0)
	if b.progressive {
		if first != 0 {
			return nil, nil
		}
		s.refine, low = approx>>4 != 0, uint(approx&15)
		if low > 13 {
			return nil, broken
		}
	}
	slots := b.slots[:0]
	for i := range n {
		p, at := b.part(int(body[1+2*i]))
		tables := body[2+2*i]
		if p == nil {
			return nil, broken
		}
		base := slot{comp: at, out: p.means, coded: p.coded, quan: max(b.quan[p.quan][0], 1) << low}
		base.most = dcLimit + base.quan
		if b.progressive {
			base.most += overshoot
		}
		if !b.setTables(&base, tables, s) {
			return nil, errors.New("a scan names a table that is not there")
		}
		if b.per > 1 {
			b.setPlane(&base, at)
		}
		if n == 1 { // a unit is a block, and only those that hold picture
			base.step, base.row, base.pixRow = 1, p.stride, base.stride*base.wide
			slots = append(slots, base)
			s.across, s.all = p.across, p.across*p.down
			break
		}
		if len(slots)+p.h*p.v > len(b.slots) {
			return nil, broken
		}
		for j := range p.h * p.v {
			base.step, base.row, base.pixRow = p.h, p.stride*p.v, base.stride*base.wide*p.v
			base.at = j/p.h*p.stride + j%p.h
			base.pixAt = (j/p.h*base.stride + j%p.h) * base.wide
			slots = append(slots, base)
		}
		s.across = ceilDiv(b.Width, 8*b.hmax)
		s.all = s.across * ceilDiv(b.Height, 8*b.vmax)
	}
	s.slots = slots
	return s, nil
}

// setPlane has a slot's blocks painted.
func (b *Picture) setPlane(to *slot, i int) {
	p := &b.parts[i]
	to.r, to.scale, to.wide = reductions[b.per], &b.scale[i], b.per
	to.pix, to.stride = p.pix, p.stride*b.per
	for k, weight := range to.r.scale {
		to.scale[k] = weight * float32(b.quan[p.quan][k])
	}
}

// part is the component of that id and its index.
func (b *Picture) part(id int) (*component, int) {
	for i := range b.parts[:b.n] {
		if b.parts[i].id == id {
			return &b.parts[i], i
		}
	}
	return nil, 0
}

// setTables gives a slot the tables its scan needs and reports whether they
// are there.
func (b *Picture) setTables(to *slot, ids byte, s *scan) bool {
	dc, ac := ids>>4, ids&15
	if s.refine {
		return true
	}
	if dc > 3 || !b.dcSet[dc] {
		return false
	}
	to.dc = b.dc[dc]
	if !s.ac {
		return true
	}
	if ac > 3 || !b.acSet[ac] {
		return false
	}
	to.ac = b.ac[ac]
	return true
}
