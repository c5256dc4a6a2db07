package jpeg

import "encoding/binary"

// unread marks a block whose mean is not known. No valid block has it: means
// are within 8 x 128 of zero.
const unread = -1 << 15

// dcLimit bounds a block's DC term, 8 times its mean less mid-grey: samples of 8
// bits give no more, but for a quantisation step. Beyond, a bit was flipped
// before, and all that follows is too light or too dark. Encoders that prepare
// pictures for the web, which write progressive ones, let bright edges overshoot.
const (
	dcLimit   = 1024
	overshoot = 256
)

// slot is one block of a scan's unit (MCU).
type slot struct {
	dc  *dcTable
	ac  *acTable
	out []int16 // the component's means
	// coded are the lengths of its blocks' AC terms; nil where nobody asks.
	coded []uint16
	quan  int // quantiser of the DC term, with the scan's point transform
	most  int // that the DC term may be, either sign
	comp  int // index of the predictor
	step  int // blocks from one unit to the next
	row   int // blocks from one row of units to the next
	at    int // block in the first unit

	// How its samples are made; r is nil where none are.
	r      *reduction
	scale  *[maxTerms]float32 // of its terms as they are coded
	wide   int                // samples of a block across
	pix    []uint16           // the component's plane
	stride int
	pixAt  int // its first sample in the first unit
	pixRow int // samples from one row of units to the next
}

// scan is what a scan's entropy-coded data are made of.
type scan struct {
	slots       []slot
	across, all int // units in a row and in the scan
	// refine is set for a scan that gives one more bit of DC terms known
	// already; ac says that AC terms follow each DC term.
	refine, ac bool
}

// verdict says how a run of units ended.
type verdict uint8

const (
	whole   verdict = iota // all units were there
	short                  // the data ended before them
	invalid                // the data are no valid code
)

// bits are those of a stream that come next: the upper have of w, of which more
// begin at byte next.
type bits struct {
	w          uint64
	have, next uint
}

// from are those from bit pos on.
func bitsFrom(data []byte, pos uint) bits {
	return bits{binary.BigEndian.Uint64(data[pos>>3:]) << (pos & 7), 56 - pos&7, pos>>3 + 7}
}

// pos is the bit that comes next.
func (b bits) pos() uint { return 8*b.next - b.have }

// filled has 56 bits at least. What lies in w below those that it has is theirs
// already.
func (b bits) filled(data []byte) bits {
	return bits{b.w | binary.BigEndian.Uint64(data[b.next:])>>(b.have&63), b.have | 56, b.next + (63-b.have)>>3}
}

// past is b without its first n bits.
func (b bits) past(n uint) bits { return bits{b.w << (n & 63), b.have - n&63, b.next} }

// walk decodes the DC terms of n units from unit on out of data[from:end],
// passing over all AC terms. data has to go on for Slack bytes beyond end. It
// returns how many units were whole and where it stopped, in bits.
func (s *scan) walk(data []byte, from, end, unit, n int) (done int, at uint, v verdict) {
	var predictors [4]int
	b, last := bits{next: uint(from)}, uint(end)*8
	for done < n {
		row, col := unit/s.across, unit%s.across
		run := min(s.across-col, n-done)
		for range run {
			for i := range s.slots {
				slot := &s.slots[i]
				b = b.filled(data)
				e := slot.dc.diff[b.w>>(64-dcBits)]
				diff, bits := int32(e)>>16, uint(e&63)
				if bits == 0 {
					if diff, bits = slot.dc.spec.difference(b.w); bits == 0 {
						return done, b.pos(), s.stopped(b.pos(), last)
					}
				}
				b = b.past(bits)
				mean := predictors[slot.comp&3] + int(diff)
				predictors[slot.comp&3] = mean
				mean *= slot.quan
				if uint(mean+slot.most) > uint(2*slot.most) {
					return done, b.pos(), s.stopped(b.pos(), last)
				}
				slot.out[slot.at+row*slot.row+col*slot.step] = int16(mean)
				if !s.ac {
					continue
				}
				var ok bool
				from := b.pos()
				if slot.r == nil {
					b, ok = slot.ac.pass(data, b, 1)
				} else {
					b, ok = slot.paint(data, b, mean, slot.pixAt+row*slot.pixRow+col*slot.step*slot.wide)
				}
				if !ok {
					return done, b.pos(), s.stopped(b.pos(), last)
				}
				if slot.coded != nil {
					slot.coded[slot.at+row*slot.row+col*slot.step] = uint16(b.pos() - from)
				}
			}
			if b.pos() > last {
				return done, b.pos(), short
			}
			col++
			done++
		}
		unit += run
	}
	return done, b.pos(), whole
}

// refineDC adds one more bit to the DC terms of n units, as walk does.
func (s *scan) refineDC(data []byte, from, end, unit, n int) (done int, at uint, v verdict) {
	pos, last := uint(from)*8, uint(end)*8
	for ; done < n; done++ {
		if pos+uint(len(s.slots)) > last {
			return done, pos, short
		}
		row, col := unit/s.across, unit%s.across
		for i := range s.slots {
			slot := &s.slots[i]
			if mean := &slot.out[slot.at+row*slot.row+col*slot.step]; *mean != unread && data[pos>>3]>>(7-pos&7)&1 != 0 {
				*mean += int16(slot.quan)
			}
			pos++
		}
		unit++
	}
	return done, pos, whole
}

// stopped tells data that end from data that are wrong.
func (s *scan) stopped(pos, last uint) verdict {
	// Past the end lies what is not the stream's, most often no valid code.
	if pos+16 > last {
		return short
	}
	return invalid
}

// pass passes over a block's AC terms from the one at k on and returns what comes
// after them; ok is false where they are no valid code.
func (t *acTable) pass(data []byte, b bits, k uint) (after bits, ok bool) {
	for {
		// What one entry passes over, 27 bits at most, is there twice.
		b = b.filled(data)
		e := uint(t.many[b.w>>(64-acBits)])
		b = b.past(e)
		if k += e >> 6; k >= 64 {
			return t.ended(data, b, k, e)
		}
		e = uint(t.many[b.w>>(64-acBits)])
		b = b.past(e)
		if k += e >> 6; k >= 64 {
			return t.ended(data, b, k, e)
		}
	}
}

// ended ends a block of whose terms e was the last entry, which led to k.
func (t *acTable) ended(data []byte, b bits, k, e uint) (after bits, ok bool) {
	// The block is at its end, or a symbol goes beyond it.
	if k == 64 || e&63 != 0 && e >= endOfBlock<<6 && k < 2*64 {
		return b, true
	}
	b = bitsFrom(data, b.pos()-e&63)
	for k -= e >> 6; k < 64; k += e >> 6 {
		b = b.filled(data)
		if e = uint(t.one[b.w>>(64-acBits)]); e == hardCode {
			entry, length := t.spec.skip(b.w)
			if length == 0 {
				return b, false
			}
			e = uint(entry)
		}
		b = b.past(e)
	}
	return b, k == 64 || e >= endOfBlock<<6
}
