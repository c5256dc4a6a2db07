package meta

import "encoding/binary"

// RAF reads Fujifilm's raw container: a fixed header with the places of a
// full JPEG, which carries the EXIF, and of a list of sensor facts.
var RAF Reader = (*collector).raf

func (c *collector) raf(all section) error {
	k := cursor{section: all, order: binary.BigEndian, pos: 84}
	jpegAt, jpegLength := int64(k.u32()), int64(k.u32())
	listAt, listLength := int64(k.u32()), int64(k.u32())
	if k.err != nil {
		return badPicture("the RAF ends within its header")
	}
	if list, err := all.sub(listAt, listLength); err == nil {
		c.rafList(list)
	}
	jpeg, err := all.sub(jpegAt, jpegLength)
	if err != nil {
		return badMetadata("the JPEG of the RAF lies outside the file")
	}
	c.addPreview(all, jpegAt, jpegLength)
	return c.jpeg(jpeg, false)
}

// rafList reads the size of the sensor's picture. Tags as exiftool's
// documentation of the RAF format names them: 0x0100 the whole sensor, 0x0121
// the part of it that is used; both state the height first.
func (c *collector) rafList(list section) {
	const rawFull, rawUsed = 0x0100, 0x0121
	k := cursor{section: list, order: binary.BigEndian}
	for n := min(k.u32(), maxEntries); n > 0 && k.err == nil; n-- {
		tag, size := k.u16(), int64(k.u16())
		if tag == rawFull || tag == rawUsed && c.facts.Width == 0 {
			v := cursor{section: list, order: binary.BigEndian, pos: k.pos}
			h, w := v.u16(), v.u16()
			if v.err == nil {
				c.facts.Width, c.facts.Height = int(w), int(h)
			}
		}
		k.skip(size)
	}
}
