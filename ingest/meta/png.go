package meta

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"encoding/hex"
	"io"
	"slices"
)

// rawProfiles are the keywords under which ImageMagick, and what follows it,
// kept EXIF in a PNG before there was a chunk for it (W3C PNG, third edition,
// names the practice; ImageMagick's coders/png.c is its reference).
var rawProfiles = []string{"Raw profile type exif", "Raw profile type APP1"}

// PNG reads the chunks of a PNG (W3C PNG, third edition: eXIf).
var PNG Reader = (*collector).png

func (c *collector) png(all section) error {
	k := cursor{section: all, order: binary.BigEndian, pos: 8}
	profile, exif := false, false // one is enough, however many small chunks unpack to much
	for first := true; k.left() > 0; first = false {
		n := int64(k.u32())
		kind := string(k.take(4))
		if k.err != nil || n > k.left() {
			return badPicture("the PNG ends within its chunks")
		}
		switch {
		case first && (kind != "IHDR" || n < 9):
			return badPicture("the PNG does not begin with its header chunk")
		case first:
			h := cursor{section: all, order: binary.BigEndian, pos: k.pos}
			w, height := h.u32(), h.u32()
			c.facts.Width, c.facts.Height, c.facts.Bits = int(w), int(height), int(h.u8())
		case kind == "eXIf":
			body, err := all.sub(k.pos, n)
			if err != nil {
				return err
			}
			if b, ok := c.exifBlock(body); ok && !exif {
				c.thumbnails(b)
			}
			exif, profile = true, true
		case kind == "iCCP", kind == "cICP":
			body, err := all.sub(k.pos, n)
			if err != nil {
				return err
			}
			c.pngColour(kind, body)
		case kind == "IDAT" && exif: // what says of colours stands before it
			return nil
		case !profile && (kind == "zTXt" || kind == "tEXt"):
			body, err := all.sub(k.pos, n)
			if err != nil {
				return err
			}
			profile = c.rawProfile(body, kind == "zTXt")
		case kind == "IEND":
			return nil
		}
		k.skip(n + 4) // content and checksum
	}
	return badPicture("the PNG has no end chunk")
}

// pngColour reads a profile, packed by zlib behind its name and a zero, or code
// points of ITU-T H.273, which stand before a profile (W3C PNG, third edition).
func (c *collector) pngColour(kind string, body section) {
	b, err := body.bytes(0, body.size)
	if err != nil {
		return
	}
	if kind == "cICP" {
		if len(b) >= 4 {
			c.setCodes(uint16(b[0]), uint16(b[1]), true)
		}
		return
	}
	if _, packed, ok := bytes.Cut(b, []byte{0}); ok {
		if profile, err := inflate(packed); err == nil {
			c.setProfile(profile)
		}
	}
}

// rawProfile reads EXIF from a text chunk and says whether it was one of EXIF:
// a keyword and a zero, then, packed by zlib in a zTXt, the profile's name, its
// length, and its bytes in hexadecimal digits over many lines. Previews in it
// lie at no place in the file and are not listed.
func (c *collector) rawProfile(body section, packed bool) bool {
	const longest = 79 // of a keyword, by the standard
	head, err := body.bytes(0, min(longest+1, body.size))
	if err != nil {
		return false
	}
	keyword, _, ok := bytes.Cut(head, []byte{0})
	if !ok || !slices.Contains(rawProfiles, string(keyword)) {
		return false
	}
	text, err := body.bytes(int64(len(keyword))+1, body.size-int64(len(keyword))-1)
	if err == nil && packed {
		text, err = inflate(text)
	}
	if err != nil {
		c.note(badMetadata("the PNG's EXIF text does not unpack"))
		return true
	}
	words := bytes.Fields(text)
	if len(words) < 3 {
		return true
	}
	digits := bytes.Join(words[2:], nil)
	block := make([]byte, hex.DecodedLen(len(digits)))
	if _, err := hex.Decode(block, digits); err != nil {
		c.note(badMetadata("the PNG's EXIF text is not in hexadecimal digits"))
		return true
	}
	block = bytes.TrimPrefix(block, []byte("Exif\x00\x00"))
	c.exifBlock(section{newSource(bytes.NewReader(block), int64(len(block))), 0, int64(len(block))})
	return true
}

// inflate unpacks the method byte of a PNG's text chunk and its zlib data, of
// which it takes at most maxChunk bytes.
func inflate(packed []byte) ([]byte, error) {
	if len(packed) == 0 || packed[0] != 0 {
		return nil, badMetadata("packed in an unknown way") // the one method there is has the number 0
	}
	r, err := zlib.NewReader(bytes.NewReader(packed[1:]))
	if err != nil {
		return nil, err
	}
	defer r.Close()
	text, err := io.ReadAll(io.LimitReader(r, maxChunk+1))
	if err == nil && len(text) > maxChunk {
		err = badMetadata("more than %d bytes", maxChunk)
	}
	return text, err
}
