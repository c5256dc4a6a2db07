package meta

import (
	"bytes"
	"encoding/binary"
)

// box is one box of the ISO base media file format (ISO/IEC 14496-12).
type box struct {
	kind string
	body section
}

// boxes walks the boxes of a section until use says to stop.
func boxes(s section, use func(box) bool) error {
	c := cursor{section: s, order: binary.BigEndian}
	for c.left() >= 8 {
		start := c.pos
		n := int64(c.u32())
		kind := string(c.take(4))
		switch n {
		case 0: // to the end
			n = s.size - start
		case 1:
			n = int64(c.u64())
		}
		head := c.pos - start
		if c.err != nil {
			return c.err
		}
		if n < head || n > s.size-start {
			return badMetadata("a box at %d states %d bytes where %d are left", s.off+start, n, s.size-start)
		}
		body, err := s.sub(c.pos, n-head)
		if err != nil {
			return err
		}
		if !use(box{kind, body}) {
			return nil
		}
		c.skip(n - head)
	}
	return nil
}

// HEIF reads a HEIF or AVIF still (ISO/IEC 23008-12).
var HEIF Reader = (*collector).heif

func (c *collector) heif(all section) error {
	var err error
	walk := boxes(all, func(b box) bool {
		if b.kind != "meta" {
			return true
		}
		err = c.itemMeta(all, b.body)
		return false
	})
	if err == nil {
		c.note(walk)
	}
	return err
}

// CR3 reads Canon's raw container.
var CR3 Reader = (*collector).cr3

func (c *collector) cr3(all section) error {
	var err error
	walk := boxes(all, func(b box) bool {
		switch b.kind {
		case "moov":
			err = c.canonMovie(all, b.body)
		case "uuid":
			c.canonPreview(all, b.body)
		}
		return err == nil
	})
	if err == nil {
		c.note(walk)
	}
	return err
}

// The two boxes of Canon's own in a CR3, by the identifiers that the public
// description of the format gives (github.com/lclevy/canon_cr3).
var (
	canonHeaderID  = []byte("\x85\xc0\xb6\x87\x82\x0f\x11\xe0\x81\x11\xf4\xce\x46\x2b\x6a\x48")
	canonPreviewID = []byte("\xea\xf4\x2b\x5e\x1c\x98\x4b\x88\xb9\xfb\xb7\xdc\x40\x6e\x4d\x16")
)

const uuidBytes = 16

// canonMovie reads the movie box of a CR3: the metadata and the tracks.
func (c *collector) canonMovie(all, moov section) error {
	err := boxes(moov, func(b box) bool {
		switch b.kind {
		case "uuid":
			if id, err := b.body.bytes(0, uuidBytes); err == nil && bytes.Equal(id, canonHeaderID) {
				rest, _ := b.body.sub(uuidBytes, b.body.size-uuidBytes)
				c.note(boxes(rest, func(b box) bool {
					c.canonHeader(all, b)
					return true
				}))
			}
		case "trak":
			c.canonTrack(all, b.body)
		}
		return true
	})
	if len(c.pictures) > 0 {
		c.facts.Width, c.facts.Height = int(c.pictures[0].width), int(c.pictures[0].height)
	}
	return err
}

// canonHeader reads one box of the header: each CMT box is a TIFF block with
// one of the directories that a JPEG keeps in a single block.
func (c *collector) canonHeader(all section, b box) {
	switch b.kind {
	case "CMT1":
		c.exifBlock(b.body)
	case "CMT2", "CMT3":
		t, err := newBlock(b.body)
		if err != nil {
			c.note(err)
			return
		}
		if b.kind == "CMT2" {
			c.exifDir(t, t.first, 0)
			return
		}
		c.maker.canon = &makerDir{t, t.first}
	case "THMB":
		c.jpegWithin(all, b.body)
	}
}

// canonPreview finds the preview of medium size.
func (c *collector) canonPreview(all, s section) {
	id, err := s.bytes(0, uuidBytes)
	if err != nil || !bytes.Equal(id, canonPreviewID) || s.size < uuidBytes+8 {
		return
	}
	rest, _ := s.sub(uuidBytes+8, s.size-uuidBytes-8)
	c.note(boxes(rest, func(b box) bool {
		if b.kind == "PRVW" {
			c.jpegWithin(all, b.body)
		}
		return true
	}))
}

// jpegWithin lists the JPEG that begins within the first bytes of a box.
func (c *collector) jpegWithin(all, s section) {
	head, err := s.bytes(0, min(s.size, 64))
	if err != nil {
		return
	}
	if at := bytes.Index(head, []byte("\xFF\xD8\xFF")); at >= 0 {
		c.addPreview(all, s.off-all.off+int64(at), s.size-int64(at))
	}
}

// canonTrack lists the sample of a track if it is a JPEG: the first track of
// a CR3 is the picture at full size.
func (c *collector) canonTrack(all, trak section) {
	path := []string{"mdia", "minf", "stbl"}
	for _, kind := range path {
		found := false
		_ = boxes(trak, func(b box) bool { // a broken track is no preview
			if b.kind == kind {
				trak, found = b.body, true
			}
			return !found
		})
		if !found {
			return
		}
	}
	var size, offset int64
	_ = boxes(trak, func(b box) bool {
		t := cursor{section: b.body, order: binary.BigEndian, pos: 4}
		switch b.kind {
		case "stsz":
			size = int64(t.u32())
			if n := t.u32(); size == 0 && n == 1 {
				size = int64(t.u32())
			}
		case "co64":
			if t.u32() == 1 {
				offset = int64(t.u64())
			}
		case "stco":
			if t.u32() == 1 {
				offset = int64(t.u32())
			}
		}
		return true
	})
	c.addPreview(all, offset, size)
}
