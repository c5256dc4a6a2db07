package ingest

import (
	"bytes"
	"errors"
	"io"
	"os"
	"strings"

	"stillspan/ingest/meta"
)

// readFrame fills in what the file says about itself and what is wrong with
// it, as far as that shows without decoding.
func readFrame(f *Frame) {
	if f.Size == 0 {
		f.Problem = &Problem{"empty", "the file is empty", "copy it again from the card"}
		return
	}
	// Between listing and opening another thing may have taken the name.
	info, err := os.Stat(f.Path)
	if err != nil {
		f.Problem = openProblem(err)
		return
	}
	if !info.Mode().IsRegular() {
		f.Problem = &Problem{"not-a-file", "it is a pipe, a device or a folder and not a picture", "remove it from the folder"}
		return
	}
	file, err := os.Open(f.Path)
	if err != nil {
		f.Problem = openProblem(err)
		return
	}
	defer file.Close()
	facts, err := meta.Read(file, f.Size)
	f.Facts = facts
	if err != nil {
		f.Problem = headerProblem(err)
		return
	}
	if f.Facts.Format == "jpeg" && !hasJPEGEnd(file, f.Size) || f.Facts.Format == "png" && !hasPNGEnd(file, f.Size) {
		f.Problem = &Problem{"truncated", "the file ends before the picture does", "copy it again from the card before wiping it"}
	}
}

func headerProblem(err error) *Problem {
	var malformed *meta.FormatError
	if errors.As(err, &malformed) {
		return &Problem{"undecodable", strings.TrimSuffix(malformed.Error(), "."), "copy it again from the card before wiping it"}
	}
	return openProblem(err)
}

// endWindow is how far from the end the picture's end is looked for: cameras
// pad the file, and some write a preview after the picture.
const endWindow = 64 << 10

// hasJPEGEnd reports whether an EOI marker lies near the end. It can miss a
// cut that falls into a trailing preview; decoding finds that.
func hasJPEGEnd(r io.ReaderAt, size int64) bool {
	return tailHolds(r, size, 512, "\xFF\xD9") || tailHolds(r, size, endWindow, "\xFF\xD9")
}

func hasPNGEnd(r io.ReaderAt, size int64) bool {
	return tailHolds(r, size, 512, "IEND\xAE\x42\x60\x82")
}

func tailHolds(r io.ReaderAt, size, window int64, mark string) bool {
	tail := make([]byte, min(size, window))
	n, err := r.ReadAt(tail, size-int64(len(tail)))
	if err != nil && err != io.EOF {
		return true // not the place to report a failing disk
	}
	return bytes.Contains(tail[:n], []byte(mark))
}

// share makes equal words of many frames one string, as thousands of frames
// repeat their camera's name.
func share(words map[string]string, f *meta.Facts) {
	for _, p := range []*string{&f.Format, &f.Make, &f.Model, &f.Serial, &f.Lens, &f.WhiteBalance, &f.ExposureMode, &f.Program, &f.FocusMode} {
		if known, ok := words[*p]; ok {
			*p = known
		} else {
			words[*p] = strings.Clone(*p)
		}
	}
}
