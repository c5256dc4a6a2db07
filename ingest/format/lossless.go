package format

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"

	"stillspan/internal/problem"
)

// Strips and tiles of sensor data that DNG and some makers pack as lossless
// JPEGs (ITU-T T.81, process 14 and annex H) hold just the bits of the samples
// that they state: damage in their midst shifts what follows, and they end early
// or late.
const (
	// losslessSlack is how many bytes a sound scan may leave over.
	losslessSlack = 16
	// minLossless is the smallest part worth the tables of its codes.
	minLossless = 4 << 10
)

// losslessDamage decodes the lengths of all codes of parts that are lossless
// JPEGs, and makes no samples of them.
func losslessDamage(r io.ReaderAt, parts []part) *problem.Still {
	var length, before int64
	for _, p := range parts {
		length += p.length
	}
	var l lossless
	for _, p := range parts {
		if p.length >= minLossless {
			if share := l.walk(io.NewSectionReader(r, p.at, p.length)); share >= 0 {
				return problem.Corrupt(fmt.Sprintf("its sensor data are damaged: their codes make no sense %.0f %% into them or before", 100*(float64(before)+share*float64(p.length))/float64(length)))
			}
		}
		before += p.length
	}
	return nil
}

// lossless walks one JPEG.
type lossless struct {
	in     *bufio.Reader
	tables [4][]uint8 // by the next 16 bits: bits of a code and its difference, 0 for no code
	units  int64      // how many times a scan goes through its samples
	each   [4]int     // samples of each component at a time
	comps  []byte     // names of the components
	every  int64      // units from one restart to the next; 0 for none

	bits   uint64 // read ahead, the next one highest
	n      int    // how many
	read   int64  // bytes of the scan
	marker byte   // that ended the bytes; 0 for none yet
	ended  bool
}

// walk is how far into a JPEG damage shows, 0 to 1; negative for none, or
// another kind of JPEG.
func (l *lossless) walk(r *io.SectionReader) float64 {
	if l.in == nil {
		l.in = bufio.NewReaderSize(r, 64<<10)
	}
	l.in.Reset(r)
	l.tables, l.units, l.every = [4][]uint8{}, 0, 0
	size := float64(r.Size())
	head := make([]byte, 4)
	if _, err := io.ReadFull(l.in, head[:2]); err != nil || head[0] != 0xff || head[1] != 0xd8 {
		return -1
	}
	for at := int64(2); ; {
		if _, err := io.ReadFull(l.in, head); err != nil || head[0] != 0xff {
			return -1
		}
		kind, length := head[1], int64(binary.BigEndian.Uint16(head[2:]))
		if kind >= 0xc0 && kind <= 0xcf && kind != 0xc3 && kind != 0xc4 || length < 2 {
			return -1
		}
		body := make([]byte, length-2)
		if _, err := io.ReadFull(l.in, body); err != nil {
			return -1
		}
		at += 2 + length
		switch kind {
		case 0xc3:
			l.frame(body)
		case 0xc4:
			l.codes(body)
		case 0xdd:
			if len(body) == 2 {
				l.every = int64(binary.BigEndian.Uint16(body))
			}
		case 0xda:
			order := l.scan(body)
			if order == nil || l.units == 0 {
				return -1
			}
			if l.sound(order, r.Size()-at) {
				return -1
			}
			return float64(at+l.read) / size
		}
	}
}

// frame reads a frame header (T.81, B.2.2).
func (l *lossless) frame(b []byte) {
	if len(b) < 6 || int(b[5]) > len(l.each) || len(b) < 6+3*int(b[5]) {
		return
	}
	l.comps = l.comps[:0]
	h, v := 1, 1
	for i := range int(b[5]) {
		c := b[6+3*i:]
		across, down := int(c[1]>>4), int(c[1]&15)
		l.comps, l.each[i] = append(l.comps, c[0]), across*down
		h, v = max(h, across), max(v, down)
	}
	if len(l.comps) == 1 {
		h, v, l.each[0] = 1, 1, 1 // T.81, A.2.2
	}
	lines, samples := int(binary.BigEndian.Uint16(b[1:])), int(binary.BigEndian.Uint16(b[3:]))
	l.units = int64((samples+h-1)/h) * int64((lines+v-1)/v)
}

// codes reads Huffman tables (T.81, B.2.4.2). A difference of 16 bits has no
// more than its code (H.1.2.2).
func (l *lossless) codes(b []byte) {
	for len(b) >= 17 {
		slot, counts, symbols := b[0]&3, b[1:17], b[17:]
		table := make([]uint8, 1<<16)
		code := 0
		for i, n := range counts {
			step := 1 << (15 - i)
			for range n {
				if len(symbols) == 0 || symbols[0] > 16 || code+step > len(table) {
					return
				}
				for k := range step {
					table[code+k] = uint8(i+1) + symbols[0]&15
				}
				code, symbols = code+step, symbols[1:]
			}
		}
		l.tables[slot], b = table, symbols
	}
}

// scan is the table of each sample of a unit (T.81, B.2.3); nil unless the scan
// has all components.
func (l *lossless) scan(b []byte) (order [][]uint8) {
	if len(b) < 1 || int(b[0]) != len(l.comps) || len(b) < 1+2*len(l.comps) {
		return nil
	}
	for i, c := range l.comps {
		table := l.tables[b[2+2*i]>>4&3]
		if b[1+2*i] != c || table == nil {
			return nil
		}
		for range l.each[i] {
			order = append(order, table)
		}
	}
	return order
}

// sound reports whether a scan of at most size bytes holds its samples and no
// more.
func (l *lossless) sound(order [][]uint8, size int64) bool {
	l.bits, l.n, l.read, l.marker, l.ended = 0, 0, 0, 0, false
	for u := range l.units {
		if l.every > 0 && u > 0 && u%l.every == 0 && !l.restart() {
			return false
		}
		for _, table := range order {
			if l.n < 32 {
				l.fill()
			}
			e := int(table[l.bits>>48])
			if e == 0 || e > l.n {
				return false
			}
			l.bits, l.n = l.bits<<e, l.n-e
		}
	}
	left := int64(l.n / 8)
	for !l.ended && left <= losslessSlack {
		l.n = 0
		l.fill()
		if l.bits != 0 { // zeros after it are padding
			left += int64(l.n / 8)
		}
		l.bits = 0
	}
	return left <= losslessSlack
}

// restart goes on after a restart marker (T.81, B.2.1).
func (l *lossless) restart() bool {
	l.fill()
	if l.n >= 8 || l.marker < 0xd0 || l.marker > 0xd7 {
		return false
	}
	l.bits, l.n, l.marker, l.ended = 0, 0, 0, false
	return true
}

// fill reads ahead as far as there is room, up to a marker.
func (l *lossless) fill() {
	for l.n <= 56 && !l.ended {
		c, err := l.in.ReadByte()
		if err != nil {
			l.ended = true
			return
		}
		l.read++
		if c == 0xff {
			for c == 0xff && err == nil { // fill bytes
				c, err = l.in.ReadByte()
				l.read++
			}
			if err != nil || c != 0 {
				l.marker, l.ended = c, true
				return
			}
			c = 0xff
		}
		l.bits |= uint64(c) << (56 - l.n)
		l.n += 8
	}
}
