package jpeg

import (
	"bytes"
	"errors"
)

// A block's AC coefficients are of no use here but have to be passed over, as
// a JPEG does not say where its blocks lie. Two tables make that quick. Both
// are looked up with the next acBits bits of the stream:
//
//   - many passes over as many symbols, each with its extra bits, as begin in
//     those bits; the extra bits of the last may lie beyond them;
//   - one passes over a single symbol, for the end of a block, where what
//     follows belongs to the next one.
//
// An entry holds in its low six bits how many bits to pass over, and above
// them how many coefficients, plus endOfBlock where the block ends with it.
// hardCode stands for codes longer than acBits and for invalid ones.
//
// A third is for whoever wants the coefficients: an entry of value is one of one, and
// in its high half the coefficient; 0 where its bits lie beyond acBits.
const (
	acBits     = 12
	endOfBlock = 64
	hardCode   = 127 << 6
)

type acTable struct {
	spec      huffSpec
	many, one [1 << acBits]uint16
	value     [1 << acBits]uint32
}

// dcTable is looked up with the next dcBits bits. An entry holds in its low
// six bits how many bits code and difference take and in its high half the
// signed difference; 0 where they need more than dcBits or are invalid.
const dcBits = 10

type dcTable struct {
	spec huffSpec
	diff [1 << dcBits]uint32
}

// huffSpec is a table as DHT segments state it (ITU-T T.81, B.2.4.2), with
// what its canonical codes (annex C) need to be read bit by bit.
type huffSpec struct {
	counts  [16]byte
	symbols []byte
	// first and past are the first code of each length and the one after the
	// last, both left-aligned in 16 bits; at is the first one's symbol.
	first, past [16]uint32
	at          [16]int
}

var errHuffman = errors.New("a Huffman table is broken")

// same reports whether the spec was made from these bytes.
func (s *huffSpec) same(counts, symbols []byte) bool {
	return len(s.symbols) > 0 && bytes.Equal(s.counts[:], counts) && bytes.Equal(s.symbols, symbols)
}

// set makes the spec of a segment's counts and symbols; the caller has made
// sure that there are as many symbols as the counts say.
func (s *huffSpec) set(counts, symbols []byte) error {
	copy(s.counts[:], counts)
	s.symbols = append(s.symbols[:0], symbols...)
	code, at := uint32(0), 0
	for i, n := range s.counts {
		width := 15 - i // unused bits of a code of length i+1
		s.first[i], s.at[i] = code, at
		code += uint32(n) << width
		if code > 1<<16 {
			s.symbols = s.symbols[:0]
			return errHuffman
		}
		s.past[i] = code
		at += int(n)
	}
	return nil
}

// next reads the symbol at the head of w, whose upper 16 bits are the next of
// the stream, and the length of its code: 0 where there is none.
func (s *huffSpec) next(w uint64) (symbol byte, length uint) {
	code := uint32(w >> 48)
	for i := range s.past {
		if code < s.past[i] {
			return s.symbols[s.at[i]+int((code-s.first[i])>>(15-i))], uint(i + 1)
		}
	}
	return 0, 0
}

// set builds the table of a DHT segment, unless it is that already.
func (t *dcTable) set(counts, symbols []byte) error {
	if t.spec.same(counts, symbols) {
		return nil
	}
	for _, s := range symbols {
		if s > 15 {
			return errHuffman
		}
	}
	if err := t.spec.set(counts, symbols); err != nil {
		return err
	}
	for i := range t.diff {
		w := uint64(i) << (64 - dcBits)
		diff, bits := t.spec.difference(w)
		if bits == 0 || bits > dcBits {
			t.diff[i] = 0
			continue
		}
		t.diff[i] = uint32(diff)<<16 | uint32(bits)
	}
	return nil
}

// difference reads a DC difference (T.81, F.2.2.1) at the head of w and the
// bits it takes, 0 where there is none.
func (s *huffSpec) difference(w uint64) (diff int32, bits uint) {
	size, length := s.next(w)
	if length == 0 {
		return 0, 0
	}
	if size == 0 {
		return 0, length
	}
	return extend(w<<length, uint(size)), length + uint(size)
}

// set builds the tables of a DHT segment, unless they are that already.
func (t *acTable) set(counts, symbols []byte) error {
	if t.spec.same(counts, symbols) {
		return nil
	}
	if err := t.spec.set(counts, symbols); err != nil {
		return err
	}
	var codes [1 << acBits]uint8 // length of the code alone; 0 for hardCode
	for i := range t.one {
		entry, length := t.spec.skip(uint64(i) << (64 - acBits))
		if length == 0 || length > acBits {
			entry, length = hardCode, 0
		}
		t.one[i], codes[i] = entry, uint8(length)
		if t.value[i] = t.spec.value(uint64(i) << (64 - acBits)); t.value[i]&63 > acBits {
			t.value[i] = 0
		}
	}
	for i := range t.many {
		t.many[i] = t.join(i, &codes)
	}
	return nil
}

// skip is the entry that passes over the symbol at the head of w, and the
// length of its code: 0 for an invalid one.
func (s *huffSpec) skip(w uint64) (entry uint16, length uint) {
	symbol, length := s.next(w)
	run, size := uint16(symbol>>4), uint16(symbol&15)
	switch {
	case length == 0:
		return hardCode, 0
	case symbol == 0: // end of block
		return endOfBlock<<6 | uint16(length), length
	case size == 0 && run != 15: // no meaning in a sequential scan
		return hardCode, 0
	}
	return (run+1)<<6 | (uint16(length) + size), length
}

// value is the entry of acTable.value for the symbol at the head of w; 0 for an
// invalid one.
func (s *huffSpec) value(w uint64) uint32 {
	entry, length := s.skip(w)
	if length == 0 {
		return 0
	}
	return uint32(extend(w<<length, uint(entry&63)-length))<<16 | uint32(entry)
}

// join adds up the symbols that begin in window.
func (t *acTable) join(window int, codes *[1 << acBits]uint8) uint16 {
	entry := t.one[window]
	if entry == hardCode {
		return hardCode
	}
	for {
		used := int(entry & 63)
		if used >= acBits || entry>>6 >= endOfBlock {
			return entry
		}
		rest := window << used & (1<<acBits - 1)
		next := t.one[rest]
		// The bits shifted in are not the stream's: the code must end before.
		if next == hardCode || int(codes[rest]) > acBits-used || entry>>6+next>>6&63 > 63 {
			return entry
		}
		entry += next
	}
}
