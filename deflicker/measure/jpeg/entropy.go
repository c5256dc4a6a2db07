package jpeg

import (
	"bytes"
	"fmt"
)

// scan reads the entropy-coded data from pos on, interval by interval, and
// returns where the next marker segment begins. s is nil for data that are
// only passed over.
func (b *Picture) scan(data []byte, pos int, s *scan) (next int) {
	unit, interval := 0, 0
	if s != nil && !s.refine {
		b.scans++
	}
	for {
		from := pos
		end, marker, at := unstuff(data, from, s == nil)
		if marker != 0 && marker < mSOF0 {
			// No marker that could follow: a damaged byte. Go on where the
			// decoder can find its place again.
			b.note("its data make no sense in places")
			for marker != 0 && marker < mSOF0 {
				_, marker, at = unstuff(data, at+2, true)
			}
		}
		if s != nil {
			unit = b.interval(data, from, end, unit, s, marker)
		}
		if marker < mRST0 || marker > mRST7 {
			return at
		}
		pos = at + 2
		interval++
		if s == nil || b.restart == 0 {
			continue
		}
		// Restart markers count modulo 8; one that runs ahead tells how many
		// intervals were lost before it.
		lost := (int(marker-mRST0) - (interval - 1)) & 7
		if lost > 0 && lost < 4 {
			interval += lost
			b.note("picture data are missing")
		}
		unit = interval * b.restart
	}
}

// interval reads the units of one restart interval, or of a whole scan without
// any, and returns the unit after them. marker is what ends them, 0 for the
// end of the file.
func (b *Picture) interval(data []byte, from, end, unit int, s *scan, marker byte) int {
	n := s.all - unit
	if b.restart > 0 {
		n = min(n, b.restart)
	}
	if n <= 0 {
		return unit
	}
	walk := s.walk
	if s.refine {
		walk = s.refineDC
	}
	done, at, v := walk(data[:len(data)+Slack], from, end, unit, n)
	switch {
	case v == invalid:
		b.note(fmt.Sprintf("its data make no sense from %.0f %% of the picture on", 100*float64(unit+done)/float64(s.all)))
	case v == short && marker == 0:
		b.ended = true
	case v == short:
		b.note("picture data are missing")
	case s.ac && surplus(data[:end], at, marker):
		b.note("it holds more picture data than its size accounts for")
	}
	return unit + done
}

// surplus reports whether what is left of an interval's data from bit at on is
// more than padding: ones, or with some encoders zeros, to the byte's end (T.81,
// F.1.2.3), and at the end of a scan bytes that are all alike.
func surplus(data []byte, at uint, marker byte) bool {
	next := min(int(at+7)/8, len(data))
	if at&7 != 0 && int(at>>3) < len(data) {
		if bits := data[at>>3] << (at & 7); bits != 0 && bits != 0xff<<(at&7) {
			return true
		}
	}
	rest := data[next:]
	if len(rest) == 0 {
		return false
	}
	return marker >= mRST0 && marker <= mRST7 || bytes.Count(rest, rest[:1]) != len(rest)
}

// unstuff takes the stuffed zero bytes (T.81, B.1.1.5) out of the
// entropy-coded data from pos on, in place. It returns the end of the data so
// compacted, the marker that ends them, 0 at the end of the file, and the
// place of that marker. keep leaves the data as they are.
func unstuff(data []byte, pos int, keep bool) (end int, marker byte, at int) {
	end = pos
	for {
		i := bytes.IndexByte(data[pos:], 0xff)
		if i < 0 || pos+i+1 >= len(data) {
			i = len(data) - pos
			if !keep {
				end += copy(data[end:], data[pos:pos+i])
			}
			return end, 0, len(data)
		}
		code := data[pos+i+1]
		n := i + 1 // with the 0xff, which is data before a stuffed zero
		if code != 0 {
			n = i
		}
		if !keep && end != pos {
			copy(data[end:], data[pos:pos+n])
		}
		end += n
		pos += i + 1
		switch code {
		case 0:
			pos++
		case 0xff: // fill byte
		default:
			return end, code, pos - 1
		}
	}
}
