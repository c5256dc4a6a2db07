// Package format holds the one table of still formats. A format is added by a
// row of it, and where no reader of facts knows its container, by one more in
// package meta.
package format

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"stillspan/ingest/meta"
	"stillspan/internal/orientation"
	"stillspan/internal/problem"
)

// Format is what there is to know of a still format: a row of the table.
type Format struct {
	// Name stands for the format in meta.Facts and in reports.
	Name string
	// Suffixes of file names, lower case, separated by spaces, the usual one
	// first.
	Suffixes string
	// Raw is set for sensor data that has to be developed.
	Raw bool
	// Magic tells the format by a file's first bytes, headBytes at most; the
	// first row that says yes is taken. nil for those that begin as any TIFF.
	Magic func(head []byte) bool
	// Makers name a raw format that begins as any TIFF: beginnings of the
	// camera maker's name, lower case, separated by commas.
	Makers string
	// Facts reads what the headers say.
	Facts meta.Reader
	// Damage tells what is wrong with a file's structure and its end, as far as
	// that shows without decoding; nil where nothing is known of them.
	Damage func(r io.ReaderAt, size int64) *problem.Still
	// Data is where a sound file's picture data lie, unless nil: parts that leave
	// no room between them, the last one last.
	Data func(r io.ReaderAt, size int64) []part
	// PixelBytes is what a decoded pixel takes in memory; 0 where Damage or
	// another program bounds that.
	PixelBytes int64
	// Decoder is what makes a picture of it.
	Decoder Decoder
}

// Decoder is a way from a file to a picture.
type Decoder int

const (
	FFmpeg   Decoder = iota // ffmpeg
	JPEG                    // block means, or Go's decoder
	Go                      // a decoder that is registered with package image
	Libheif                 // libheif's tools, which turn it upright as well
	Embedded                // the largest JPEG in a raw file, unless it is developed
)

// headBytes is how much of a file's head a Magic is given.
const headBytes = 256

// table is the order in which formats are looked for.
var table = []Format{
	{Name: "jpeg", Suffixes: "jpg jpeg jpe", Magic: begins("\xFF\xD8"), Facts: meta.JPEG, Damage: jpegDamage, PixelBytes: 3, Decoder: JPEG},
	{Name: "png", Suffixes: "png", Magic: begins("\x89PNG\r\n\x1a\n"), Facts: meta.PNG, Damage: pngDamage, Decoder: Go},
	{Name: "jxl", Suffixes: "jxl", Magic: begins("\xFF\x0A", "\x00\x00\x00\x0cJXL \r\n\x87\n"), Facts: meta.JXL, Damage: jxlEnd, PixelBytes: 8},
	{Name: "avif", Suffixes: "avif", Magic: brand("avif avis"), Facts: meta.HEIF, Damage: boxesEnd, PixelBytes: 4, Decoder: Libheif},
	{Name: "heif", Suffixes: "heic heif hif", Magic: brand("heic heix heim heis hevc hevx mif1 msf1"), Facts: meta.HEIF, Damage: boxesEnd, PixelBytes: 4, Decoder: Libheif},
	{Name: "cr3", Suffixes: "cr3", Raw: true, Magic: brand("crx "), Facts: meta.CR3, Damage: boxesEnd, Decoder: Embedded},
	{Name: "raf", Suffixes: "raf", Raw: true, Magic: begins("FUJIFILMCCD-RAW "), Facts: meta.RAF, Damage: rafEnd, Data: rafData, Decoder: Embedded},
	{Name: "x3f", Suffixes: "x3f", Raw: true, Magic: begins("FOVb"), Facts: meta.X3F, Damage: x3fEnd, Decoder: Embedded},
	{Name: "rw2", Suffixes: "rw2", Raw: true, Magic: begins("IIU\x00"), Facts: meta.TIFF, Damage: rawTIFFEnd, Data: tiffData, Decoder: Embedded},
	{Name: "orf", Suffixes: "orf", Raw: true, Magic: begins("IIRO", "IIRS", "MMOR"), Makers: "olympus", Facts: meta.TIFF, Damage: rawTIFFEnd, Data: tiffData, Decoder: Embedded},
	{Name: "cr2", Suffixes: "cr2", Raw: true, Magic: tiffWith("CR"), Makers: "canon", Facts: meta.TIFF, Damage: rawTIFFEnd, Data: tiffData, Decoder: Embedded},
	{Name: "iiq", Suffixes: "iiq", Raw: true, Magic: tiffWith("IIII", "MMMM"), Makers: "phase one", Facts: meta.TIFF, Damage: rawTIFFEnd, Data: tiffData, Decoder: Embedded},
	{Name: "tiff", Suffixes: "tif tiff", Magic: begins("II*\x00", "MM\x00*"), Facts: meta.TIFF, Damage: tiffEnd, Decoder: Go},
	{Name: "dng", Suffixes: "dng", Raw: true, Damage: rawTIFFEnd, Data: tiffData, Decoder: Embedded}, // told by its version tag
	{Name: "nef", Suffixes: "nef nrw", Raw: true, Makers: "nikon", Damage: rawTIFFEnd, Data: tiffData, Decoder: Embedded},
	{Name: "arw", Suffixes: "arw sr2", Raw: true, Makers: "sony", Damage: rawTIFFEnd, Data: tiffData, Decoder: Embedded},
	{Name: "pef", Suffixes: "pef", Raw: true, Makers: "pentax,ricoh", Damage: rawTIFFEnd, Data: tiffData, Decoder: Embedded},
	{Name: "srw", Suffixes: "srw", Raw: true, Makers: "samsung", Damage: rawTIFFEnd, Data: tiffData, Decoder: Embedded},
	{Name: "3fr", Suffixes: "3fr", Raw: true, Makers: "hasselblad", Damage: rawTIFFEnd, Data: tiffData, Decoder: Embedded},
	{Name: "raw", Suffixes: "raw", Raw: true, Damage: rawTIFFEnd, Data: tiffData, Decoder: Embedded}, // of a maker that is not known
}

