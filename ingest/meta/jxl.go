package meta

import (
	"bytes"
	"io"

	"github.com/andybalholm/brotli"
)

// jxlHeaderBytes holds the size header and the orientation of any codestream.
const jxlHeaderBytes = 24

// JXL reads a JPEG XL, bare or in boxes.
var JXL Reader = func(c *collector, all section) error {
	if head, err := all.bytes(0, 1); err == nil && head[0] == 0xFF {
		return c.jxl(all)
	}
	return c.jxlBoxes(all)
}

// jxl reads a bare JPEG XL codestream (ISO/IEC 18181-1): size and orientation.
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
	orientation := 1
	if allDefault := b.take(1) == 1; !allDefault {
		if extra := b.take(1) == 1; extra {
			orientation = 1 + int(b.take(3))
		}
	}
	if b.short {
		return badPicture("the JPEG XL codestream ends within its header")
	}
	c.facts.Width, c.facts.Height, c.facts.Orientation = w, h, orientation
	return nil
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
