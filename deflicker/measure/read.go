package measure

import (
	"fmt"
	"io"

	"stillspan/deflicker/measure/jpeg"
)

// maxFile is the largest still read into memory, bytes. The largest
// photographs, stitched ones set aside, are a third of it.
const maxFile = 512 << 20

// readPart reads length bytes of f from offset into buf, which is grown where
// it is too small, and leaves jpeg.Slack zero bytes after them.
func readPart(f io.ReaderAt, offset, length int64, buf []byte) ([]byte, error) {
	if length < 0 || length > maxFile {
		return buf, fmt.Errorf("%d bytes are more than a still has", length)
	}
	if int64(cap(buf)) < length+jpeg.Slack {
		// A quarter more, so that a sequence of like sizes settles at once.
		buf = make([]byte, 0, length+length/4+jpeg.Slack)
	}
	buf = buf[:length]
	n, err := f.ReadAt(buf, offset)
	buf = buf[:n]
	if err == io.EOF {
		err = nil
	}
	clear(buf[n : n+jpeg.Slack])
	return buf, err
}