// begins is a Magic of files that begin with one of words.
func begins(words ...string) func([]byte) bool {
	return func(head []byte) bool {
		return slices.ContainsFunc(words, func(w string) bool { return strings.HasPrefix(string(head), w) })
	}
}

// tiffWith is a Magic of TIFF files that have one of marks after their header.
func tiffWith(marks ...string) func([]byte) bool {
	isTIFF, marked := begins("II*\x00", "MM\x00*"), begins(marks...)
	return func(head []byte) bool { return len(head) > 8 && isTIFF(head) && marked(head[8:]) }
}

// brand is a Magic of files whose type box names one of brands, four letters
// each and a space between (ISO/IEC 14496-12).
func brand(brands string) func([]byte) bool {
	return func(head []byte) bool {
		if !isMedia(head) {
			return false
		}
		box := head[:min(len(head), int(binary.BigEndian.Uint32(head)))]
		for i := 8; i+4 <= len(box); i += 4 {
			if strings.Contains(brands, string(box[i:i+4])) {
				return true
			}
		}
		return false
	}
}

// isMedia tells a file of the ISO base media format.
func isMedia(head []byte) bool { return len(head) >= 12 && string(head[4:8]) == "ftyp" }

// ByName is the format of that name; the zero Format if there is none.
func ByName(name string) Format {
	return find(func(f *Format) bool { return f.Name == name })
}

// BySuffix is the format that a file's name says it has; ok is false if that
// is no still.
func BySuffix(file string) (f Format, ok bool) {
	suffix := strings.ToLower(strings.TrimPrefix(filepath.Ext(file), "."))
	f = find(func(f *Format) bool { return slices.Contains(strings.Fields(f.Suffixes), suffix) })
	return f, f.Name != ""
}

func find(is func(*Format) bool) Format {
	if i := slices.IndexFunc(table, func(f Format) bool { return is(&f) }); i >= 0 {
		return table[i]
	}
	return Format{}
}

// Suffix is the usual one, with its dot; "" for none.
func (f Format) Suffix() string {
	first, _, _ := strings.Cut(f.Suffixes, " ")
	if first == "" {
		return ""
	}
	return "." + first
}

// Read tells the format from the first bytes and reads what the headers say,
// without reading the picture. A malformed file gives a *meta.FormatError and
// all facts found before the damage; any other error is a failure to read.
func Read(r io.ReaderAt, size int64) (meta.Facts, error) {
	f := meta.Facts{Orientation: 1}
	if size <= 0 {
		return f, unknown("the file is empty")
	}
	head := make([]byte, min(size, headBytes))
	if n, err := r.ReadAt(head, 0); n < len(head) {
		if errors.Is(err, io.EOF) { // the file shrank
			err = io.ErrUnexpectedEOF
		}
		return f, fmt.Errorf("cannot read the headers: %w", err)
	}
	is := find(func(f *Format) bool { return f.Magic != nil && f.Magic(head) })
	switch {
	case is.Name == "" && isMedia(head):
		return f, unknown("the file is a film or of a brand that is no still picture known here")
	case is.Name == "":
		return f, unknown("the first bytes are those of no still picture known here")
	}
	f.Format, f.Raw = is.Name, is.Raw
	err := f.Read(r, size, is.Facts)
	if f.Raw && f.Format == "tiff" {
		f.Format = byMaker(f.Make)
	}
	return f, err
}

func unknown(text string) error { return &meta.FormatError{Part: meta.PartFile, Text: text} }

// byMaker names the raw format that a camera's maker has in a TIFF.
func byMaker(maker string) string {
	maker = strings.ToLower(maker)
	f := find(func(f *Format) bool {
		return f.Makers != "" && slices.ContainsFunc(strings.Split(f.Makers, ","), func(m string) bool { return strings.HasPrefix(maker, m) })
	})
	if f.Name == "" {
		return "raw"
	}
	return f.Name
}

// Upright reports whether decoders turn the picture upright themselves
// (ISO/IEC 23008-12: irot and imir).
func (f Format) Upright() bool { return f.Decoder == Libheif }

// Decoded is the size of the picture that a decoder gives, in pixels, and the
// EXIF orientation that is left to be applied to it.
func Decoded(f *meta.Facts) (w, h, exif int) {
	if !ByName(f.Format).Upright() {
		return f.Width, f.Height, f.Orientation
	}
	w, h = orientation.Of(f.Orientation).Size(f.Width, f.Height)
	return w, h, 1
}
