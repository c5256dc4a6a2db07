package measure

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"

	"stillspan/deflicker/measure/jpeg"
	"stillspan/internal/files"
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

// openFinding says why a still cannot be opened.
func openFinding(err error) *Finding {
	switch {
	case err == files.ErrNotRegular:
		return &Finding{Kind: "not-a-file", Text: "this is not a regular file", Try: "remove it from the folder"}
	case errors.Is(err, fs.ErrNotExist):
		return &Finding{Kind: "vanished", Text: "the file is gone since the folder was read", Try: "check the card or drive and run again"}
	case errors.Is(err, fs.ErrPermission):
		return &Finding{Kind: "unreadable", Text: "reading the file is not permitted", Try: "give yourself permission to read it"}
	}
	return readFinding(err)
}

// readFinding says why a still cannot be read.
func readFinding(err error) *Finding {
	return &Finding{Kind: "unreadable", Text: "the file cannot be read: " + files.Cause(err).Error(), Try: "copy it from the card again; check the card or drive"}
}

// undecodable says that a still's bytes are no picture this program can read.
func undecodable(err error) *Finding {
	return &Finding{Kind: "undecodable", Text: "the picture cannot be decoded: " + files.Cause(err).Error(), Try: "copy it from the card again, or open it in another program to see whether it is whole"}
}

// ended reports whether ctx is over and with which error.
func ended(ctx context.Context) error {
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	return nil
}
