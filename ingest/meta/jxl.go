package meta

import (
	"bytes"
	"io"

	"github.com/andybalholm/brotli"
)

// jxlHeaderBytes holds the size header, the orientation and the colours of any
// codestream without custom primaries.
const jxlHeaderBytes = 64

// JXL reads a JPEG XL, bare or in boxes.
var JXL Reader = func(c *collector, all section) error {
	if head, err := all.bytes(0, 1); err == nil && head[0] == 0xFF {
		return c.jxl(all)
	}
	return c.jxlBoxes(all)
}

// jxl reads a bare JPEG XL codestream (ISO/IEC 18181-1): size, orientation and what
// it says of its colours.
func (c *collector) jxl(s section) error {
	head, err := s.bytes(0, min(s.size, jxlHeaderBytes))
	if err != nil {
		return err
	}
	if len(head) < 4 || head[0] != 0xFF || head[1] != 0x0A {
		return badPicture("the JPEG XL codestream does not begin as one")
	}
	b := bits{data: head[2:]}
	h, w := b.jxlSize()
	orientation, colours := 1, false
	allDefault := b.take(1) == 1
	if !allDefault {
		colours = true
		if extra := b.take(1) == 1; extra {
			orientation = 1 + int(b.take(3))
			colours = b.take(3) == 0 // neither a size for display, a preview nor animation
		}
	}
	if b.short {
		return badPicture("the JPEG XL codestream ends within its header")
	}
	c.facts.Width, c.facts.Height, c.facts.Orientation = w, h, orientation
	switch {
	case allDefault:
		c.facts.Bits = 8
	case colours:
		c.jxlColours(&b)
	}
	return nil
}

// enum reads a value of an enumeration.
func (b *bits) enum() uint32 {
	switch b.take(2) {
	case 0:
		return 0
	case 1:
		return 1
	case 2:
		return 2 + b.take(4)
	}
	return 18 + b.take(6)
}

// jxlColours reads the depth and the colour encoding of image metadata, whose numbers
// are those of ITU-T H.273 but for P3, which is 11 with a white of its own. Of custom
// values it says nothing.
func (c *collector) jxlColours(b *bits) {
	depths := [4]uint32{8, 10, 12, 1}
	if float := b.take(1) == 1; float {
		depths = [4]uint32{32, 16, 24, 1}
		defer func() { c.facts.Bits = 32 }()
	}
	which := b.take(2)
	depth := depths[which]
	if which == 3 {
		depth += b.take(6)
	}
	if depths[0] == 32 {
		b.take(4) // of the exponent
	}
	b.take(1) // whether 16 bits are enough for a decoder
	extra := b.take(2)
	if extra == 1 && b.take(1) == 0 || extra > 1 {
		return // more than an alpha channel like any
	}
	b.take(1) // whether it is coded as XYB
	if b.short {
		return
	}
	c.facts.Bits = int(depth)
	if allDefault := b.take(1) == 1; allDefault {
		return
	}
	packed, space := b.take(1) == 1, b.enum()
	if packed {
		c.facts.Colour.packed = !b.short
		return
	}
	const d65, custom, p3 = 1, 2, 11
	primaries, grey := uint32(1), space == 1
	if space > 1 || b.enum() != d65 {
		return
	}
	if !grey {
		primaries = b.enum()
	}
	if primaries == custom || b.take(1) == 1 { // or a gamma
		return
	}
	if primaries == p3 {
		primaries = 12
	}
	if transfer := b.enum(); !b.short {
		c.setCodes(uint16(primaries), uint16(transfer), false)
	}
}

// jxlBoxes reads a JPEG XL in boxes (ISO/IEC 18181-2). The codestream's
// orientation stands before that of EXIF.
func (c *collector) jxlBoxes(all section) error {
	var stream *section
	err := boxes(all, func(b box) bool {
		switch b.kind {
		case "Exif":
			c.itemEXIF(b.body, section{}, place{length: uint64(b.body.size)})
		case "brob":
			if exif, ok := c.unpackedEXIF(b.body); ok {
				c.itemEXIF(exif, section{}, place{length: uint64(exif.size)})
			}
		case "jxlc":
			stream = &b.body
		case "jxlp": // a part of it, after its number
			if part, err := b.body.sub(4, b.body.size-4); err == nil && stream == nil {
				stream = &part
			}
		}
		return true
	})
	if stream == nil {
		return badPicture("the JPEG XL holds no codestream")
	}
	c.note(err)
	return c.jxl(*stream)
}

// unpackedEXIF unpacks a box compressed by Brotli (RFC 7932), of which it takes
// at most maxChunk bytes; ok is false where it is none of EXIF, or broken. Only
// the first counts.
func (c *collector) unpackedEXIF(body section) (exif section, ok bool) {
	kind, err := body.bytes(0, min(4, body.size))
	if err != nil || string(kind) != "Exif" || c.unpacked {
		return section{}, false
	}
	c.unpacked = true
	packed, err := body.bytes(4, body.size-4)
	var data []byte
	if err == nil {
		data, err = io.ReadAll(io.LimitReader(brotli.NewReader(bytes.NewReader(packed)), maxChunk+1))
	}
	if err != nil || len(data) > maxChunk {
		c.note(badMetadata("the JPEG XL's EXIF does not unpack"))
		return section{}, false
	}
	return section{newSource(bytes.NewReader(data), int64(len(data))), 0, int64(len(data))}, true
}

// bits reads a JPEG XL header, lowest bit first.
type bits struct {
	data  []byte
	pos   int
	short bool
}

func (b *bits) take(n int) uint32 {
	var v uint32
	for i := range n {
		if b.pos/8 >= len(b.data) {
			b.short = true
			return 0
		}
		v |= uint32(b.data[b.pos/8]>>(b.pos%8)&1) << i
		b.pos++
	}
	return v
}

// jxlRatios are the shapes a size header may name: width to height.
var jxlRatios = [8][2]int64{1: {1, 1}, 2: {12, 10}, 3: {4, 3}, 4: {3, 2}, 5: {16, 9}, 6: {5, 4}, 7: {2, 1}}

func (b *bits) jxlSize() (h, w int) {
	small := b.take(1) == 1
	side := func() int {
		if small {
			return 8 * (1 + int(b.take(5)))
		}
		return 1 + int(b.take([4]int{9, 13, 18, 30}[b.take(2)]))
	}
	h = side()
	if r := jxlRatios[b.take(3)]; r[1] != 0 {
		return h, int(int64(h) * r[0] / r[1])
	}
	return h, side()
}
