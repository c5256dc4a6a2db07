package meta

import (
	"errors"
	"fmt"
	"io"
	"slices"
)

// MaxPixels is the largest picture that is believed. The largest sensors give
// 150 million pixels, several shifted exposures of one 400 million; a header
// that states more is damaged or meant to exhaust memory.
const MaxPixels = 500_000_000

// maxSide bounds one side of a picture, in pixels.
const maxSide = 1 << 18

// A Reader reads the headers of one kind of container.
type Reader func(c *collector, all section) error

// Read fills f with what the headers say that read knows, without reading the
// picture. Format and Raw are set before, as the first bytes tell them; what
// shows only further on, the reader sets right. A malformed file gives a
// *FormatError and all facts found before the damage; any other error is a
// failure to read.
func (f *Facts) Read(r io.ReaderAt, size int64, read Reader) (err error) {
	c := &collector{facts: f, src: newSource(r, size), seen: make(map[spot]bool)}
	// goexif may panic; the structure check before it bounds memory and time.
	defer func() {
		if p := recover(); p != nil {
			err = badMetadata("the metadata cannot be read (%v)", p)
		}
	}()
	err = read(c, section{c.src, 0, size})
	c.settle()
	noSize := c.checkSize()
	var malformed *FormatError
	switch {
	case c.src.err != nil && !errors.As(c.src.err, &malformed):
		return fmt.Errorf("cannot read the headers: %w", c.src.err)
	case err != nil && !(errors.As(err, &malformed) && malformed.Part == PartMetadata && c.damage != nil):
		return err
	case noSize != nil:
		return noSize
	}
	return c.damage
}

// checkSize refuses pictures that no camera takes.
func (c *collector) checkSize() error {
	w, h := int64(c.facts.Width), int64(c.facts.Height)
	if w == 0 || h == 0 {
		c.facts.Width, c.facts.Height = 0, 0
		if c.damage != nil {
			return c.damage
		}
		return badPicture("no header states the size of the picture")
	}
	if w > maxSide || h > maxSide || w*h > MaxPixels {
		c.facts.Width, c.facts.Height = 0, 0
		return badPicture("a picture of %d x %d is over the limit of %d million pixels", w, h, MaxPixels/1_000_000)
	}
	return nil
}

// addPreview keeps an embedded JPEG if it lies in the file and begins as one.
func (c *collector) addPreview(all section, off, length int64) {
	if all.src != c.src {
		return // unpacked from a text or a box: it lies at no place in the file
	}
	part, err := all.sub(off, length)
	if err != nil || length < 4 || len(c.facts.Previews) >= maxPreviews {
		return
	}
	head, err := part.bytes(0, 2)
	if err != nil || head[0] != 0xFF || head[1] != 0xD8 {
		return
	}
	p := Preview{Offset: part.off, Length: part.size}
	if slices.ContainsFunc(c.facts.Previews, func(q Preview) bool { return q.Offset == p.Offset }) {
		return
	}
	var lossless bool
	if p.Width, p.Height, lossless = jpegSize(part); lossless {
		return
	}
	c.facts.Previews = append(c.facts.Previews, p)
}

// maxPreviews is how many embedded pictures are listed at most.
const maxPreviews = 16
