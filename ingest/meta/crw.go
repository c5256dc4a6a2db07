package meta

import (
	"encoding/binary"
	"math"
	"strconv"
	"strings"
)

// maxHeaps bounds the directories of a CRW.
const maxHeaps = 64

// Records of Canon's older raw container, by the numbers of exiftool's
// documentation of it.
const (
	ciffInEntry    = 0x4000 // the value stands in the entry itself
	ciffTagMask    = 0x3FFF
	ciffKindMask   = 0x3800
	ciffHeapA      = 0x2800
	ciffHeapB      = 0x3000
	ciffMakeModel  = 0x080A
	ciffFocal      = 0x1029
	ciffShot       = 0x102A
	ciffSettings   = 0x102D
	ciffBaseISO    = 0x101C
	ciffTime       = 0x180E
	ciffSerial     = 0x180B
	ciffImage      = 0x1810
	ciffJPEG       = 0x2007
	ciffThumbnail  = 0x2008
	ciffEntryBytes = 10
)

// crw reads Canon's older raw container, a tree of heaps each of which ends
// in its directory.
func (c *collector) crw(all section) error {
	c.facts.Format, c.facts.Raw = "crw", true
	defer func() { c.facts.FocalMM = c.focal / max(c.focalUnits, 1) }()
	head, err := all.bytes(0, 14)
	if err != nil {
		return badPicture("the CRW ends within its header")
	}
	order := binary.ByteOrder(binary.LittleEndian)
	if head[0] == 'M' {
		order = binary.BigEndian
	}
	start := int64(order.Uint32(head[2:]))
	root, err := all.sub(start, all.size-start)
	if err != nil {
		return badPicture("the CRW's header states a place outside the file")
	}
	return c.heap(all, root, order, 0)
}

func (c *collector) heap(all, heap section, order binary.ByteOrder, depth int) error {
	if c.dirs++; c.dirs > maxHeaps || depth > maxDepth {
		return badMetadata("the CRW has more directories than any camera's")
	}
	k := cursor{section: heap, order: order, pos: heap.size - 4}
	k.pos = int64(k.u32())
	n := int64(k.u16())
	if k.err != nil || n*ciffEntryBytes > k.left() {
		return badMetadata("a directory of the CRW is cut off")
	}
	for ; n > 0; n-- {
		tag := k.u16()
		inEntry := k.pos
		size, off := int64(k.u32()), int64(k.u32())
		if tag&0xC000 == ciffInEntry {
			size, off = 8, inEntry
		}
		body, err := heap.sub(off, size)
		if err != nil {
			c.note(badMetadata("a record of the CRW lies outside the file"))
			continue
		}
		switch kind := tag & ciffKindMask; {
		case kind == ciffHeapA || kind == ciffHeapB:
			if err := c.heap(all, body, order, depth+1); err != nil {
				return err
			}
		default:
			c.record(all, tag&ciffTagMask, cursor{section: body, order: order})
		}
	}
	return nil
}

func (c *collector) record(all section, tag uint16, k cursor) {
	f := c.facts
	switch tag {
	case ciffMakeModel:
		if b := k.take(min(k.size, 128)); b != nil {
			maker, rest, _ := strings.Cut(string(b), "\x00")
			model, _, _ := strings.Cut(rest, "\x00")
			f.Make, f.Model = maker, model
		}
	case ciffTime:
		c.clock(int64(k.u32()))
	case ciffSerial:
		if v := k.u32(); v > 0 {
			f.Serial = strconv.FormatUint(uint64(v), 10)
		}
	case ciffImage:
		w, h := k.u32(), k.u32()
		k.skip(4) // pixel aspect
		f.Width, f.Height = int(w), int(h)
		if o, ok := map[uint32]int{90: 6, 180: 3, 270: 8}[k.u32()]; ok {
			f.Orientation = o
		}
	case ciffFocal:
		k.skip(2)
		c.focal = float64(k.u16())
	case ciffSettings:
		k.skip(2 * canonFocalUnitsIndex)
		c.focalUnits = float64(k.u16())
	case ciffBaseISO:
		f.ISO = float64(k.u16())
	case ciffShot:
		c.shotInfo(k)
	case ciffJPEG, ciffThumbnail:
		c.addPreview(all, k.off-all.off, k.size)
	}
}

// shotInfo reads aperture and time in APEX units of 1/32 (Canon's scale),
// which settle turns into seconds and an f-number.
func (c *collector) shotInfo(k cursor) {
	const aperture, exposure = 21, 22
	k.skip(2 * aperture)
	av, tv := int16(k.u16()), int16(k.u16())
	if k.err != nil {
		return
	}
	c.apertureAV, c.hasAV = canonEV(av), true
	c.shutterTV, c.hasTV = canonEV(tv), true
}

// canonEV turns Canon's 1/32 steps into EV. Thirds are stored rounded: 0x0C
// and 0x14 of 0x20 stand for one and two thirds.
func canonEV(v int16) float64 {
	sign := 1.0
	n := int(v)
	if n < 0 {
		sign, n = -1, -n
	}
	part := float64(n & 0x1F)
	switch part {
	case 0x0C:
		part = 32.0 / 3
	case 0x14:
		part = 64.0 / 3
	}
	return sign * (math.Trunc(float64(n)/32) + part/32)
}
