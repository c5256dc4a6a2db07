package meta

import "encoding/binary"

const (
	maxX3FSections = 256
	x3fJPEG        = 18 // format code of an embedded JPEG
	x3fImageHeader = 28 // bytes before the picture in an image section
)

// X3F reads Sigma's raw container (layout as in exiftool's documentation of
// it): a header with the size, and a directory at the end of the file. EXIF
// stands in the embedded JPEG; the property list, which the bodies of 2002 and
// 2003 had instead, is not read.
var X3F Reader = (*collector).x3f

func (c *collector) x3f(all section) error {
	h := cursor{section: all, order: binary.LittleEndian, pos: 28}
	w, height := h.u32(), h.u32()
	if h.err != nil {
		return badPicture("the X3F ends within its header")
	}
	c.facts.Width, c.facts.Height = int(w), int(height)
	k := cursor{section: all, order: binary.LittleEndian, pos: all.size - 4}
	k.pos = int64(k.u32())
	if string(k.take(4)) != "SECd" {
		return badMetadata("the X3F has no directory at its end; it may be cut off")
	}
	k.skip(4) // version
	for n := min(k.u32(), maxX3FSections); n > 0 && k.err == nil; n-- {
		off, length, kind := int64(k.u32()), int64(k.u32()), string(k.take(4))
		part, err := all.sub(off, length)
		switch {
		case k.err != nil || err != nil:
			c.note(badMetadata("a part of the X3F lies outside the file"))
		case kind == "IMAG" || kind == "IMA2":
			c.x3fImage(all, part)
		}
	}
	return k.err
}

// x3fImage lists an embedded JPEG and reads its EXIF.
func (c *collector) x3fImage(all, part section) {
	k := cursor{section: part, order: binary.LittleEndian, pos: 12}
	if k.u32() != x3fJPEG || part.size < x3fImageHeader {
		return
	}
	jpeg, err := part.sub(x3fImageHeader, part.size-x3fImageHeader)
	if err != nil {
		return
	}
	c.addPreview(all, jpeg.off-all.off, jpeg.size)
	if head, err := jpeg.bytes(0, 2); err == nil && head[0] == 0xFF && head[1] == markerSOI {
		c.note(c.jpeg(jpeg, false))
	}
}
