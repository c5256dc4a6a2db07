// Package stamp writes EXIF as a camera does, so that invented scenes and
// tests have stills with capture facts that are known.
package stamp

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"slices"

	"stillspan/internal/exiftag"
)

// Fields are the facts to write. A zero field is left out.
type Fields struct {
	Make, Model, Serial, Lens string

	// DateTimeOriginal is written as it stands, so that broken clocks can be
	// imitated; EXIF wants "2006:01:02 15:04:05".
	DateTimeOriginal   string
	DateTime           string // of the last change, the same way
	SubSecTimeOriginal string // decimal digits after the point
	OffsetTimeOriginal string // such as "+02:00"

	Orientation int // 1 to 8

	ExposureS float64  // exposure time, seconds
	Exposure  Rational // the same as a fraction; stands before ExposureS
	FNumber   float64
	ISO       float64
	BiasEV    float64 // exposure compensation, EV
	FocalMM   float64 // focal length, mm
	FocusM    float64 // subject distance, metres; +Inf for infinity

	// The words of meta.Facts, such as "auto", "manual", "aperture priority".
	WhiteBalance, ExposureMode, Program string

	PixelWidth, PixelHeight int // as EXIF states them; they may be wrong

	Thumbnail []byte // a JPEG picture for the thumbnail directory

	BigEndian bool // byte order "MM" instead of "II"
}

// Rational is a fraction as EXIF stores it.
type Rational struct{ Num, Den uint32 }

// JPEG returns the picture with an EXIF segment right after its start, in
// place of one it may have had. The picture data is not touched.
func JPEG(jpeg []byte, f Fields) ([]byte, error) {
	if len(jpeg) < 4 || jpeg[0] != 0xFF || jpeg[1] != 0xD8 {
		return nil, errors.New("stamp: not a JPEG picture")
	}
	block, err := TIFF(f)
	if err != nil {
		return nil, err
	}
	const header = "Exif\x00\x00"
	length := 2 + len(header) + len(block)
	if length > math.MaxUint16 {
		return nil, fmt.Errorf("stamp: EXIF of %d bytes does not fit a JPEG segment of %d", length, math.MaxUint16)
	}
	out := slices.Grow([]byte(nil), len(jpeg)+length+2)
	out = append(out, 0xFF, 0xD8, 0xFF, 0xE1)
	out = binary.BigEndian.AppendUint16(out, uint16(length))
	out = append(out, header...)
	out = append(out, block...)
	return append(out, withoutEXIF(jpeg[2:])...), nil
}

// withoutEXIF drops an EXIF segment from the segments after the start marker.
func withoutEXIF(rest []byte) []byte {
	for at := 0; at+4 <= len(rest) && rest[at] == 0xFF && rest[at+1]&0xF0 == 0xE0; {
		end := at + 2 + int(binary.BigEndian.Uint16(rest[at+2:]))
		if end > len(rest) {
			break
		}
		if rest[at+1] == 0xE1 && bytes.HasPrefix(rest[at+4:end], []byte("Exif\x00")) {
			return slices.Concat(rest[:at], rest[end:])
		}
		at = end
	}
	return rest
}

// TIFF returns the EXIF block alone: a TIFF header and its directories, as
// it stands in a JPEG segment, a PNG chunk or a HEIF item.
func TIFF(f Fields) ([]byte, error) {
	main, exif, err := directories(f)
	if err != nil {
		return nil, err
	}
	order := binary.ByteOrder(binary.LittleEndian)
	out := []byte("II*\x00\x08\x00\x00\x00")
	if f.BigEndian {
		order = binary.BigEndian
		out = []byte("MM\x00*\x00\x00\x00\x08")
	}
	w := writer{order: order, out: out}
	pointer := w.dir(append(main, long(exiftag.ExifIFD, 0)))
	w.put32(pointer[exiftag.ExifIFD], uint32(len(w.out)))
	w.dir(exif)
	if len(f.Thumbnail) > 0 {
		w.put32(w.next[0], uint32(len(w.out)))
		pointer = w.dir([]field{
			short(exiftag.Compression, exiftag.CompressionOldJPEG),
			long(exiftag.JPEGOffset, 0),
			long(exiftag.JPEGLength, uint32(len(f.Thumbnail))),
		})
		w.put32(pointer[exiftag.JPEGOffset], uint32(len(w.out)))
		w.out = append(w.out, f.Thumbnail...)
	}
	return w.out, nil
}
