package meta

import (
	"bytes"
	"encoding/binary"

	"stillspan/internal/exiftag"
)

// maxStray is how many bytes that belong to no segment are skipped in search
// of the next marker.
const maxStray = 64 << 10

// JPEG markers (ITU-T T.81, table B.1).
const (
	markerSOI  = 0xD8
	markerEOI  = 0xD9
	markerSOS  = 0xDA
	markerTEM  = 0x01
	markerRST0 = 0xD0
	markerAPP1 = 0xE1
	markerAPP2 = 0xE2
)

// isSOF tells a frame header, which holds the size of the picture.
func isSOF(m byte) bool {
	return m >= 0xC0 && m <= 0xCF && m != 0xC4 && m != 0xC8 && m != 0xCC
}

// segments walks the segments of a JPEG up to its first scan. use is given
// the marker and the segment's content and says whether to go on.
func segments(s section, use func(marker byte, body section) bool) error {
	c := cursor{section: s, order: binary.BigEndian}
	c.skip(2)
	var stray error
	for {
		var skipped int64
		b := c.u8()
		for ; c.err == nil && b != 0xFF; b = c.u8() {
			if skipped++; skipped > maxStray {
				return badPicture("no JPEG marker within %d bytes", maxStray)
			}
		}
		if skipped > 0 && stray == nil {
			stray = badMetadata("%d stray bytes stand between JPEG segments", skipped)
		}
		for c.err == nil && b == 0xFF { // any number of fill bytes may stand here
			b = c.u8()
		}
		switch {
		case c.err != nil:
			return badPicture("the JPEG ends within its headers")
		case b == markerEOI, b == markerSOS:
			return stray
		case b == 0, b == markerTEM, b == markerSOI, b >= markerRST0 && b < markerSOI:
			continue
		}
		n := int64(c.u16()) - 2
		if c.err != nil || n < 0 {
			return badPicture("a JPEG segment at %d has no valid length", c.pos)
		}
		body, err := s.sub(c.pos, min(n, c.left()))
		if err != nil {
			return err
		}
		if !use(b, body) {
			return stray
		}
		if n > c.left() {
			return badPicture("the JPEG ends within its headers")
		}
		c.skip(n)
	}
}

// frameSize reads the size out of a frame header, and the bits of a sample.
func frameSize(body section) (w, h, bits int) {
	b, err := body.bytes(0, 5)
	if err != nil {
		return 0, 0, 0
	}
	return int(binary.BigEndian.Uint16(b[3:])), int(binary.BigEndian.Uint16(b[1:])), int(b[0])
}

// jpegSize returns the size an embedded JPEG states; 0, 0 if it has none.
// Lossless JPEG, by which raw formats store sensor data, is no preview.
func jpegSize(s section) (w, h int, lossless bool) {
	// An error leaves the size unknown, which is all there is to say.
	_ = segments(s, func(m byte, body section) bool {
		if isSOF(m) {
			w, h, _ = frameSize(body)
			lossless = m&3 == 3 // SOF3, 7, 11 and 15
		}
		return !isSOF(m)
	})
	return w, h, lossless
}

// JPEG reads the headers of a JPEG.
var JPEG Reader = func(c *collector, all section) error { return c.jpeg(all, true) }

// jpeg reads the headers of a JPEG. Its size is the picture's if main is set,
// else it is a preview that carries the metadata of a raw file.
func (c *collector) jpeg(s section, main bool) error {
	var exif, mpf bool
	var w, h, bits int
	var profile iccParts
	err := segments(s, func(m byte, body section) bool {
		switch {
		case m == markerAPP1 && !exif:
			head, err := body.bytes(0, min(6, body.size))
			if err != nil || len(head) < 6 || !bytes.HasPrefix(head, []byte("Exif\x00")) {
				return true
			}
			tiff, _ := body.sub(6, body.size-6)
			var b block
			if b, exif = c.exifBlock(tiff); exif {
				c.thumbnails(b)
			}
		case m == markerAPP2 && profile.add(body):
		case m == markerAPP2 && !mpf:
			head, err := body.bytes(0, min(4, body.size))
			if err == nil && string(head) == "MPF\x00" {
				mpf = true
				tiff, _ := body.sub(4, body.size-4)
				c.multiPicture(s, tiff)
			}
		case isSOF(m) && w == 0:
			w, h, bits = frameSize(body)
		}
		return true
	})
	c.setProfile(profile.whole())
	if main {
		c.facts.Width, c.facts.Height, c.facts.Bits = w, h, bits
	}
	if w > 0 && h > 0 && err != nil {
		c.note(badMetadata("%s", err))
		return nil
	}
	if main && w > 0 && h == 0 {
		return badPicture("the JPEG states no height before its scan")
	}
	return err
}

// thumbnails lists the pictures of the directories after the main one.
func (c *collector) thumbnails(b block) {
	for _, p := range c.pictures {
		if p.jpegLength > 0 {
			c.addPreview(b.section, p.jpegOffset, p.jpegLength)
		}
	}
}

// multiPicture lists the large thumbnails of a multi-picture file (CIPA
// DC-007): the same picture again, smaller. Other kinds, such as stereo
// views and gain maps, are different pictures.
func (c *collector) multiPicture(jpeg, s section) {
	b, err := newBlock(s)
	if err != nil {
		return
	}
	entries, _, err := b.dir(b.first)
	c.note(err)
	for _, e := range entries {
		if e.tag != exiftag.MPFEntries || e.bytes > maxValue {
			continue
		}
		table, err := b.bytes(e.off, e.bytes)
		if err != nil {
			return
		}
		for ; len(table) >= 16; table = table[16:] {
			attributes := b.order.Uint32(table)
			isJPEG, largeThumbnail := attributes>>24&7 == 0, attributes>>16&0xFF == 1
			if !isJPEG || !largeThumbnail {
				continue
			}
			// Offsets count from the MPF block's own header.
			at := s.off - jpeg.off + int64(b.order.Uint32(table[8:]))
			c.addPreview(jpeg, at, int64(b.order.Uint32(table[4:])))
		}
	}
}
