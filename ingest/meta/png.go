package meta

import "encoding/binary"

// png reads the chunks of a PNG (W3C PNG, third edition: eXIf).
func (c *collector) png(all section) error {
	c.facts.Format = "png"
	k := cursor{section: all, order: binary.BigEndian, pos: 8}
	for first := true; k.left() > 0; first = false {
		n := int64(k.u32())
		kind := string(k.take(4))
		if k.err != nil || n > k.left() {
			return badPicture("the PNG ends within its chunks")
		}
		switch {
		case first && (kind != "IHDR" || n < 8):
			return badPicture("the PNG does not begin with its header chunk")
		case first:
			h := cursor{section: all, order: binary.BigEndian, pos: k.pos}
			w, height := h.u32(), h.u32()
			c.facts.Width, c.facts.Height = int(w), int(height)
		case kind == "eXIf":
			body, err := all.sub(k.pos, n)
			if err != nil {
				return err
			}
			if b, ok := c.exifBlock(body); ok {
				c.thumbnails(b)
			}
			return nil
		case kind == "IEND":
			return nil
		}
		k.skip(n + 4) // content and checksum
	}
	return badPicture("the PNG has no end chunk")
}
