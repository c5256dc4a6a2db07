package meta

import (
	"encoding/binary"
	"strconv"
	"strings"
	"time"
	"unicode/utf16"
)

// Limits of Sigma's raw container.
const (
	maxX3FSections   = 256
	maxX3FProperties = 512
	x3fJPEG          = 18 // format code of an embedded JPEG
	x3fImageHeader   = 28 // bytes before the picture in an image section
	x3fPropHeader    = 24
)

// x3f reads Sigma's raw container (layout as in exiftool's documentation of
// it): a header with the size, and a directory at the end of the file.
// Newer cameras keep EXIF in the embedded JPEG, older ones a property list.
func (c *collector) x3f(all section) error {
	c.facts.Format, c.facts.Raw = "x3f", true
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
		case kind == "PROP":
			c.x3fProperties(part)
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

// x3fProperties reads the property list: names and values in UTF-16, at
// offsets that count characters.
func (c *collector) x3fProperties(part section) {
	k := cursor{section: part, order: binary.LittleEndian, pos: 8}
	n := min(k.u32(), maxX3FProperties)
	k.pos = x3fPropHeader
	text, err := part.sub(x3fPropHeader+8*int64(n), part.size-x3fPropHeader-8*int64(n))
	if err != nil {
		c.note(badMetadata("the property list of the X3F is cut off"))
		return
	}
	for ; n > 0 && k.err == nil; n-- {
		name, value := k.u32(), k.u32()
		c.x3fProperty(utf16At(text, name), utf16At(text, value))
	}
}

// utf16At returns the text at a character offset, up to its zero.
func utf16At(s section, chars uint32) string {
	off := 2 * int64(chars)
	const longest = 256
	b, err := s.bytes(off, min(longest, s.size-off)&^1)
	if err != nil {
		return ""
	}
	var u []uint16
	for ; len(b) >= 2 && (b[0] != 0 || b[1] != 0); b = b[2:] {
		u = append(u, binary.LittleEndian.Uint16(b))
	}
	return strings.TrimSpace(string(utf16.Decode(u)))
}

func (c *collector) x3fProperty(name, value string) {
	f := c.facts
	number := func(to *float64) {
		if v, err := strconv.ParseFloat(value, 64); err == nil && v > 0 && v < 1e9 {
			*to = v
		}
	}
	switch name {
	case "CAMMANUF":
		setText(&f.Make, value)
	case "CAMMODEL":
		setText(&f.Model, value)
	case "CAMSERIAL":
		setText(&f.Serial, value)
	case "SHUTTER":
		number(&f.ExposureS)
	case "APERTURE":
		number(&f.FNumber)
	case "ISO":
		number(&f.ISO)
	case "FLENGTH":
		number(&f.FocalMM)
	case "TIME":
		if s, err := strconv.ParseInt(value, 10, 64); err == nil {
			c.clock(s)
		}
	case "PMODE":
		f.Program = map[string]string{"P": "program", "A": "aperture priority", "S": "shutter priority", "M": "manual"}[value]
	}
}

// clock takes a wall-clock time counted in seconds from 1970, as the older
// raw formats have it.
func (c *collector) clock(seconds int64) {
	if seconds > 0 && seconds < 1<<32 {
		c.original.date = time.Unix(seconds, 0).UTC().Format("2006:01:02 15:04:05")
	}
}
