package meta

import (
	"bytes"
	"encoding/binary"
	"math"
	"strings"

	"github.com/rwcarlsen/goexif/tiff"

	"stillspan/internal/exiftag"
)

// Limits of one TIFF structure. Cameras use a dozen directories of up to a
// hundred entries.
const (
	maxDirs    = 64
	maxEntries = 2048
	maxDepth   = 4
	maxValue   = 64 << 10 // bytes of a value that is decoded
)

// isTIFF tells the headers of TIFF and of the raw formats that differ from it
// only by their magic number: Olympus (RO, RS) and Panasonic (0x55).
func isTIFF(head []byte) bool {
	if len(head) < 8 {
		return false
	}
	switch string(head[:4]) {
	case "II*\x00", "MM\x00*", "IIRO", "IIRS", "MMOR", "IIU\x00":
		return true
	}
	return false
}

// block is a TIFF structure: the structure check in front of goexif. Offsets
// in it count from its start.
type block struct {
	section
	order binary.ByteOrder
	first int64 // offset of the first directory
}

func newBlock(s section) (block, error) {
	head, err := s.bytes(0, 8)
	if err != nil {
		return block{}, badMetadata("the EXIF block of %d bytes is too short", s.size)
	}
	if !isTIFF(head) {
		return block{}, badMetadata("the EXIF block does not begin as one")
	}
	b := block{section: s, order: binary.LittleEndian}
	if head[0] == 'M' {
		b.order = binary.BigEndian
	}
	b.first = int64(b.order.Uint32(head[4:]))
	return b, nil
}

// entry is one directory entry whose value is known to lie in the block.
type entry struct {
	tag, kind uint16
	count     int64
	off       int64 // of the value, from the block's start
	bytes     int64 // of the value
	raw       []byte
}

// typeBytes is the size of one element, by type number: TIFF 6.0, the IFD
// type 13 of Supplement 1, and UTF-8 text (129) of EXIF 3.0.
func typeBytes(kind uint16) int64 {
	switch kind {
	case 1, 2, 6, 7, 129:
		return 1
	case 3, 8:
		return 2
	case 4, 9, 11, 13:
		return 4
	case 5, 10, 12:
		return 8
	}
	return 0
}

// dir reads the directory at off and returns its sound entries and the
// offset of the next directory. A directory that runs over the end gives the
// entries there are and an error, as does one with an entry that lies.
func (b block) dir(off int64) (entries []entry, next int64, err error) {
	head, err := b.bytes(off, 2)
	if err != nil {
		return nil, 0, badMetadata("a directory at %d lies outside the metadata of %d bytes", off, b.size)
	}
	n := int64(b.order.Uint16(head))
	if n > maxEntries {
		return nil, 0, badMetadata("a directory of %d entries is over the limit of %d", n, maxEntries)
	}
	if have := (b.size - off - 2) / 12; n > have {
		err = badMetadata("a directory of %d entries is cut off after %d", n, have)
		n = have
	} else if tail, e := b.bytes(off+2+12*n, 4); e == nil {
		next = int64(b.order.Uint32(tail))
	}
	table, e := b.bytes(off+2, 12*n)
	if e != nil {
		return nil, 0, e
	}
	entries = make([]entry, 0, n)
	for ; len(table) >= 12; table = table[12:] {
		e, ok := b.entry(table[:12:12], off+2+12*n-int64(len(table)))
		if ok {
			entries = append(entries, e)
		} else if wanted[e.tag] && e.count > 0 && err == nil {
			err = badMetadata("tag 0x%04x states %d values that do not lie in the metadata", e.tag, e.count)
		}
	}
	return entries, next, err
}

// entry checks one entry: count times size in 64 bits against the bytes
// there are. An empty or unknown one is not sound either.
func (b block) entry(raw []byte, at int64) (entry, bool) {
	e := entry{
		tag:   b.order.Uint16(raw),
		kind:  b.order.Uint16(raw[2:]),
		count: int64(b.order.Uint32(raw[4:])),
		off:   at + 8,
		raw:   raw,
	}
	e.bytes = e.count * typeBytes(e.kind)
	if e.bytes > 4 {
		e.off = int64(b.order.Uint32(raw[8:]))
	}
	return e, e.bytes > 0 && e.off <= b.size && e.bytes <= b.size-e.off
}

// decode has goexif decode one checked value.
func (b block) decode(e entry) (*tiff.Tag, error) {
	raw := bytes.Clone(e.raw)
	switch e.kind {
	case 13:
		b.order.PutUint16(raw[2:], uint16(tiff.DTLong))
	case 129:
		b.order.PutUint16(raw[2:], uint16(tiff.DTAscii))
	}
	if e.bytes > maxValue {
		return nil, badMetadata("tag 0x%04x has a value of %d bytes, over the limit of %d", e.tag, e.bytes, maxValue)
	}
	return tiff.DecodeTag(&entryReader{bytes.NewReader(raw), b.section}, b.order)
}

// entryReader shows goexif one entry of 12 bytes, and the block by offset.
type entryReader struct {
	entry *bytes.Reader
	block section
}

func (r *entryReader) Read(p []byte) (int, error) { return r.entry.Read(p) }

func (r *entryReader) ReadAt(p []byte, off int64) (int, error) {
	b, err := r.block.bytes(off, int64(len(p)))
	return copy(p, b), err
}

// text returns a value as text without padding; "" if there is none.
func (b block) text(e entry) string {
	tag, err := b.decode(e)
	if err != nil {
		return ""
	}
	s, err := tag.StringVal()
	if err != nil { // some cameras call their text undefined bytes
		s, _, _ = strings.Cut(string(tag.Val), "\x00")
	}
	return strings.TrimSpace(strings.ToValidUTF8(s, "?"))
}

// number returns the i-th element of a value as a number. Fractions without a
// denominator and values that are no finite numbers are not there.
func (b block) number(e entry, i int) (float64, bool) {
	if int64(i) >= e.count {
		return 0, false
	}
	tag, err := b.decode(e)
	if err != nil {
		return 0, false
	}
	var v float64
	switch tag.Format() {
	case tiff.IntVal:
		n, err := tag.Int64(i)
		if err != nil {
			return 0, false
		}
		v = float64(n)
	case tiff.RatVal:
		num, den, err := tag.Rat2(i)
		if err != nil || den == 0 {
			return 0, false
		}
		v = float64(num) / float64(den)
	case tiff.FloatVal:
		if v, err = tag.Float(i); err != nil {
			return 0, false
		}
	default:
		return 0, false
	}
	return v, !math.IsNaN(v) && !math.IsInf(v, 0)
}

// integer returns the first element of a value as a whole number from 0 up.
func (b block) integer(e entry) (int64, bool) {
	v, ok := b.number(e, 0)
	if !ok || v < 0 || v > math.MaxUint32 || v != math.Trunc(v) {
		return 0, false
	}
	return int64(v), true
}

// wanted are the tags whose loss is worth a word.
var wanted = map[uint16]bool{
	exiftag.Make: true, exiftag.Model: true, exiftag.Orientation: true, exiftag.ExifIFD: true,
	exiftag.ExposureTime: true, exiftag.FNumber: true, exiftag.ISO: true, exiftag.DateTimeOriginal: true,
	exiftag.SubSecTimeOriginal: true, exiftag.OffsetTimeOriginal: true, exiftag.FocalLength: true,
	exiftag.ImageWidth: true, exiftag.ImageLength: true, exiftag.SubIFDs: true,
}
