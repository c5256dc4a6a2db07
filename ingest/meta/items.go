package meta

import (
	"encoding/binary"

	"stillspan/internal/orientation"
)

// Limits of an item list. A picture in tiles has a few hundred items.
const (
	maxItems   = 4096
	maxExtents = 8192
)

// items is what the meta box of a HEIF or AVIF says (ISO/IEC 23008-12).
type items struct {
	primary uint32
	exif    uint32 // item of the EXIF block; 0 for none
	places  map[uint32]place
	props   []box
	uses    []propUse
	data    section // the item data box
}

// place is where an item of one piece lies.
type place struct {
	method         uint16 // 0 in the file, 1 in the item data box
	offset, length uint64
}

// propUse says that an item has a property, counted from 1.
type propUse struct {
	item uint32
	prop int
}

// itemMeta reads the meta box: where the EXIF lies, and size and orientation
// of the primary picture.
func (c *collector) itemMeta(all, meta section) error {
	body, err := meta.sub(4, meta.size-4) // version and flags
	if err != nil {
		return err
	}
	m := items{places: make(map[uint32]place)}
	if err := boxes(body, func(b box) bool {
		c.note(m.box(b))
		return true
	}); err != nil {
		c.note(err)
	}
	if at, ok := m.places[m.exif]; ok && m.exif != 0 {
		c.itemEXIF(all, m.data, at)
	}
	c.itemPicture(m)
	return nil
}

func (m *items) box(b box) error {
	c := cursor{section: b.body, order: binary.BigEndian}
	switch b.kind {
	case "pitm":
		m.primary = c.itemID(c.version() > 0)
	case "iinf":
		if c.version() > 0 {
			c.skip(4)
		} else {
			c.skip(2)
		}
		rest, err := b.body.sub(c.pos, c.left())
		if err != nil || c.err != nil {
			return c.err
		}
		return boxes(rest, m.info)
	case "iloc":
		return m.locations(&c)
	case "iprp":
		return boxes(b.body, func(b box) bool {
			switch b.kind {
			case "ipco":
				// A property beyond a broken one cannot be told apart.
				_ = boxes(b.body, func(p box) bool {
					m.props = append(m.props, p)
					return len(m.props) < maxItems
				})
			case "ipma":
				m.associations(&cursor{section: b.body, order: binary.BigEndian})
			}
			return true
		})
	case "idat":
		m.data = b.body
	}
	return c.err
}

// version reads version and flags and returns the version.
func (c *cursor) version() uint32 { return c.u32() >> 24 }

func (c *cursor) itemID(wide bool) uint32 {
	if wide {
		return c.u32()
	}
	return uint32(c.u16())
}

// info takes an item information entry of version 2 or 3.
func (m *items) info(b box) bool {
	c := cursor{section: b.body, order: binary.BigEndian}
	if b.kind != "infe" {
		return true
	}
	version := c.version()
	if version < 2 {
		return true
	}
	id := c.itemID(version > 2)
	c.skip(2) // protection
	if string(c.take(4)) == "Exif" && m.exif == 0 {
		m.exif = id
	}
	return true
}

// locations reads the item location box.
func (m *items) locations(c *cursor) error {
	version := c.version()
	sizes := c.u16()
	offsetSize, lengthSize, baseSize, indexSize := int(sizes>>12), int(sizes>>8&15), int(sizes>>4&15), int(sizes&15)
	if version == 0 {
		indexSize = 0
	}
	n, extents := c.itemID(version > 1), 0
	if n > maxItems {
		return badMetadata("a list of %d items is over the limit of %d", n, maxItems)
	}
	for range n {
		id := c.itemID(version > 1)
		var p place
		if version > 0 {
			p.method = c.u16() & 15
		}
		c.skip(2) // data reference
		base := c.sized(baseSize)
		pieces := int(c.u16())
		if extents += pieces; extents > maxExtents {
			return badMetadata("more than %d item extents", maxExtents)
		}
		for i := range pieces {
			c.sized(indexSize)
			offset, length := c.sized(offsetSize), c.sized(lengthSize)
			if i == 0 {
				p.offset, p.length = base+offset, length
			}
		}
		if c.err != nil {
			return c.err
		}
		if pieces == 1 {
			m.places[id] = p
		}
	}
	return nil
}

// associations reads which properties the items have.
func (m *items) associations(c *cursor) {
	version, flags := c.header()
	n := c.u32()
	for ; n > 0 && c.err == nil && len(m.uses) < maxItems; n-- {
		id := c.itemID(version > 0)
		for k := c.u8(); k > 0 && c.err == nil; k-- {
			prop := int(c.propIndex(flags&1 != 0))
			m.uses = append(m.uses, propUse{id, prop})
		}
	}
}

func (c *cursor) header() (version, flags uint32) {
	v := c.u32()
	return v >> 24, v & 0xFFFFFF
}

// propIndex reads a property's index; the bit above it says "essential".
func (c *cursor) propIndex(wide bool) uint16 {
	if wide {
		return c.u16() & 0x7FFF
	}
	return uint16(c.u8() & 0x7F)
}

// itemEXIF reads the EXIF item: a 32-bit offset to the TIFF header, from the
// byte after it.
func (c *collector) itemEXIF(all, data section, at place) {
	s := all
	if at.method == 1 {
		s = data
	}
	if at.method > 1 || at.offset > uint64(s.size) {
		c.note(badMetadata("the EXIF item lies outside the file"))
		return
	}
	if at.length == 0 { // to the end
		at.length = uint64(s.size) - at.offset
	}
	item, err := s.sub(int64(at.offset), int64(min(at.length, uint64(s.size))))
	if err != nil {
		c.note(badMetadata("the EXIF item lies outside the file"))
		return
	}
	k := cursor{section: item, order: binary.BigEndian}
	k.skip(int64(k.u32()))
	body, err := item.sub(k.pos, k.left())
	if err != nil || k.err != nil {
		c.note(badMetadata("the EXIF item is cut off"))
		return
	}
	if b, ok := c.exifBlock(body); ok {
		c.thumbnails(b)
	}
}

// itemPicture takes size and orientation from the properties of the primary
// item. They stand before EXIF's orientation, which readers are told to
// ignore; without any, EXIF's is kept.
func (c *collector) itemPicture(m items) {
	var turn orientation.Turn
	turned := false
	for _, u := range m.uses {
		if u.item != m.primary || u.prop < 1 || u.prop > len(m.props) {
			continue
		}
		p := m.props[u.prop-1]
		k := cursor{section: p.body, order: binary.BigEndian}
		switch p.kind {
		case "ispe":
			k.skip(4)
			w, h := k.u32(), k.u32()
			c.facts.Width, c.facts.Height = int(w), int(h)
		case "pixi":
			if k.skip(4); k.u8() > 0 {
				c.facts.Bits = int(k.u8())
			}
		case "colr":
			c.colourBox(p.body)
		case "irot":
			for range k.u8() & 3 {
				turn = turn.Left()
			}
			turned = true
		case "imir":
			if k.u8()&1 == 0 {
				turn.FlipY = !turn.FlipY
			} else {
				turn.FlipX = !turn.FlipX
			}
			turned = true
		}
	}
	if turned {
		c.facts.Orientation = turn.EXIF()
	}
}
