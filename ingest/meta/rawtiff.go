package meta

import (
	"slices"

	"stillspan/internal/exiftag"
)

// TIFF reads TIFF pictures and the raw formats built on TIFF. A DNG shows by
// its version tag, other sensor data by its kind.
var TIFF Reader = (*collector).tiffFile

func (c *collector) tiffFile(all section) error {
	head, err := all.bytes(0, min(4, all.size))
	if err != nil {
		return err
	}
	c.panasonic = string(head) == "IIU\x00"
	if _, ok := c.exifBlock(all); !ok {
		return c.damage
	}
	if !c.facts.Raw && c.dng {
		c.facts.Format, c.facts.Raw = "dng", true
	}
	c.facts.Raw = c.facts.Raw || slices.ContainsFunc(c.pictures, picture.cfa)
	main := c.mainPicture()
	c.facts.Width, c.facts.Height = int(main.width), int(main.height)
	if c.panasonic {
		c.facts.Width, c.facts.Height = int(c.border[3]-c.border[1]), int(c.border[2]-c.border[0])
	}
	if !c.facts.Raw {
		return nil
	}
	for _, p := range c.pictures {
		c.addPreview(all, p.jpegOffset, p.jpegLength)
		c.addPreview(all, p.offset, p.length)
	}
	if c.panasonicJPEG.size > 0 {
		c.addPreview(all, c.panasonicJPEG.off, c.panasonicJPEG.size)
		c.note(c.jpeg(c.panasonicJPEG, false)) // it has EXIF of its own
	}
	return nil
}

// mainPicture is the largest picture that is not a reduced one; sensor data
// stands before others.
func (c *collector) mainPicture() picture {
	var best picture
	for _, p := range c.pictures {
		if p.width <= 0 || p.height <= 0 {
			continue
		}
		if better(p, best) {
			best = p
		}
	}
	return best
}

func better(p, than picture) bool {
	if than.width == 0 {
		return true
	}
	if p.reduced != than.reduced {
		return !p.reduced
	}
	if p.cfa() != than.cfa() {
		return p.cfa()
	}
	return p.width*p.height > than.width*than.height
}

// panasonicTag takes a tag of the main directory of an RW2, which has
// numbers of its own below 0x0100.
func (c *collector) panasonicTag(b block, e entry) {
	switch {
	case e.tag == exiftag.PanasonicJPEG:
		c.panasonicJPEG, _ = b.sub(e.off, e.bytes)
	case e.tag == exiftag.PanasonicISO:
		setPositive(&c.otherISO, b, e)
	case e.tag >= exiftag.PanasonicTopBorder && e.tag <= exiftag.PanasonicRightBorder:
		c.border[e.tag-exiftag.PanasonicTopBorder], _ = b.integer(e)
	}
}
