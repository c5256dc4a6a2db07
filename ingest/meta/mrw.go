package meta

import "encoding/binary"

// mrw reads Minolta's raw container: blocks with four-byte names, one of
// which is a whole EXIF block. Names and places are those of exiftool's
// documentation of the format.
func (c *collector) mrw(all section) error {
	c.facts.Format, c.facts.Raw = "mrw", true
	k := cursor{section: all, order: binary.BigEndian, pos: 4}
	end := min(8+int64(k.u32()), all.size)
	for k.pos < end && k.err == nil {
		name, n := string(k.take(4)), int64(k.u32())
		body, err := all.sub(k.pos, n)
		if k.err != nil || err != nil {
			return badPicture("the MRW ends within its header")
		}
		switch name {
		case "\x00PRD": // the sensor: identity, then height and width
			p := cursor{section: body, order: binary.BigEndian, pos: 12}
			h, w := p.u16(), p.u16()
			if p.err == nil {
				c.facts.Width, c.facts.Height = int(w), int(h)
			}
		case "\x00TTW":
			c.exifBlock(body)
		}
		k.skip(n)
	}
	return nil
}
