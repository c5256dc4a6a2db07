package meta

import (
	"bytes"
	"errors"
	"image"
	"image/jpeg"
	"testing"

	"stillspan/internal/bounded"
	"stillspan/internal/exiftag"
)

// The two blocks that bring goexif down when it is given them unchecked.
var (
	// 0x20000001 fractions of 8 bytes are 8 bytes in 32-bit arithmetic, and
	// 4 GB by count.
	overflowBlock = []byte("II*\x00\x08\x00\x00\x00" + "\x01\x00" + "\x9a\x82\x05\x00\x01\x00\x00\x20\x1a\x00\x00\x00" +
		"\x00\x00\x00\x00" + "\x01\x00\x00\x00\x02\x00\x00\x00")
	// Two empty directories that point at each other.
	loopBlock = []byte("II*\x00\x08\x00\x00\x00" + "\x00\x00\x0e\x00\x00\x00" + "\x00\x00\x08\x00\x00\x00")
)

func plainJPEG() []byte {
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, image.NewGray(image.Rect(0, 0, 16, 8)), nil); err != nil {
		panic(err) // the encoder writes to memory
	}
	return buf.Bytes()
}

// withEXIF puts a block into a JPEG.
func withEXIF(block []byte) []byte {
	picture, n := plainJPEG(), len(block)+8
	head := append([]byte("\xFF\xD8\xFF\xE1"), byte(n>>8), byte(n))
	return bytes.Join([][]byte{head, []byte("Exif\x00\x00"), block, picture[2:]}, nil)
}

// seeds are small files, sound and broken, of every container, and what reads
// them.
func seeds() []seed {
	block := []byte("MM\x00*\x00\x00\x00\x08" + "\x00\x02" + "\x01\x00\x00\x04\x00\x00\x00\x01\x00\x00\x00\x40" +
		"\x01\x01\x00\x04\x00\x00\x00\x01\x00\x00\x00\x20" + "\x00\x00\x00\x00")
	return []seed{
		{JPEG, plainJPEG()}, {JPEG, withEXIF(block)}, {JPEG, withEXIF(overflowBlock)}, {JPEG, withEXIF(loopBlock)},
		{TIFF, block}, {TIFF, overflowBlock}, {TIFF, loopBlock},
		{PNG, []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\x0dIHDR\x00\x00\x00\x10\x00\x00\x00\x08\x08\x02\x00\x00\x00abcd\x00\x00\x00\x00IENDabcd")},
		{HEIF, []byte("\x00\x00\x00\x10ftypheic\x00\x00\x00\x00\x00\x00\x00\x48meta\x00\x00\x00\x00\x00\x00\x00\x0epitm\x00\x00\x00\x00\x00\x01" +
			"\x00\x00\x00\x2eiprp\x00\x00\x00\x1cipco\x00\x00\x00\x14ispe\x00\x00\x00\x00\x00\x00\x00\x10\x00\x00\x00\x08" +
			"\x00\x00\x00\x0aipma\x00\x00")},
		{PNG, []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\x0dIHDR\x00\x00\x00\x10\x00\x00\x00\x08\x08\x02\x00\x00\x00abcd\x00\x00\x00\x3atEXt" +
			"Raw profile type APP1\x00\nexif\n 14\n49492a00080000000000\n0000\nabcd\x00\x00\x00\x00IENDabcd")},
		{CR3, []byte("\x00\x00\x00\x10ftypcrx \x00\x00\x00\x00\x00\x00\x00\x08moov")},
		// The size is a bomb, and the file ends before that is noticed.
		{PNG, []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\x0dIHDR00000000")},
		{JXL, []byte("\xFF\x0A\x41\x00\x00\x00\x00\x00")},
		{X3F, []byte("FOVb\x02\x00\x02\x00")}, {RAF, []byte("FUJIFILMCCD-RAW 0201")},
	}
}

type seed struct {
	read Reader
	data []byte
}

// check reads one input and fails on anything but facts or a FormatError, and
// on more than an input may cost.
func check(t *testing.T, s seed) (Facts, error) {
	t.Helper()
	var f Facts
	var err error
	size := int64(len(s.data))
	bounded.Run(t, func() { err = f.Read(bytes.NewReader(s.data), size, s.read) })
	var bad *FormatError
	if err != nil && !errors.As(err, &bad) {
		t.Errorf("error of another kind: %v", err)
	}
	if f.Width > maxSide || f.Height > maxSide || f.Width*f.Height > MaxPixels {
		t.Errorf("a picture of %d x %d is believed", f.Width, f.Height)
	}
	for _, p := range f.Previews {
		if p.Offset < 0 || p.Length < 0 || p.Offset > size-p.Length {
			t.Errorf("preview %+v lies outside the %d bytes", p, size)
		}
	}
	return f, err
}

// Every reader is given every input, whatever its first bytes are.
func FuzzContainers(f *testing.F) {
	for _, s := range seeds() {
		f.Add(s.data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		for _, read := range []Reader{JPEG, PNG, TIFF, HEIF, CR3, RAF, JXL, X3F} {
			check(t, seed{read, data})
		}
	})
}

// fuzzPart fuzzes one parser by itself, past the magic numbers.
func fuzzPart(f *testing.F, parse func(c *collector, s section)) {
	for _, s := range seeds() {
		f.Add(s.data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		bounded.Run(t, func() {
			c := &collector{facts: new(Facts), src: newSource(bytes.NewReader(data), int64(len(data))), seen: make(map[spot]bool)}
			parse(c, section{c.src, 0, c.src.size})
			c.settle()
		})
	})
}

func FuzzEXIF(f *testing.F) {
	fuzzPart(f, func(c *collector, s section) { c.exifBlock(s) })
}

func FuzzMakerNote(f *testing.F) {
	fuzzPart(f, func(c *collector, s section) {
		b := block{section: s, order: binaryOrder(s)}
		for _, maker := range []string{"Canon", "NIKON"} {
			n := makerNote{note: b, at: entry{tag: exiftag.MakerNote, bytes: s.size}}
			n.apply(&Facts{Make: maker})
		}
	})
}

func FuzzBoxes(f *testing.F) {
	fuzzPart(f, func(c *collector, s section) {
		_ = c.itemMeta(s, s) // malformed input is the point here
		_ = c.canonMovie(s, s)
	})
}

func FuzzTime(f *testing.F) {
	f.Add("2026:05:01 21:14:07", "037", "+02:00")
	f.Add("    :  :     :  :  ", "", "  :  ")
	f.Fuzz(func(t *testing.T, date, subSec, offset string) {
		at, _ := stamp{date, subSec, offset}.time()
		if at.IsZero() {
			return
		}
		if got := at.Format("2006:01:02 15:04:05"); len(got) != 19 {
			t.Errorf("%q %q %q give %v", date, subSec, offset, at)
		}
	})
}
