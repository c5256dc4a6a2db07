package meta

import (
	"strings"

	"stillspan/internal/exiftag"
)

// tiffFile reads TIFF pictures and the raw formats built on TIFF.
func (c *collector) tiffFile(all section) error {
	head, err := all.bytes(0, min(12, all.size))
	if err != nil {
		return err
	}
	c.panasonic = string(head[:4]) == "IIU\x00"
	if _, ok := c.exifBlock(all); !ok {
		c.facts.Format = "tiff"
		return c.damage
	}
	c.facts.Format, c.facts.Raw = c.tiffFormat(string(head))
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

// rawMakers names the TIFF-based raw format of a maker.
var rawMakers = []struct{ maker, format string }{
	{"nikon", "nef"}, {"sony", "arw"}, {"pentax", "pef"}, {"ricoh", "pef"}, {"samsung", "srw"},
	{"hasselblad", "3fr"}, {"phase one", "iiq"}, {"leaf", "mos"}, {"kodak", "dcr"},
	{"eastman kodak", "dcr"}, {"epson", "erf"}, {"mamiya", "mef"}, {"canon", "cr2"}, {"olympus", "orf"},
}

func rawByMaker(maker string) string {
	maker = strings.ToLower(maker)
	for _, m := range rawMakers {
		if strings.HasPrefix(maker, m.maker) {
			return m.format
		}
	}
	return "raw"
}

// tiffFormat names the format, by the header and then by the maker.
func (c *collector) tiffFormat(head string) (format string, raw bool) {
	switch {
	case len(head) >= 10 && head[8:10] == "CR":
		return "cr2", true
	case len(head) >= 12 && (head[8:12] == "IIII" || head[8:12] == "MMMM"):
		return "iiq", true
	case head[:4] == "IIU\x00":
		return "rw2", true
	case head[2] == 'R' || head[3] == 'R':
		return "orf", true
	case c.dng:
		return "dng", true
	}
	for _, p := range c.pictures {
		if p.cfa() {
			return rawByMaker(c.facts.Make), true
		}
	}
	return "tiff", false
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
