package meta

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
)

// Limits on what is read of one file, whatever its bytes say. They are far
// above what any camera's headers need.
const (
	maxChunk  = 1 << 20  // bytes of one value or directory
	maxRead   = 16 << 20 // bytes of the file in all
	maxSteps  = 200_000  // single reads
	pageBytes = 4096
	maxPages  = 64 // pages kept
)

// FormatError says that the bytes of a still are malformed. An error of any
// other kind is a failure to read them.
type FormatError struct {
	// Part is what is malformed: "file" (nothing of it is known), "picture"
	// (its header), or "metadata" (the picture itself may be sound).
	Part string
	Text string // one clear clause, lower case, without path
}

func (e *FormatError) Error() string { return e.Text }

// Parts of a still that may be malformed.
const (
	PartFile     = "file"
	PartPicture  = "picture"
	PartMetadata = "metadata"
)

func badPicture(format string, a ...any) error {
	return &FormatError{PartPicture, fmt.Sprintf(format, a...)}
}

func badMetadata(format string, a ...any) error {
	return &FormatError{PartMetadata, fmt.Sprintf(format, a...)}
}

// source reads ranges of a file: in pages, as headers cluster, and never more
// than the limits above. The first failure of the underlying reader sticks.
type source struct {
	r     io.ReaderAt
	size  int64
	err   error // failure of r, or a limit that was passed
	read  int64
	steps int
	pages map[int64][]byte
}

func newSource(r io.ReaderAt, size int64) *source {
	return &source{r: r, size: size, pages: make(map[int64][]byte, 4)}
}

// bytes returns n bytes at off. The caller must not change them.
func (s *source) bytes(off, n int64) ([]byte, error) {
	if s.err != nil {
		return nil, s.err
	}
	if off < 0 || n < 0 || off > s.size || n > s.size-off {
		return nil, badMetadata("%d bytes at %d lie outside the file of %d bytes", n, off, s.size)
	}
	if n > maxChunk {
		return nil, badMetadata("a value of %d bytes is over the limit of %d", n, maxChunk)
	}
	if s.steps++; s.steps > maxSteps {
		s.err = badMetadata("headers are scattered over more than %d places", maxSteps)
		return nil, s.err
	}
	first := off / pageBytes
	if off+n <= (first+1)*pageBytes {
		page, err := s.page(first)
		if err != nil {
			return nil, err
		}
		return page[off-first*pageBytes:][:n:n], nil
	}
	return s.fetch(off, n)
}

func (s *source) page(i int64) ([]byte, error) {
	if p, ok := s.pages[i]; ok {
		return p, nil
	}
	p, err := s.fetch(i*pageBytes, min(pageBytes, s.size-i*pageBytes))
	if err != nil {
		return nil, err
	}
	if len(s.pages) >= maxPages {
		clear(s.pages)
	}
	s.pages[i] = p
	return p, nil
}

// fetch reads from the file itself.
func (s *source) fetch(off, n int64) ([]byte, error) {
	if s.read += n; s.read > maxRead {
		s.err = badMetadata("headers take more than %d MB", maxRead>>20)
		return nil, s.err
	}
	p := make([]byte, n)
	got, err := s.r.ReadAt(p, off)
	if int64(got) < n {
		if err == nil || errors.Is(err, io.EOF) { // the file shrank
			err = io.ErrUnexpectedEOF
		}
		s.err = fmt.Errorf("read %d bytes at %d: %w", n, off, err)
		return nil, s.err
	}
	return p, nil
}

// section is a range of a source with offsets of its own.
type section struct {
	src       *source
	off, size int64
}

func (s section) bytes(off, n int64) ([]byte, error) {
	if off < 0 || n < 0 || off > s.size || n > s.size-off {
		return nil, badMetadata("%d bytes at %d lie outside their block of %d bytes", n, off, s.size)
	}
	return s.src.bytes(s.off+off, n)
}

// sub returns the part of n bytes at off.
func (s section) sub(off, n int64) (section, error) {
	if off < 0 || n < 0 || off > s.size || n > s.size-off {
		return section{}, badMetadata("a block of %d bytes at %d lies outside its parent of %d bytes", n, off, s.size)
	}
	return section{s.src, s.off + off, n}, nil
}

// cursor reads a section from front to back. After the first failure every
// read gives zero and err keeps the reason.
type cursor struct {
	section
	pos   int64
	order binary.ByteOrder
	err   error
}

func (c *cursor) take(n int64) []byte {
	if c.err != nil {
		return nil
	}
	var b []byte
	if b, c.err = c.bytes(c.pos, n); c.err != nil {
		return nil
	}
	c.pos += n
	return b
}

func (c *cursor) skip(n int64) {
	if c.err == nil && (n < 0 || n > c.size-c.pos) {
		c.err = badMetadata("a block is %d bytes short", n-(c.size-c.pos))
	}
	if c.err == nil {
		c.pos += n
	}
}

func (c *cursor) left() int64 { return c.size - c.pos }

func (c *cursor) u8() uint8 {
	if b := c.take(1); b != nil {
		return b[0]
	}
	return 0
}

func (c *cursor) u16() uint16 {
	if b := c.take(2); b != nil {
		return c.order.Uint16(b)
	}
	return 0
}

func (c *cursor) u32() uint32 {
	if b := c.take(4); b != nil {
		return c.order.Uint32(b)
	}
	return 0
}

func (c *cursor) u64() uint64 {
	if b := c.take(8); b != nil {
		return c.order.Uint64(b)
	}
	return 0
}

// sized reads an unsigned integer of 0, 2, 4 or 8 bytes.
func (c *cursor) sized(n int) uint64 {
	switch n {
	case 0:
		return 0
	case 2:
		return uint64(c.u16())
	case 4:
		return uint64(c.u32())
	case 8:
		return c.u64()
	}
	if c.err == nil {
		c.err = badMetadata("a field of %d bytes", n)
	}
	return 0
}
